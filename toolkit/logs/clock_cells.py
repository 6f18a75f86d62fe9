"""Times written as text, brought to seconds that never jump back at midnight or the full hour."""

import re

import numpy as np

from toolkit.logs import cells

RUNNING, HOURS, OF_DAY, DATED = "minutes:seconds", "hours:minutes", "time of day", "date and time"
_DAY_S = 86400.0


def kind_of(texts, header=""):
    """How the times in these cells are written; "" where "01:30" could be two things.

    A header such as "Time (HH:MM)" says so itself.

    >>> kind_of(["01:30.5"]), kind_of(["23:59:59"]), kind_of(["01:30", "01:31"])
    ('minutes:seconds', 'time of day', '')
    """
    found = [p for t in texts if (p := cells.TIME.fullmatch(t.strip()))]
    if any(p.group(1) or p.group(4) for p in found):
        return DATED
    if any(p.group(10) or p.group(12) for p in found):
        return OF_DAY
    if any(p.group(11) or int(p.group(8)) > 24 for p in found):
        return RUNNING
    said = re.sub(r"[^a-z:]", "", header.lower())
    return HOURS if "hh:mm" in said else RUNNING if "mm:ss" in said else ""


class Clock:
    """One column of times, gathered in pieces.

    >>> clock = Clock("time of day")
    >>> clock.add(["11:59:59 PM", "---", "12:00:01 AM"])
    [1]
    >>> clock.seconds().tolist()
    [86399.0, nan, 86401.0]
    """

    def __init__(self, kind):
        self.kind = kind
        self._pieces, self._days, self._dates = [], [], {}

    def add(self, texts):
        """Take in more cells; the places of those that are neither empty nor a time."""
        seconds, days = np.full(len(texts), np.nan), np.zeros(len(texts), dtype=int)
        bad = []
        for place, text in enumerate(texts):
            text = text.strip()
            value, date = self._read(text)
            seconds[place] = value
            days[place] = self._dates.setdefault(date, len(self._dates))
            if text and not np.isfinite(value):
                bad.append(place)
        self._pieces.append(seconds)
        self._days.append(days)
        return bad

    def _read(self, text):
        """(seconds within the day, the date as (year, number, number, separator) or None)."""
        parts = cells.TIME.fullmatch(text)
        if not parts:
            plain = cells.number(text, ".") if self.kind == RUNNING else None
            return (np.nan if plain is None else plain), None
        date = None
        if parts.group(1):
            date = (int(parts.group(1)), int(parts.group(3)), int(parts.group(2)), "iso")
        elif parts.group(4):
            date = (int(parts.group(7)), int(parts.group(4)), int(parts.group(6)), parts.group(5))
        if (date is None) == (self.kind == DATED):
            return np.nan, None
        return self._within_day(parts), date

    def _within_day(self, parts):
        first, second, third = (int(parts.group(i) or 0) for i in (8, 9, 10))
        fraction = float(f"0.{parts.group(11) or 0}")
        if second > 59 or third > 60:
            return np.nan
        if parts.group(10) is None and (self.kind == RUNNING or parts.group(11)):
            return first * 60 + second + fraction
        half = (parts.group(12) or "").lower()
        if first > (12 if half else 24) and self.kind != RUNNING:
            return np.nan
        if half:
            first = first % 12 + (12 if half == "p" else 0)
        return first * 3600 + second * 60 + third + fraction

    def order(self):
        """ "day" or "month": which comes first in dates like 3/4/2024; "" if nothing shows it."""
        open_dates = [d for d in self._dates if d and d[3] in "/-"]
        if any(d[1] > 12 for d in open_dates) or len(open_dates) < 2:
            return "day"
        return "month" if any(d[2] > 12 for d in open_dates) else ""

    def seconds(self, order="day"):
        """The times so far [s]; dates count as days since 1970."""
        values = np.concatenate(self._pieces) if self._pieces else np.zeros(0)
        if self.kind == DATED:
            numbers = np.array([_day_number(d, order) for d in self._dates], dtype=float)
            return values + numbers[np.concatenate(self._days)] * _DAY_S
        return _unwrapped(values, self.kind)


def _day_number(date, order):
    if date is None:
        return np.nan
    year, day, month, separator = date
    if separator in "/-" and order == "month":
        day, month = month, day
    try:
        return float(np.datetime64(f"{year:04d}-{month:02d}-{day:02d}").astype(int))
    except ValueError:
        return np.nan


def _unwrapped(values, kind):
    """The clock made to run on where it starts again, at midnight or at the full hour."""
    period, least = (3600.0, -3540.0) if kind == RUNNING else (_DAY_S, -_DAY_S / 2)
    known = np.flatnonzero(np.isfinite(values))
    turns = np.cumsum(np.diff(values[known], prepend=values[known][:1]) < least)
    out = values.copy()
    out[known] += turns * period
    return out
