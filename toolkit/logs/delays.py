"""A sensor that answers late, put back to when what it saw happened.

The delay is the person's to state, in time or, for a mixture sensor, whose gas has to travel, in
engine revolutions; a linear value between two rows is the only thing worked out here.
"""

import re

import numpy as np

from toolkit import units
from toolkit.logs.question import LogError

_REVOLUTIONS = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*rev(?:olution)?s?\s*")


def delay_s(text, speed_rpm, rows):
    """The delay at every row [s] from a text such as "0.25 s" or "5 rev".

    Revolutions take longer the slower the engine turns; NaN where it stands.
    Raises LogError for another text, or revolutions without a speed.

    >>> delay_s("5 rev", np.array([3000.0, 6000.0]), 2).tolist()
    [0.1, 0.05]
    """
    turns = _REVOLUTIONS.fullmatch(text)
    if not turns:
        try:
            return np.full(rows, units.parse(text, "time"))
        except units.UnitError as error:
            raise LogError(f"a delay of {error}, or in revolutions, like '5 rev'") from None
    if speed_rpm is None:
        raise LogError(f"a delay of '{text}' needs the engine speed, which this log does not have")
    speed = np.asarray(speed_rpm, dtype=float)
    turning = np.where(speed > 0, speed, np.nan)
    return float(turns.group(1).replace(",", ".")) * 60.0 / turning


def undelayed(time_s, values, delay):
    """What the sensor would have read without its delay: its value `delay` later.

    delay [s]: a number or one per row. NaN where the log ends too early, where its clock starts
    again (the rows after that are another pull), or where a neighbouring row is missing.

    >>> undelayed([0.0, 1.0, 2.0, 3.0], [0.0, 10.0, 20.0, 30.0], 0.5).tolist()
    [5.0, 15.0, 25.0, nan]
    """
    time_s, values = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    known = np.flatnonzero(np.isfinite(time_s))
    then, out = time_s + delay, np.full(values.shape, np.nan)
    for rows in np.split(known, np.flatnonzero(np.diff(time_s[known]) < 0) + 1):
        if rows.size:
            # A missing value stays missing: NaN beside a point makes the value between NaN too.
            out[rows] = np.interp(then[rows], time_s[rows], values[rows], np.nan, np.nan)
    return out
