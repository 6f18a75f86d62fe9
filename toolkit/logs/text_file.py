"""A text table as numbers: a fast way for what is clean, an exact way for the rest.

Both give the same result. The fast way hands the file to a compiled parser and takes its answer
only where every line is a row; it looks cell by cell only at columns that are not all numbers.
"""

import codecs
import functools
import io
import itertools
import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

from toolkit.logs import cells, dialect, encoding
from toolkit.logs.clock_cells import Clock
from toolkit.logs.file_end import without_cut_end
from toolkit.logs.question import Decided, LogError, Unanswered
from toolkit.logs.reading import Note
from toolkit.logs.table import Gathered, Rejected, Table, clock_kinds, reading_of

SAMPLE_BYTES = 32 * 1024
WIDE_BYTES = 4 * 1024 * 1024  # where the header alone fills the sample
PIECE_ROWS = 20_000
_DIRTY_COLUMNS = 8  # beyond this many the exact way is not slower


def read_text(path, answers):
    """The Reading of a text file. `answers`: the review's answers on how it is written."""
    sample, whole = _start(path, SAMPLE_BYTES)
    if not sample.strip():
        raise LogError(f"{path.name} is empty")
    code = _encoding(sample, whole, path.name, answers)
    for _ in range(2):
        try:
            return _read_as(path, sample, whole, code, answers)
        except UnicodeDecodeError as error:  # right so far, but not to the end
            code = encoding.other_page(code, error)
    return _read_as(path, sample, whole, code, answers)


def _start(path, size):
    """The first bytes of a file and whether that is all of it."""
    with path.open("rb") as file:
        return file.read(size), not file.read(1)


def _encoding(sample, whole, name, answers):
    wanted = answers.get("encoding")
    if not wanted:
        return encoding.decide(sample, whole, name)
    try:
        codecs.lookup(wanted)
    except LookupError:
        raise LogError(
            f"the review gives {name} the encoding '{wanted}', which is not known"
        ) from None
    return Decided(wanted, "answered")


def _read_as(path, sample, whole, code, answers):
    form, lines = _dialect(path, sample, whole, code.value, answers)
    kinds = clock_kinds(form, answers)
    table = _fast(path, code.value, form, kinds) or _exact(path, code.value, form, kinds)
    decisions = {"encoding": code, "separator": form.separator, "decimal": form.decimal}
    if grouped := form.grouped():
        decisions["thousands"] = grouped
    reading = reading_of(path.name, form, table, _notes(form, lines), decisions, answers)
    return without_cut_end(reading, path, code.value, form.separator.value)


def _dialect(path, sample, whole, code, answers):
    """How the file is written, and the lines that show it."""
    lines = _lines(sample, whole, code)
    further = None if whole else lambda separator: _pieces(path, code, separator)
    try:
        return dialect.find_dialect(lines, path.name, answers, further), lines
    except Unanswered:
        raise
    except LogError:
        if whole or len(sample) > SAMPLE_BYTES:
            raise
    return _dialect(path, *_start(path, WIDE_BYTES), code, answers)


def _lines(sample, whole, code):
    """The lines of the sample as text; a last line that may be cut short is left out."""
    text = codecs.getincrementaldecoder(code)().decode(sample, final=whole)
    lines = list(io.StringIO(text, newline=""))
    return lines if whole or len(lines) < 2 else lines[:-1]


def _fast(path, code, form, kinds):
    """The table by the compiled parser; None where it cannot be sure to have read it rightly."""
    first = form.rows[form.layout.first]
    if form.separator.value == "blank" or len(first.cells) < form.layout.width:
        return None
    # Where no line is blank, rows count like lines; in one column a blank line is like a cell.
    for blank_lines in (False, True) if len(first.cells) > 1 else (True,):
        table, texts = _parsed(path, code, form, kinds, blank_lines)
        if table is None:
            continue
        if not blank_lines or table.num_rows == _line_count(path) - first.line + 1:
            return _converted(table, form, kinds, texts, first.line)
    return None


def _parsed(path, code, form, kinds, blank_lines):
    """(table, columns left as texts): times, and those with a cell that is no number."""
    texts = set(kinds)
    while len(texts) <= len(kinds) + _DIRTY_COLUMNS:
        try:
            return _parse(path, code, form, texts, blank_lines), texts
        except pa.ArrowInvalid as error:
            dirty = re.search(r"CSV column #(\d+): CSV conversion error to double", str(error))
            if not dirty:
                break
            texts.add(int(dirty.group(1)))
    return None, texts


def _parse(path, code, form, texts, blank_lines):
    first = form.rows[form.layout.first]
    names = [f"c{i}" for i in range(len(first.cells))]
    encoded = code if code.startswith(("utf-16", "utf-32")) else "utf8"
    kinds = {n: pa.string() if i in texts else pa.float64() for i, n in enumerate(names)}
    separator = dialect.SEPARATORS[form.separator.value] or "\t"
    with pa.memory_map(str(path)) as file:
        return arrow_csv.read_csv(
            file,
            arrow_csv.ReadOptions(column_names=names, skip_rows=first.line - 1, encoding=encoded),
            arrow_csv.ParseOptions(delimiter=separator, ignore_empty_lines=blank_lines),
            arrow_csv.ConvertOptions(
                column_types=kinds,
                null_values=[""],
                strings_can_be_null=False,
                decimal_point=form.decimal_mark,
            ),
        )


def _line_count(path):
    """Lines of a file, without blank ones at its end."""
    count, tail = 0, b""
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            count += piece.count(b"\n")
            tail = tail + piece if piece.isspace() else piece[-4096:]
    trailing = tail[len(tail.rstrip(b"\r\n\0")) :]
    return count - trailing.count(b"\n") + 1


def _converted(table, form, kinds, texts, first_line):
    if not _is_sure(table, form.layout.width, texts):
        return None
    rejected, clocks = Rejected(), {i: Clock(kind) for i, kind in kinds.items()}
    for i in sorted(texts):
        values, places, cut = _text_column(table.column(i), clocks.get(i), form.decimal_mark)
        rejected.add(first_line + places, i, cut)
        table = table.set_column(i, f"c{i}", pa.array(values, from_pandas=False))
    frame = table.to_pandas(split_blocks=True, self_destruct=True)
    frame.index = pd.RangeIndex(first_line, first_line + len(frame), name="row")
    return Table(frame, rejected, clocks)


def _is_sure(table, width, texts):
    """No cell beyond the header, no "nan" or "inf" taken for a number, no row of nothing, and
    no cell that runs over two lines."""
    if any(c.null_count < len(c) for c in table.columns[width:]):
        return False
    if any(pc.any(pc.match_substring_regex(table.column(i), r"[\r\n]")).as_py() for i in texts):
        return False
    numbers = [c for i, c in enumerate(table.columns) if i not in texts]
    if not all(_all_usable(c) for c in numbers):
        return False
    if any(c.null_count == 0 for c in numbers):
        return True
    nothing = [pc.equal(c, "") if i in texts else c.is_null() for i, c in enumerate(table.columns)]
    return not pc.any(functools.reduce(pc.and_, nothing)).as_py()


def _text_column(column, clock, mark):
    """Values of a column of texts, and the places and texts of its rejected cells."""
    values, places, rejected, start = [np.zeros(0)], [np.zeros(0, dtype=int)], [], 0
    for chunk in column.chunks:
        numbers, bad, texts = _by_clock(chunk, clock) if clock else _mixed(chunk, mark)
        values.append(numbers)
        places.append(start + bad)
        rejected += texts
        start += len(chunk)
    return np.concatenate(values), np.concatenate(places), rejected


def _by_clock(chunk, clock):
    """Times; the clock gives them when it has all."""
    texts = chunk.to_pylist()
    bad = np.array(clock.add(texts), dtype=int)
    return np.full(len(texts), np.nan), bad, [texts[k] for k in bad]


def _mixed(chunk, mark):
    """Plain numbers all at once, the rest cell by cell."""
    plain = pc.match_substring_regex(chunk, rf"^-?\d+(?:[{mark}]\d*)?$")
    shown = pc.if_else(plain, chunk, pa.scalar(None, pa.string()))
    values = pc.cast(pc.replace_substring(shown, mark, "."), pa.float64())
    values = values.to_numpy(zero_copy_only=False).copy()
    others = np.flatnonzero(~np.isfinite(values))
    texts = chunk.take(pa.array(others)).to_pylist()
    values[others], bad = cells.numbers(texts, mark)
    return values, others[bad].astype(int), [texts[k] for k in bad]


def _all_usable(column):
    return all(
        (np.abs(chunk.to_numpy(zero_copy_only=False)) <= cells.LARGEST).sum() + chunk.null_count
        == len(chunk)
        for chunk in column.chunks
    )


def _exact(path, code, form, kinds):
    """The table row by row, however long it takes."""
    gathered = Gathered(form, kinds, path.name)
    start = form.rows[form.layout.first].line
    for rows in _pieces(path, code, form.separator.value, start):
        gathered.add(rows)
    return gathered.table()


def _pieces(path, code, separator, start=1):
    """Lists of rows from line `start` on, so that a long file is never held as text."""
    with path.open(encoding=code, newline="") as file:
        rows = dialect.split(itertools.islice(file, start - 1, None), separator, start)
        while piece := list(itertools.islice(rows, PIECE_ROWS)):
            yield piece


def _notes(form, lines):
    """The lines before the table, without header and units."""
    table = (form.layout.header_line, form.layout.units_line)
    before = enumerate(lines[: form.rows[form.layout.first].line - 1], start=1)
    return tuple(Note(n, text.strip()) for n, text in before if n not in table and text.strip())
