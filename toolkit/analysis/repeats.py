"""Accepted pulls as repeats of a set-up: from logs, in one reference state, on common speeds."""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from toolkit.analysis.sensor_ends import widest
from toolkit.logs.decided_pulls import used
from toolkit.logs.grid import gridded

OBSERVED = "observed"
OF_POWER = ("torque_nm", "power_w")
_NOT_COMPARED = ("time_s", "speed_rpm")


@dataclass(frozen=True)
class Repeat:
    """One accepted pull on its grid.

    run: the log's name in the bench, sha256 of its bytes; pull: number in the log, from 1.
    hour: when, in hours of the session, None if not known. reference: "observed", or the
    correction that torque and power carry. also: (log, sha256) of other loggers' logs that
    channels were joined from. left_out: where a channel has no value because its sensor was at
    its end (`sensor_ends.LeftOut`).
    """

    run: str
    pull: int
    grid: object
    sweep_rpm_s: float = np.nan
    hour: float | None = None
    session: str = ""
    reference: str = OBSERVED
    sha256: str = ""
    also: tuple[tuple[str, str], ...] = ()
    left_out: tuple = ()


@dataclass(frozen=True)
class Side:
    """The repeats of one set-up under one name."""

    name: str
    repeats: tuple[Repeat, ...]

    @property
    def n(self):
        return len(self.repeats)

    @property
    def left_out(self):
        """Per channel that is left out in a pull, a LeftOut over the speeds of all of them."""
        return widest(gone for r in self.repeats for gone in r.left_out)


def repeats_of(run, frame, pulls, step_rpm=None, *, started="", reference=OBSERVED, sha256=""):
    """The accepted pulls of one log as Repeats.

    run: the log's name; frame: its channels; pulls: its stretches or accepted pulls. started: date
    and time of the log's first row, "2026-04-18 09:50", "" where not known; the date is the
    session. A pull keeps its number in the log's list, whatever else is accepted. Raises
    ValueError for a date that cannot be read, or where no pull is accepted.
    """
    numbers, accepted = used(pulls)
    begin = _moment(started, run)
    grids = gridded(frame, accepted, step_rpm)
    return tuple(
        Repeat(
            run, number, grid, pull.sweep_rpm_s, _hour(begin, frame, pull),
            begin.date().isoformat() if begin else "", reference, sha256,
        )
        for number, pull, grid in zip(numbers, accepted, grids, strict=True)
    )  # fmt: skip


def _moment(started, run):
    if not started:
        return None
    try:
        return datetime.fromisoformat(started)
    except ValueError:
        raise ValueError(
            f"{run} started '{started}': write date and time like 2026-04-18 09:50"
        ) from None


def _hour(begin, frame, pull):
    """Hours from midnight to the pull's first row, or None."""
    if begin is None:
        return None
    into = float(frame["time_s"].iloc[pull.start]) if "time_s" in frame else 0.0
    return begin.hour + begin.minute / 60 + (begin.second + into) / 3600


def converted(repeat, factor, reference):
    """The repeat with torque and power times `factor`, in the reference state named."""
    mean, sd = (
        {c: v * factor if c in OF_POWER else v for c, v in table.items()}
        for table in (repeat.grid.mean, repeat.grid.sd)
    )
    return replace(repeat, grid=replace(repeat.grid, mean=mean, sd=sd), reference=reference)


def joined(repeats, others):
    """The repeats with the channels that only another logger of the same pulls has.

    Both are averages by speed, so the loggers' clocks need not agree. Raises ValueError where the
    two logs do not hold the same pulls: another number of them, other speeds or sweep rates.
    """
    if len(repeats) != len(others):
        raise ValueError(
            f"{repeats[0].run} has {len(repeats)} accepted pulls and {others[0].run} has "
            f"{len(others)}: accept the same ones in both"
        )
    return tuple(_joined(one, other) for one, other in zip(repeats, others, strict=True))


def common_speeds(repeats):
    step = repeats[0].grid.step_rpm
    low = min(r.grid.speed_rpm[0] for r in repeats)
    high = max(r.grid.speed_rpm[-1] for r in repeats)
    return low + step * np.arange(round((high - low) / step) + 1)


def stacked(side, speed):
    """Per channel that all repeats of a side have, an array (pulls, speeds)."""
    tables = [_completed(r.grid) for r in side.repeats]
    names = [c for c in tables[0] if all(c in t for t in tables) and c not in _NOT_COMPARED]
    return {
        c: np.array([_on(speed, r.grid, t[c]) for r, t in zip(side.repeats, tables, strict=True)])
        for c in names
    }


def _joined(one, other):
    speeds = one.grid.speed_rpm, other.grid.speed_rpm
    apart = max(abs(speeds[0][end] - speeds[1][end]) for end in (0, -1))
    same_rate = not abs(other.sweep_rpm_s / one.sweep_rpm_s - 1) > 0.05
    if apart > 2 * one.grid.step_rpm or not same_rate:
        raise ValueError(
            f"pull {other.pull} of {other.run} is not pull {one.pull} of {one.run}: "
            "speeds or sweep rates differ"
        )
    new = [c for c in other.grid.mean if c not in one.grid.mean]
    tables = {
        part: getattr(one.grid, part)
        | {c: _on(speeds[0], other.grid, getattr(other.grid, part)[c]) for c in new}
        for part in ("mean", "sd", "count")
    }
    also = (*one.also, (other.run, other.sha256))
    left_out = (*one.left_out, *(gone for gone in other.left_out if gone.channel in new))
    return replace(one, grid=replace(one.grid, **tables), also=also, left_out=left_out)


def _on(speed, grid, values):
    """Values of a grid at other centres of the same step; NaN where it has none."""
    place = np.round((speed - grid.speed_rpm[0]) / grid.step_rpm).astype(int)
    inside = (place >= 0) & (place < len(values))
    return np.where(inside, values[np.clip(place, 0, len(values) - 1)], np.nan)


def _completed(grid):
    """The channels with power from torque, or torque from power, where only one was logged."""
    table = dict(grid.mean)
    omega = grid.speed_rpm * np.pi / 30
    if "power_w" not in table and "torque_nm" in table:
        table["power_w"] = table["torque_nm"] * omega
    elif "torque_nm" not in table and "power_w" in table:
        table["torque_nm"] = table["power_w"] / omega
    return table
