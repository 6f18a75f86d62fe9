"""How fast filling falls with back pressure, d ln(trapped air) / d(p3/pi), for a split.

From the widest knowledge to the best: the range of published and measured engines, the cycle
model where the cam is known, and what the two runs' own air flow says, which sharpens either.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from toolkit.analysis import breathing
from toolkit.physics.cycle import cycle
from toolkit.physics.guard import checked

# Ideal bracket at one end, the steepest measured turbo petrol engine at the other: 95 %.
LEAST_STEEP, STEEPEST = -0.08, -0.50
# The cycle has no pressure waves and a plain lobe: it may be wrong by this part of its slope.
CYCLE_ERROR, CYCLE_FLOOR = 0.5, 0.03
KNOTS = 8
# Air flow's gain may differ between runs by this much [-], one standard deviation.
AIR_GAIN_SD = 0.003
# Filling is not quite a straight line in the ratio, nor its slope a parabola in speed.
FORM_ERROR = 0.2


@dataclass(frozen=True)
class BreathingSlope:
    """mean and sd [-] along speed; source: where they come from, in words."""

    mean: np.ndarray
    sd: np.ndarray
    source: str

    @property
    def evidence(self):
        """The evidence word that a breathing share with this slope carries."""
        return "worked out" if "air flow" in self.source else "estimated"


def from_range(speed_rpm):
    """The honest range where neither cam nor air flow is known. [BreathingSlope]"""
    ones = np.ones(np.shape(speed_rpm))
    mean, half = (LEAST_STEEP + STEEPEST) / 2, (LEAST_STEEP - STEEPEST) / 2
    return BreathingSlope(mean * ones, half / 2 * ones, "range of published engines, cam unknown")


def from_cycle(build, cam, speed_rpm, a, b):
    """The cycle model's slope between two runs. [BreathingSlope]

    a, b: (manifold pressure, exhaust pressure, charge temperature) arrays along speed [Pa, Pa, K].
    Taken as a secant of the work that the trapped air does, over at least 0.1 of the ratio.
    """
    known = np.flatnonzero(np.isfinite([*a, *b]).all(axis=0))
    if known.size < 2:
        return from_range(speed_rpm)
    pick = known[np.unique(np.linspace(0, known.size - 1, KNOTS).round().astype(int))]
    p_in, _, t = ((x[pick] + y[pick]) / 2 for x, y in zip(a, b, strict=True))
    ratios = np.stack([a[1][pick] / a[0][pick], b[1][pick] / b[0][pick]])
    half = np.maximum(np.abs(ratios[1] - ratios[0]) / 2, 0.05)
    middle = ratios.mean(axis=0)
    cylinder, _ = breathing.cylinder_of(build.engine)
    pair = p_in * np.stack([middle - half, middle + half])
    at = breathing.operating_of(build, speed_rpm[pick], p_in, pair, t)
    low, high = np.log(cycle(cylinder, cam, at, **breathing.LIVE).imep_gross_pa)
    slope = np.interp(speed_rpm, speed_rpm[pick], (high - low) / (2 * half))
    words = f"cycle model, {cam.overlap_deg:.0f}° of overlap"
    return BreathingSlope(slope, CYCLE_ERROR * np.abs(slope) + CYCLE_FLOOR, words)


def sharpened(prior, speed_rpm, ratio_change, filling_change, filling_sd, heat_change, heat_sd):
    """The slope after looking at the runs' own air flow. [BreathingSlope]

    ratio_change: of p3/pi from one run to the other; filling_change: of ln(air flow) beyond
    pressure, temperature and speed, with its standard deviation along speed; NaN where unknown.
    heat_change: of ln(charge temperature), whose exponent is known within heat_sd. The prior is
    bent by a parabola in speed, and an air meter may read differently by a constant.
    Source: linear regression with normal priors, A. Gelman et al., Bayesian Data Analysis, ch. 14.
    """
    sd = checked("filling_sd", filling_sd, above=0)
    used = np.isfinite([ratio_change, filling_change, sd, heat_change]).all(axis=0)
    if used.sum() < 4:
        return prior
    x = (speed_rpm - speed_rpm.mean()) / np.ptp(speed_rpm) * 2
    basis = np.stack([np.ones_like(x), x, x**2 - 1 / 3])
    design = np.vstack([basis * ratio_change, np.ones_like(x), heat_change])[:, used]
    size = float(np.mean(prior.sd))
    spread = np.array([size, size, size, AIR_GAIN_SD, heat_sd])
    left = (filling_change - prior.mean * ratio_change)[used]
    noise = sd[used]
    for _ in range(2):  # the second time with the noise that the first misfit shows
        weighted = design / noise**2
        factor = cho_factor(weighted @ design.T + np.diag(1 / spread**2))
        coefficients = cho_solve(factor, weighted @ left)
        misfit = np.sqrt(np.mean(((left - coefficients @ design) / noise) ** 2))
        noise = noise * max(misfit, 1.0)
    covariance = cho_solve(factor, np.eye(5))[:3, :3]
    mean = prior.mean + coefficients[:3] @ basis
    sd = np.sqrt(np.einsum("is,ij,js->s", basis, covariance, basis) + (FORM_ERROR * mean) ** 2)
    return BreathingSlope(mean, sd, f"logged air flow, starting from: {prior.source}")
