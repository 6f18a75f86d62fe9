"""Pulls in a log: where speed rises under load, and what the rest of the log is.

A log is taken apart at the turning points of engine speed; nothing is filtered away or filled.
The labels are proposals with a reason: a person accepts or refuses each (`decided`).
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

PULL, ABORTED, HELD, COAST, IDLE, OFF = "pull", "aborted", "held", "coast", "idle", "off"


@dataclass(frozen=True)
class PullSettings:
    """What counts as a pull.

    turn: a fall or rise of speed below this share of the log's span is no turning point.
    least_rpm, least_s: a shorter rise is no whole pull. full_throttle: the share of the log's
    largest throttle opening that counts as open. aborted_below: a pull over less than this share
    of the widest one's range was cut short. top_rpm: where a pull should end, if known.
    off_rpm: below it the engine stands.
    """

    turn: float = 0.08
    least_rpm: float = 500.0
    least_s: float = 1.0
    full_throttle: float = 0.9
    aborted_below: float = 0.6
    top_rpm: float | None = None
    off_rpm: float = 300.0


@dataclass(frozen=True)
class Pull:
    """A stretch of a log: rows start to stop (half-open; 0 is the first data row).

    sweep_rpm_s is the slope of the straight line through speed against time, NaN where the log
    has no time. falling counts the rows inside in which speed falls; gap_s is the longest pause
    of the logger inside, 0 where none stands out.
    """

    label: str
    start: int
    stop: int
    low_rpm: float
    high_rpm: float
    sweep_rpm_s: float
    reason: str
    accepted: bool = False
    falling: int = 0
    gap_s: float = 0.0

    @property
    def rows(self):
        return slice(self.start, self.stop)


def find_pulls(frame, settings=None):
    """Every stretch of the log in order, each with a label and the reason for it.

    `frame` holds `speed_rpm`; `time_s`, `throttle` (0 to 1) or else `torque_nm` are used where it
    has them. The stretches labelled "pull" are accepted to begin with, the others refused.

    Raises ValueError without a column `speed_rpm` that holds numbers.

    >>> import pandas as pd
    >>> log = pd.DataFrame({"time_s": range(8), "speed_rpm": [900, 900, 2000, 3000, 4000, 5000,
    ...     3000, 900]})
    >>> [(p.label, p.start, p.stop) for p in find_pulls(log)]
    [('idle', 0, 1), ('pull', 1, 6), ('coast', 6, 8)]
    """
    trace = _traced(frame, settings or PullSettings())
    turns = _turning_rows(trace)
    rises = [(a, b) for a, b in pairwise(turns) if trace.speed[b] > trace.speed[a]]
    sweeps = [rows for rise in rises if (rows := _sweep_rows(trace, *rise))]
    pulls = _judged([_pull(trace, *rows) for rows in sweeps], trace.settings)
    return _numbered(trace, _with_rest(trace, pulls, turns))


def pulls_of(stretches):
    """The stretches that the person (or the proposal) accepted as pulls."""
    return tuple(p for p in stretches if p.accepted)


def decided(stretches, number, accepted):
    """The same stretches with number `number` (from 0) accepted or refused by the person."""
    changed = replace(stretches[number], accepted=bool(accepted))
    return (*stretches[:number], changed, *stretches[number + 1 :])


def slope(x, y):
    """Slope of the straight line through y against x by least squares; NaN without a spread in x.

    >>> round(slope([0.0, 1.0, 2.0], [10.0, 30.0, 50.0]), 9)
    20.0
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    dx = x - x.mean()
    spread = float(dx @ dx)
    return float(dx @ (y - y.mean())) / spread if spread > 0 else np.nan


# ---- the trace ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Trace:
    """The rows that have a speed and a time; `time` and `open` are None where not logged."""

    settings: PullSettings
    kept: np.ndarray
    rows: int
    speed: np.ndarray
    time: np.ndarray | None
    open: np.ndarray | None
    load: np.ndarray | None  # torque or power, which tells a lift where throttle is not logged
    block: int  # rows in a tenth of a second: noise of single rows is no turning point
    turn_rpm: float


def _traced(frame, settings):
    if "speed_rpm" not in frame:
        raise ValueError("no column is engine speed (speed_rpm): name it, then pulls can be found")
    speed = np.asarray(frame["speed_rpm"], dtype=float)
    rows, time = len(speed), _column(frame, "time_s")
    kept = np.flatnonzero(np.isfinite(speed) & (True if time is None else np.isfinite(time)))
    if len(kept) < 2:
        raise ValueError("engine speed holds fewer than two numbers: no pull can be found")
    speed, time = speed[kept], None if time is None else time[kept]
    throttle = _column(frame, "throttle")
    is_open = None
    if throttle is not None and np.nanmax(throttle) > 0.3:
        is_open = throttle[kept] >= settings.full_throttle * np.nanmax(throttle)
    running = speed[speed > settings.off_rpm]
    turn = max(settings.turn * np.ptp(running), 0.3 * settings.least_rpm) if len(running) else 1.0
    load = _column(frame, "torque_nm" if "torque_nm" in frame else "power_w")
    load = None if load is None else load[kept]
    return _Trace(settings, kept, rows, speed, time, is_open, load, _block(time, len(speed)), turn)


def _column(frame, name):
    values = np.asarray(frame[name], dtype=float) if name in frame else np.array([])
    return values if np.isfinite(values).any() else None


def _block(time, rows):
    step = np.nanmedian(np.diff(time)) if time is not None else 0.0
    return int(np.clip(0.1 / step, 1, max(rows // 8, 1))) if step > 0 else 1


def _turning_rows(trace):
    """First row, last row, and the peaks and valleys of speed that stand out by turn_rpm."""
    from scipy.signal import find_peaks  # here: it loads slowly and few need it

    starts = np.arange(0, len(trace.speed), trace.block)
    sizes = np.diff(np.append(starts, len(trace.speed)))
    level = np.add.reduceat(trace.speed, starts) / sizes
    peaks, valleys = (
        find_peaks(np.pad(side, 1, constant_values=-np.inf), prominence=trace.turn_rpm)[0] - 1
        for side in (level, -level)
    )
    rows = {0, len(trace.speed) - 1}
    for block in (*peaks, *valleys):
        piece = trace.speed[starts[block] : starts[block] + sizes[block]]
        rows.add(int(starts[block] + (piece.argmax() if block in peaks else piece.argmin())))
    return sorted(rows)


# ---- from a rise to a pull ------------------------------------------------------------------


def _sweep_rows(trace, valley, peak):
    """The part of a rise with the engine running, the throttle open and speed on its way up."""
    usable = trace.speed[valley : peak + 1] > trace.settings.off_rpm
    if trace.open is not None:
        usable &= trace.open[valley : peak + 1]
    start, stop = (valley + edge for edge in _longest_run(usable))
    if stop - start < 2:
        return None
    start, stop = _without_holds(trace, start, stop)
    if trace.open is None and trace.load is not None:
        stop = _before_lift(trace, start, stop)
    if stop - start < 2:
        return None  # a rise that was all hold
    rises = np.ptp(trace.speed[start:stop]) >= trace.settings.least_rpm
    return (start, stop) if rises else None


def _without_holds(trace, start, stop):
    """Less the hold at the foot, where the dyno waits for boost, and the one at the top."""
    if trace.time is None:
        return start, stop
    speed, rate = trace.speed[start:stop], _rate(trace, start, stop)
    height = (speed - speed.min()) / max(np.ptp(speed), 1e-9)
    slow = rate < 0.25 * _median(rate[height > 1 / 3])
    foot = np.flatnonzero(slow & (height <= 1 / 3))
    top = np.flatnonzero(slow & (height >= 0.97))
    begin = start + int(foot[-1]) + 1 if len(foot) else start
    return begin, start + int(top[0]) + 1 if len(top) else stop


def _before_lift(trace, start, stop):
    """Less the last rows if load has collapsed in them: there the throttle was shut."""
    tail = min(5 * trace.block, (stop - start) // 4)
    usual = np.nanmedian(trace.load[stop - 3 * tail : stop - tail]) if tail else 0.0
    lifted = np.flatnonzero(trace.load[stop - tail : stop] < 0.9 * usual)
    return stop - tail + int(lifted[0]) if len(lifted) else stop


def _rate(trace, start, stop):
    """Speed's rate of change over about half a second around each row [rpm/s]."""
    time, speed = np.maximum.accumulate(trace.time[start:stop]), trace.speed[start:stop]
    first = np.maximum(np.searchsorted(time, time - 0.25) - 1, 0)
    last = np.minimum(np.searchsorted(time, time + 0.25), len(time) - 1)
    elapsed = time[last] - time[first]
    rate = np.zeros(len(time))
    return np.divide(speed[last] - speed[first], elapsed, out=rate, where=elapsed > 0)


def _pull(trace, start, stop):
    speed = trace.speed[start:stop]
    low, high = float(speed.min()), float(speed.max())
    reason = f"speed rises from {low:.0f} to {high:.0f} rpm"
    seconds, gap, sweep = np.nan, 0.0, np.nan
    if trace.time is not None:
        time = trace.time[start:stop]
        seconds, gap, sweep = float(np.ptp(time)), _gap(time), slope(time, speed)
        reason += f" in {seconds:.1f} s"
    reason += ", throttle open" if trace.open is not None else "; throttle not logged"
    reason += f"; the logger paused for {gap:.1f} s" if gap else ""
    label = ABORTED if seconds < trace.settings.least_s else PULL
    reason += f"; shorter than {trace.settings.least_s:g} s" if label == ABORTED else ""
    falling = int(np.count_nonzero(np.diff(speed) < 0))
    return Pull(label, start, stop, low, high, sweep, reason, label == PULL, falling, gap)


def _gap(time):
    steps = np.diff(time)
    usual = _median(steps[steps > 0])
    return float(steps.max()) if 0 < 5 * usual < steps.max() else 0.0


def _median(values):
    return float(np.median(values)) if len(values) else 0.0


def _judged(pulls, settings):
    """Aborted where the range is small beside the widest one; a lone pull cannot be judged."""
    whole = [p for p in pulls if p.label == PULL]
    if not whole:
        return pulls
    widest = max(p.high_rpm - p.low_rpm for p in whole)
    top = settings.top_rpm or max(p.high_rpm for p in whole)
    return [_judge(p, widest, top, len(whole) == 1, settings) for p in pulls]


def _judge(pull, widest, top, alone, settings):
    if pull.label != PULL:
        return pull
    narrow = pull.high_rpm - pull.low_rpm < settings.aborted_below * widest
    if narrow or (settings.top_rpm and pull.high_rpm < 0.9 * top):
        reason = f"{pull.reason}; cut short, a whole pull here reaches {top:.0f} rpm"
        return replace(pull, label=ABORTED, accepted=False, reason=reason)
    if alone and settings.top_rpm is None:
        more = "the only one here, so whether it was cut short cannot be told"
        return replace(pull, reason=f"{pull.reason}; {more}")
    return pull


# ---- the rest of the log --------------------------------------------------------------------


def _with_rest(trace, pulls, turns):
    """The pulls and, between them, stretches that stand, fall, hold or idle."""
    standing = np.flatnonzero(np.diff(trace.speed <= trace.settings.off_rpm)) + 1
    cuts = {0, len(trace.speed), *standing.tolist(), *turns[1:-1]}
    cuts |= {row for p in pulls for row in (p.start, p.stop)}
    inside = {row for p in pulls for row in range(p.start + 1, p.stop)}
    at = {p.start: p for p in pulls}
    pieces = pairwise(sorted(cuts - inside))
    return _merged([at.get(a) or _rest(trace, a, b) for a, b in pieces], trace)


def _merged(stretches, trace):
    """Neighbours of one kind, neither of them a pull, become one."""
    out = []
    for piece in stretches:
        if out and out[-1].label == piece.label and piece.label in (IDLE, COAST, OFF, HELD):
            piece = _rest(trace, out.pop().start, piece.stop, piece.label)
        out.append(piece)
    return out


def _rest(trace, start, stop, label=None):
    speed = trace.speed[start:stop]
    low, high = float(speed.min()), float(speed.max())
    reasons = {
        OFF: "the engine stands",
        COAST: f"speed falls from {speed[0]:.0f} to {speed[-1]:.0f} rpm",
        HELD: f"throttle open between {low:.0f} and {high:.0f} rpm, no sweep",
        IDLE: f"between {low:.0f} and {high:.0f} rpm, no sweep",
    }
    label = label or _kind(trace, start, stop)
    rate = slope(trace.time[start:stop], speed) if trace.time is not None else np.nan
    return Pull(label, start, stop, low, high, rate, reasons[label])


def _kind(trace, start, stop):
    speed = trace.speed[start:stop]
    if speed.max() <= trace.settings.off_rpm:
        return OFF
    before = trace.speed[max(start - 1, 0)]
    if max(speed[0], before) - speed[-1] > trace.turn_rpm:
        return COAST
    if trace.open is not None and trace.open[start:stop].mean() > 0.5:
        return HELD
    return IDLE


def _numbered(trace, stretches):
    """Stretches in rows of the log, where rows without a speed are counted too."""
    edges = np.append(trace.kept, trace.rows)
    edges[0] = 0
    return tuple(replace(s, start=int(edges[s.start]), stop=int(edges[s.stop])) for s in stretches)


def _longest_run(mask):
    """(start, stop) of the longest run of True; (0, 0) where there is none."""
    edges = np.flatnonzero(np.diff(np.pad(mask.astype(int), 1)))
    if not len(edges):
        return 0, 0
    best = np.argmax(edges[1::2] - edges[::2])
    return int(edges[2 * best]), int(edges[2 * best + 1])
