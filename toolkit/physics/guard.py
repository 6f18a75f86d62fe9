"""Refuse an impossible argument in one sentence; let NaN through."""

import numpy as np


def checked(name, value, low=-np.inf, high=np.inf, unit="", *, above=None):
    """The value as a float array, if every element lies in [low, high].

    `above` is an exclusive lower limit, for quantities that must be positive. NaN passes:
    it stands for "not known" and comes out as NaN.

    Raises ValueError that names the argument, the first offending value and the range.

    >>> float(checked("t_k", 300, above=0, unit="K"))
    300.0
    >>> checked("efficiency", [0.7, 1.2], 0, 1)
    Traceback (most recent call last):
    ...
    ValueError: efficiency is 1.2: it must lie between 0 and 1
    """
    array = np.asarray(value, dtype=float)
    bad = (array < low) | (array > high)
    if above is not None:
        bad |= array <= above
    if np.any(bad):
        first = f"{array[bad].flat[0]:g}"
        unit = f" {unit}" if unit else ""
        raise ValueError(f"{name} is {first}{unit}: it must {_range(low, high, above)}{unit}")
    return array


def _range(low, high, above):
    lower = f"be above {above:g}" if above is not None else f"be at least {low:g}"
    if np.isinf(high):
        return lower
    if above is None and np.isinf(low):
        return f"be at most {high:g}"
    return f"lie between {low if above is None else above:g} and {high:g}"
