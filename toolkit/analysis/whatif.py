"""What if one thing were changed: a fitted engine matched again, with the band of the fit.

The unknowns' draws are one more axis of the points, so that all speeds and all draws are one call
of the match. The band holds what the fit left open and how far the model missed the runs it was
fitted to. What no run has come near is flagged as extrapolated.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from toolkit import units
from toolkit.analysis import between
from toolkit.analysis.fit_model import indicated_efficiency, ve_factor
from toolkit.build.pull import dry_share, problem, target_gauge_pa
from toolkit.physics.match import match
from toolkit.physics.output import output
from toolkit.physics.points import Regime

DRAWS = 32
# The model's own error is twice that among the runs where manifold pressure is so much beyond
# theirs. The measured 2.3-litre engine of tests/test_fit.py, fitted to its lower half, is missed
# by two to three times its fitted error in the upper half, up to 48 % beyond and on average 20 %.
DOUBLED = 0.3
HELD = 0.01  # absolute manifold pressure: how well a controller holds it and a sensor reads it
_MARGIN = 0.03  # outside the measured range by less is still inside
_Z = stats.norm.ppf(0.975)
CHANNELS = ("torque_nm", "power_w", "boost_gauge_pa", "back_pressure_gauge_pa", "air_flow_kg_s")


@dataclass(frozen=True)
class Change:
    """What is changed; None stays as in the build.

    size: 0 for the first turbo, 1 for the second, in between for one between them.
    boost_gauge_pa: target. spring_gauge_pa: of the gate. weather: a build.Weather.
    cooler: its effectiveness, 0 to 1. fuel: a name of physics.fuel.FUELS.
    """

    size: float = 0.0
    boost_gauge_pa: float | None = None
    spring_gauge_pa: float | None = None
    weather: object = None
    cooler: float | None = None
    fuel: str | None = None


@dataclass(frozen=True)
class Prediction:
    """Along speed [rpm]: by channel of CHANNELS the best, and its 95 % band.

    extrapolated: where no measured run comes near; why: the reasons, in sentences. regime: what
    limits each speed.
    """

    speed_rpm: np.ndarray
    best: dict
    low: dict
    high: dict
    regime: np.ndarray
    extrapolated: np.ndarray
    why: tuple
    build: object

    @property
    def peak(self):
        """Speed, power and its band [W] at the greatest power; NaN where nothing is solved."""
        power = self.best["power_w"]
        if not np.isfinite(power).any():
            return (np.nan,) * 4
        k = int(np.nanargmax(power))
        return self.speed_rpm[k], power[k], self.low["power_w"][k], self.high["power_w"][k]


def predict(fitted, change=None, speeds_rpm=None, draws=DRAWS):
    """A Prediction of a fitted engine with something changed.

    fitted: fit.Fitted. change: a Change. speeds_rpm: 25 over the fitted range when None.
    Raises ValueError for a size that is not between two measured turbos, a boost that is not
    given, a fit that is not settled.
    """
    change = change or Change()
    values = fitted.samples(draws)
    build = changed(fitted, change)
    speeds = _speeds(fitted) if speeds_rpm is None else np.asarray(speeds_rpm, dtype=float)
    speed = speeds[:, None]
    target = target_gauge_pa(build, speed, change.boost_gauge_pa)
    points, maps, curves, fuel = problem(build, speed, target, build.weather)
    points = _sampled(points, fitted, change, values, speed)
    solved = match(points, maps, curves, fuel).reshape(len(speeds), -1)
    return _prediction(fitted, change, build, values, speed, solved)


def changed(fitted, change):
    """The build with the change made and the fitted values of its turbo in it."""
    build = fitted.builds[0]
    turbo = _turbo(fitted, change)
    if change.spring_gauge_pa is not None:
        if turbo.gate is None:
            raise ValueError(f"{turbo.name} has no gate in its build: there is no spring to change")
        turbo = replace(turbo, gate=replace(turbo.gate, spring_gauge_pa=change.spring_gauge_pa))
    cooler = build.cooler
    if change.cooler is not None:
        if cooler is None:
            raise ValueError("the build has no cooler: add one to the build first")
        cooler = replace(cooler, effectiveness=change.cooler)
    fuel = build.fuel if change.fuel is None else replace(build.fuel, name=change.fuel, **_NO_OWN)
    weather = change.weather or build.weather
    return replace(build, turbos=(turbo,), cooler=cooler, fuel=fuel, weather=weather)


_NO_OWN = dict.fromkeys(("h_to_c", "o_to_c", "lhv_j_kg", "density_kg_m3"))


def _turbo(fitted, change):
    turbos = [_with_values(fitted, n) for n in range(len(fitted.builds))]
    if len(turbos) == 1 and change.size == 0:
        return turbos[0]
    if len(turbos) == 1:
        raise ValueError(
            f"only {turbos[0].name} was run: another size needs a second turbo of the same engine "
            "measured, so that the answer lies between two that are known"
        )
    ungated = [t.name for t in turbos[:2] if t.gate is None]
    if 0 < change.size < 1 and len(ungated) == 1:
        raise ValueError(
            f"{ungated[0]} has no gate in its build and the other has one: what a turbo between "
            "them would have cannot be told. Add the gate, or take a size at an end"
        )
    return between.turbo(*turbos[:2], change.size)


def _with_values(fitted, number):
    turbo, v = fitted.builds[number].turbo, fitted.best
    gate = turbo.gate and replace(
        turbo.gate, spring_gauge_pa=v[f"spring_{number}"], discharge=v[f"opening_{number}"]
    )
    if turbo.compressor is None:
        raise ValueError(f"{turbo.name} has no compressor map: what it would do cannot be matched")
    return replace(
        turbo,
        turbine_area_m2=v[f"area_{number}"],
        turbine_efficiency=v[f"efficiency_{number}"],
        gate=gate,
    )


def _speeds(fitted):
    speed = fitted.points.speed_rpm
    return np.linspace(speed.min(), speed.max(), 25)


def of_size(values, name, size, log):
    """An unknown of both turbos at a size between them: by ratio where it is a size itself; 1
    where it is not fitted."""
    first = values.get(f"{name}_0", 1.0)
    if np.all(np.equal(size, 0)):
        return first
    return between.blended(first, values.get(f"{name}_1", 1.0), size, log)


def _sampled(points, fitted, change, v, speed):
    """The points with the draws as their second axis."""
    build, area = fitted.builds[0], of_size(v, "area", change.size, log=True)
    gate = points.gate
    if "opening_0" in v:
        gate = replace(gate, discharge=of_size(v, "opening", change.size, log=True))
    if change.spring_gauge_pa is None and "spring_0" in v:
        rating = of_size(v, "spring", change.size, log=True)
        gate = replace(gate, preload_n=rating * gate.diaphragm_area_m2)
    feed = np.maximum(of_size(v, "feed", change.size, log=False), 0)
    cooler = points.effectiveness
    if change.cooler is None and "cooler" in v:
        cooler = np.maximum(v["cooler"], 0)
    return replace(
        points,
        volume_flow_m3_s=points.volume_flow_m3_s * ve_factor(v, speed, build),
        breathing_linear=0.0,
        breathing_log=np.clip(v["breathing"], -3, 1),
        turbine_area_m2=area,
        turbine_efficiency=np.clip(of_size(v, "efficiency", change.size, log=False), 0.05, 1),
        effectiveness=cooler,
        # Its spread is a few kelvin; a state of gas for every draw would take most of the time.
        t_exhaust_k=points.t_exhaust_k + fitted.best["t_exhaust"],
        gate_share=points.gate_share * feed,
        gate=gate,
    )


def _prediction(fitted, change, build, v, speed, solved):
    e, weather = build.engine, build.weather
    made = output(
        solved.air_flow_kg_s * dry_share(weather), solved.p_manifold_pa, solved.p_exhaust_pa,
        speed, e.displacement_m3, e.stroke_m, build.fuel.properties, e.lam(speed),
        e.spark_retard_deg(speed),
        np.clip(indicated_efficiency(v, speed, fitted.builds[0]), 0.05, 0.65),
        np.maximum(v["friction"], 0),
    )  # fmt: skip
    drawn = {
        "torque_nm": (made.torque_nm, "torque"),
        "power_w": (made.power_w, "torque"),
        "boost_gauge_pa": (solved.p_manifold_pa - weather.p_cell_pa, "boost"),
        "back_pressure_gauge_pa": (solved.p_exhaust_pa - weather.p_cell_pa, "p_exhaust"),
        "air_flow_kg_s": (solved.air_flow_kg_s, "air"),
    }
    growth = _growth(fitted, solved.p_manifold_pa[:, 0])
    bands = {
        c: _band(d, growth * _missed(fitted, name) * _level(c, d[:, 0], weather))
        for c, (d, name) in drawn.items()
    }
    outside, why = _extrapolated(fitted, change, speed[:, 0], solved)
    return Prediction(
        speed[:, 0], {c: values[:, 0] for c, (values, _) in drawn.items()},
        {c: low for c, (low, _) in bands.items()}, {c: high for c, (_, high) in bands.items()},
        solved.regime[:, 0], outside, why, build,
    )  # fmt: skip


def _growth(fitted, p_manifold_pa):
    """How many times its error among the runs the model's own error is at a manifold pressure."""
    beyond = p_manifold_pa / fitted.points.p_manifold_pa.max() - 1
    return 1 + np.maximum(beyond, 0) / DOUBLED


def _level(channel, best, weather):
    """What a relative error is relative to: pressures are measured from zero."""
    return best + weather.p_cell_pa if "gauge" in channel else best


def _missed(fitted, channel):
    """Relative error of the model in a channel: what it missed, and never less than trusted."""
    if channel == "boost":
        return HELD
    return np.nanmax([fitted.rms(channel), getattr(fitted.trust, channel)])


def _band(values, own):
    """95 % band about the best: spread of the draws to either side, the model's own error [same
    unit, one standard deviation] beside it. Root mean squares of each side: the band of a boost
    that some draws lose and none exceeds is one-sided."""
    best, apart = values[:, 0], values[:, 1:] - values[:, :1]
    there = np.isfinite(apart)
    # Where many draws find no solution, no band can be told.
    n = np.where(there.mean(axis=1) < 0.9, np.nan, there.sum(axis=1))
    apart = np.where(there, apart, 0)
    below, above = (2 * np.sum(np.maximum(a, 0) ** 2, axis=1) / n for a in (-apart, apart))
    return best - _Z * np.sqrt(below + own**2), best + _Z * np.sqrt(above + own**2)


def _extrapolated(fitted, change, speed, solved):
    """Where the answer lies outside what was measured, and the reasons in sentences."""
    p = fitted.points
    pressure, ratio = solved.p_manifold_pa[:, 0], (solved.p_exhaust_pa / solved.p_manifold_pa)[:, 0]
    outside = {
        "speed": (speed < p.speed_rpm.min() - 50) | (speed > p.speed_rpm.max() + 50),
        "manifold pressure": pressure > (1 + _MARGIN) * p.p_manifold_pa.max(),
        "back pressure over boost": ratio
        > (1 + _MARGIN) * np.max(p.p_exhaust_pa / p.p_manifold_pa),
        "fuel": np.full(speed.shape, change.fuel not in (None, fitted.builds[0].fuel.name)),
    }
    why = [f"{words} beyond what was run" for words, where in outside.items() if where.any()]
    return np.logical_or.reduce(list(outside.values())), tuple(why)


LIMITS = {
    Regime.BELOW_TARGET: "the turbine cannot give more",
    Regime.PUSHED_OPEN: "back pressure pushes the gate open",
    Regime.CREEP: "the gate is at its stop and boost creeps above the target",
    Regime.SPRING_ABOVE_TARGET: "the spring alone holds more than the target",
    Regime.SURGE: "the compressor would surge",
    Regime.CHOKE: "the compressor map ends at choke",
    Regime.ABOVE_MAP: "the compressor map ends at its top speed",
    Regime.BELOW_MAP: "below the lowest speed line of the map",
    Regime.OFF_TURBINE: "the turbine would expand beyond what is known",
    Regime.UNKNOWN: "no solution was found",
}


def limits(prediction):
    """(speed from, to [rpm], words) of every stretch that is not simply held on target."""
    regime = prediction.regime
    starts = np.flatnonzero(np.diff(regime, prepend=-1))
    ends = [*(starts[1:] - 1), len(regime) - 1]
    return [
        (prediction.speed_rpm[a], prediction.speed_rpm[b], LIMITS[Regime(regime[a])])
        for a, b in zip(starts, ends, strict=True)
        if Regime(regime[a]) in LIMITS
    ]


def sentence(prediction, runs, system):
    """One plain sentence or two: power against the best run, and what limits it.

    runs: (name, speed [rpm], torque [N m]) of each run.
    """
    speed, power, low, high = prediction.peak
    if not np.isfinite(power):
        return "Cannot tell: no speed has a solution on the maps; " + _limited(prediction)
    tops = [(float(np.nanmax(t * n)) * np.pi / 30, name) for name, n, t in runs]
    best, name = max(tops)
    more = units.shown(power - best, "power", system)
    said = (
        f"{units.text(power, 'power', system)} at {speed:.0f} rpm, {abs(more):.0f} "
        f"{units.unit_of('power', system)} {'more' if more >= 0 else 'less'} than {name} made"
    )
    clear = np.isfinite(low + high) and (low > best or high < best)
    said += "." if clear else "; the band spans that run, so which is more cannot be told."
    limited = _limited(prediction)
    return f"{said} {limited}" if limited else said


def _limited(prediction):
    """What limits it where, as a sentence; "" where the target is held throughout."""
    said = [
        f"{words} from {a:.0f} to {b:.0f} rpm" if b > a else f"{words} at {a:.0f} rpm"
        for a, b, words in limits(prediction)
    ]
    joined = "; ".join(said)
    return joined[:1].upper() + joined[1:] + "." if joined else ""


def evidence(prediction):
    """How the answer was come by, for under the sentence."""
    if prediction.extrapolated.all():
        how = "extrapolated"
    elif prediction.extrapolated.any():
        how = "worked out where dashed, extrapolated where dotted"
    else:
        how = "worked out, within what was run"
    why = f" ({', '.join(prediction.why)})" if prediction.why else ""
    return f"{how}{why}; steady points: a sweep or a car has its boost later"
