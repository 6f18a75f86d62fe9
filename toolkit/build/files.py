"""Build files: TOML whose values are strings with units, read and written back.

What a person wrote in the file stays: comments, order and every value that did not change.
"""

import math
import re
from dataclasses import MISSING, replace
from itertools import pairwise

import tomlkit

from toolkit import units
from toolkit.bench import BenchError, read_toml, write_toml
from toolkit.build import maps
from toolkit.build.parts import Build, Curve, Turbo, keys_of
from toolkit.physics.fuel import FUELS


class BuildError(ValueError):
    """A build that cannot be used; one sentence with file, line, key and what to write."""


class _Place:
    """Where in which file a value stands, for the sentence a person reads."""

    def __init__(self, file, text, path=()):
        self.file, self.text, self.path = file, text, path

    def __truediv__(self, key):
        return _Place(self.file, self.text, (*self.path, key))

    def error(self, what):
        keys = ".".join(str(k) for k in self.path)
        line = self._line()
        where = f"{self.file}, line {line}" if line else self.file
        return BuildError(f"{where}, {keys}: {what}" if keys else f"{where}: {what}")

    def _line(self):
        """The line of the key in its table; of the table's heading where it is not there."""
        *tables, last = [str(k) for k in self.path if not isinstance(k, int)] or [""]
        nth = next((k for k in self.path if isinstance(k, int)), 0)
        heading = re.compile(r"\s*\[+\s*" + re.escape(".".join(tables)) + r"\s*\]")
        seen, started = (-1 if tables else nth), None
        for number, line in enumerate(self.text.splitlines(), start=1):
            here = heading.match(line)
            if tables and not here and seen >= nth and re.match(r"\s*\[", line):
                break  # the next table has begun
            seen += bool(tables and here)
            started = number if here and seen == nth and tables else started
            if seen >= nth and re.match(rf"\s*{re.escape(last)}\s*=", line):
                return number
        return started


def read_build(bench, name, load_maps=True):
    """The build of a file of this bench, such as "builds/large.toml", its maps loaded.

    Raises BuildError with one sentence that names the file, the line, the key and an example;
    BenchError for a file that cannot be read or leads outside the bench.
    """
    path = bench.file(name)
    document = read_toml(path)
    place = _Place(name, path.read_text(encoding="utf-8"))
    build = _read_part(Build, document.unwrap(), place)
    _check_build(build, place)
    return with_maps(bench, build, place) if load_maps else build


def with_maps(bench, build, place=None):
    """The build with the compressor map and turbine curve of each turbo loaded."""
    place = place or _Place(build.name, "")

    def loaded(number, turbo):
        here = place / "turbo" / number
        try:
            compressor = maps.read_compressor(bench, turbo.compressor_map)
        except BenchError as error:
            raise (here / "compressor_map").error(error) from None
        try:
            curve = turbo.turbine_curve and maps.read_turbine(bench, turbo.turbine_curve)
        except BenchError as error:
            raise (here / "turbine_curve").error(error) from None
        return replace(turbo, compressor=compressor, turbine=curve)

    return replace(build, turbos=tuple(loaded(i, t) for i, t in enumerate(build.turbos)))


def write_build(bench, name, build, system="US"):
    """Write a build under a name of this bench, in the units of `system`.

    Over an existing file only what changed is written, so that comments and the person's own
    units stay. Raises BenchError where that cannot be, BuildError for what could not be read
    again: then nothing is written.
    """
    path = bench.file(name)
    document = read_toml(path) if path.exists() else tomlkit.document()
    _write_part(document, build, system)
    text = tomlkit.dumps(document)
    place = _Place(name, text)
    _check_build(_read_part(Build, tomlkit.parse(text).unwrap(), place), place)
    write_toml(path, document)


def _read_part(cls, table, place):
    if not isinstance(table, dict):
        raise place.error(f"this must be a table of its own, headed [{'.'.join(place.path)}]")
    known = keys_of(cls)
    for unknown in set(table) - set(known):
        raise (place / unknown).error(f"this key is not known; known here: {', '.join(known)}")
    values = {}
    for name, field in known.items():
        if name in table:
            values[field.name] = _read(field.metadata["key"], table[name], place / name)
        elif field.default is MISSING:
            raise (place / name).error(f"this is missing: {_example(field.metadata['key'])}")
    return cls(**values)


def _read(key, value, place):
    if key.kind == "part":
        if key.part is Turbo:
            tables = value if isinstance(value, list) else [value]
            if not tables:
                raise place.error("a build has one turbo at least: add a table [[turbo]]")
            return tuple(_read_part(Turbo, t, place / i) for i, t in enumerate(tables))
        return _read_part(key.part, value, place)
    if key.curve and isinstance(value, list):
        return _read_curve(key, value, place)
    if key.pair:
        if not isinstance(value, list) or len(value) != 2:
            raise place.error(f"two values are meant: {_example(key)}")
        low, high = (_read_value(key, v, place) for v in value)
        if low >= high:
            raise place.error("the first value must be below the second")
        return low, high
    if key.many:
        if not isinstance(value, list) or not value:
            raise place.error(f"a list is meant: {_example(key)}")
        return tuple(_read_value(key, v, place) for v in value)
    single = _read_value(key, value, place)
    return Curve(single) if key.curve else single


def _read_curve(key, rows, place):
    if not rows or any(not isinstance(row, list) or len(row) != 2 for row in rows):
        raise place.error(f"a curve is pairs of speed and value: {_example(key)}")
    speeds = tuple(_quantity("engine_speed", row[0], place) for row in rows)
    values = tuple(_read_value(key, row[1], place) for row in rows)
    if len(rows) < 2 or any(b <= a for a, b in pairwise(speeds)):
        raise place.error("a curve needs two or more points with rising speeds")
    return Curve(values, speeds)


def _read_value(key, value, place):
    if key.kind in ("text", "flag"):
        wanted = str if key.kind == "text" else bool
        if not isinstance(value, wanted):
            raise place.error(f"{value!r} is not {'text' if wanted is str else 'true or false'}")
        return value
    if key.kind == "count":
        if isinstance(value, bool) or not isinstance(value, int):
            raise place.error(f"{value!r} is not a whole number without a unit")
        number = value
    else:
        number = _quantity(key.kind, value, place)
    if not key.low <= number <= key.high:
        raise place.error(f"'{value}' is outside what is possible here, {_range(key, value)}")
    return number


def _quantity(kind, value, place):
    spec = units.KINDS[kind]
    if not isinstance(value, str) and not (spec.bare and isinstance(value, int | float)):
        raise place.error(f'{value!r} has no unit: write it like "{spec.example}"')
    if isinstance(value, bool):
        raise place.error(f"{value!r} is not a number")
    try:
        return units.parse(value, kind)
    except units.UnitError as error:
        raise place.error(error) from None


def _range(key, written):
    if key.kind == "count":
        return f"{key.low:g} to {key.high:g}"
    own = units.unit_of(key.kind, "US")
    system = "US" if own and own in str(written) else "SI"
    low, high = (_text(v, key.kind, system, digits=3) for v in (key.low, key.high))
    return f"{low} to {high}"


def _example(key):
    if key.kind == "part":
        return f"add a table [{key.name}]"
    if key.kind in ("text", "count", "flag"):
        return f"write {key.name} = " + {"text": '"..."', "count": "6", "flag": "true"}[key.kind]
    one = f'"{units.KINDS[key.kind].example}"'
    if key.pair:
        return f"write {key.name} = [{one}, {one}]"
    if key.many:
        return f"write {key.name} = [{one}]"
    either = f', or pairs [["3000 rpm", {one}], ["6000 rpm", {one}]]' if key.curve else ""
    return f"write {key.name} = {one}{either}"


def _check_build(build, place):
    """What no single value can tell: curves that end early, parts that need each other."""
    engine = build.engine
    for name, field in keys_of(type(engine)).items():
        curve = getattr(engine, field.name)
        if not isinstance(curve, Curve) or not curve.speeds_rpm:
            continue
        low, high = engine.speed_range_rpm
        if curve.speeds_rpm[0] > low or curve.speeds_rpm[-1] < high:
            raise (place / "engine" / name).error(
                f"the points must reach over the whole speed_range, {low:.0f} to {high:.0f} rpm"
            )
    if build.fuel.name not in FUELS and len(build.fuel.own) < 4:
        raise (place / "fuel" / "name").error(
            f"'{build.fuel.name}' is not among {', '.join(FUELS)}: choose one, or give all of "
            "hydrogen_per_carbon, oxygen_per_carbon, heating_value and density"
        )
    names = [t.name for t in build.turbos]
    for number, turbo in enumerate(build.turbos):
        here = place / "turbo" / number
        if turbo.name in names[:number]:
            raise (here / "name").error(f"two turbos are called '{turbo.name}'")
        if not turbo.turbine_curve and None in (turbo.turbine_area_m2, turbo.turbine_efficiency):
            raise (here / "turbine_area").error(
                "a turbine needs turbine_area and turbine_efficiency, or a turbine_curve"
            )
    if build.target and build.target.at_wheel and build.target.drivetrain_loss is None:
        raise (place / "target" / "drivetrain_loss").error(
            'a power at the wheel needs the loss in between: write it like "15 %"'
        )


def _write_part(table, part, system):
    for name, field in keys_of(type(part)).items():
        value, key = getattr(part, field.name), field.metadata["key"]
        if key.kind == "part":
            _write_subpart(table, name, value, system)
        elif value is None or (value == field.default and name not in table):
            table.pop(name, None)
        elif name not in table or not _same(key, table[name], value):
            table[name] = _written(key, value, system)


def _write_subpart(table, name, value, system):
    if value is None:
        table.pop(name, None)
    elif isinstance(value, tuple):
        old = {t.get("name"): t for t in _as_tables(table.get(name, []))}
        if list(old) != [turbo.name for turbo in value]:
            array = tomlkit.aot()
            for turbo in value:
                array.append(old.get(turbo.name, tomlkit.table()))
            table[name] = array
        for inner, turbo in zip(_as_tables(table[name]), value, strict=True):
            _write_part(inner, turbo, system)
    else:
        inner = table.get(name, tomlkit.table())
        _write_part(inner, value, system)
        if name not in table and len(inner):
            table[name] = inner


def _as_tables(value):
    return value if isinstance(value, list) else [value]


def _same(key, written, value):
    """Whether what stands in the file already says this value."""
    plain = written.unwrap() if hasattr(written, "unwrap") else written
    try:
        old = _read(key, plain, _Place("", ""))
    except BuildError:
        return False
    return _close(old, value)


def _close(a, b):
    if isinstance(a, Curve) and isinstance(b, Curve):
        a, b = (a.values, a.speeds_rpm), (b.values, b.speeds_rpm)
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(map(_close, a, b))
    if isinstance(a, float | int) and isinstance(b, float | int):
        return math.isclose(a, b, rel_tol=1e-9)
    return a == b


def _written(key, value, system):
    if key.kind in ("text", "flag", "count"):
        return value
    if isinstance(value, Curve) and value.speeds_rpm:
        pairs = zip(value.speeds_rpm, value.values, strict=True)
        rows = tomlkit.array()
        for speed, one in pairs:
            rows.append(
                [_shortest(speed, "engine_speed", system), _shortest(one, key.kind, system)]
            )
        return rows.multiline(True)
    if key.pair or key.many:
        return [_written_one(key, v, system) for v in value]
    return _written_one(key, value.values if isinstance(value, Curve) else value, system)


def _written_one(key, value, system):
    return value if units.KINDS[key.kind].bare else _shortest(value, key.kind, system)


def _shortest(value, kind, system):
    """The value in the unit, of either system, that says it in fewest digits."""
    other = next(s for s in units.SYSTEMS if s != system)
    return min((_text(value, kind, s) for s in (system, other)), key=len)


def _text(value, kind, system, digits=None):
    """The shortest text that reads back as the value (or with so many digits)."""
    number, label = float(units.shown(value, kind, system)), units.unit_of(kind, system)
    for places in [digits] if digits else range(3, 18):
        shortest = f"{number:.{places}g}"
        if "e" in shortest:
            shortest = f"{float(shortest):f}".rstrip("0").rstrip(".")
        text = f"{shortest} {label}".strip()
        if digits or math.isclose(units.parse(text, kind), value, rel_tol=1e-12, abs_tol=1e-300):
            return text
    return text
