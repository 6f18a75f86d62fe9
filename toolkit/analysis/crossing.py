"""Where one curve passes another, and whether that can be told from scatter."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np


@dataclass(frozen=True)
class Crossing:
    """Where a difference changes sign.

    speed_rpm: by linear interpolation, NaN where a hole in the data lies between. It lies between
    low_rpm and high_rpm, the nearest bins at which each side leads clearly. rising: the
    difference turns positive. known: scatter is known, so that the lead on both sides is clear.
    """

    speed_rpm: float
    low_rpm: float
    high_rpm: float
    rising: bool
    known: bool


def crossings(speed_rpm, difference, half_width):
    """Where a difference changes sign, counted only between points at which each side leads.

    A lead counts where it exceeds half_width; where that is NaN (scatter unknown) any counts and
    the crossing is not `known`.

    >>> [found] = crossings([3000, 3100, 3200, 3300], [-9.0, -3.0, 1.0, 8.0], [2.0] * 4)
    >>> found.speed_rpm, found.low_rpm, found.high_rpm
    (3175.0, 3100.0, 3300.0)
    """
    speed, d, band = (np.asarray(v, dtype=float) for v in (speed_rpm, difference, half_width))
    with np.errstate(invalid="ignore"):
        leads = np.flatnonzero(np.isfinite(d) & (d != 0) & ~(np.abs(d) <= band))
    flips = [(i, j) for i, j in pairwise(leads) if d[i] * d[j] < 0]
    return tuple(
        Crossing(
            _zero(speed[i : j + 1], d[i : j + 1]), float(speed[i]), float(speed[j]),
            bool(d[j] > 0), bool(np.isfinite(band[[i, j]]).all()),
        )
        for i, j in flips
    )  # fmt: skip


def _zero(speed, d):
    """The middle of the sign changes between the two ends, or NaN over a hole."""
    if not np.isfinite(d).all():
        return np.nan
    at = np.flatnonzero(np.signbit(d[:-1]) != np.signbit(d[1:]))
    zeros = speed[at] - d[at] * (speed[at + 1] - speed[at]) / (d[at + 1] - d[at])
    return float(0.5 * (zeros[0] + zeros[-1]))
