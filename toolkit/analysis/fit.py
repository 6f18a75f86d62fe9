"""The model fitted to measured runs: least squares with priors, and what the data said of each.

Unknowns are counted in standard deviations of their priors, so that the prior is one more residual
each, the posterior's spread is between 0 (the data said it all) and 1 (the data said nothing), and
a fit without enough data is still a fit: of the prior, and reported as that. Where a prior is
switched off and the data do not settle an unknown, its band is infinite.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import stats
from scipy.optimize import least_squares

from toolkit import units
from toolkit.analysis.fit_model import Model, parameters_of
from toolkit.analysis.fit_points import FitPoints

STEPS = 40  # of the search, at most; it takes about ten
_STEP = 1e-4  # of a prior's standard deviation, for derivatives
_NOTHING = 1e-7  # of the largest singular value: a direction that the data do not see


@dataclass(frozen=True)
class Trust:
    """Standard deviation between a channel and the model, sensor and model error together;
    relative, but [K] for temperatures and [Pa] for the spring. From memory: the tolerance of a
    well-kept bench, 1 to 2 %, and as much again for a model of this size."""

    air: float = 0.02
    torque: float = 0.02
    p_exhaust: float = 0.025
    t_exhaust: float = 15.0
    t_charge: float = 4.0
    spring: float = 5e3


CHANNELS = {
    "air": "air flow",
    "torque": "torque",
    "p_exhaust": "back pressure",
    "t_exhaust": "exhaust temperature",
    "t_charge": "charge temperature",
    "spring": "gate spring",
}


class Stopped(Exception):
    """The person stopped the fit."""


@dataclass(frozen=True)
class Fitted:
    """What came out.

    x: the unknowns in standard deviations from their priors; covariance: of x, infinite where
    neither data nor prior settle it. residuals: per channel, model against measured, relative or
    in the channel's unit; NaN where not logged.
    """

    builds: tuple
    points: FitPoints
    parameters: tuple
    x: np.ndarray
    covariance: np.ndarray
    trust: Trust
    residuals: dict

    @cached_property
    def best(self):
        """Best value of each unknown by name."""
        return _named(self.parameters, self.x)

    @cached_property
    def spread(self):
        """Posterior standard deviation over the prior's, by name."""
        return dict(zip([p.name for p in self.parameters], np.sqrt(self._variances), strict=True))

    @property
    def _variances(self):
        return np.diag(self.covariance)

    @property
    def settled(self):
        """Whether data and priors together settle every unknown."""
        return bool(np.isfinite(self._variances).all())

    def band(self, name):
        """95 % band of an unknown's value. -> (low, high), infinite where nothing settles it."""
        parameter, k = self._find(name)
        half = stats.norm.ppf(0.975) * np.sqrt(self.covariance[k, k])
        if not np.isfinite(half):
            return -np.inf, np.inf
        return parameter.value(self.x[k] - half), parameter.value(self.x[k] + half)

    def told_by(self, name):
        """What constrained an unknown, in words."""
        spread = self.spread[name]
        if not np.isfinite(spread):
            return "cannot tell: the data do not settle it and it has no prior"
        if self._find(name)[0].free or spread < 0.4:
            return "the data"
        return "data and prior together" if spread < 0.9 else "the prior, not the data"

    def _find(self, name):
        k = [p.name for p in self.parameters].index(name)
        return self.parameters[k], k

    def rms(self, channel):
        """Root mean square of a channel's residuals; NaN where not logged."""
        r = self.residuals[channel]
        r = r[np.isfinite(r)]
        return float(np.sqrt(np.mean(r**2))) if r.size else np.nan

    def samples(self, n=40):
        """Values by name, arrays of the best and then n draws from the posterior.

        Draws are Latin hypercube points mirrored about the best, so that few do, always the same.
        Raises ValueError where the fit is not settled: no number drawn would mean anything.
        """
        if not self.settled:
            lost = [p.words for p in self.parameters if not np.isfinite(self.spread[p.name])]
            raise ValueError(
                f"neither the runs nor a prior settle {', '.join(lost)}: nothing can be predicted "
                "from this fit; switch the priors on, or add runs that tell"
            )
        unit = stats.qmc.LatinHypercube(len(self.x), rng=np.random.default_rng(7)).random(n // 2)
        half = stats.norm.ppf(unit) @ _root(self.covariance).T
        return _named(self.parameters, np.vstack([self.x, self.x + half, self.x - half]).T)


def _named(parameters, x):
    return {p.name: p.value(row) for p, row in zip(parameters, x, strict=True)}


def _root(covariance):
    value, vector = np.linalg.eigh(covariance)
    return vector * np.sqrt(np.maximum(value, 0))


def fit(points, builds, priors=None, trust=None, progress=None):
    """Fit the unknowns of an engine and its turbos to measured points. A Fitted.

    points: FitPoints, or several. builds: the Build, or one for each turbo that the points name.
    priors: Parameters in place of the usual ones (`parameters_of`). trust: a Trust. progress:
    called with the share done, 0 to 1, at every step; raises Stopped to stop.
    Raises ValueError where a turbine has no effective area, where the builds differ in engine or
    fuel, or no point is left.
    """
    builds, trust = _checked(builds), trust or Trust()
    points = FitPoints.joined(points) if isinstance(points, list | tuple) else points
    if not points.size:
        raise ValueError("no point is left to fit: every row lacks a channel it needs")
    most = np.nanmax(np.where(np.isnan(points.air_flow_kg_s), -np.inf, points.air_flow_kg_s))
    parameters = tuple(priors or parameters_of(builds, most if np.isfinite(most) else 0.2))
    model, steps = Model(points, builds), iter(range(1, STEPS))
    weight = np.sqrt(points.count)

    start = np.zeros(len(parameters))
    logged = apart_of(model, _named(parameters, start))
    there = np.isfinite(np.concatenate([logged[c] for c in CHANNELS]))

    def data(x):
        apart = apart_of(model, _named(parameters, x))
        return np.concatenate([apart[c] / getattr(trust, c) * weight for c in CHANNELS])[there]

    def everything(x):
        return np.concatenate([data(x), np.where([p.free for p in parameters], 0.0, x)])

    def jacobian(x):
        if progress:
            progress(min(next(steps, STEPS) / 12, 1.0))
        base = everything(x)
        step = _STEP * np.eye(len(x))
        return np.stack([(everything(x + h) - base) / _STEP for h in step], axis=1)

    found = least_squares(everything, start, jacobian, method="lm", max_nfev=STEPS)
    apart = apart_of(model, _named(parameters, found.x))
    return Fitted(builds, points, parameters, found.x, _covariance(jacobian(found.x)), trust, apart)


def apart_of(model, v):
    """Model against measured, channel by channel: relative, or in the channel's unit."""
    p = model.points
    air = model.air(v, p.p_exhaust_pa)
    return {
        "air": air / p.air_flow_kg_s - 1,
        "torque": model.torque(v, air, p.p_exhaust_pa) / p.torque_nm - 1,
        "p_exhaust": model.p_exhaust(v, air) / p.p_exhaust_pa - 1,
        "t_exhaust": model.t_exhaust(v) - p.t_exhaust_logged_k,
        "t_charge": model.t_charge(v) - p.t_charge_k,
        "spring": np.where(p.pushed, model.spring(v) - model.springs(v), np.nan),
    }


def _covariance(jacobian):
    """Inverse of J'J, infinite along what the rows do not see."""
    _, size, directions = np.linalg.svd(jacobian, full_matrices=False)
    seen = size > _NOTHING * size[0]
    covariance = (directions[seen].T / size[seen] ** 2) @ directions[seen]
    unseen = (np.abs(directions[~seen]) > 1e-4).any(axis=0)
    covariance[unseen, unseen] = np.inf
    return covariance


def _checked(builds):
    builds = tuple(builds) if isinstance(builds, list | tuple) else (builds,)
    for build in builds:
        if build.turbo.turbine_area_m2 is None or build.turbo.turbine_efficiency is None:
            raise ValueError(
                f"{build.turbo.name}: a fit needs turbine_area and turbine_efficiency in the "
                "build to start from; a turbine curve has nothing left to fit"
            )
        if build.engine != builds[0].engine or build.fuel != builds[0].fuel:
            raise ValueError(
                f"{build.name} and {builds[0].name} differ in engine or fuel: turbos are fitted "
                "together on one engine; make those parts of the builds the same"
            )
    return builds


def rows(fitted, system):
    """One row of words per unknown: what, fitted, 95 % band, prior, told by."""
    made = []
    for p in fitted.parameters:
        low, high = fitted.band(p.name)
        value, prior = (_text(p, v, system) for v in (fitted.best[p.name], p.prior))
        if not np.isfinite(low):
            made.append((p.words, "not known", "none", "none", fitted.told_by(p.name)))
            continue
        band = f"{_text(p, low, system)} to {_text(p, high, system)}"
        spread = f"{prior} ± {_spread(p, system)}" if not p.free else "none"
        made.append((p.words, value, band, spread, fitted.told_by(p.name)))
    return made


def _text(p, value, system):
    if p.kind in ("number", "ratio"):
        return f"{value:.3f}".replace("-0.000", "0.000")
    if p.kind == "fraction":
        return f"{value:.1%}"
    return units.text(value, p.kind, system)


def _spread(p, system):
    return (
        f"{p.sd:.0%}"
        if p.log and p.sd < 1
        else f"factor {np.exp(p.sd):.0f}"
        if p.log
        else (_text(p, p.sd, system))
    )


def error_sentence(fitted, system):
    """How far the model is from the runs it was fitted to, channel by channel."""
    said = []
    for channel in ("torque", "p_exhaust", "air"):
        rms = fitted.rms(channel)
        said.append(
            f"{CHANNELS[channel]} {rms:.1%} rms" if np.isfinite(rms)
            else f"{CHANNELS[channel]} not logged"
        )  # fmt: skip
    for channel in ("t_exhaust", "t_charge"):
        if np.isfinite(fitted.rms(channel)):
            degrees = units.text(fitted.rms(channel), "temperature_difference", system)
            said.append(f"{CHANNELS[channel]} {degrees} rms")
    return "Fit error: " + ", ".join(said) + "."
