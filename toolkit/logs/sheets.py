"""Workbooks (.xlsx): the cached values of one sheet, laid out like a text table."""

import datetime
import warnings
import zipfile

from toolkit.logs.dialect import Dialect
from toolkit.logs.layout import Row, find_layout
from toolkit.logs.question import Decided, LogError, Question, Unanswered
from toolkit.logs.reading import Note
from toolkit.logs.table import Gathered, clock_kinds, reading_of

# A log of ten hours at 100 Hz with 20 channels unpacks to about this; more is no log.
UNPACKED_BYTES = 1 << 30
SPREAD = 200  # honest sheets shrink about tenfold


def read_workbook(path, answers):
    """The Reading of a workbook's sheet; asks which where several hold something.

    Formulas count with the value they were saved with; one saved without is a rejected cell.
    """
    _refuse_bomb(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about styles and printers, which no number depends on
        try:
            return _read(path, answers)
        except LogError:
            raise
        except Exception as error:  # the library raises whatever a damaged file provokes
            raise LogError(f"{path.name} is a damaged workbook ({type(error).__name__})") from None


def _refuse_bomb(path):
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise LogError(f"{path.name} is a damaged zip archive, not a workbook") from None
    if not any(p.filename == "xl/workbook.xml" for p in parts):
        raise LogError(f"{path.name} is a zip archive but not a workbook: unpack it first")
    unpacked = sum(p.file_size for p in parts)
    if unpacked > UNPACKED_BYTES or unpacked > SPREAD * path.stat().st_size + (1 << 22):
        raise LogError(
            f"{path.name} would unpack to {unpacked / 1e6:.0f} MB: export the log as .csv instead"
        )


def _read(path, answers):
    from openpyxl import load_workbook

    # The library leaves a file open that it failed on; these are closed whatever happens.
    with path.open("rb") as first, path.open("rb") as second:
        saved = load_workbook(first, read_only=True, data_only=True)
        written = load_workbook(second, read_only=True, data_only=False)
        name, why = _sheet(saved, path.name, answers)
        rows = list(_rows(saved[name], written[name]))
    layout = find_layout(rows)
    if layout is None:
        raise LogError(f"{path.name}: the sheet '{name}' has no table of numbers")
    form = Dialect(
        Decided("cell", "a workbook"), Decided("point", "stored as numbers"), layout, rows
    )
    gathered = Gathered(form, clock_kinds(form, answers), path.name)
    gathered.add(rows[layout.first :])
    table = (layout.header_line, layout.units_line)
    notes = (Note(r.line, " ".join(r.cells)) for r in rows[: layout.first] if r.line not in table)
    sheet = {"sheet": Decided(name, why)}
    return reading_of(path.name, form, gathered.table(), tuple(notes), sheet, answers)


def _sheet(book, name, answers):
    """The sheet with the log and why."""
    sheets = [s.title for s in book.worksheets if _holds_something(s)]
    wanted = answers.get("sheet")
    if wanted in sheets:
        return wanted, "answered"
    if not sheets:
        raise LogError(f"{name} has no sheet with anything in it")
    if len(sheets) == 1:
        return sheets[0], "the only sheet with anything in it"
    choices = tuple((s, f"the sheet '{s}'") for s in sheets)
    raise Unanswered(
        Question(
            ("file", "sheet"),
            f"Which sheet of {name} is the log?",
            choices,
            f"{len(sheets)} sheets hold something.",
        )
    )


def _holds_something(sheet):
    return any(any(v is not None for v in row) for row in sheet.iter_rows(values_only=True))


def _rows(saved, written):
    pairs = zip(
        saved.iter_rows(values_only=True), written.iter_rows(values_only=True), strict=False
    )
    for line, (values, formulas) in enumerate(pairs, start=1):
        cells = tuple(_text(v, f) for v, f in zip(values, formulas, strict=False))
        if any(cells):
            yield Row(line, cells)


def _text(value, formula):
    """A cell as the text reader would see it."""
    if value is None:
        return formula if isinstance(formula, str) and formula.startswith("=") else ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, datetime.datetime):
        return value.isoformat(sep=" ", timespec="microseconds")
    if isinstance(value, datetime.time):
        return value.isoformat(timespec="microseconds")
    if isinstance(value, datetime.timedelta):
        return repr(value.total_seconds())
    return str(value).strip()
