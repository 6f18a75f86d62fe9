"""The unit of a column whose header names none: what the numbers themselves allow.

A unit is taken only where every other common one would be impossible for that channel, or where
torque x speed = power leaves one pair. Otherwise the person is asked.
"""

from dataclasses import dataclass

import numpy as np

from toolkit.logs.channels import CHANNELS
from toolkit.logs.unit_names import inside

# Units that a log leaves unsaid (common practice); others must be written to be believed.
CANDIDATES = {
    "time": ("s", "ms", "us", "ns"),
    "engine_speed": ("rpm", "rad/s"),
    "shaft_speed": ("rpm", "rad/s"),
    "torque": ("N*m", "lb-ft"),
    "power": ("kW", "hp", "PS", "W"),
    "pressure": ("kPa", "psi", "bar", "mbar", "Pa"),
    "boost": ("kPa", "psi", "bar", "mbar", "Pa"),
    "barometer": ("kPa", "psi", "bar", "mbar", "inHg", "Pa"),
    "temperature": ("°C", "°F", "K"),
    "fraction": ("%", "fraction"),
    "air_flow": ("kg/h", "g/s", "kg/s", "lb/min"),
    "fuel_flow": ("kg/h", "g/s", "kg/s", "lb/hour"),
    "vehicle_speed": ("km/h", "mph", "m/s"),
    "lambda": ("lambda", "AFR 14.7", "AFR 9.765", "AFR 6.4"),
    "short_time": ("ms", "s", "us"),
    "angle": ("degree",),
    "length": ("mm", "inch"),
}
# Air-fuel ratios are read on the scale of one fuel, whatever is in the tank. Common practice.
MIXTURE_SCALES = {
    "lambda": "lambda itself",
    "AFR 14.7": "the gasoline scale, 14.7 at lambda 1",
    "AFR 9.765": "the E85 scale, 9.765 at lambda 1",
    "AFR 6.4": "the methanol scale, 6.4 at lambda 1",
}
# Seconds since 1970 for the years 1990 to 2100.
_EPOCH_S = (6.3e8, 4.1e9)


def possible_units(values, channel):
    """The common units in which these raw values are possible for this channel, in order.

    >>> possible_units([20, 95, 102], "t_coolant_k"), possible_units([20, 38], "t_charge_k")
    (('°C',), ('°C', '°F'))
    """
    values = np.asarray(values, dtype=float)
    values = values[np.isfinite(values)]
    if not values.size:
        return ()
    if channel == "time_s":
        return _time_units(values)
    spec = CHANNELS[channel]
    units = CANDIDATES[spec.kind]
    return tuple(u for u in units if spec.low <= np.max(inside(values, u, spec.kind)) <= spec.high)


def _time_units(values):
    """Units that give a log of a second to a day at 0.2 to 2500 rows a second."""
    scale = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
    epoch = [u for u, s in scale.items() if _EPOCH_S[0] <= np.median(values) * s <= _EPOCH_S[1]]
    if epoch:
        return tuple(epoch)
    span, steps = np.ptp(values), np.abs(np.diff(values))
    step = np.median(steps[steps > 0]) if (steps > 0).any() else 0.0
    return tuple(u for u, s in scale.items() if 1 <= span * s <= 1e5 and 4e-4 <= step * s <= 5)


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
    return share.size >= 2 and np.quantile(np.abs(share - 1), 0.9) < 0.005
