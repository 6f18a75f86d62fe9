"""Where the table starts in a file: preamble, header, units row, first row of numbers."""

import re
from collections import Counter
from dataclasses import dataclass

from toolkit.logs import cells
from toolkit.logs.channels import match
from toolkit.logs.question import LogError
from toolkit.logs.unit_names import unit_of_text

_OTHER_UNITS = frozenset(("V", "mV", "A", "mA", "Ohm", "Ω", "bit", "kHz", "g", "m/s²", "m/s2", "J"))


@dataclass(frozen=True)
class Row:
    """A row as split: the line it starts on and its cells without blanks around them."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Layout:
    """How the rows of a sample form a table.

    header, units: one text per column, "" if absent. header_line, units_line: 1-based, 0 if
    absent. first: place of the first row of numbers in the sample. share: of cells in rows of
    numbers that are numbers or times. clocks: columns that hold times. wide: the first row with
    more cells than the header, or None. even: share of rows as wide as the header.
    """

    header: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int
    units_line: int
    first: int
    share: float
    clocks: tuple[int, ...]
    wide: Row | None
    even: float

    @property
    def width(self):
        """How many columns the header has."""
        return len(self.header)


def too_wide(name, row, width, separator):
    """The error for a row with more cells than the header, which would shift its numbers."""
    hint = f"is a name missing, or a {separator} inside a cell?"
    if separator == "comma":
        hint = "is the comma also the decimal mark?"
    return LogError(
        f"{name}: row {row.line} has {len(row.cells)} cells but the header has {width}: {hint}"
    )


def find_layout(rows):
    """The table in these rows (blank ones left out), or None where no column holds numbers."""
    if not rows:
        return None
    tail = rows[-max(len(rows) // 2, min(len(rows) - 1, 10), 1) :]  # past any preamble
    width = Counter(len(r.cells) for r in tail).most_common(1)[0][0]
    numeric = _numeric_columns([r for r in tail if len(r.cells) == width], width)
    first = _first_data(rows, numeric)
    if not numeric or first is None:
        return None
    header, units = _heading(rows, first, width)
    return _measured(rows, first, header, units, numeric)


def _filled(row):
    """How many cells up to the last that is not empty: trailing separators do not count."""
    count = len(row.cells)
    while count and not row.cells[count - 1]:
        count -= 1
    return count


def _numeric_columns(rows, width):
    found = []
    for i in range(width):
        column = [r.cells[i] for r in rows]
        spoken = [c for c in column if c and not cells.is_placeholder(c)]
        good = sum(_is_value(c) for c in spoken)
        if good and good >= 0.5 * len(spoken):
            found.append(i)
    return found


def _is_value(cell):
    return cells.is_number(cell) or cells.is_time(cell)


def _is_data(row, numeric):
    """A row whose number columns hold numbers, as far as they hold anything."""
    held = [row.cells[i] for i in numeric if i < len(row.cells) and row.cells[i]]
    spoken = [c for c in held if not cells.is_placeholder(c)]
    return bool(spoken) and all(_is_value(c) for c in spoken) and len(row.cells) > max(numeric)


def _first_data(rows, numeric):
    if not numeric:
        return None
    data = [_is_data(r, numeric) for r in rows]
    for i, good in enumerate(data):
        following = data[i : i + 20]
        if good and 2 * sum(following) > len(following):
            return _with_placeholders(rows, i, numeric)
    return None


def _with_placeholders(rows, first, numeric):
    """Rows of nothing but placeholders right above the numbers belong to them."""
    while first > 1 and _is_blank_data(rows[first - 1], numeric):
        first -= 1
    return first


def _is_blank_data(row, numeric):
    held = [c for c in row.cells if c]
    return len(held) > max(numeric) and all(cells.is_placeholder(c) for c in held)


def _heading(rows, first, width):
    """The header row and the units row above the numbers, None where absent."""
    above = list(rows[:first])
    units = None
    if len(above) > 1 and _is_units(above[-1]) and _heads(above[-2], above[-1], width):
        units = above.pop()
    header = above[-1] if above and _filled(above[-1]) >= min(width, 2) else None
    return header, units


def _heads(row, units, width):
    """Whether a row is the header above a units row, and the units row no header itself."""
    known = any(match(c).channel for c in row.cells if c)
    return _filled(row) >= min(width, 2) and (
        known or not any(match(c).channel for c in units.cells)
    )


def _is_units(row):
    """Most cells are units; the rest may be of channels that no model here uses."""
    spoken = [c for c in row.cells if c and c.strip("[]()- 1")]
    known = sum(unit_of_text(c) is not None or _bracketed(c) or c in _OTHER_UNITS for c in spoken)
    return bool(spoken) and known >= 0.6 * len(spoken)


def _bracketed(cell):
    return bool(re.fullmatch(r"\[.*\]|\(.*\)", cell))


def _measured(rows, first, header, units, numeric):
    data = rows[first:]
    names = _names(header) if header else [""] * max(_filled(r) for r in data)
    spread = [c for r in data for c in r.cells if c and not cells.is_placeholder(c)]
    return Layout(
        header=tuple(names),
        units=_padded(units.cells if units else (), len(names)),
        header_line=header.line if header else 0,
        units_line=units.line if units else 0,
        first=first,
        share=sum(_is_value(c) for c in spread) / max(1, len(spread)),
        clocks=tuple(i for i in numeric if _is_clock(data[:50], i) and _may_be_clock(names, i)),
        wide=next((r for r in data if _filled(r) > len(names)), None),
        even=sum(_fits(r, len(names)) for r in data) / len(data),
    )


def _is_clock(rows, i):
    return any(i < len(r.cells) and cells.is_time(r.cells[i]) for r in rows)


def _may_be_clock(names, i):
    """One stray "12:30" does not make a clock of the torque."""
    return i >= len(names) or match(names[i]).channel in ("", "time_s")


def _fits(row, width):
    return _filled(row) <= width <= len(row.cells)


def _names(header):
    """The names, without a comment mark before the first."""
    names = list(header.cells)
    if names[0].strip("#%") == "" and names[0]:
        return names[1:]
    return [names[0].lstrip("#%").strip(), *names[1:]]


def _padded(units, width):
    return (*(c.strip("[]()") for c in units), *[""] * width)[:width]
