"""The unit of a column whose header names none: what the numbers themselves allow.

A unit is taken only where every other common one would be impossible for that channel; else
`power_check` may know, or the person is asked.
"""

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
