"""Repeats and what they allow to be said: means, scatter, the band on a difference, drift."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

WELCH = "Welch's t for unequal scatter"
DRIFT = "least squares with a linear drift in time common to both sides"


@dataclass(frozen=True)
class Gain:
    """Mean of B less mean of A, with its band; arrays along speed, or single numbers.

    level_a, level_b: the means the difference is taken between (means, or with `drift` both
    brought to one moment); sd: scatter of single pulls; n: pulls; half_width: of the band at the
    stated confidence, NaN where scatter is unknown; drift: per unit of time, 0 where not corrected.
    """

    level_a: np.ndarray
    level_b: np.ndarray
    sd_a: np.ndarray
    sd_b: np.ndarray
    n_a: np.ndarray
    n_b: np.ndarray
    difference: np.ndarray
    standard_error: np.ndarray
    dof: np.ndarray
    half_width: np.ndarray
    drift: np.ndarray
    method: str = WELCH

    @property
    def low(self):
        return self.difference - self.half_width

    @property
    def high(self):
        return self.difference + self.half_width

    @property
    def clear(self):
        """Where the band does not reach zero; False where scatter is unknown."""
        with np.errstate(invalid="ignore"):
            return np.abs(self.difference) > self.half_width


def welch(a, b, confidence=0.95):
    """Difference of means of two sets of repeats, each (pulls,) or (pulls, points).

    NaN marks a pull without that point. With fewer than two pulls on a side the difference
    stands and its band is NaN: scatter unknown.

    Source: B. L. Welch, The generalization of 'Student's' problem when several different
    population variances are involved, Biometrika 34 (1947); degrees of freedom as GUM
    (JCGM 100:2008) G.4.1.

    >>> gain = welch([648.2, 652.9, 650.1], [652.0, 655.8, 650.6])
    >>> round(float(gain.difference), 1), round(float(gain.standard_error), 1), bool(gain.clear)
    (2.4, 2.1, False)
    """
    (mean_a, sd_a, n_a), (mean_b, sd_b, n_b) = summary(a), summary(b)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = np.stack([sd_a / np.sqrt(n_a), sd_b / np.sqrt(n_b)])
        dof = effective_dof(parts, np.stack([n_a - 1.0, n_b - 1.0]))
    error = np.sqrt((parts**2).sum(axis=0))
    half = coverage_factor(dof, confidence) * error
    zero = np.zeros_like(mean_a)
    return Gain(
        mean_a, mean_b, sd_a, sd_b, n_a, n_b, mean_b - mean_a, error, dof, half, zero
    )  # fmt: skip


def summary(repeats):
    """(mean, sd, n) over the first axis, of the finite values; sd is NaN for fewer than two.

    >>> [round(float(v), 4) for v in summary([451.2, 449.8, 450.6, 451.0, 450.1])]
    [450.54, 0.5899, 5.0]
    """
    values = np.asarray(repeats, dtype=float)
    n = np.isfinite(values).sum(axis=0)
    filled = np.where(n > 0, n, np.nan)
    mean = np.nansum(values, axis=0) / filled
    square = np.nansum((values - mean) ** 2, axis=0)
    return mean, np.sqrt(square / np.where(n > 1, n - 1, np.nan)), n


def effective_dof(uncertainties, dofs):
    """Degrees of freedom of a root sum of squares (Welch-Satterthwaite), over the first axis.

    Standard uncertainties in one unit, their degrees of freedom (may be infinite).
    Source: GUM, JCGM 100:2008, G.4.1, equation G.2b.

    >>> round(float(effective_dof([25, 9.663, 2.887, 16.599], [18, 25.6, 50, 2])), 1)
    16.7
    """
    u, dofs = np.asarray(uncertainties, dtype=float), np.asarray(dofs, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (u**2).sum(axis=0) ** 2 / (u**4 / dofs).sum(axis=0)


def coverage_factor(dof, confidence=0.95):
    """Two-sided t for these degrees of freedom; NaN below 1.

    >>> round(float(coverage_factor(4)), 6)
    2.776445
    """
    dof = np.asarray(dof, dtype=float)
    usable = np.where(dof >= 1 - 1e-9, dof, np.nan)
    return stats.t.ppf(0.5 + confidence / 2, usable)


def with_drift(a, b, time_a, time_b, confidence=0.95):
    """Difference of two sets of repeats that drift along together, as in an A-B-A test.

    y = level + gain * (pull is of B) + drift * time, fitted to all pulls; times in any unit. The
    levels are those at the mean time of all pulls.

    >>> gain = with_drift([702.1, 700.3, 694.6, 692.8], [710.8, 709.2], [0, 1, 4, 5], [2, 3])
    >>> round(float(gain.difference), 2), bool(gain.clear)
    (12.55, True)
    """
    (_, sd_a, n_a), (_, sd_b, n_b) = summary(a), summary(b)
    values = np.concatenate([np.asarray(a, dtype=float), np.asarray(b, dtype=float)])
    of_b = np.repeat([0.0, 1.0], [len(time_a), len(time_b)])
    time = np.concatenate([time_a, time_b]).astype(float)
    design = np.column_stack([np.ones(len(time)), of_b, time - time.mean()])
    (level, gain, drift), covariance, dof = regression(design, values)
    error = np.sqrt(covariance[1, 1])
    half = coverage_factor(dof, confidence) * error
    return Gain(
        level, level + gain, sd_a, sd_b, n_a, n_b, gain, error, dof, half, drift, DRIFT
    )  # fmt: skip


def regression(design, values):
    """Least squares of values (n,) or (n, points) on the columns of `design` (n, k).

    Returns coefficients (k, ...), their covariance (k, k, ...) and degrees of freedom. A point
    leaves out its NaN rows; where the rest cannot tell the columns apart, it is NaN.
    """
    design, values = np.asarray(design, dtype=float), np.asarray(values, dtype=float)
    y = values.reshape(len(values), -1)
    used = np.isfinite(y)
    normal = np.einsum("ni,nm,nj->mij", design, used, design)
    moment = np.einsum("ni,nm->mi", design, np.where(used, y, 0.0))
    k = design.shape[1]
    solvable = np.linalg.matrix_rank(normal, hermitian=True) == k
    inverse = np.linalg.inv(np.where(solvable[:, None, None], normal, np.eye(k)))
    coefficients = np.einsum("mij,mj->im", inverse, moment)
    dof = used.sum(axis=0) - k
    square = np.nansum((y - design @ coefficients) ** 2, axis=0)
    variance = square / np.where(dof > 0, dof, np.nan)
    covariance = np.moveaxis(inverse, 0, -1) * variance
    coefficients[:, ~solvable] = covariance[:, :, ~solvable] = np.nan
    shape = values.shape[1:]
    return coefficients.reshape(k, *shape), covariance.reshape(k, k, *shape), dof.reshape(shape)
