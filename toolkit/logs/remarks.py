"""What is odd about a log before any question is asked of it: a clock that runs backwards, rows
without a time, no engine speed."""

from dataclasses import dataclass

import numpy as np

_SPARSE_S = 5.0  # as where a clock without a unit is not taken for seconds


@dataclass(frozen=True)
class Remark:
    """Something worth knowing about the log; rows are lines of the file."""

    sentence: str
    rows: tuple[int, ...] = ()
    channels: tuple[str, ...] = ()


def remarks_on(frame):
    """Remarks on the channels of a run's frame."""
    return tuple(
        r for r in (_backwards(frame), _timeless(frame), _sparse(frame), _speedless(frame)) if r
    )


def _backwards(frame):
    if "time_s" not in frame:
        return None
    known = frame["time_s"].dropna()
    back = known.index[1:][np.diff(known.to_numpy()) < 0]
    if not len(back):
        return None
    rows = tuple(int(r) for r in back)
    sentence = f"The clock runs backwards in {len(rows)} rows, first in row {rows[0]}."
    return Remark(sentence, rows, ("time_s",))


def _timeless(frame):
    """Rows that hold numbers but no time, such as an average below the table."""
    if "time_s" not in frame:
        return None
    rows = tuple(int(r) for r in frame.index[frame["time_s"].isna()])
    if not rows:
        return None
    sentence = f"{len(rows)} rows have no time, first row {rows[0]}: are they part of the log?"
    return Remark(sentence, rows, ("time_s",))


def _sparse(frame):
    """Rows so far apart that the clock more likely counts something shorter than seconds."""
    steps = np.diff(frame["time_s"].dropna()) if "time_s" in frame else np.empty(0)
    steps = steps[steps > 0]
    if not steps.size or np.median(steps) <= _SPARSE_S:
        return None
    sentence = (
        f"The rows are {np.median(steps):.6g} s apart: if the clock counts milliseconds, "
        "change the unit of its column."
    )
    return Remark(sentence, (), ("time_s",))


def _speedless(frame):
    if "speed_rpm" in frame:
        return None
    return Remark("No column is known to be the engine speed, so no pull can be found here.")
