"""Units as files spell them, brought to the text that toolkit.units reads.

>>> unit_of_text("ftlbs"), unit_of_text("U/min"), unit_of_text("psi abs")
(('lb-ft', ''), ('rpm', ''), ('psi', 'absolute'))
"""

import re
from functools import cache

import numpy as np

from toolkit import units

# Text for toolkit.units: the spellings found in files, in small letters and without blanks.
_SPELLED = {
    "rpm": "rpm 1/min min-1 min^-1 /min u/min upm tr/min trmin r/min rev/min revs/min giri/min"
    " g/min1 varv/min umdr/min omw/min o/min",
    "rad/s": "rad/s rads-1 rad/sec rads^-1",
    "N*m": "nm n.m n·m n*m n-m newtonmeter newtonmetre newtonmeters newton-meter newton-metre",
    "kgf*m": "kgfm kgf.m kgf*m kgf·m mkg mkgf kgm kg.m kg-m kg·m",
    "lb-ft": "lbft lb-ft lb.ft lb·ft lbf-ft lbfft lbf.ft lbf·ft lbf*ft lbsft lbs-ft lbs.ft ft-lb"
    " ftlb ftlbs ft-lbs ft.lb ft.lbs ft·lb ft-lbf ftlbf ft*lbf ft.lbf lb*ft",
    "hp": "hp bhp whp horsepower rwhp",
    "PS": "ps cv ch pk hk pferdestarke pferdestaerke chevaux",
    "kW": "kw kilowatt kilowatts",
    "W": "w watt watts",
    "psi": "psi lbf/in2 lb/in2 lbf/in² lbs/in2",
    "kPa": "kpa kilopascal",
    "hPa": "hpa hectopascal",
    "mbar": "mbar millibar mb",
    "bar": "bar bars",
    "Pa": "pa pascal pascals n/m2 n/m²",
    "MPa": "mpa megapascal",
    "inHg": 'inhg in-hg in.hg "hg inchhg inches-hg',
    "mmHg": "mmhg torr",
    "atm": "atm",
    "kgf/cm**2": "kgf/cm2 kg/cm2 kgf/cm² kg/cm² at",
    "°C": "°c c degc ºc gradc celsius degreec degreesc degcelsius gradcelsius deg.c ℃ oc *c",
    "°F": "°f f degf ºf fahrenheit degreef degreesf degfahrenheit deg.f ℉",
    "K": "k kelvin degk °k",
    "%": "% pct percent prozent perc pourcent porcentaje percentuale procent %rh %rf",
    "s": "s sec secs second seconds sek sekunde sekunden seg segundos secondes secondi sekunder",
    "ms": "ms msec millisecond milliseconds msek",
    "us": "us µs μs usec microsecond microseconds",
    "ns": "ns nsec nanosecond nanoseconds",
    "min": "min mins minute minutes minuten",
    "h": "h hr hrs hour hours std",
    "kg/h": "kg/h kg/hr kgh kgph",
    "kg/s": "kg/s kg/sec",
    "kg/min": "kg/min",
    "g/s": "g/s gps g/sec gm/s",
    "g/h": "g/h g/hr",
    "lb/min": "lb/min lbs/min lbm/min ppm",
    "lb/hour": "lb/h lb/hr lbs/h lbs/hr lbm/h lbm/hr pph",
    "lb/s": "lb/s lbs/s lbm/s",
    "cm**3/s": "cc/s ccps cm3/s cm³/s ccs ml/s",
    "cm**3/min": "cc/min ccpm cm3/min cm³/min ccm ml/min",
    "liter/hour": "l/h l/hr lph",
    "liter/min": "l/min lpm",
    "gallon/hour": "gal/h gal/hr gph",
    "foot**3/min": "cfm ft3/min ft³/min",
    "m**3/h": "m3/h m³/h",
    "m**3/min": "m3/min m³/min",
    "lambda": "lambda λ la lam",
    "AFR": "afr a/f a:f :1",
    "degree": "° deg degree degrees grad º °kw °kwvot °vot °ca degca °btdc degbtdc dbtdc btdc °bvdc"
    " degcrk °crk",
    "mm": "mm millimeter",
    "inch": 'in inch inches "',
    "m": "m meter",
    "mph": "mph mi/h miles/h",
    "km/h": "km/h kmh kph kmph km/hr",
    "m/s": "m/s mps m/sec",
    "Hz": "hz hertz 1/s",
}
_BY_SPELLING = {word: unit for unit, listed in _SPELLED.items() for word in listed.split()}
_REFERENCE = re.compile(
    r"(?i)^(.*?)[\s_.\-(]*(?:(abs|absolute?|absolut|absolu)|(gauge|gage|rel|relativ|relative))\)?$"
)
_SUFFIXED = {
    "psia": "absolute",
    "psig": "gauge",
    "bara": "absolute",
    "barg": "gauge",
    "kpaa": "absolute",
    "kpag": "gauge",
    "mbara": "absolute",
    "mbarg": "gauge",
}
_AFR_SCALES = re.compile(r"^AFR (\d+(?:\.\d+)?)$")


@cache
def unit_of_text(written):
    """The unit a file's text names and its reference ("gauge", "absolute", ""), or None."""
    text = written.strip().strip("[](){}<>").strip()
    spelled = re.sub(r"\s+", "", text).replace("−", "-").casefold()
    if spelled in _SUFFIXED:
        return _BY_SPELLING[spelled[:-1]], _SUFFIXED[spelled]
    if spelled in _BY_SPELLING:
        return _BY_SPELLING[spelled], ""
    found = _REFERENCE.match(text)
    if found and found.group(1):
        inner = _BY_SPELLING.get(re.sub(r"\s+", "", found.group(1)).casefold())
        if inner and kind_fits(inner, "pressure"):
            return inner, "absolute" if found.group(2) else "gauge"
    return None


@cache
def kind_fits(unit, kind):
    """Whether a quantity of this kind can be given in this unit.

    >>> kind_fits("psi", "pressure"), kind_fits("psi", "temperature")
    (True, False)
    """
    try:
        _line(unit, kind)
    except units.UnitError:
        return False
    return True


@cache
def by_volume(unit):
    """Whether the unit measures a flow by its volume."""
    return kind_fits(unit, "injector_flow")


@cache
def _line(unit, kind):
    """Inside value = written * factor + offset."""
    scale = _AFR_SCALES.match(unit)
    if kind == "lambda":
        if unit in ("lambda", ""):
            return 1.0, 0.0
        if scale:
            return 1.0 / float(scale.group(1)), 0.0
        if unit == "AFR":  # fits, but cannot be converted before its scale is known
            return np.nan, np.nan
        raise units.UnitError(f"'{unit}' is no unit of lambda: write lambda or 'AFR 14.7'")
    if kind == "fuel_flow" and " of " in unit:
        volume, density = unit.split(" of ", 1)
        return _line(volume, "injector_flow")[0] * units.parse(
            density.replace("m3", "m³"), "density"
        ), 0.0
    if kind == "fuel_flow" and by_volume(unit):  # likewise, before the fuel is known
        return np.nan, np.nan
    if kind == "fraction" and unit == "fraction":
        return 1.0, 0.0
    zero, one = (units.parse(f"{n} {unit}", kind) for n in (0, 1))
    return one - zero, zero


def inside(values, unit, kind):
    """Values in a file's unit as numbers in the inside unit of their kind.

    A mixture is either lambda or an air-fuel ratio on a named scale, "AFR 14.7"; a fuel flow
    by volume names the fuel's density, "cm**3/s of 745 kg/m3".
    Raises toolkit.units.UnitError where the unit does not fit.

    >>> float(inside(11.8, "AFR 14.7", "lambda").round(3))
    0.803
    """
    factor, offset = _line(unit, kind)
    return np.asarray(values, dtype=float) * factor + offset
