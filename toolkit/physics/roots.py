"""Roots of many increasing functions at once, each kept between its own ends."""

import numpy as np


def root_of_increasing(f, start, low=0.0, high=1.0, slope=None, tolerance=1e-12, most=200):
    """Where f, rising from `low` to `high`, is zero; every element at the same time.

    f(x) takes an array and gives (value, anything else worth keeping). A secant step is taken
    where it stays inside the bracket and made enough way, else the bracket is halved, so that
    it settles whatever f does. The ends are taken to bracket the root and looked at only when a
    step leads there: where f does not change sign the nearer end comes back, and its value says
    so. Returns x, f(x) and what f gave with it; NaN stays NaN.

    Source: secant safeguarded by bisection, after Dekker (1969).

    >>> root_of_increasing(lambda x: (x**3 - 0.027, None), np.array([0.9]))[0].round(12)
    array([0.3])
    """
    x = np.asarray(start, dtype=float)
    lo, hi = np.full(x.shape, low), np.full(x.shape, high)
    lo_seen, hi_seen = np.zeros(x.shape, bool), np.zeros(x.shape, bool)
    slope = np.full(x.shape, np.nan) if slope is None else np.array(slope, dtype=float)
    before, y_before, y_earlier = np.full(x.shape, np.nan), np.full(x.shape, np.inf), np.inf
    for _ in range(most):
        y, extra = f(x)
        below = y < 0
        lo, hi = np.where(below, x, lo), np.where(below, hi, x)
        lo_seen, hi_seen = lo_seen | below, hi_seen | ~below
        moved = x - before
        rise = np.divide(y - y_before, moved, out=np.full(x.shape, np.nan), where=moved != 0)
        slope = np.where(np.isfinite(rise) & (rise > 0), rise, slope)
        new = _next(x, y, slope, lo, hi, lo_seen, hi_seen, np.abs(y) > 0.5 * np.abs(y_earlier))
        ended = np.where(below, x >= high, x <= low) | (y == 0) | np.isnan(y)
        ended |= (np.abs(new - x) <= tolerance) | (hi - lo <= tolerance)
        if ended.all():
            break
        before, y_earlier, y_before = x, y_before, y
        x = np.where(ended, x, new)
    return x, y, extra


def _next(x, y, slope, lo, hi, lo_seen, hi_seen, slow):
    """The secant step; to an unseen end if it leads beyond; else to the middle."""
    middle = 0.5 * (lo + hi)
    step = np.divide(y, slope, out=np.full(x.shape, np.nan), where=slope > 0)
    new = np.where(np.isfinite(step), x - step, middle)
    new = np.where(new >= hi, np.where(hi_seen, middle, hi), new)
    new = np.where(new <= lo, np.where(lo_seen, middle, lo), new)
    return np.where(slow & lo_seen & hi_seen, middle, new)
