"""Compressor maps and turbine curves as CSV files with their reference state.

    # reference_temperature: 298.15 K
    # reference_pressure: 100 kPa
    corrected_speed [rpm],corrected_flow [lb/min],pressure_ratio,efficiency [%]
    60000,10.2,1.35,68.0

Rows of one corrected speed are one speed line; where a gas stand's speeds wander within a line,
a column `line` says which rows belong together. A turbine curve has the columns expansion_ratio,
corrected_flow and efficiency. Lines with # and another word are notes.
"""

import csv
import io
import re

from toolkit import units
from toolkit.bench import BenchError
from toolkit.physics.compressor import CompressorMap
from toolkit.physics.turbine import TurbineCurve

_KINDS = {
    "corrected_speed": "shaft_speed",
    "corrected_flow": "air_flow",
    "pressure_ratio": "ratio",
    "efficiency": "fraction",
    "expansion_ratio": "ratio",
    "line": "number",
}
_STATE = {"reference_temperature": "temperature", "reference_pressure": "pressure"}


def read_compressor(bench, name):
    """The compressor map of a file of this bench.

    Raises BenchError that names the file, the line and what is wrong.
    """
    wanted = ("corrected_speed", "corrected_flow", "pressure_ratio", "efficiency")
    columns, state = _read(bench, name, wanted)
    line = columns.pop("line", columns["corrected_speed"])
    return _made(name, lambda: CompressorMap.from_points(line, *columns.values(), *state))


def read_turbine(bench, name):
    """The turbine curve of a file of this bench; errors as `read_compressor`."""
    columns, state = _read(bench, name, ("expansion_ratio", "corrected_flow", "efficiency"))
    return _made(name, lambda: TurbineCurve(*columns.values(), *state))


def _made(name, make):
    try:
        return make()
    except ValueError as error:
        raise BenchError(f"{name}: {error}") from None


def _read(bench, name, wanted):
    path = bench.file(name)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BenchError(f"there is no file {name} in the bench") from None
    except (UnicodeDecodeError, OSError):
        raise BenchError(f"{name} is not text in UTF-8: save it as CSV in UTF-8") from None
    lines = list(enumerate(text.splitlines(), start=1))
    state = _state(name, [line for _, line in lines if line.startswith("#")])
    rows = [(n, line) for n, line in lines if line.strip() and not line.startswith("#")]
    if not rows:
        raise BenchError(f"{name} has no rows: the first names the columns {', '.join(wanted)}")
    heads = _heads(name, rows[0][1], wanted)
    values = [_row(name, n, line, heads) for n, line in rows[1:]]
    columns = dict(zip([key for key, _ in heads], zip(*values, strict=True), strict=True))
    extra = [key for key in columns if key not in wanted]
    return {key: columns[key] for key in (*wanted, *extra)} if values else {}, state


def _state(name, notes):
    """Reference temperature and pressure, from the lines that start with #."""
    given = dict(re.findall(r"#\s*(\w+)\s*:\s*(.*?)\s*$", "\n".join(notes), re.MULTILINE))
    for key, kind in _STATE.items():
        if key not in given:
            example = units.KINDS[kind].example
            raise BenchError(
                f"{name} does not say its {key}, and flow differs by up to 8 % between "
                f"conventions: add a line '# {key}: {example}'"
            )
    try:
        return [units.parse(given[key], kind) for key, kind in _STATE.items()]
    except units.UnitError as error:
        raise BenchError(f"{name}: {error}") from None


def _heads(name, row, wanted):
    """(column, unit) of each cell of the first row."""
    cells = next(csv.reader(io.StringIO(row)))
    heads = [re.fullmatch(r"\s*(\w+)\s*(?:\[(.*)\])?\s*", cell) for cell in cells]
    found = [m.group(1) for m in heads if m]
    missing = [key for key in wanted if key not in found]
    if missing:
        raise BenchError(f"{name} has no column {missing[0]}: the first row names {wanted}")
    for m, cell in zip(heads, cells, strict=True):
        if not m or m.group(1) not in (*wanted, "line"):
            raise BenchError(f"{name} has a column '{cell}' that is not known here: {wanted}")
        kind = units.KINDS[_KINDS[m.group(1)]]
        if not (m.group(2) or kind.bare):
            raise BenchError(
                f"{name}: the column {m.group(1)} has no unit: head it "
                f"'{m.group(1)} [{units.unit_of(_KINDS[m.group(1)], 'SI')}]'"
            )
    return [(m.group(1), m.group(2) or "") for m in heads]


def _row(name, number, line, heads):
    cells = next(csv.reader(io.StringIO(line)))
    if len(cells) != len(heads):
        raise BenchError(f"{name}, line {number}: {len(cells)} cells under {len(heads)} columns")
    try:
        return [
            units.parse(cell, _KINDS[key], default_unit=unit)
            for (key, unit), cell in zip(heads, cells, strict=True)
        ]
    except units.UnitError as error:
        raise BenchError(f"{name}, line {number}: {error}") from None
