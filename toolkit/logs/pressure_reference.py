"""Gauge or absolute: what the rows with the engine off, the sign and the words prove."""

import re

import numpy as np

from toolkit import units
from toolkit.logs.unit_names import unit_of_text

STANDING_RPM = 50.0  # slower than any cranking engine
ZERO_PA = 2000.0  # how far an honest sensor may be from zero or from the barometer
BAROMETERS_PA = (55e3, 108e3)  # from 4900 m up to the highest ever at sea level
# Below this boost [Pa] an engine counts as not boosted: nothing is said of its ratios or of its
# mixture under load, and a column called boost that stays below it cannot be absolute.
LEAST_BOOST_PA = 10e3
USUAL_PA = 80e3  # below this (2000 m) a wrong zero is as likely as a high place

_WRITTEN = re.compile(
    r"(?i)(\d+(?:[.,]\d+)?)\s*(in\.?\s?hg|mm\s?hg|\"hg|psia?|kpa|hpa|mbar|bar|pa)\b"
)
_WORDS = re.compile(r"(?i)baro|luftdruck|atmosph|atmosf|lufttryck|ambient pressure|cell pressure")


def standing(speed_rpm):
    """Rows in which the engine does not turn."""
    return np.asarray(speed_rpm) < STANDING_RPM


def stated_barometer(notes):
    """The barometer [Pa] that the preamble states and the words that do; None if it does not.

    Two different values state nothing.
    """
    found = {}
    for note in notes:
        values = _WRITTEN.findall(note.text) if _WORDS.search(note.text) else []
        for number, unit in values:
            unit = unit_of_text(unit)[0]
            pascal = units.parse(f"{number.replace(',', '.')} {unit}", "barometer")
            if BAROMETERS_PA[0] <= pascal <= BAROMETERS_PA[1]:
                found[round(pascal)] = pascal, f"line {note.line}: {note.text.strip()}"
    return next(iter(found.values())) if len(found) == 1 else None


def at_rest(pressure_pa, off):
    """What the sensor reads with the engine off (rows `off`) [Pa]; NaN without such a row."""
    rows = np.asarray(pressure_pa)[off]
    rows = rows[np.isfinite(rows)]
    return float(np.median(rows)) if rows.size else np.nan


def judge(pressure_pa, off, barometer_pa=None, stated="", word=""):
    """("gauge" | "absolute" | "", why): what the numbers and the header prove together.

    pressure_pa: the column in pascal, whatever its zero. off: rows with the engine off.
    stated: the header's "gauge" or "absolute". word: "boost" where only that word says gauge.
    "" where nothing is proven, or where header and numbers disagree.
    """
    barometer_pa = barometer_pa if barometer_pa and np.isfinite(barometer_pa) else None
    proven, why = _from_rows(pressure_pa, off, barometer_pa)
    if not proven and np.nanmin(pressure_pa, initial=np.inf) < -ZERO_PA:
        proven, why = "gauge", "it goes below zero, which no absolute pressure does"
    if stated and proven and stated != proven:
        return "", f"the header says {stated}, but {why}"
    if proven or why:
        return proven, why
    if stated and word != "boost":
        return stated, f"the header says {stated}"
    peak = np.nanmax(pressure_pa, initial=-np.inf)
    if word == "boost" and peak < (barometer_pa or 101325.0) + LEAST_BOOST_PA:
        return "gauge", "called boost, and as an absolute pressure there would be none"
    return "", "neither the header nor a row with the engine off says which"


def _from_rows(pressure_pa, off, barometer_pa):
    level = at_rest(pressure_pa, off)
    if not np.isfinite(level):
        return "", ""
    kpa = f"{level / 1000:.2f} kPa in {np.count_nonzero(off)} rows with the engine off"
    if abs(level) < ZERO_PA:
        return "gauge", f"it reads {kpa}: near zero"
    if barometer_pa:
        other = f"the barometer {barometer_pa / 1000:.2f} kPa"
        near = abs(level - barometer_pa) < ZERO_PA
        return (
            ("absolute", f"it reads {kpa}, {other}") if near else ("", f"it reads {kpa}, {other}")
        )
    if USUAL_PA <= level <= BAROMETERS_PA[1]:
        return "absolute", f"it reads {kpa}: a barometer's reading"
    if BAROMETERS_PA[0] <= level < USUAL_PA:
        return "", f"it reads {kpa}: the air of a high place, or a sensor with a wrong zero"
    return "", f"it reads {kpa}: neither zero nor a barometer's reading"
