"""What is odd about a log before any question is asked of it: a clipped sensor, a clock that
runs backwards, no engine speed."""

from dataclasses import dataclass

import numpy as np

from toolkit.logs.channels import channel_of

FLAT_ROWS = 3  # to the printed digit; a live sensor at rest still flickers. Common practice
MOVED = 0.01  # of its largest value: torque that moves this much says that the engine did


@dataclass(frozen=True)
class Remark:
    """Something worth knowing about the log; rows are lines of the file."""

    sentence: str
    rows: tuple[int, ...] = ()
    channels: tuple[str, ...] = ()


def remarks_on(frame):
    """Remarks on the channels of a run's frame."""
    pressures = [c for c in frame if c.startswith("p_") and c.endswith("_pa")]
    found = [_flat_remark(frame, c) for c in pressures if c != "p_cell_pa"]
    return tuple(r for r in (_backwards(frame), _timeless(frame), *found, _speedless(frame)) if r)


def flat_top(values):
    """Rows of a trace at its largest value where it stays there to the digit; False elsewhere.

    >>> flat_top([1.0, 2.0, 3.0, 3.0, 3.0, 2.0]).tolist()
    [False, False, True, True, True, False]
    """
    values = np.asarray(values, dtype=float)
    top = values == np.nanmax(values, initial=-np.inf)
    edges = np.flatnonzero(np.diff(top.astype(int), prepend=0, append=0))
    flat = np.zeros(top.shape, dtype=bool)
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        flat[start:stop] = stop - start >= FLAT_ROWS
    return flat


def _flat_remark(frame, channel):
    flat = flat_top(frame[channel])
    if not flat.any() or np.nanmin(frame[channel]) == np.nanmax(frame[channel]):
        return None
    rows = tuple(int(r) for r in frame.index[flat])
    top = f"{np.nanmax(frame[channel]) / 1000:.1f} kPa"
    words = channel_of(channel).words
    where = f"The {words} stays at its largest value, {top}, to the digit in {len(rows)} rows"
    if "torque_nm" not in frame:
        return Remark(f"{where}: held or clipped cannot be told without torque.", rows, (channel,))
    if not _moves(frame["torque_nm"], flat):
        return None
    sentence = f"{where} while torque moves, as a sensor at its end does: take it as >= {top}."
    return Remark(sentence, rows, (channel,))


def _moves(torque, flat):
    """Whether torque moves within the flat rows."""
    held = torque[flat].dropna()
    return not held.empty and held.max() - held.min() > MOVED * torque.abs().max()


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


def _speedless(frame):
    if "speed_rpm" in frame:
        return None
    return Remark("No column is known to be the engine speed, so no pull can be found here.")
