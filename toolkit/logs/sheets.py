"""Workbooks (.xlsx): the cached values of one sheet, laid out like a text table."""

import datetime
import itertools
import warnings
import zipfile
from collections import Counter

from toolkit.logs.dialect import Dialect
from toolkit.logs.layout import Row, find_layout
from toolkit.logs.question import Decided, LogError, Question, Unanswered
from toolkit.logs.reading import Note
from toolkit.logs.table import Gathered, clock_kinds, reading_of

# A log of ten hours at 100 Hz with 20 channels unpacks to about this; more is no log.
UNPACKED_BYTES = 1 << 30
SAMPLE_ROWS = 2000
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
        rows = _rows(saved[name], written[name])
        form = _form(list(itertools.islice(rows, SAMPLE_ROWS)), path.name, name)
        gathered = Gathered(form, clock_kinds(form, answers), path.name)
        rest = itertools.chain(form.rows[form.layout.first :], rows)
        while piece := list(itertools.islice(rest, SAMPLE_ROWS)):
            gathered.add([_padded(row, form.layout.width) for row in piece])
    found = {"sheet": Decided(name, why)}
    return reading_of(path.name, form, gathered.table(), _notes(form), found, answers)


def _form(rows, file_name, sheet_name):
    """How the sheet is laid out, from its first rows."""
    usual = Counter(len(r.cells) for r in rows).most_common(1)
    rows = tuple(_padded(r, usual[0][0]) for r in rows)
    layout = find_layout(rows)
    if layout is None:
        raise LogError(f"{file_name}: the sheet '{sheet_name}' has no table of numbers")
    cell, stored = Decided("cell", "a workbook"), Decided("point", "stored as numbers")
    return Dialect(cell, stored, layout, rows)


def _padded(row, width):
    """A row with the empty cells at its end that a sheet does not store."""
    return Row(row.line, (*row.cells, *[""] * (width - len(row.cells))))


def _notes(form):
    table = (form.layout.header_line, form.layout.units_line)
    before = [r for r in form.rows[: form.layout.first] if r.line not in table]
    return tuple(Note(r.line, " ".join(c for c in r.cells if c)) for r in before)


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
    for sheet in (saved, written):
        sheet.reset_dimensions()  # the stated size may be a million columns of nothing
    pairs = zip(
        saved.iter_rows(values_only=True), written.iter_rows(values_only=True), strict=False
    )
    for line, (values, formulas) in enumerate(pairs, start=1):
        cells = tuple(_text(v, f) for v, f in itertools.zip_longest(values, formulas))
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
