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


def _row(line, kinds, system, where):
    cells = [c.strip() for c in re.split(r"[;\t]|,\s+", line)]
    if len(cells) == 1:
        cells = line.split()
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
