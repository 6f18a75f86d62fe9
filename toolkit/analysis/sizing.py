"""From a power target to a matched turbo: the sums of the sizing sheet, apart from its screen."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit import units
from toolkit.build import Cooler, Curve, Restriction, Restrictions, Tank, Target
from toolkit.build.pull import Pull, dry_share
from toolkit.physics import air, engine, fuel, pipes
from toolkit.physics.cooler import MELTS_K, Store, heat_flow_w
from toolkit.physics.output import output
from toolkit.physics.points import Regime

SPEEDS = 60
# Volumetric efficiency over the share of the speed range, from memory: how two-, and four-valve
# petrol engines fill at full throttle. A start where nothing was measured.
SHAPES = {
    "fills best low down": (0.88, 0.95, 0.95, 0.90, 0.80, 0.68),
    "even": (0.84, 0.90, 0.93, 0.94, 0.91, 0.86),
    "fills best at the top": (0.74, 0.82, 0.90, 0.97, 1.00, 0.96),
}


def shaped(name, speed_range_rpm):
    """The volumetric efficiency of a plain shape over a speed range, a Curve of six points."""
    speeds = np.linspace(*speed_range_rpm, len(SHAPES[name]))
    return Curve(SHAPES[name], tuple(float(s) for s in speeds))


def speeds_of(build, count=SPEEDS):
    """The speeds at which a build is looked at. [rpm]"""
    return np.linspace(*build.engine.speed_range_rpm, count)


def air_needed_kg_s(build, power_w, speed_rpm):
    """Air that the engine must take in for a power at the crank, back pressure at boost. [kg/s]

    Power [W], speed [rpm] > 0; broadcast. Moist air. What back pressure above boost costs comes
    on top. Source: the torque model of `physics.output`, in which power is a straight line in air.
    """
    e, fuel_used = build.engine, build.fuel.properties

    def power_of(air_kg_s):
        return output(
            air_kg_s, 1e5, 1e5, speed_rpm, e.displacement_m3, e.stroke_m, fuel_used,
            e.lam(speed_rpm), e.spark_retard_deg(speed_rpm), e.indicated_efficiency,
            e.friction_scale,
        ).power_w  # fmt: skip

    low, high = power_of(0.1), power_of(0.2)
    dry = 0.1 + 0.1 * (power_w - low) / (high - low)
    return dry / dry_share(build.weather)


def unboosted_air_kg_s(build, speed_rpm):
    """Air that the engine takes in without a turbo in the build's weather. [kg/s]"""
    e, w = build.engine, build.weather
    density = air.density_kg_m3(w.p_cell_pa, w.t_cell_k, w.humidity)
    speed = np.asarray(speed_rpm, dtype=float)
    return e.volumetric_efficiency(speed) * e.displacement_m3 * speed / 120 * density


@dataclass(frozen=True)
class Candidate:
    """What one turbo gives in a pull, and what limits it. NaN where it cannot be told."""

    name: str
    power_w: float
    power_rpm: float
    threshold_rpm: float
    top_rpm: float
    boost_gauge_pa: float  # at the top of the range
    back_gauge_pa: float
    ratio_gauge: float
    ratio_absolute: float
    surge_margin: float  # least along the pull
    choke_margin: float
    speed_share: float  # most along the pull
    limits: tuple  # (Regime, from rpm, to rpm) along the pull


def candidates(made: Pull):
    """A Candidate for each turbo of a pull."""
    return [_candidate(made, j) for j in range(len(made.names))]


def _candidate(made, j):
    m, turbo = made.match, made.build.turbos[j]
    speed = made.speed_rpm[:, 0]
    power = made.output.power_w[:, j]
    best = int(np.nanargmax(power)) if np.isfinite(power).any() else 0
    return Candidate(
        made.names[j], power[best], speed[best] if np.isfinite(power[best]) else np.nan,
        made.threshold_rpm()[j], speed[-1], made.boost_gauge_pa[-1, j],
        made.back_pressure_gauge_pa[-1, j], made.ratio_gauge[-1, j], made.ratio_absolute[-1, j],
        _least(surge_margin(made, j)),
        _least(turbo.compressor.choke_margin(
            m.corrected_flow_kg_s[:, j], m.corrected_speed_rpm[:, j])),
        -_least(-made.speed_share[:, j]),
        tuple(_stretches(m.regime[:, j], speed)),
    )  # fmt: skip


def surge_margin(made, j):
    """Surge margin of one candidate along its pull, see CompressorMap.surge_margin. [-]"""
    m = made.match
    return made.build.turbos[j].compressor.surge_margin(
        m.corrected_flow_kg_s[:, j], m.pressure_ratio[:, j]
    )


def _least(values):
    known = values[np.isfinite(values)]
    return float(known.min()) if known.size else np.nan


def _stretches(regime, speed):
    """(regime, first speed, last speed) of each stretch of one regime."""
    starts = np.flatnonzero(np.diff(regime, prepend=-1))
    for first, last in zip(starts, [*starts[1:], len(regime)], strict=True):
        yield Regime(regime[first]), float(speed[first]), float(speed[last - 1])


# What a regime means to the person who drives the pull.
WORDS = {
    Regime.BELOW_TARGET: "the gate is shut and boost is still below target",
    Regime.HOLDING: "boost is held on target",
    Regime.PUSHED_OPEN: "back pressure pushes the gate open and boost falls",
    Regime.CREEP: "the gate is wide open and boost still creeps up",
    Regime.SPRING_ABOVE_TARGET: "the spring alone holds more than the target",
    Regime.SURGE: "it is left of the compressor map: surge",
    Regime.CHOKE: "it is right of the compressor map: choke",
    Regime.ABOVE_MAP: "it is beyond the map's top speed line",
    Regime.BELOW_MAP: "it is under the map's lowest speed line",
    Regime.OFF_TURBINE: "the turbine is not known that far",
    Regime.UNKNOWN: "an input is not known",
}


def sentence(one, others, system):
    """What a candidate gives and what it costs, in plain words."""
    said = [f"{one.name} {_gives(one, system)}."]
    trouble = [s for s in one.limits if s[0] not in (Regime.BELOW_TARGET, Regime.HOLDING)]
    for regime, first, last in trouble:
        where = (
            f"From {first:.0f} rpm"
            if last == one.top_rpm
            else f"Below {last:.0f} rpm"
            if first == one.limits[0][1]
            else f"From {first:.0f} to {last:.0f} rpm"
        )
        said.append(f"{where} {WORDS[regime]}.")
    said.append(_costs(one, others, system))
    return " ".join(s for s in said if s)


def _gives(one, system):
    power = units.text(one.power_w, "power", system)
    if not np.isfinite(one.power_w):
        return "cannot be matched anywhere in this range"
    if np.isnan(one.threshold_rpm):
        return f"never reaches the target; at best {power} at {one.power_rpm:.0f} rpm"
    return f"is on target from {one.threshold_rpm:.0f} rpm and gives {power} at {one.power_rpm:.0f}"


def _costs(one, others, system):
    """Against the best of the others in power, threshold and back pressure."""
    rest = [o for o in others if o.name != one.name]
    said = []
    for name, kind, sign, words in (
        ("power_w", "power", 1, "less power than"),
        ("threshold_rpm", "engine_speed", -1, "later on target than"),
        ("back_gauge_pa", "boost", -1, "more back pressure at the top than"),
    ):
        known = [o for o in rest if np.isfinite(getattr(o, name))]
        if not known or not np.isfinite(getattr(one, name)):
            continue
        best = max(known, key=lambda o, n=name, s=sign: s * getattr(o, n))
        gap = sign * (getattr(best, name) - getattr(one, name))
        if gap > 0.01 * abs(getattr(one, name)):
            said.append(f"{units.text(gap, kind, system)} {words} {best.name}")
    return f"It costs {', '.join(said)}." if said else ""


@dataclass(frozen=True)
class Fuelling:
    """Injectors and pump of one candidate along its pull; arrays over speed, NaN not known."""

    fuel_flow_kg_s: np.ndarray
    duty: np.ndarray
    size_m3_s: float  # that keeps the duty limit at the worst speed
    worst_rpm: float
    pump_m3_s: float  # the most the engine burns
    pump_gauge_pa: float  # at this pressure


def fuelling(made, j, duty_limit=0.85):
    """Fuelling of candidate j. Injectors of the build where it names them.

    The pressure across an injector is the rail's, less boost where the rail does not follow it.
    """
    system, used = made.build.fuel, made.build.fuel.properties
    flow, boost = made.output.fuel_flow_kg_s[:, j], made.boost_gauge_pa[:, j]
    rail = np.nan if system.rail_gauge_pa is None else system.rail_gauge_pa
    across = np.maximum(rail - (0 if system.rail_follows_boost else boost), 0)
    duty = np.full(flow.shape, np.nan)
    size = worst = np.nan
    if system.injectors and np.isfinite(flow).any():
        each = fuel.injector_size_m3_s(flow, system.injectors, used.density_kg_m3, duty_limit)
        rated = system.injector_test_pa or rail
        if np.isfinite(rail) and np.isfinite(rated):
            with np.errstate(divide="ignore"):  # no pressure across: no size is large enough
                each = each / fuel.injector_flow_m3_s(1.0, rated, across)
            if system.injector_flow_m3_s:
                duty = duty_limit * each / system.injector_flow_m3_s
        k = int(np.nanargmax(each))
        size, worst = float(each[k]), float(made.speed_rpm[k, 0])
    top = np.nanmax(flow) if np.isfinite(flow).any() else np.nan
    at_pump = rail + (
        np.nanmax(boost) if system.rail_follows_boost and np.isfinite(boost).any() else 0
    )
    return Fuelling(flow, duty, size, worst, float(top / used.density_kg_m3), float(at_pump))


@dataclass(frozen=True)
class Cooling:
    """The charge cooler along a pull: temperatures [K], density over the cell's, heat [W]."""

    t_in_k: np.ndarray
    t_out_k: np.ndarray
    density_ratio: np.ndarray
    heat_w: np.ndarray


def cooling(made, j):
    """Cooling of candidate j."""
    m, w = made.match, made.weather
    hot, cold, flow = m.t_compressor_out_k[:, j], m.t_charge_k[:, j], m.air_flow_kg_s[:, j]
    ratio = engine.density_ratio(m.p_manifold_pa[:, j], cold, w.p_cell_pa, w.t_cell_k)
    return Cooling(hot, cold, ratio, heat_flow_w(flow, hot, cold))


def tank_pulls(made, j, tank, seconds, t_limit_k):
    """Whole pulls over the speed range of so many seconds until a tank is above a limit, and
    its temperature after each; NaN where the heat is not known. Water with ice starts at 0 C."""
    heat = cooling(made, j).heat_w
    known = heat[np.isfinite(heat)]
    if not known.size or known.mean() <= 0:
        return np.nan, np.array([])
    start = MELTS_K if tank.ice_kg > 0 and tank.water_kg > 0 else tank.start_k
    store = Store(tank.water_kg, tank.ice_kg, start)
    pulls = float(store.pulls(known.mean(), seconds, t_limit_k))
    heats = known.mean() * seconds * np.arange(min(pulls, 30) + 2)
    return pulls, store.t_after_k(heats)


def pipe_rows(made, j, speed_limit_m_s):
    """(where, largest volume flow's inner diameter [m]) that keeps the air's mean speed."""
    m, w = made.match, made.weather
    flow = m.air_flow_kg_s[:, j] / made.build.turbos[j].count
    places = {
        "before the compressor": (m.p_compressor_in_pa[:, j], w.t_cell_k),
        "compressor to cooler": (m.p_compressor_out_pa[:, j], m.t_compressor_out_k[:, j]),
        "cooler to throttle": (m.p_manifold_pa[:, j], m.t_charge_k[:, j]),
    }
    rows = []
    for name, (p, t) in places.items():
        each = pipes.diameter_m(flow, p / (287.05 * t), speed_limit_m_s)
        rows.append((name, float(np.nanmax(each)) if np.isfinite(each).any() else np.nan))
    return rows


def complete(build):
    """The build with parts that do nothing in place of those it does not name.

    A cooler that cools nothing, pipes that cost nothing, an empty target and tank: what a sheet
    needs in order to have something to type into.
    """
    air_state, hot_state = (0.0, 0.3, 100e3, 293.15), (0.0, 0.3, 110e3, 1023.15)
    r, cooler = build.restrictions, build.cooler or Cooler(0.0, build.weather.t_cell_k)
    return replace(
        build,
        restrictions=Restrictions(
            r.intake or Restriction(*air_state), r.exhaust or Restriction(*hot_state)
        ),
        cooler=replace(
            cooler,
            drop=cooler.drop or Restriction(0.0, 0.3, 200e3, 373.15),
            tank=cooler.tank or Tank(15.0, 0.0, 288.15),
        ),
        target=build.target or Target(Curve(0.0)),
    )


def changed(thing, path, value):
    """A copy with what stands at a path of field names and places replaced.

    >>> changed((1, 2, 3), (1,), 5)
    (1, 5, 3)
    """
    if not path:
        return value
    first, *rest = path
    if isinstance(thing, tuple):
        inner = changed(thing[first], rest, value)
        return (*thing[:first], inner, *thing[first + 1 :])
    return replace(thing, **{first: changed(getattr(thing, first), rest, value)})


def found_or_none(thing, path):
    """What stands at such a path; None where a part on the way is not there."""
    for step in path:
        if thing is None:
            return None
        thing = thing[step] if isinstance(thing, tuple) else getattr(thing, step)
    return thing


def found_at(thing, path):
    """What stands at such a path.

    >>> found_at(((1, 2), 3), (0, 1))
    2
    """
    for step in path:
        thing = thing[step] if isinstance(thing, tuple) else getattr(thing, step)
    return thing
