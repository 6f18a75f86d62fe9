"""Why the power changed: the torque difference of two runs shared among its causes.

Shares are Shapley values: each cause's part averaged over all orders in which the causes can be
changed from run A's to run B's, so that they add up whatever the order. What the formula does not
carry is a share of its own. Source: L. S. Shapley, A value for n-person games (1953).
"""

from dataclasses import dataclass, field, replace
from functools import cache
from math import factorial

import numpy as np

from toolkit.analysis import breathing_slope, scatter
from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.split_model import (
    CARRIERS,
    PARAMETERS,
    Problem,
    Tolerances,
    disturbances,
    late_by,
    parameters_of,
    torque_nm,
)
from toolkit.physics import air

UNEXPLAINED = "not explained by these channels"
# What a channel that was not logged is held at on both sides: its cause then moves nothing.
_NEUTRAL = {"t_charge_k": 320.0, "lam": 1.0, "spark_deg": 0.0, "vapour": 0.0}
_NEEDED = {"torque_nm": "torque", "p_manifold_pa": "manifold pressure"}
SQUARE_STROKE_M = 0.09  # for friction only, where no build is given


@dataclass(frozen=True)
class Split:
    """Shares of the torque difference B - A along speed [N m].

    causes: names in order, the last is UNEXPLAINED; share, half_width: (causes, speeds), the band
    at `confidence`. difference: what was measured. not_logged: causes that could not be split off.
    slope: the BreathingSlope used. errors: per disturbance what one standard deviation of it does
    to each share (disturbances, causes, speeds).
    """

    name_a: str
    name_b: str
    speed_rpm: np.ndarray
    causes: tuple
    share: np.ndarray
    difference: np.ndarray
    errors: np.ndarray = field(repr=False)
    error_dof: np.ndarray = field(repr=False)
    slope: breathing_slope.BreathingSlope
    not_logged: tuple = ()
    confidence: float = 0.95

    @property
    def half_width(self):
        """Half of each share's band along speed; NaN where scatter is unknown. [N m]"""
        return _band(self.errors, self.error_dof, self.confidence)

    @property
    def clear(self):
        """Where a share's band does not reach zero."""
        return np.abs(self.share) > self.half_width

    def average(self, low_rpm, high_rpm):
        """(share, half width) per cause, averaged over a range of speed. [N m]

        Errors are taken to be the same all along a pull, which makes the band no narrower than
        it is. ValueError where the runs have no two speeds in the range.
        """
        mean, errors = _means(self.speed_rpm, low_rpm, high_rpm, self.share, self.errors)
        dof = np.nanmin(np.where(np.isfinite(self.error_dof), self.error_dof, np.inf), axis=1)
        return mean, _band(errors[..., None], dof[:, None], self.confidence)[:, 0]


def split(comparison, build=None, cam=None, tolerances=None, use_air_flow=True):
    """The Split of a Comparison's torque difference.

    build: for displacement, stroke, fuel and the cycle model; cam: its cam, None where not known.
    The breathing slope comes from the cycle model where build and cam are given, else from the
    published range; logged air flow sharpens it unless use_air_flow is False.
    Raises ValueError where torque or manifold pressure is missing, or torque is not as observed.
    """
    problem, missing = problem_of(comparison, build, cam, tolerances, use_air_flow)
    shares, difference, dof = _solved(problem)
    errors = 0.5 * (shares[1::2] - shares[2::2])
    return Split(
        comparison.a.name, comparison.b.name, problem.speed_rpm, (*problem.causes, UNEXPLAINED),
        shares[0], difference, errors, dof, problem.slope, missing,
        comparison.settings.confidence,
    )  # fmt: skip


def mean_shares(comparison, build, cam, low_rpm, high_rpm):
    """Share of each cause averaged over a range, without its band, by the cycle model alone. [N m]

    A quick look at another cam. Arguments and errors as `split` and `Split.average`; logged air
    flow is left aside, since it tells of the cam that ran.
    """
    problem, _ = problem_of(comparison, build, cam, use_air_flow=False)
    shares, *_ = _solved(problem, banded=False)
    (mean,) = _means(problem.speed_rpm, low_rpm, high_rpm, shares[0])
    return dict(zip((*problem.causes, UNEXPLAINED), mean, strict=True))


def _means(speed_rpm, low_rpm, high_rpm, shares, *others):
    """Means over the speeds of the range at which all shares are known; last axis is speed."""
    inside = (speed_rpm >= low_rpm) & (speed_rpm <= high_rpm)
    inside &= np.isfinite(shares).all(axis=0)
    if inside.sum() < 2:
        raise ValueError(
            f"the split has no two speeds from {low_rpm:.0f} to {high_rpm:.0f} rpm: it covers "
            f"{speed_rpm[0]:.0f} to {speed_rpm[-1]:.0f} rpm"
        )
    x = speed_rpm[inside]
    return [np.trapezoid(v[..., inside], x, axis=-1) / np.ptp(x) for v in (shares, *others)]


def problem_of(comparison, build=None, cam=None, tolerances=None, use_air_flow=True):
    """The Problem that a comparison poses, and the causes that its channels cannot carry."""
    c = comparison
    _refuse(c)
    tolerances = tolerances or Tolerances()
    gains = c.gains | _vapour(c.gains)
    carried = {n: gains[n] for n in ("torque_nm", *set(CARRIERS.values())) if n in gains}
    states = {n: np.stack([g.level_a, g.level_b]) for n, g in carried.items()}
    causes, missing = _causes(states)
    if "p_exhaust_pa" not in states:
        middle = states["p_manifold_pa"].mean(axis=0)
        states["p_exhaust_pa"] = np.stack([middle, middle])
    states["p_breathing_pa"] = states["p_exhaust_pa"]
    shape = states["torque_nm"].shape
    states = {n: np.full(shape, v) for n, v in _NEUTRAL.items()} | states
    errors = {n: scatter_of(g) for n, g in carried.items()}
    sessions = {r.session for s in (c.a, c.b) for r in s.repeats}
    engine = build.engine if build else None
    return Problem(
        c.speed_rpm, states,
        {n: e for n, (e, _) in errors.items()}, {n: d for n, (_, d) in errors.items()},
        engine.displacement_m3 if engine else _displacement_unknown(),
        engine.stroke_m if engine else SQUARE_STROKE_M,
        _slope(c, states, build, cam, tolerances, use_air_flow),
        causes, sweeps_of(c), len(sessions) == 1, tolerances,
    ), missing  # fmt: skip


def sweeps_of(comparison):
    """Mean sweep rate of each run, (2, 1) [rpm/s]; 0 where not known."""
    rates = [[r.sweep_rpm_s for r in s.repeats] for s in (comparison.a, comparison.b)]
    return np.array([[np.nanmean(r) if np.isfinite(r).any() else 0.0] for r in rates])


def _displacement_unknown():
    raise ValueError("the split needs the engine's displacement: choose a build")


def _refuse(c):
    missing = [words for channel, words in _NEEDED.items() if channel not in c.gains]
    if "p_manifold_gauge_pa" in c.gains:
        raise ValueError(
            "the split needs absolute pressures: say in Log review what the barometer read"
        )
    if missing:
        raise ValueError(f"the split needs {' and '.join(missing)} of both runs: log it")
    if c.reference != OBSERVED:
        raise ValueError(
            f"torque is corrected to {c.reference}, which hides the weather: choose observed torque"
        )


def _vapour(gains):
    """The part of the cell's air that is water, as a channel, where its weather was logged."""
    if not {"p_cell_pa", "t_cell_k", "humidity"} <= gains.keys():
        return {}
    p, t, humidity = (gains[n] for n in ("p_cell_pa", "t_cell_k", "humidity"))
    level_a, level_b = (
        air.vapour_pressure_pa(getattr(t, side), np.clip(getattr(humidity, side), 0, 1))
        / getattr(p, side)
        for side in ("level_a", "level_b")
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        per_humidity = (level_a + level_b) / (humidity.level_a + humidity.level_b)
    return {"vapour": _scaled(humidity, per_humidity, level_a, level_b)}


def _scaled(gain, factor, level_a, level_b):
    return replace(
        gain,
        level_a=level_a,
        level_b=level_b,
        sd_a=gain.sd_a * factor,
        sd_b=gain.sd_b * factor,
        difference=level_b - level_a,
        standard_error=gain.standard_error * factor,
    )


def _causes(states):
    """The causes whose carrier was logged, and those whose was not."""
    logged = {**states, "p_breathing_pa": states.get("p_exhaust_pa")}
    causes = tuple(c for c, carrier in CARRIERS.items() if logged.get(carrier) is not None)
    return causes, tuple(c for c in CARRIERS if c not in causes)


def scatter_of(gain):
    """(standard error of the difference, degrees of freedom), along speed.

    Where one side has a single pull it is taken to scatter as the other does; where both have,
    the scatter is not known and NaN.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        borrowed = np.where(np.isfinite(gain.sd_a), gain.sd_a, gain.sd_b)
        error = borrowed * np.sqrt(1 / gain.n_a + 1 / gain.n_b)
    dof = np.maximum(gain.n_a, gain.n_b) - 1.0
    known = np.isfinite(gain.standard_error)
    error = np.where(known, gain.standard_error, error)
    # One pull more or less scarcely moves a band: dof below 1 would leave it undefined.
    return error, np.where(known, np.maximum(gain.dof, 1.0), np.maximum(dof, 1.0))


def _slope(c, states, build, cam, tolerances, use_air_flow):
    """The best BreathingSlope that these runs allow."""
    p, p3, t = (states[n] for n in ("p_manifold_pa", "p_exhaust_pa", "t_charge_k"))
    if build and cam and "p_exhaust_pa" in c.gains:
        slope = breathing_slope.from_cycle(
            build, cam, c.speed_rpm, (p[0], p3[0], t[0]), (p[1], p3[1], t[1])
        )
    else:
        slope = breathing_slope.from_range(c.speed_rpm)
    if not (use_air_flow and {"air_flow_kg_s", "p_exhaust_pa", "t_charge_k"} <= c.gains.keys()):
        return slope
    filling, sd = _filling_change(c, p, t, tolerances)
    ratio = p3 / p
    # The same way round for both orders of the runs: a regression rounds by what it is given.
    change = ratio[1] - ratio[0]
    way = -1.0 if np.nansum(change) < 0 else 1.0
    heat = way * (np.log(t[1]) - np.log(t[0])), PARAMETERS["temperature_exponent"][1]
    return breathing_slope.sharpened(slope, c.speed_rpm, way * change, way * filling, sd, *heat)


def _filling_change(c, p, t, tolerances):
    """Change of ln(air flow) beyond pressure and temperature, with its standard deviation."""
    gain, exponent = c.gains["air_flow_kg_s"], PARAMETERS["temperature_exponent"][0]
    flow = np.stack([gain.level_a, gain.level_b])
    filling = np.log(flow / p * t**exponent)
    late = [
        late_by(c.speed_rpm, np.log(states), sweeps_of(c), channel)
        for channel, states in (("air_flow_kg_s", flow), ("p_manifold_pa", p))
    ]
    parts = [
        scatter_of(gain)[0] / flow.mean(axis=0),
        scatter_of(c.gains["p_manifold_pa"])[0] / p.mean(axis=0),
        tolerances.apart * tolerances.p_manifold_pa / 2 / p.mean(axis=0),
        *(change[1] - change[0] for change in late),
    ]
    return filling[1] - filling[0], np.sqrt(sum(part**2 for part in parts))


def _solved(problem, banded=True):
    """Shares (1 + 2 n, causes + 1, speeds), difference and dof of all n disturbances.

    banded False: without any disturbance, n is 0.
    """
    listed = list(disturbances(problem)) if banded else []
    rows = [({}, {}, 0.0), *((s, p, sign) for s, p, _ in listed for sign in (1.0, -1.0))]
    states = {
        name: np.stack([v + sign * s.get(name, 0.0) for s, _, sign in rows])
        for name, v in problem.states.items()
    }
    parameters = {
        name: np.array([[value + sign * p.get(name, 0.0)] for _, p, sign in rows])
        for name, (value, _) in parameters_of(problem).items()
    }
    shares = shapley(problem, states, parameters)
    difference = states["torque_nm"][:, 1] - states["torque_nm"][:, 0]
    unexplained = difference - shares.sum(axis=1)
    dof = np.array([np.broadcast_to(d, problem.speed_rpm.shape) for *_, d in listed])
    whole = np.concatenate([shares, unexplained[:, None]], axis=1)
    return whole, difference[0], dof


def shapley(problem, states, parameters):
    """Shares (disturbances, causes, speeds) of the modelled torque difference. [N m]"""
    chosen, weights = _subsets(len(problem.causes))
    chosen = dict(zip(problem.causes, chosen.T, strict=True))
    torque = torque_nm(problem, states, parameters, chosen)
    # Each subset less its opposite: swapping the runs then flips every sign to the last bit.
    half = torque.shape[1] // 2
    pairs = torque[:, half:][:, ::-1] - torque[:, :half]
    return np.einsum("cs,dsx->dcx", weights, pairs)


@cache
def _subsets(n):
    """(subsets, n) of 0 and 1, a subset's opposite at the mirrored place; and pair weights."""
    chosen = np.array([[k >> i & 1 for i in range(n)] for k in range(2**n)])
    size = chosen.sum(axis=1)
    w = np.array([factorial(k) * factorial(n - k - 1) / factorial(n) for k in range(n)])
    joining, leaving = w[np.maximum(size - 1, 0)], w[np.minimum(size, n - 1)]
    weights = np.where(chosen == 1, joining[:, None], -leaving[:, None]).T
    half = 2 ** (n - 1)
    return chosen, -0.5 * (weights[:, :half] - weights[:, half:][:, ::-1])


def _band(errors, dof, confidence):
    """Half width (causes, speeds) from independent errors (disturbances, causes, speeds)."""
    total = np.sqrt((errors**2).sum(axis=0))
    freedom = scatter.effective_dof(np.abs(errors), dof[:, None, :])
    freedom = np.where(total > 0, np.maximum(freedom, 1.0), np.inf)
    return scatter.coverage_factor(freedom, confidence) * total
