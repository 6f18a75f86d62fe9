"""Units at the edge: text with a unit in, SI inside, the person's units out.

Everything inside the toolkit is a bare number in the SI unit of its kind; this module is
the one place that knows what a person writes ("14 psi", "0,97 bar", "620 hp") and reads.
"""

import math
import re
from dataclasses import dataclass
from functools import cache

import numpy as np

SYSTEMS = ("US", "SI")


class UnitError(ValueError):
    """A quantity that cannot be used; the message is one sentence for the person."""


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its inside unit and, per system, what a person sees.

    inside, us, si: pint unit names. us_label, si_label: as printed. Decimals are those that a
    dyno's own resolution supports. force_pound: "lb" means pound-force in this kind.
    """

    inside: str
    us: str
    us_label: str
    us_decimals: int
    si: str
    si_label: str
    si_decimals: int
    example: str
    force_pound: bool = False
    bare: bool = False


def _same(inside, unit, label, decimals, example, **more):
    return Kind(inside, unit, label, decimals, unit, label, decimals, example, **more)


KINDS = {
    "pressure": Kind("pascal", "psi", "psi", 1, "kilopascal", "kPa", 1, "14.7 psi"),
    "boost": Kind("pascal", "psi", "psi", 1, "kilopascal", "kPa", 1, "14 psi"),
    "stress": Kind("pascal", "kpsi", "kpsi", 1, "megapascal", "MPa", 0, "420 MPa"),
    "modulus": Kind("pascal", "Mpsi", "Mpsi", 2, "gigapascal", "GPa", 1, "80 GPa"),
    "barometer": Kind("pascal", "inHg", "inHg", 2, "kilopascal", "kPa", 2, "29.23 inHg"),
    "temperature": Kind("kelvin", "degF", "°F", 0, "degC", "°C", 0, "100 °F"),
    "temperature_difference": Kind("kelvin", "delta_degF", "°F", 0, "delta_degC", "°C", 0, "20 °F"),
    "engine_speed": _same("rpm", "rpm", "rpm", 0, "6000 rpm"),
    "shaft_speed": _same("rpm", "rpm", "rpm", 0, "120000 rpm"),
    "torque": Kind(
        "newton*meter",
        "lbf*ft",
        "lb-ft",
        0,
        "newton*meter",
        "N m",
        0,
        "500 lb-ft",
        force_pound=True,
    ),
    "power": Kind("watt", "horsepower", "hp", 0, "kilowatt", "kW", 0, "620 hp"),
    "air_flow": Kind(
        "kilogram/second", "lb/min", "lb/min", 1, "gram/second", "g/s", 0, "55 lb/min"
    ),
    "fuel_flow": Kind("kilogram/second", "lb/hour", "lb/h", 0, "gram/second", "g/s", 1, "300 lb/h"),
    "injector_flow": _same("meter**3/second", "centimeter**3/minute", "cm³/min", 0, "1000 cm³/min"),
    "volume_flow": Kind(
        "meter**3/second", "foot**3/minute", "cfm", 0, "meter**3/minute", "m³/min", 1, "500 cfm"
    ),
    "displacement": _same("meter**3", "liter", "L", 2, "4.8 L"),
    "volume": Kind("meter**3", "gallon", "gal", 1, "liter", "L", 1, "10 L"),
    "length": Kind("meter", "inch", "in", 3, "millimeter", "mm", 2, "3.622 in"),
    "distance": Kind("meter", "foot", "ft", 1, "meter", "m", 1, "30 ft"),
    "altitude": Kind("meter", "foot", "ft", 0, "meter", "m", 0, "1000 ft"),
    "area": Kind("meter**2", "inch**2", "in²", 2, "centimeter**2", "cm²", 2, "1.8 in²"),
    "drag_area": Kind("meter**2", "foot**2", "ft²", 1, "meter**2", "m²", 2, "0.70 m²"),
    "force": Kind("newton", "lbf", "lb", 1, "newton", "N", 0, "110 lb", force_pound=True),
    "spring_rate": Kind(
        "newton/meter",
        "lbf/inch",
        "lb/in",
        1,
        "newton/millimeter",
        "N/mm",
        2,
        "40 lb/in",
        force_pound=True,
    ),
    "mass": Kind("kilogram", "lb", "lb", 1, "kilogram", "kg", 1, "3200 lb"),
    "vehicle_mass": Kind("kilogram", "lb", "lb", 0, "kilogram", "kg", 0, "2600 lb"),
    "small_mass": _same("kilogram", "gram", "g", 1, "95 g"),
    "density": Kind(
        "kilogram/meter**3", "lb/foot**3", "lb/ft³", 4, "kilogram/meter**3", "kg/m³", 3, "1.2 kg/m³"
    ),
    "inertia": _same("kilogram*meter**2", "kilogram*millimeter**2", "kg mm²", 1, "30 kg mm²"),
    "crank_inertia": _same("kilogram*meter**2", "kilogram*meter**2", "kg m²", 2, "0.20 kg m²"),
    "vehicle_speed": Kind(
        "meter/second", "mile/hour", "mph", 0, "kilometer/hour", "km/h", 0, "60 mph"
    ),
    "gas_speed": Kind(
        "meter/second", "foot/second", "ft/s", 0, "meter/second", "m/s", 0, "250 ft/s"
    ),
    "acceleration": Kind(
        "meter/second**2", "foot/second**2", "ft/s²", 0, "meter/second**2", "m/s²", 0, "8000 m/s²"
    ),
    "bsfc": Kind(
        "kilogram/joule",
        "lb/(horsepower*hour)",
        "lb/hp/h",
        3,
        "gram/(kilowatt*hour)",
        "g/kWh",
        0,
        "0.50 lb/hp/h",
    ),
    "heat_flow": _same("watt", "kilowatt", "kW", 1, "25 kW"),
    "energy_density": _same("joule/kilogram", "megajoule/kilogram", "MJ/kg", 1, "43.4 MJ/kg"),
    "time": _same("second", "second", "s", 2, "2.5 s"),
    "long_time": _same("second", "minute", "min", 0, "15 min"),
    "short_time": _same("second", "millisecond", "ms", 1, "18 ms"),
    "sweep_rate": _same("rpm/second", "rpm/second", "rpm/s", 0, "300 rpm/s"),
    "frequency": _same("hertz", "hertz", "Hz", 1, "50 Hz"),
    "grade": _same("", "percent", "%", 1, "5 %"),
    "angle": _same("degree", "degree", "°", 1, "12°"),
    "fraction": _same("", "percent", "%", 1, "85 %"),
    "lambda": _same("", "", "", 3, "0.85", bare=True),
    "ratio": _same("", "", "", 2, "2.0", bare=True),
    "number": _same("", "", "", 3, "9.5", bare=True),
}

# Spellings of the trade that a general units library reads otherwise (or not at all).
_SPELLINGS = [
    (r"(?i)\b(?:lb|lbs|lbf)\s*[-·*.]?\s*ft\b|\b(?:ft|foot)\s*[-·*.]?\s*(?:lbs?|lbf)\b", "lbf*ft"),
    (r"\bN\s*[·.*-]?\s*m\b", "newton*meter"),
    (r"(?i)\bin\.?\s*-?hg\b|\"\s*hg\b", "inHg"),
    (r"(?i)\bmm\s*-?hg\b", "mmHg"),
    (r"(?i)\bin\.?\s*-?h2o\b", "inch_H2O_39F"),
    (r"(?i)\bbhp\b|\bhp\b", "horsepower"),
    (r"(?i)\b(?:ps|cv|pk)\b", "metric_horsepower"),
    (r"(?i)\bccm?\b|\bcm³", "centimeter**3"),
    (r"(?i)\bcid\b|\bcu\.?\s*in\b", "inch**3"),
    (r"(?i)\bcfm\b", "foot**3/minute"),
    (r"(?i)\bmph\b", "mile/hour"),
    (r"(?i)\bkph\b|\bkmh\b", "kilometer/hour"),
    (r"(?i)\bksi\b", "kpsi"),
    (r"(?i)\blbs\b", "lb"),
    (r"(?i)\blitres?\b|\blitros?\b", "liter"),
    (r"(?i)\b1/min\b|\bu/min\b|\btr/min\b|\br/min\b", "rpm"),
    (r"(?i)\bsec\b", "second"),
    (r"(?<=\bm)([23])\b|(?<=\b[cm]m)([23])\b|(?<=\bin)([23])\b|(?<=\bft)([23])\b", r"**\1\2\3\4"),
    (r"²", "**2"),
    (r"³", "**3"),
    (r"°\s*(?=$|[*/])", "degree"),
]
_TEMPERATURES = {"c": "degC", "f": "degF", "k": "kelvin", "r": "degR"}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
# A number in a unit is a single-digit power ("m**2", "mm^2", "H2O") or the 1 of "1/min", so that
# no text can ask the units library for an endless power.
_UNIT_TEXT = re.compile(
    r"(?=.{0,40}$)(?:[A-Za-zµ°%\"²³·*/(). ^_-]|\b1/|(?<=[A-Za-z*^-])[0-9](?![0-9]|\s*(?:\*\*|\^)))*"
)


@cache
def registry():
    """The units library, loaded on first use."""
    import pint

    ureg = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ureg.define("kpsi = 1000 * psi")
    ureg.define("Mpsi = 1e6 * psi")
    return ureg


def parse(text, kind, default_unit=None):
    """The quantity written in `text` as a number in the inside unit of its kind.

    `default_unit` (a label or unit) is taken for a bare number; without it a bare number is
    refused, except for kinds that have no unit. A decimal comma is read as one; a comma before
    exactly three digits could be a thousands mark and is refused. "psig" or "psia" is refused
    where the other is meant.

    Raises UnitError with one sentence: what is wrong and an example.

    >>> round(parse("14 psi", "boost"))
    96527
    >>> round(parse("0,97 bar", "boost"))
    97000
    >>> round(parse("100 F", "temperature"), 2)
    310.93
    >>> parse("14", "boost")
    Traceback (most recent call last):
    ...
    toolkit.units.UnitError: '14' has no unit: write it like '14 psi'
    """
    spec = KINDS[kind]
    written = str(text).strip()
    match = _NUMBER.match(written)
    if not match:
        raise UnitError(
            f"'{written[:40]}' is not a number with a unit: write it like '{spec.example}'"
        )
    number, unit = match.groups()
    value = _number(number, written)
    if not unit:
        if not (spec.bare or default_unit):
            raise UnitError(
                f"'{written}' has no unit: write it like '{number} "
                f"{spec.example.split(' ', 1)[-1]}'"
            )
        unit = default_unit or ""
    unit = _without_reference(unit, kind, written)
    return _convert(value, unit, spec, kind, written)


def _number(text, written):
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
        whole = text.replace(",", "")
        raise UnitError(
            f"'{written}' could be {whole} or {text.replace(',', '.')}: write it without the comma"
        )
    value = float(text.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(f"'{written}' is too large to be a quantity")
    return value


def _without_reference(unit, kind, written):
    """The unit with its trailing word for gauge or absolute taken off, or refused."""
    found = re.fullmatch(r"(?i)(psi|bar|kpa|mbar)(?:\s*\(?(abs|absolute|a|g|gauge|gage)\)?)", unit)
    if not found or kind not in ("pressure", "boost", "barometer"):
        return unit
    absolute = found.group(2).lower().startswith("a")
    if absolute and kind == "boost":
        raise UnitError(f"'{written}' is absolute, but gauge is meant here: take the barometer off")
    if not absolute and kind != "boost":
        raise UnitError(f"'{written}' is gauge, but absolute is meant here: add the barometer")
    return found.group(1)


def _convert(value, unit, spec, kind, written):
    wanted = spec.us_label or "a plain number"
    if not _UNIT_TEXT.fullmatch(unit):
        raise UnitError(
            f"'{written[:40]}' has a unit that cannot be read: write it like '{spec.example}'"
        )
    try:
        quantity = registry().Quantity(value, pint_name(unit, kind))
        inside = quantity.to(spec.inside or "dimensionless").magnitude
    except Exception as error:  # the library raises many kinds, and none is a sentence
        import pint

        if isinstance(error, pint.DimensionalityError):
            raise UnitError(
                f"'{written}' is not {_with_article(kind)}: write it in {wanted} "
                f"or {spec.si_label or wanted}, like '{spec.example}'"
            ) from None
        raise UnitError(
            f"'{unit}' in '{written}' is not a unit known here: write it like '{spec.example}'"
        ) from None
    if not math.isfinite(inside):
        raise UnitError(f"'{written}' is too large to be a quantity")
    return float(inside)


def _with_article(kind):
    words = kind.replace("_", " ")
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


def pint_name(unit, kind=None):
    """A unit as the trade writes it, in the spelling of the units library.

    >>> pint_name("lb-ft")
    'lbf*ft'
    >>> pint_name("°F", "temperature")
    'degF'
    """
    unit = unit.strip()
    if kind in ("temperature", "temperature_difference"):
        letter = re.fullmatch(r"(?i)(?:°|deg\.?\s*|degrees?\s*)?([cfkr])", unit)
        if letter:
            name = _TEMPERATURES[letter.group(1).lower()]
            delta = kind == "temperature_difference" and name.startswith("deg")
            return f"delta_{name}" if delta else name
    if unit == "%":
        return "percent"
    for pattern, name in _SPELLINGS:
        unit = re.sub(pattern, name, unit)
    if kind and KINDS[kind].force_pound:
        unit = re.sub(r"\blb\b", "lbf", unit)
    # A blank between two units is a product: "kg mm**2".
    return re.sub(r"(?<=[A-Za-z0-9])\s+(?=[A-Za-z])", "*", unit)


def unit_of(kind, system):
    """The label of the unit a person sees, such as 'psi' or 'kPa'.

    >>> unit_of("torque", "US"), unit_of("torque", "SI")
    ('lb-ft', 'N m')
    """
    spec = KINDS[kind]
    return spec.us_label if _is_us(system) else spec.si_label


def decimals_of(kind, system):
    """How many decimals a number of this kind is shown with."""
    spec = KINDS[kind]
    return spec.us_decimals if _is_us(system) else spec.si_decimals


@cache
def _scale(kind, system):
    """Shown = inside * factor + offset, taken once from the units library."""
    spec = KINDS[kind]
    shown = (spec.us if _is_us(system) else spec.si) or "dimensionless"
    q = registry().Quantity
    inside = spec.inside or "dimensionless"
    if kind == "temperature_difference":
        return float(q(1.0, "delta_degC").to(shown).magnitude), 0.0
    if kind == "temperature":
        zero = float(q(0.0, inside).to(shown).magnitude)
        return float(q(1.0, inside).to(shown).magnitude) - zero, zero
    return float(q(1.0, inside).to(shown).magnitude), 0.0


def shown(values, kind, system):
    """Inside values as a float or array in the person's unit.

    >>> round(float(shown(101325, "pressure", "US")), 3)
    14.696
    """
    factor, offset = _scale(kind, system)
    return np.asarray(values, dtype=float) * factor + offset


def inside(values, kind, system):
    """The inverse of `shown`."""
    factor, offset = _scale(kind, system)
    return (np.asarray(values, dtype=float) - offset) / factor


def exact_text(value, kind):
    """One number for a file, in SI units with their label, to be read back by `exact`.

    >>> exact_text(3000.0, "boost"), exact_text(0.95, "lambda")
    ('3 kPa', '0.95')
    """
    return f"{float(shown(value, kind, 'SI')):.10g} {unit_of(kind, 'SI')}".strip()


def exact(text, kind):
    """The number that `exact_text` wrote, or a person by hand. Raises UnitError as `parse`.

    >>> exact(exact_text(1234.5, "boost"), "boost")
    1234.5
    """
    return float(f"{parse(text, kind):.12g}")  # a unit's conversion costs a bit


def text(value, kind, system, decimals=None, unit=True):
    """One number as a person reads it; NaN is "not known".

    >>> text(101325, "pressure", "US"), text(np.nan, "power", "SI")
    ('14.7 psi', 'not known')
    """
    if value is None or not np.isfinite(value):
        return "not known"
    places = decimals_of(kind, system) if decimals is None else decimals
    number = f"{float(shown(value, kind, system)):.{places}f}"
    if float(number) == 0:
        number = number.lstrip("-")
    label = unit_of(kind, system) if unit else ""
    return number + ("" if not label else label if label == "°" else f" {label}")


def span(start, stop, kind, system):
    """A range as a person reads it, its unit once.

    >>> span(4000, 4500, "engine_speed", "US")
    '4000 to 4500 rpm'
    """
    return f"{text(start, kind, system, unit=False)} to {text(stop, kind, system)}"


def _is_us(system):
    if system not in SYSTEMS:
        raise ValueError(f"system is {system!r}: it must be 'US' or 'SI'")
    return system == "US"
