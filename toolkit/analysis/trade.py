"""The trade between two turbos: power at the top against how early and how fast boost comes."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.analysis.fit_model import indicated_efficiency, ve_factor
from toolkit.analysis.whatif import Change, changed, of_size, predict
from toolkit.build import Curve
from toolkit.build.pull import dry_share, problem, target_gauge_pa
from toolkit.build.respond import Setting, time_to_boost
from toolkit.physics.match import match
from toolkit.physics.output import output

SIZES = np.linspace(0, 1, 9)
SPEEDS = 33
SHARE = 0.95  # of the target, gauge, that counts as having it


@dataclass(frozen=True)
class Trade:
    """Along size, 0 for the first turbo and 1 for the second: power [W] at `top_rpm`, threshold
    [rpm], time to boost [s] at `held_rpm`; NaN where there is no answer. power_half_w: half the
    95 % band of that power, the wider of both ends; most of it moves all sizes together. notes:
    what was estimated."""

    size: np.ndarray
    power_w: np.ndarray
    threshold_rpm: np.ndarray
    time_s: np.ndarray
    names: tuple
    top_rpm: float
    held_rpm: float
    power_half_w: float
    notes: tuple

    def at(self, size):
        """Power, threshold and time at a size, straight between the sizes worked out."""
        curves = (self.power_w, self.threshold_rpm, self.time_s)
        return tuple(float(np.interp(size, self.size, c)) for c in curves)


def trade(fitted, change=None, held_rpm=3500.0, top_rpm=None, sizes=SIZES):
    """The Trade of a fit of two turbos, everything else as in `change`.

    held_rpm: where the throttle is opened for the time to boost. top_rpm: where power counts; the
    highest speed run when None. Raises ValueError where only one turbo was run, or a rotor's
    inertia is not known.
    """
    change = change or Change()
    build = build_of(fitted, change, sizes)
    speed = fitted.points.speed_rpm
    top = float(top_rpm or speed.max())
    speeds = np.linspace(speed.min(), top, SPEEDS)[:, None]
    target = target_gauge_pa(build, speeds, change.boost_gauge_pa)
    points, *rest = problem(build, speeds, target, build.weather)
    fed = feed_of(fitted, sizes)
    solved = match(replace(points, gate_share=points.gate_share * fed), *rest)
    solved = solved.reshape(SPEEDS, -1)
    boost = (solved.p_manifold_pa - build.weather.p_cell_pa) / target
    setting = Setting(boost_gauge_pa=change.boost_gauge_pa, share=SHARE, feed=fed)
    answer = time_to_boost(build, [held_rpm], setting)
    names = tuple(b.turbo.name for b in fitted.builds[:2])
    return Trade(
        np.asarray(sizes),
        made_as_fitted(
            fitted, build, speeds, solved.air_flow_kg_s, solved.p_manifold_pa, solved.p_exhaust_pa
        ).power_w[-1],
        _threshold_rpm(speeds[:, 0], boost),
        answer.found[1, 0], names, top, float(held_rpm),
        max(_half_w(fitted, replace(change, size=s), top) for s in (0.0, 1.0)), answer.notes,
    )  # fmt: skip


def _half_w(fitted, change, top_rpm):
    made = predict(fitted, change, [top_rpm])
    return float((made.high["power_w"] - made.low["power_w"])[0] / 2)


def _threshold_rpm(speed, reached):
    """Lowest speed that holds the boost, straight between the speeds worked out; NaN if none."""
    found = []
    for column in reached.T:
        k = int(np.argmax(column >= SHARE))
        rising = slice(max(k - 1, 0), k + 1)
        first = np.interp(SHARE, column[rising], speed[rising])
        found.append(first if column[k] >= SHARE else np.nan)
    return np.array(found)


def build_of(fitted, change, sizes):
    """The build as fitted and changed, with a turbo of each size."""
    turbos = tuple(changed(fitted, replace(change, size=float(s))).turbo for s in sizes)
    return replace(changed(fitted, change), turbos=turbos, engine=engine_of(fitted))


def feed_of(fitted, sizes):
    """What the gate's control gives over what it could, of each size."""
    return np.maximum(of_size(fitted.best, "feed", np.asarray(sizes), log=False), 0)


def engine_of(fitted):
    """The build's engine with the fitted values in it. [build.Engine]"""
    e, v = fitted.builds[0].engine, fitted.best
    speeds = np.linspace(*e.speed_range_rpm, 41)
    ve = e.volumetric_efficiency(speeds) * ve_factor(v, speeds, fitted.builds[0])
    return replace(
        e,
        volumetric_efficiency=Curve(tuple(ve), tuple(speeds)),
        t_exhaust_k=Curve(tuple(e.t_exhaust_k(speeds) + v["t_exhaust"]), tuple(speeds)),
        breathing_slope=v["breathing"],
        indicated_efficiency=v["indicated"],
        friction_scale=max(v["friction"], 0.0),
    )


def made_as_fitted(fitted, build, speed_rpm, air_flow_kg_s, p_manifold_pa, p_exhaust_pa):
    """The output.Output of a build with engine_of, its efficiency along speed as fitted."""
    e = build.engine
    return output(
        air_flow_kg_s * dry_share(build.weather), p_manifold_pa, p_exhaust_pa, speed_rpm,
        e.displacement_m3, e.stroke_m, build.fuel.properties, e.lam(speed_rpm),
        e.spark_retard_deg(speed_rpm),
        indicated_efficiency(fitted.best, speed_rpm, fitted.builds[0]), e.friction_scale,
    )  # fmt: skip
