"""Sensors at their end: found by torque, a log's own or its partner's, and left out of averages."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.logs.channels import channel_of
from toolkit.logs.pulls import pulls_of
from toolkit.logs.signs import Limits, Trace
from toolkit.logs.signs.sensors import clipped


@dataclass(frozen=True)
class LeftOut:
    """A channel of a pull that is left out from low_rpm to high_rpm, bin centres."""

    channel: str
    low_rpm: float
    high_rpm: float

    @property
    def sentence(self):
        """What is left out and why."""
        words = channel_of(self.channel).words
        return (
            f"{words} is left out from {self.low_rpm:.0f} to {self.high_rpm:.0f} rpm, where its "
            "sensor was at its end."
        )


def clips(one):
    """The signs of clipped sensors that an `OpenedLog` tells, by its own or by lent torque."""
    trace = Trace(one.frame, tuple(pulls_of(one.stretches)), lent_torque_nm=one.lent_torque_nm)
    found = clipped(trace, Limits.from_strings(one.run.review.limits))
    return tuple(s for s in found if s.told)


def without_ends(one, grids):
    """Per pull (its Grid, its LeftOut): no mean in bins with a row at the end of its sensor.

    grids: those of the accepted pulls of the `OpenedLog`, in order.
    """
    told = clips(one)
    speed, kept = one.frame["speed_rpm"].to_numpy(dtype=float), []
    for pull, grid in zip(pulls_of(one.stretches), grids, strict=True):
        left_out = []
        for sign in (s for s in told if pull.start <= s.rows[0] < pull.stop):
            values = one.frame[sign.channel].to_numpy()
            at_end = values[pull.rows] == values[sign.rows[0]]
            grid, gone = _without(grid, sign.channel, speed[pull.rows][at_end])
            left_out += gone
        kept.append((grid, tuple(left_out)))
    return tuple(kept)


def widest(left_out):
    """One LeftOut per channel, over the speeds of all that are given."""
    wide = {}
    for gone in left_out:
        known = wide.get(gone.channel, gone)
        low, high = min(known.low_rpm, gone.low_rpm), max(known.high_rpm, gone.high_rpm)
        wide[gone.channel] = replace(gone, low_rpm=low, high_rpm=high)
    return tuple(wide.values())


def lent_torque(lender, to):
    """(rows,) torque [N*m] that the lender's pulls had at the speeds of the other log's pulls.

    Both are OpenedLogs of the same pulls. None where the lender has neither torque nor power, or
    where another number of pulls was accepted; NaN outside the pulls.
    """
    lends, borrows = pulls_of(lender.stretches), pulls_of(to.stretches)
    torque = Trace(lender.run.frame, tuple(lends)).torque_nm
    if torque is None or len(lends) != len(borrows) or "speed_rpm" not in to.run.frame:
        return None
    at, speed = (log.run.frame["speed_rpm"].to_numpy(dtype=float) for log in (lender, to))
    lent = np.full(speed.shape, np.nan)
    for mine, other in zip(lends, borrows, strict=True):
        known = np.isfinite(at[mine.rows]) & np.isfinite(torque[mine.rows])
        if known.any():
            x, y = at[mine.rows][known], torque[mine.rows][known]
            order = np.argsort(x, kind="stable")
            lent[other.rows] = np.interp(speed[other.rows], x[order], y[order], np.nan, np.nan)
    return lent


def _without(grid, channel, speed_rpm):
    """(the grid without the channel in the bins of these speeds, what was left out)."""
    if channel not in grid.mean:
        return grid, []
    apart = np.abs(grid.speed_rpm - speed_rpm[np.isfinite(speed_rpm)][:, None])
    hide = (apart <= grid.step_rpm / 2).any(axis=0) & np.isfinite(grid.mean[channel])
    if not hide.any():
        return grid, []
    low, high = grid.speed_rpm[hide][[0, -1]]
    mean = grid.mean | {channel: np.where(hide, np.nan, grid.mean[channel])}
    return replace(grid, mean=mean), [LeftOut(channel, float(low), float(high))]
