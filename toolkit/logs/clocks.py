"""Two logs of the same pulls, each started by hand: their clocks matched on the engine speed.

What is found is an offset, a rate where the data carry one, and the error of each. Where the two
traces do not show the same pulls, or show them at two places equally well, nothing is fitted and
the reason is said.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import least_squares
from scipy.signal import correlate, find_peaks

from toolkit import units
from toolkit.logs.question import LogError

LEAST_OVERLAP_S = 3.0
LEAST_RANGE_RPM = 500.0  # a trace that moves less has no shape to match
WORST_MISFIT = 0.04  # rms over the range of speed; a slipping roller shows more
RIVAL = 1.5  # another place must misfit by this much more, or neither is believed
GAP_STEPS = 3.5  # a hole longer than this many usual steps is not bridged
RATE_LIMIT = 0.01  # quartz clocks differ by far less


@dataclass(frozen=True)
class ClockFit:
    """Reference time = offset_s + rate * time of the other log.

    Errors are one standard deviation from the scatter, with the likeness of neighbouring
    residuals counted; that of the offset holds in the middle of the overlap. A speed sensor that
    lags the other shows as an offset, and no scatter tells. rate is 1, and rate_error NaN, where
    the data do not show another. fitted is False, offset_s NaN, where the traces do not match;
    why says so.
    """

    offset_s: float = np.nan
    offset_error_s: float = np.nan
    rate: float = 1.0
    rate_error: float = np.nan
    misfit_rpm: float = np.nan
    overlap_s: float = 0.0
    fitted: bool = False
    why: str = ""

    def onto(self, time_s):
        """Times of the other log on the reference clock [s]."""
        return self.offset_s + self.rate * np.asarray(time_s, dtype=float)

    def moved(self, by_s):
        """The fit after a hand moved the other log by this much [s].

        Its errors are not known; how far the speeds then differ, `misfit_rpm` tells.
        """
        return replace(
            self, offset_s=self.offset_s + by_s, offset_error_s=np.nan, misfit_rpm=np.nan,
            why=f"moved by hand by {by_s:+.3f} s",
        )  # fmt: skip

    @property
    def inverse(self):
        """The same fit seen from the other clock.

        >>> ClockFit(2.0, rate=1.25).inverse.offset_s
        -1.6
        """
        return replace(self, offset_s=-self.offset_s / self.rate, rate=1 / self.rate)

    def to_strings(self, reference):
        """The fit for a review's `clock`; reference: the log whose clock counts.

        >>> ClockFit(1.25, rate=1.0002, why="moved by hand").to_strings("runs/dyno.csv")["offset"]
        '1.25000 s'
        """
        strings = {"with": reference, "offset": f"{self.offset_s:.5f} s", "why": self.why}
        return strings | {"rate": f"{self.rate:.8f}"}

    @classmethod
    def from_strings(cls, strings):
        """The fit that a review keeps. Raises LogError where it cannot be read."""
        try:
            offset = units.parse(strings["offset"], "time")
            rate = units.parse(strings.get("rate", "1"), "ratio")
        except KeyError:
            raise LogError('the review\'s clock has no offset: write it like "1.25 s"') from None
        except units.UnitError as error:
            raise LogError(f"the review's clock: {error}") from None
        return cls(offset, rate=rate, fitted=True, why=strings.get("why", ""))


def fit_clocks(reference_s, reference_rpm, other_s, other_rpm):
    """How the other log's clock runs against the reference one (ClockFit).

    Times rise [s]; speeds [rpm]; rows with NaN are left out.
    """
    reference, other = _trace(reference_s, reference_rpm), _trace(other_s, other_rpm)
    for trace, name in ((reference, "first"), (other, "second")):
        if len(trace[0]) < 10 or np.ptp(trace[1]) < LEAST_RANGE_RPM:
            return ClockFit(
                why=f"the engine speed of the {name} log hardly moves: nothing to match"
            )
    offset, why = _coarse(reference, other)
    return ClockFit(why=why) if why else _refined(reference, other, offset)


def misfit_rpm(reference_s, reference_rpm, other_s, other_rpm, fit):
    """How far the speeds differ by a clock (ClockFit), rms [rpm]; NaN where they do not overlap.

    Arguments as `fit_clocks` takes them; for what it found this is its own misfit.
    """
    reference, other = _trace(reference_s, reference_rpm), _trace(other_s, other_rpm)
    if min(len(reference[0]), len(other[0])) < 2:
        return np.nan
    match = _Match(reference, other, fit.offset_s)
    if not match.time.size:
        return np.nan
    drift = fit.rate - 1  # which _Match counts from the middle of the overlap
    left = match.residual((drift * match.middle, drift))
    return float(np.sqrt(np.mean(left**2)))


def _trace(time_s, speed_rpm):
    """The usable rows of a trace, in order of time, one per time."""
    time_s, speed_rpm = np.asarray(time_s, dtype=float), np.asarray(speed_rpm, dtype=float)
    good = np.isfinite(time_s) & np.isfinite(speed_rpm)
    time_s, first = np.unique(time_s[good], return_index=True)
    return time_s, speed_rpm[good][first]


def _step(trace):
    return float(np.median(np.diff(trace[0])))


def _coarse(reference, other):
    """(the offset of least misfit to one step, "" or why none can be trusted)."""
    step = max(min(_step(reference), _step(other)), 0.01)
    a, b = (_gridded(t, step) for t in (reference, other))
    lags, misfit, seconds = _misfits(a, b, step)
    shorter = min(np.ptp(reference[0]), np.ptp(other[0]))
    enough = seconds >= max(LEAST_OVERLAP_S, 0.3 * shorter)
    moving = np.where(enough, misfit, np.inf)
    if not np.isfinite(moving).any():
        return np.nan, "the two logs are too short to overlap"
    best = int(np.argmin(moving))
    spread = max(np.ptp(reference[1]), np.ptp(other[1]))
    if moving[best] > WORST_MISFIT * spread:
        return np.nan, (
            f"the speeds differ by {moving[best]:.0f} rpm wherever they are laid: "
            "these are not the same pulls"
        )
    offset = reference[0][0] - other[0][0] + lags[best] * step
    rival = _rival(moving, best, step)
    if rival is None or moving[rival] > RIVAL * moving[best] + 1.0:
        return offset, _shapeless(reference, other, offset)
    second = reference[0][0] - other[0][0] + lags[rival] * step
    return np.nan, (
        f"offsets of {offset:.1f} s and {second:.1f} s fit equally well: set it by hand"
    )


def _gridded(trace, step):
    """A trace on an even grid, NaN in its holes."""
    grid = np.arange(trace[0][0], trace[0][-1] + step / 2, step)
    return resampled(trace[0], trace[1], grid)


def _misfits(a, b, step):
    """Lags in steps, the rms difference at each, and how many seconds both know there."""
    middle = np.nanmean(np.concatenate([a, b]))
    known_a, known_b = np.isfinite(a).astype(float), np.isfinite(b).astype(float)
    a, b = np.nan_to_num(a - middle), np.nan_to_num(b - middle)
    count = correlate(known_a, known_b, method="fft")
    squares = correlate(a * a, known_b, method="fft") + correlate(known_a, b * b, method="fft")
    total = np.maximum(squares - 2 * correlate(a, b, method="fft"), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        misfit = np.sqrt(np.where(count > 0.5, total / count, np.inf))
    return np.arange(1 - len(b), len(a)), misfit, count * step


def _rival(misfit, best, step):
    """The next best place, at least two seconds away, that is a minimum of its own."""
    finite = np.where(np.isfinite(misfit), misfit, np.max(misfit[np.isfinite(misfit)]))
    places = find_peaks(-finite)[0]
    places = places[np.abs(places - best) * step > 2.0]
    return int(places[np.argmin(finite[places])]) if places.size else None


def _shapeless(reference, other, offset):
    """Why the part that both logs know cannot be matched, or ""."""
    start = max(reference[0][0], other[0][0] + offset)
    stop = min(reference[0][-1], other[0][-1] + offset)
    inside = (reference[0] >= start) & (reference[0] <= stop)
    if np.ptp(reference[1][inside]) < LEAST_RANGE_RPM:
        return "where the two logs overlap the engine speed hardly moves: nothing to match"
    return ""


class _Match:
    """The rows of the slower log against the line through the faster log's.

    Parameters are the shift at the middle of the overlap and, as a second, rate - 1, so that
    the two hardly influence each other.
    """

    def __init__(self, reference, other, offset):
        self.swap = _step(other) < _step(reference)
        self.line, rows = (other, reference) if self.swap else (reference, other)
        self.offset = offset
        start = max(reference[0][0], other[0][0] + offset)
        stop = min(reference[0][-1], other[0][-1] + offset)
        self.middle = (start + stop) / 2 - offset  # on the other log's clock
        to_reference = 0.0 if self.swap else offset
        margin = 2 * max(_step(reference), _step(other))
        inside = (rows[0] + to_reference > start + margin) & (
            rows[0] + to_reference < stop - margin
        )
        self.time, self.speed = rows[0][inside], rows[1][inside]
        self.overlap_s = stop - start

    def on_line(self, p):
        """The rows' times on the line's clock."""
        rate = 1 + (p[1] if len(p) > 1 else 0.0)
        if self.swap:
            return self.middle + (self.time - self.offset - self.middle - p[0]) / rate
        return self.offset + self.middle + p[0] + rate * (self.time - self.middle)

    def residual(self, p):
        """Line less rows [rpm]; a row that falls into a hole counts for nothing."""
        return np.nan_to_num(resampled(*self.line, self.on_line(p)) - self.speed)

    def slopes(self, p):
        """How the residual changes with each parameter."""
        t, h = self.on_line(p), _step(self.line)
        rise = np.nan_to_num(resampled(*self.line, t + h) - resampled(*self.line, t - h)) / (2 * h)
        if self.swap:
            rise, t = -rise, t - self.middle
        else:
            t = self.time - self.middle
        return np.column_stack([rise, rise * t])[:, : len(p)]

    def solved(self, count):
        """(parameters, their errors, rms) with the first `count` parameters free."""
        scale = 1.4826 * np.median(np.abs(self.residual(np.zeros(count)))) + 1.0
        p = least_squares(
            self.residual, np.zeros(count), self.slopes, loss="soft_l1", f_scale=2 * scale
        ).x
        left, slopes = self.residual(p), self.slopes(p)
        spread = 1.4826 * np.median(np.abs(left)) + 1e-9
        alike = np.clip(np.corrcoef(left[:-1], left[1:])[0, 1], 0.0, 0.95)
        variance = np.linalg.pinv(slopes.T @ slopes) * spread**2 * (1 + alike) / (1 - alike)
        return p, np.sqrt(np.diag(variance)), float(np.sqrt(np.mean(left**2)))


def _refined(reference, other, offset):
    match = _Match(reference, other, offset)
    (shift,), (error,), misfit = match.solved(1)
    rate, rate_error = 1.0, np.nan
    both, errors, closer = match.solved(2)
    if 3 * errors[1] < abs(both[1]) < RATE_LIMIT:
        (shift, drift), (error, rate_error), misfit = both, errors, closer
        rate = 1 + drift
    return ClockFit(
        offset_s=float(offset + match.middle + shift - rate * match.middle),
        offset_error_s=float(error),
        rate=float(rate),
        rate_error=float(rate_error),
        misfit_rpm=misfit,
        overlap_s=float(match.overlap_s),
        fitted=True,
        why=f"engine speed matched over {match.overlap_s:.1f} s",
    )


def resampled(time_s, values, onto_s):
    """Values at other times, on a straight line between the rows around each.

    NaN before the first and after the last row, next to a missing value, and in a hole longer
    than GAP_STEPS usual steps: nothing is filled in there. time_s rises [s].

    >>> resampled([0.0, 1.0, 2.0], [0.0, 10.0, 20.0], [0.5, 2.5]).tolist()
    [5.0, nan]
    """
    time_s, onto_s = np.asarray(time_s, dtype=float), np.asarray(onto_s, dtype=float)
    out = np.interp(onto_s, time_s, values, left=np.nan, right=np.nan)
    steps = np.diff(time_s)
    if not steps.size:
        return out
    after = np.clip(np.searchsorted(time_s, onto_s), 1, len(steps))
    within = (onto_s > time_s[after - 1]) & (onto_s < time_s[after])
    hole = steps[after - 1] > GAP_STEPS * np.median(steps)
    return np.where(within & hole, np.nan, out)


def joined(reference, other, fit):
    """One frame on the reference clock: its own columns, and those only the other log has.

    reference, other: frames with time_s, such as Run.frame. The other log's values are resampled,
    never joined row by row. Raises ValueError where the clocks were not fitted.
    """
    if not np.isfinite(fit.offset_s):
        raise ValueError(f"the two logs cannot be laid on one clock: {fit.why}")
    known = np.isfinite(other["time_s"].to_numpy())
    times, first = np.unique(other["time_s"].to_numpy()[known], return_index=True)
    onto = reference["time_s"].to_numpy()
    extra = {
        name: resampled(fit.onto(times), other[name].to_numpy()[known][first], onto)
        for name in other
        if name not in reference
    }
    return pd.concat([reference, pd.DataFrame(extra, index=reference.index)], axis=1)
