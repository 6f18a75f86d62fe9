"""Roots of many increasing functions at once, each kept between its own ends."""

import numpy as np


def root_of_increasing(
    f, start, low=0.0, high=1.0, slope=None, tolerance=1e-12, most=200, narrow=None
):
    """Where f, rising from `low` to `high`, is zero; every element at the same time.

    f(x) takes an array and gives (value, anything else worth keeping). A secant step is taken
    where it stays inside the bracket and made enough way, else the bracket is halved, so that
    it settles whatever f does. The ends are taken to bracket the root and looked at only when a
    step leads there: where f does not change sign the nearer end comes back, and its value says
    so. Returns x, f(x), what f gave with it, and the slope there; NaN stays NaN.

    narrow(keep), where given, is called when most elements are done; from then on f is asked
    for the kept ones only, and only x comes back.

    Source: secant safeguarded by bisection, after Dekker (1969).

    >>> root_of_increasing(lambda x: (x**3 - 0.027, None), np.array([0.9]))[0].round(12)
    array([0.3])
    """
    found = np.array(start, dtype=float)
    index = np.arange(found.size)
    s = _Search(found.ravel(), low, high, slope, tolerance)
    for _ in range(most):
        y, extra = f(s.x)
        x, done = s.x, s.step(y)
        if done.all():
            break
        if narrow and done.sum() > 0.6 * done.size:
            found.flat[index] = x
            index = index[~done]
            narrow(~done)
            s.keep(~done)
    found.flat[index] = x
    return found if narrow else (found, y, extra, s.slope)


class _Search:
    """Each element's bracket, last two values and slope."""

    def __init__(self, x, low, high, slope, tolerance):
        unknown = np.full(x.shape, np.nan)
        self.x, self.low, self.high = x, low, high
        self.lo, self.hi = np.full(x.shape, low), np.full(x.shape, high)
        self.lo_seen = self.hi_seen = self.done = np.zeros(x.shape, bool)
        self.slope = unknown if slope is None else np.array(slope, dtype=float)
        self.tolerance = np.broadcast_to(tolerance, x.shape)
        self.before, self.y_before, self.y_earlier = unknown, unknown, np.full(x.shape, np.inf)

    def keep(self, which):
        for name, value in vars(self).items():
            if isinstance(value, np.ndarray):
                setattr(self, name, value[which])

    def step(self, y):
        """Take in the values at x, move x, and say which elements are done with."""
        x, below = self.x, y < 0
        self.lo, self.hi = np.where(below, x, self.lo), np.where(below, self.hi, x)
        self.lo_seen, self.hi_seen = self.lo_seen | below, self.hi_seen | ~below
        with np.errstate(divide="ignore", invalid="ignore"):
            rise = (y - self.y_before) / (x - self.before)
            self.slope = np.where((rise > 0) & (rise < np.inf), rise, self.slope)
            new = self._aim(x - y / self.slope, np.abs(y) > 0.5 * np.abs(self.y_earlier))
        self.done = self.done | np.where(below, x >= self.high, x <= self.low)
        self.done |= (np.abs(new - x) <= self.tolerance) | (self.hi - self.lo <= self.tolerance)
        self.done |= (y == 0) | np.isnan(y)
        self.before, self.y_earlier, self.y_before = x, self.y_before, y
        self.x = np.where(self.done, x, new)
        return self.done

    def _aim(self, secant, slow):
        """The secant step; to an unseen end if it leads beyond; else to the middle."""
        middle = 0.5 * (self.lo + self.hi)
        new = np.where(np.isnan(secant), middle, secant)
        new = np.where(new >= self.hi, np.where(self.hi_seen, middle, self.hi), new)
        new = np.where(new <= self.lo, np.where(self.lo_seen, middle, self.lo), new)
        return np.where(slow & self.lo_seen & self.hi_seen, middle, new)
