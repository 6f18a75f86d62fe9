"""Every correction of an observed power or torque, with what speaks for and against it."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from toolkit import units
from toolkit.physics import air
from toolkit.physics.correction import (
    COMPRESSION_IGNITION_LIMIT,
    SITE_EXPONENTS,
    STANDARDS,
    SUSPECT_BEYOND,
    SUSPECT_SOURCE,
    compression_ignition_factor,
    held_boost_ratio,
    indicated_ratio,
    site_adjustment,
)

INSIDE, OUTSIDE, NO_RANGE, CANNOT_TELL = "inside", "outside", "no range known", "cannot tell"
_REFERENCE_PA = STANDARDS["SAE J1349"].p_reference_pa
_KINDS = {"p_dry_pa": ("dry pressure", "barometer"), "t_k": ("temperature", "temperature")}


@dataclass(frozen=True)
class UnderTest:
    """What a correction may ask about the engine; the defaults are an unboosted petrol engine.

    boost_gauge_pa: what the gate holds [Pa]. fuel_mg: diesel per litre and cycle [mg].
    t_coolant_k: the charge cooler's medium [K]. NaN is not known.
    """

    boost_gauge_pa: float = 0.0
    compression_ignition: bool = False
    cooled: bool = True
    fuel_mg: float = np.nan
    t_coolant_k: float = np.nan
    mechanical_efficiency: float = 0.85

    @property
    def boosted(self):
        """Whether anything is blown in; an unknown boost counts."""
        return self.boost_gauge_pa != 0


@dataclass(frozen=True)
class Corrected:
    """One line of the list: a number on one reference day, and how far to trust it.

    verdict: "inside" or "outside" the stated range, "no range known" or "cannot tell".
    reasons: sentences behind the verdict.
    """

    name: str
    reference: str
    formula: str
    source: str
    factor: float
    value: float
    verdict: str
    reasons: tuple[str, ...] = ()


class _Words(NamedTuple):
    """What a correction that is not a plain Standard says of itself."""

    name: str
    reference: str
    formula: str
    source: str


def corrections(observed, weather, tested=None, system="SI"):
    """The observed number first, then by every standard that fits the engine.

    observed: power or torque, in SI. Sentences are in the units of `system`.

    >>> from toolkit.logs.weather import Weather
    >>> lines = corrections(600e3, Weather(95e3, 303.15, 0.0))
    >>> [(line.name, round(line.value / 1e3)) for line in lines][:2]
    [('observed', 600), ('SAE J1349', 636)]
    """
    tested = tested or UnderTest()
    lines = [Corrected("observed", "this day's air", "", "", 1.0, observed, INSIDE)]
    if tested.compression_ignition:
        lines.append(_compression_ignition(observed, weather, tested, system))
        plain = [STANDARDS["DIN 70020"]]
    else:
        plain = STANDARDS.values()
    lines += [_plain(standard, observed, weather, system) for standard in plain]
    return [*lines, _site(observed, weather, tested)]


def caveats(weather, tested, system="SI"):
    """What to say beside any corrected number of this engine, in sentences.

    >>> from toolkit.logs.weather import Weather
    >>> caveats(Weather(83.64e3, 297.0, 0.2), UnderTest(103.4e3))[1][:60]
    'With the gate holding 103.4 kPa gauge the manifold here has '
    """
    if not tested.boosted:
        return ()
    first = (
        "These factors are made for what an unboosted engine feels of the weather; on a"
        " turbocharged one they may over-correct (common practice): compare observed power first."
    )
    if not np.isfinite(tested.boost_gauge_pa + weather.p_cell_pa):
        return (first, "How far cannot be told without the boost and the barometer.")
    boost, reference = (
        units.text(value, kind, system)
        for value, kind in ((tested.boost_gauge_pa, "boost"), (_REFERENCE_PA, "barometer"))
    )
    held = held_boost_ratio(tested.boost_gauge_pa, weather.p_cell_pa, _REFERENCE_PA)
    return (
        first,
        f"With the gate holding {boost} gauge the manifold here has {_away(held)} absolute"
        f" pressure than on the reference barometer of {reference}, where the barometer itself"
        f" has {_away(weather.p_cell_pa / _REFERENCE_PA)}.",
        "A controller that holds absolute manifold pressure hides the barometer from the manifold"
        " altogether, until the turbo runs out of speed.",
    )


def _plain(standard, observed, weather, system):
    state = weather.p_cell_pa, weather.t_cell_k, weather.humidity
    factor = float(standard.factor(*state))
    if np.isnan(factor):
        verdict, reasons = CANNOT_TELL, _without_humidity(standard.factor, weather)
    else:
        broken = standard.breaches(*state)
        reasons = [_outside(limit, value, system) for limit, value in broken]
        verdict = OUTSIDE if broken else INSIDE if standard.limits else NO_RANGE
    return _line(standard, observed, factor, verdict, reasons)


def _compression_ignition(observed, weather, tested, system):
    ratio = 1 + tested.boost_gauge_pa / weather.p_cell_pa

    def factor_of(p_pa, t_k, humidity):
        return compression_ignition_factor(
            p_pa, t_k, humidity, tested.fuel_mg, ratio, tested.boosted
        )

    factor = float(factor_of(weather.p_cell_pa, weather.t_cell_k, weather.humidity))
    limit = COMPRESSION_IGNITION_LIMIT
    if np.isnan(factor):
        verdict, reasons = CANNOT_TELL, _without_humidity(factor_of, weather)
        if np.isnan(tested.fuel_mg):
            reasons.append("It needs the fuel per cycle: log fuel flow and speed.")
    else:
        broken = not limit.low <= factor <= limit.high
        verdict = OUTSIDE if broken else INSIDE
        reasons = [_outside(limit, factor, system)] if broken else []
    words = _Words(
        "ISO 1585, compression ignition", "99 kPa dry, 25 °C", "fa^fm", "ISO 1585 and UN R85"
    )
    return _line(words, observed, factor, verdict, reasons)


def _site(observed, weather, tested):
    name = _site_class(tested)
    exponents = SITE_EXPONENTS[name]
    coolant = tested.t_coolant_k if exponents.coolant else 298.0

    def factor_of(p_pa, t_k, humidity):
        k = indicated_ratio(exponents, p_pa, t_k, humidity, coolant)
        return 1 / site_adjustment(k, tested.mechanical_efficiency)[0]

    factor = float(factor_of(weather.p_cell_pa, weather.t_cell_k, weather.humidity))
    verdict, reasons = NO_RANGE, []
    if np.isnan(factor):
        verdict, reasons = CANNOT_TELL, _without_humidity(factor_of, weather)
        if np.isnan(coolant):
            reasons.append("It needs the temperature of the charge cooler's medium.")
    words = _Words(
        f"ISO 3046-1, {name}",
        f"100 kPa, 25 °C, 30 %, mechanical efficiency {tested.mechanical_efficiency:.0%}",
        "1 / (k - 0.7 (1 - k)(1/efficiency - 1))",
        "ISO 3046-1, a site adjustment, turned round",
    )
    return _line(words, observed, factor, verdict, reasons)


def _site_class(tested):
    if tested.compression_ignition:
        kind = "turbocharged and cooled" if tested.cooled else "turbocharged"
        return f"compression ignition, {kind if tested.boosted else 'unboosted'}"
    kind = "turbocharged and cooled" if tested.boosted else "unboosted"
    return f"spark ignition, {kind} (from memory)"


def _line(words, observed, factor, verdict, reasons):
    if abs(factor - 1) > SUSPECT_BEYOND:
        reasons = [
            *reasons,
            f"A factor {abs(factor - 1):.1%} from 1 is suspect between days ({SUSPECT_SOURCE}).",
        ]
    return Corrected(
        words.name,
        words.reference,
        words.formula,
        words.source,
        factor,
        observed * factor,
        verdict,
        tuple(reasons),
    )


def _outside(limit, value, system):
    if limit.quantity == "factor":
        found, low, high = (f"{x:.3f}" for x in (value, limit.low, limit.high))
        words = "factor"
    else:
        words, kind = _KINDS[limit.quantity]
        found, low, high = (units.text(x, kind, system) for x in (value, limit.low, limit.high))
    return f"The {words} {found} lies outside {low} to {high} ({limit.source})."


def _without_humidity(factor_of, weather):
    """If only the humidity is missing, how much it could matter."""
    missing = [
        words
        for value, words in ((weather.p_cell_pa, "barometer"), (weather.t_cell_k, "temperature"))
        if np.isnan(value)
    ]
    if missing:
        return [f"It needs the {' and the '.join(missing)} of the cell."]
    if np.isfinite(weather.humidity):
        return []
    ends = [float(factor_of(weather.p_cell_pa, weather.t_cell_k, h)) for h in (0.0, 1.0)]
    if np.isnan(ends).any():
        return ["It needs the humidity."]
    vapour = air.vapour_pressure_pa(weather.t_cell_k, 1.0) / weather.p_cell_pa
    return [
        f"The humidity is not known: between {ends[0]:.3f} for dry air and {ends[1]:.3f} for"
        f" saturated air, of which vapour would be {vapour:.1%}."
    ]


def _away(ratio):
    percent = abs(1 - ratio) * 100
    return f"{percent:.1f} % {'less' if ratio < 1 else 'more'}"
