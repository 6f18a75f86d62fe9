"""Torque x speed = power: which torque is the engine's, in which units, and where it fails."""

from dataclasses import dataclass

import numpy as np

from toolkit.logs.channels import CERTAIN, UNKNOWN
from toolkit.logs.remarks import Remark
from toolkit.logs.settled import only
from toolkit.logs.unit_inference import CANDIDATES
from toolkit.logs.unit_names import inside

TOLERANCE = 0.005  # a log prints torque and power to three or four digits


@dataclass(frozen=True)
class Identity:
    """How torque x speed compares with power over the rows that carry load.

    torque_unit, power_unit: the pair that makes them agree, "" if none or several do.
    share: torque x speed over power, per row, in those units (or the stated ones); NaN where
    there is no load. holds: within 0.5 % in nine rows of ten.
    """

    torque_unit: str
    power_unit: str
    share: np.ndarray
    holds: bool


def power_identity(torque, speed_rpm, power, torque_units=(), power_units=()):
    """Torque x angular speed against power, for every pair of the units given (raw values).

    Without units all common ones are tried. Two pairs that fit equally decide nothing.
    Source: P = T omega; in lb-ft, rpm and hp the constant is 33000/(2 pi) = 5252.1.

    >>> found = power_identity([700.0, 620.0], [5252.113, 6000.0], [700.0, 708.3])
    >>> found.torque_unit, found.power_unit, found.holds
    ('lb-ft', 'hp', True)
    """
    torque, speed_rpm, power = (np.asarray(v, dtype=float) for v in (torque, speed_rpm, power))
    loaded = (speed_rpm > 0) & (power > 0.1 * np.nanmax(power, initial=0.0))
    pairs = [
        (t, p)
        for t in torque_units or CANDIDATES["torque"]
        for p in power_units or CANDIDATES["power"]
    ]
    shares = {pair: _share(torque, speed_rpm, power, loaded, *pair) for pair in pairs}
    fitting = [pair for pair, share in shares.items() if _agrees(share)]
    if len(fitting) > 1:  # lb-ft and kW against N m and PS: 0.3 % apart
        fitting = [pair for pair in fitting if abs(np.nanmedian(shares[pair]) - 1) < 0.0012]
    if len(fitting) == 1:
        return Identity(*fitting[0], shares[fitting[0]], True)
    alone = pairs[0] if len(pairs) == 1 else ("", "")
    return Identity(*alone, shares[pairs[0]], len(fitting) > 1)


def _share(torque, speed_rpm, power, loaded, torque_unit, power_unit):
    work = inside(torque, torque_unit, "torque") * speed_rpm * (2 * np.pi / 60)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(loaded, work / inside(power, power_unit, "power"), np.nan)


def _agrees(share):
    share = share[np.isfinite(share)]
    return share.size >= 2 and np.quantile(np.abs(share - 1), 0.9) < TOLERANCE


def engine_torque(columns, reading):
    """Of several torque columns, keep the one whose torque x speed gives the power.

    columns: Settled by name, changed in place. Returns remarks about the others.
    """
    torques = [s for s in columns.values() if s.channel == "torque_nm"]
    speed, power = (only(columns.values(), c) for c in ("speed_rpm", "power_w"))
    if not (len(torques) > 1 and speed and power):
        return []
    found = [s for s in torques if _identity_of(s, speed, power, reading).holds]
    if len(found) != 1:
        return []
    kept = found[0]
    why = "torque x speed gives the power column"
    columns[kept.column] = kept.because(why, confidence=CERTAIN)
    return [_set_aside(s, kept, columns, reading) for s in torques if s is not kept]


def _set_aside(other, kept, columns, reading):
    ratio = _ratio(reading.values(other.column), reading.values(kept.column))
    why = f"it is {ratio} '{kept.column}', whose torque x speed gives the power column"
    columns[other.column] = other.because(why, channel="", confidence=UNKNOWN)
    return Remark(f"'{other.column}' is not the engine's torque: {why}.")


def _ratio(a, b):
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = a / b
    ratio = ratio[np.isfinite(ratio)]
    if ratio.size and np.ptp(ratio) < 0.02 * abs(np.median(ratio)):
        return f"{np.median(ratio):.3f} times"
    return "no fixed multiple of"


def _identity_of(torque, speed, power, reading):
    rpm = inside(reading.values(speed.column), speed.unit or "rpm", "engine_speed")
    return power_identity(
        reading.values(torque.column),
        rpm,
        reading.values(power.column),
        (torque.unit,) if torque.unit else (),
        (power.unit,) if power.unit else (),
    )


def settle_units(columns, reading):
    """Units of torque and power where torque x speed = power allows one pair only.

    columns: Settled by name, changed in place. Returns remarks where it does not hold.
    """
    torque, power = (only(columns.values(), c) for c in ("torque_nm", "power_w"))
    speed = only(columns.values(), "speed_rpm")
    if not (torque and power and speed and speed.unit):
        return []
    found = _identity_of(torque, speed, power, reading)
    if found.holds and found.torque_unit:
        why = f"torque x speed = power holds in {found.torque_unit} and {found.power_unit}"
        columns[torque.column] = torque.because(why, unit=found.torque_unit)
        columns[power.column] = power.because(why, unit=found.power_unit)
        return _off_rows(found, reading)
    if found.holds or not (torque.unit and power.unit) or np.isnan(found.share).all():
        return []
    why = "torque x speed contradicts it"
    columns[power.column] = power.because(why, channel="", confidence=UNKNOWN)
    return [_disagreement(found, torque, power)]


def _off_rows(found, reading):
    off = np.flatnonzero(np.abs(found.share - 1) > TOLERANCE)
    if not off.size:
        return []
    rows = tuple(int(r) for r in reading.frame.index[off])
    sentence = f"Torque x speed is not the power in {off.size} rows, first in row {rows[0]}."
    return [Remark(sentence, rows, ("torque_nm", "power_w"))]


def _disagreement(found, torque, power):
    low, high = 100 * np.nanmin(found.share), 100 * np.nanmax(found.share)
    sentence = f"'{torque.column}' x speed is {low:.0f} to {high:.0f} % of '{power.column}': they"
    sentence += " are not the torque and power of one shaft"
    if high - low < 1:
        sentence = f"'{torque.column}' x speed is {(low + high) / 2:.1f} % of '{power.column}'"
        sentence += " throughout: a unit or a scale of the two is wrong"
    sentence += f", so '{power.column}' is not used as power."
    return Remark(sentence, channels=("torque_nm", "power_w"))
