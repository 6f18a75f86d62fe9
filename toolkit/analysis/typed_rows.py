"""Numbers that a person types as lines: a lift table, readings on a stand, points of a pull."""

import re

import numpy as np

from toolkit import units


def typed_rows(text, kinds, system):
    """One array per kind, in inside units, from lines such as "3000 rpm; 14 psi; 9 psi".

    Cells stand apart by ";", a tab, ", " or blanks (then without units). A cell without a unit is
    taken in the person's unit. Empty lines and what follows "#" are left out.

    Raises UnitError that names the line and what is wrong with it.

    >>> travel, force = typed_rows("0 mm; 101 N\\n2 mm; 115 N", ("length", "force"), "SI")
    >>> travel.tolist(), force.tolist()
    ([0.0, 0.002], [101.0, 115.0])
    """
    rows = []
    for number, line in enumerate(str(text).splitlines(), start=1):
        line = line.split("#")[0].strip()
        if line:
            rows.append(_row(line, kinds, system, f"line {number}"))
    if not rows:
        raise units.UnitError(f"nothing is typed: write {len(kinds)} numbers on each line")
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def cells_of(line):
    """The cells of one line; none where it is empty or a comment."""
    line = line.split("#")[0].strip()
    cells = [c.strip() for c in re.split(r"[;\t]|,\s+", line)] if line else []
    return line.split() if len(cells) == 1 else cells


def columns_typed(text):
    """How many cells the first line has that is no comment; 0 where nothing is typed.

    >>> columns_typed("# speed; boost\\n3000; 14; 9")
    3
    """
    return next((len(cells) for line in str(text).splitlines() if (cells := cells_of(line))), 0)


def with_units(text, kinds, system):
    """The text with the person's unit at each cell that has none; comments stay, and so does a
    line that cannot be read.

    >>> with_units("6500 12.6 2 bar # top", ("engine_speed", "boost", "boost"), "US")
    '6500 12.6 2 bar # top'
    >>> with_units("6500; 12.6; 2 bar # top", ("engine_speed", "boost", "boost"), "US")
    '6500 rpm; 12.6 psi; 2 bar # top'
    """
    return "\n".join(_with_units(line, kinds, system) for line in str(text).splitlines())


def _with_units(line, kinds, system):
    cells, comment = cells_of(line), line.partition("#")
    if len(cells) != len(kinds):
        return line
    labels = [units.unit_of(kind, system) for kind in kinds]
    bare = [re.fullmatch(r"[-+.,\d]+(?:[eE][-+]?\d+)?", cell) for cell in cells]
    said = [f"{c} {u}".strip() if b else c for c, u, b in zip(cells, labels, bare, strict=True)]
    return "; ".join(said) + (f" #{comment[2]}" if comment[1] else "")


def _row(line, kinds, system, where):
    cells = cells_of(line)
    if len(cells) != len(kinds):
        raise units.UnitError(
            f"{where}, '{line[:40]}', holds {len(cells)} numbers, not {len(kinds)}: "
            "set them apart by ';'"
        )
    try:
        return [
            units.parse(cell, kind, default_unit=units.unit_of(kind, system) or None)
            for cell, kind in zip(cells, kinds, strict=True)
        ]
    except units.UnitError as error:
        raise units.UnitError(f"{where}: {error}") from None


def as_lines(columns, kinds, system):
    """The inverse: arrays as lines with units, as a person would have typed them."""
    texts = zip(
        *([units.text(v, k, system) for v in c] for c, k in zip(columns, kinds, strict=True)),
        strict=True,
    )
    return "\n".join("; ".join(row) for row in texts)
