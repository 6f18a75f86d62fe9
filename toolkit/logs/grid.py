"""Pulls on a common grid of engine speed: bin averages, how many rows each, and their scatter.

A bin holds every row of the pull whose speed is nearest to its centre, in whatever order they
came: where speed folds back nothing is interpolated. A bin without rows is NaN.
"""

from dataclasses import dataclass, replace

import numpy as np

STEPS_RPM = (50.0, 100.0)


@dataclass(frozen=True)
class Grid:
    """One pull on the grid.

    mean, sd, count: per channel an array along speed_rpm; sd is the scatter of the rows in a bin
    and NaN for a single row. rows: rows per bin. folded: rows in which speed falls inside the
    pull. smoothing: points of the moving mean, 1 is none. notes: what was left out, in words.
    """

    speed_rpm: np.ndarray
    rows: np.ndarray
    mean: dict
    sd: dict
    count: dict
    folded: int = 0
    smoothing: int = 1
    notes: tuple = ()

    def __getitem__(self, channel):
        return self.mean[channel]

    @property
    def step_rpm(self):
        return float(self.speed_rpm[1] - self.speed_rpm[0]) if len(self.speed_rpm) > 1 else np.nan


def default_step_rpm(frame, pulls):
    """50 rpm where that leaves five rows a bin or more in the leanest pull, else 100."""
    fine = STEPS_RPM[0]
    for pull in pulls:
        spread = pull.high_rpm - pull.low_rpm
        if pull.stop - pull.start < 5 * spread / fine:
            return STEPS_RPM[1]
    return fine


def gridded(frame, pulls, step_rpm=None, channels=None):
    """Each pull as a Grid; all share the centres, which are multiples of the step.

    `frame` holds `speed_rpm` and the channels [inside units]; `pulls` carry `start` and `stop`.
    An end bin that the pull covers only in part (its mean speed is off the centre by more than a
    quarter step) is left out and the note says so.

    Raises ValueError for a step that is not above 0, or where there is no pull.
    """
    pulls = tuple(pulls)
    if not pulls:
        raise ValueError("no pull is accepted in this log: accept one in review first")
    step = float(step_rpm or default_step_rpm(frame, pulls))
    if not step > 0:
        raise ValueError(f"step_rpm is {step:g} rpm: it must be above 0")
    names = [c for c in (channels or frame.columns) if _is_number(frame[c])]
    rows = np.concatenate([np.arange(p.start, p.stop) for p in pulls])
    of_pull = np.repeat(np.arange(len(pulls)), [p.stop - p.start for p in pulls])
    speed = np.asarray(frame["speed_rpm"], dtype=float)
    with_speed = np.isfinite(speed[rows])
    rows, of_pull = rows[with_speed], of_pull[with_speed]
    place = np.floor(speed[rows] / step + 0.5).astype(int)
    first, bins = place.min(), place.max() - place.min() + 1
    cell = of_pull * bins + place - first
    values = {name: np.asarray(frame[name], dtype=float)[rows] for name in names}
    table = {name: _bin(cell, v, len(pulls) * bins) for name, v in values.items()}
    centres = step * (first + np.arange(bins))
    counts = np.bincount(cell, minlength=len(pulls) * bins)
    return tuple(
        _one(i, bins, centres, counts, table, _folded(speed[p.start : p.stop]))
        for i, p in enumerate(pulls)
    )


def _is_number(column):
    return column.dtype.kind in "fiub"


def _bin(cell, values, cells):
    """(mean, sd, count) per cell over the finite values, in two passes so that no digits go."""
    finite = np.isfinite(values)
    if not finite.all():
        cell, values = cell[finite], values[finite]
    n = np.bincount(cell, minlength=cells)
    with np.errstate(invalid="ignore", divide="ignore"):  # an empty bin is NaN, as it should be
        mean = np.bincount(cell, values, cells) / n
        square = np.bincount(cell, (values - mean[cell]) ** 2, cells)
        sd = np.sqrt(square / np.where(n > 1, n - 1, np.nan))
    return mean, sd, n


def _folded(speed):
    return int(np.count_nonzero(np.diff(speed[np.isfinite(speed)]) < 0))


def _one(i, bins, centres, counts, table, folded):
    part = slice(i * bins, (i + 1) * bins)
    mean, sd, count = ({c: t[k][part].copy() for c, t in table.items()} for k in range(3))
    rows = counts[part].copy()
    left_out = _partial_ends(mean.get("speed_rpm"), centres, rows)
    for end in left_out:
        rows[end] = 0
        for channel in mean:
            mean[channel][end] = sd[channel][end] = np.nan
            count[channel][end] = 0
    return Grid(centres, rows, mean, sd, count, folded, 1, _notes(left_out, centres, rows, folded))


def _partial_ends(mean_speed, centres, rows):
    """The first and last filled bins, where the pull covers only part of them."""
    filled = np.flatnonzero(rows)
    if mean_speed is None or len(filled) < 3:
        return []
    quarter = 0.25 * (centres[1] - centres[0])
    return [k for k in (filled[0], filled[-1]) if abs(mean_speed[k] - centres[k]) > quarter]


def _notes(left_out, centres, rows, folded):
    notes = []
    if left_out:
        where = " and ".join(f"{centres[k]:.0f}" for k in left_out)
        notes.append(f"the bin at {where} rpm is covered only in part: left out")
    filled = np.flatnonzero(rows)
    empty = np.flatnonzero(rows[filled[0] : filled[-1]] == 0) if len(filled) else []
    if len(empty):
        notes.append(f"{len(empty)} bins inside the pull have no rows")
    if folded:
        notes.append(
            f"speed falls in {folded} rows inside the pull; they are averaged in their bin"
        )
    return tuple(notes)


def smoothed(grid, points):
    """The grid with a centred moving mean over an odd number of bins; 1 gives it back unchanged.

    Near the ends the window shrinks on both sides alike; an empty bin stays empty.

    Raises ValueError for an even number or one below 1.
    """
    if points == 1:
        return grid
    if points < 1 or points % 2 == 0:
        raise ValueError(f"smoothing over {points} points: it must be an odd number, 1 for none")
    mean = {channel: moving_mean(values, points) for channel, values in grid.mean.items()}
    return replace(grid, mean=mean, smoothing=points)


def moving_mean(values, points):
    """Centred moving mean over the finite values in the window; NaN stays NaN.

    >>> moving_mean([0.0, 0.0, 3.0, 0.0, 0.0], 3).tolist()
    [0.0, 1.0, 1.0, 1.0, 0.0]
    """
    values = np.asarray(values, dtype=float)
    finite = np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(finite, values, 0.0))])
    n = np.concatenate([[0], np.cumsum(finite)])
    i = np.arange(len(values))
    filled = np.flatnonzero(finite)
    low, high = (filled[0], filled[-1]) if len(filled) else (0, 0)
    half = np.clip(np.minimum.reduce([np.full(len(i), points // 2), i - low, high - i]), 0, None)
    inside = n[i + half + 1] - n[i - half]
    means = (total[i + half + 1] - total[i - half]) / np.maximum(inside, 1)
    return np.where(finite, means, np.nan)


def smoothing_text(points, step_rpm):
    """What a chart says about its smoothing.

    >>> smoothing_text(5, 100)
    'moving mean over 5 bins (500 rpm): a dip 1 bin wide keeps 1/5 of its depth, 3 bins 3/5'
    >>> smoothing_text(1, 100)
    'no smoothing, bins of 100 rpm'
    """
    if points == 1:
        return f"no smoothing, bins of {step_rpm:.0f} rpm"
    wide = f"moving mean over {points} bins ({points * step_rpm:.0f} rpm)"
    middle = (points + 1) // 2
    return (
        f"{wide}: a dip 1 bin wide keeps 1/{points} of its depth, {middle} bins {middle}/{points}"
    )
