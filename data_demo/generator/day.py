"""What the team did: which pulls, in which order, in which weather; and what truly happened.

`run_all(seed)` gives the true signals at 100 Hz, before any sensor or logger.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from . import plant

PSI = 6894.757
STEP_S = 0.01
GRID_RPM = np.arange(2000.0, 6901.0, 100.0)
LOW_RPM, HIGH_RPM = 2200.0, 6700.0
OFF_S, IDLE_S = 3.0, 1.5


@dataclass(frozen=True)
class Test:
    """One log of the team: some pulls on one set-up."""

    name: str
    turbo: str
    boost_psi: float
    started: str
    hour: float  # since the first log of that day: what drifts, drifts with it
    cell: plant.Cell
    pulls: int = 3
    sweep_rpm_s: float = 400.0
    gate: plant.Gate = plant.LIGHT_SPRING
    shaft_sensor: bool = False
    note: str = ""


_APRIL = plant.Cell(p_cell_pa=100.8e3, t_cell_k=290.6, humidity=0.47)
_JUNE = plant.Cell(
    p_cell_pa=99.3e3, t_cell_k=300.3, humidity=0.62, t_water_k=302.5,
    lam_full=0.81, spark_offset_deg=-2.0,
)  # fmt: skip

TESTS = (
    Test("2026-04-18_1_small_8psi", "small", 8, "2026-04-18 09:20", 0.0, _APRIL),
    Test("2026-04-18_2_small_14psi", "small", 14, "2026-04-18 09:50", 0.5, _APRIL),
    Test("2026-04-18_3_small_20psi", "small", 20, "2026-04-18 10:20", 1.0, _APRIL,
         shaft_sensor=True),
    Test("2026-04-18_4_large_8psi", "large", 8, "2026-04-18 13:10", 3.83, _APRIL),
    Test("2026-04-18_5_large_14psi", "large", 14, "2026-04-18 13:40", 4.33, _APRIL),
    Test("2026-04-18_6_large_20psi", "large", 20, "2026-04-18 14:10", 4.83, _APRIL,
         shaft_sensor=True),
    Test("2026-04-18_7_small_14psi_return", "small", 14, "2026-04-18 16:00", 6.67, _APRIL,
         note="return to Small after Large"),
    Test("2026-06-06_1_large_20psi_retuned", "large", 20, "2026-06-06 11:30", 0.0, _JUNE,
         pulls=1, sweep_rpm_s=550.0, note="retuned richer with 2 degrees less spark"),
)  # fmt: skip


def day_state(test):
    """The cell as it is for each pull: the room, the water and the oil warm up over the day."""
    pull = np.arange(test.pulls)
    return replace(
        test.cell,
        p_cell_pa=test.cell.p_cell_pa - 45.0 * test.hour + 0.0 * pull,
        t_cell_k=test.cell.t_cell_k + 0.75 * test.hour + 0.25 * pull,
        humidity=test.cell.humidity - 0.008 * test.hour + 0.0 * pull,
        t_water_k=test.cell.t_water_k + 0.55 * test.hour + 1.1 * pull,
        t_oil_k=361.0 + 0.5 * test.hour + 2.2 * pull,
    )


def pull_trace(sweep_rpm_s):
    """(speed, throttle) at 100 Hz: idle, load, spool, sweep, coast, idle."""
    sweep_s = (HIGH_RPM - LOW_RPM) / sweep_rpm_s
    marks = np.cumsum([0.0, 0.6, 1.0, 0.2, 1.4, sweep_s, 0.15, 0.6, 0.8, 1.2, 0.6])
    speeds = [900, 900, LOW_RPM, LOW_RPM, LOW_RPM, HIGH_RPM, HIGH_RPM, 4300, 2300, 1100, 900]
    throttles = [0.03, 0.03, 0.28, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.02, 0.03]
    t = np.arange(0.0, marks[-1], STEP_S)
    return np.interp(t, marks, speeds), np.interp(t, marks, throttles)


def steady(turbo, gate, cell, target_pa, grid_rpm=GRID_RPM):
    """Every channel of the settled engine on a grid of speeds, one column per pull."""
    match = plant.Match(plant.TURBOS[turbo], gate, cell, grid_rpm[:, None], target_pa)
    point = match.solve()
    duty, top, lift = match.control(point)
    return point | {"gate_duty": duty, "p_gate_top_gauge_pa": top, "gate_lift_m": lift}


def run_all(seed, tests=TESTS):
    """[(test, signals)] of every log: true signals at 100 Hz, pulls numbered from 1 (0: none)."""
    rngs = [np.random.default_rng([seed, number]) for number in range(len(tests))]
    missed = [rng.normal(0, 500.0, t.pulls) for t, rng in zip(tests, rngs, strict=True)]
    points = _steady_of_all(tests, missed)
    return [
        (test, run(test, point, rng)) for test, point, rng in zip(tests, points, rngs, strict=True)
    ]


def _steady_of_all(tests, missed_pa):
    """The settled engine of every test; those of one turbo and gate are solved together.

    missed_pa: by how much the controller misses its target in each pull.
    """
    points = [None] * len(tests)
    for parts in dict.fromkeys((t.turbo, t.gate) for t in tests):
        group = [k for k, t in enumerate(tests) if (t.turbo, t.gate) == parts]
        cells = [day_state(tests[k]) for k in group]
        target = np.concatenate([tests[k].boost_psi * PSI + missed_pa[k] for k in group])
        every = steady(*parts, _side_by_side(cells), target)
        edges = np.cumsum([tests[k].pulls for k in group])[:-1]
        split = {name: np.split(grid, edges, axis=1) for name, grid in every.items()}
        for place, k in enumerate(group):
            points[k] = {name: grids[place] for name, grids in split.items()}
    return points


def _side_by_side(cells):
    """One Cell whose fields are arrays over all pulls of these cells."""
    pulls = [len(c.t_cell_k) for c in cells]
    return plant.Cell(
        **{
            name: np.concatenate(
                [np.full(n, getattr(c, name)) for c, n in zip(cells, pulls, strict=True)]
            )
            for name in vars(cells[0])
        }
    )


def run(test, point, rng):
    cell = day_state(test)
    speed, throttle = pull_trace(test.sweep_rpm_s)
    pulls = [_pull(test, cell, point, i, speed, throttle, rng) for i in range(test.pulls)]
    parts = [_standing(cell, OFF_S, 0.0), _standing(cell, IDLE_S, 900.0), *pulls]
    signals = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    signals["time_s"] = STEP_S * np.arange(len(signals["speed_rpm"]))
    return signals


def _pull(test, cell, point, number, speed, throttle, rng):
    """One pull in time: the settled values, followed with the turbo's lag."""
    one = _of_pull(cell, number)
    at = {name: np.interp(speed, GRID_RPM, grid[:, number]) for name, grid in point.items()}
    full = throttle > 0.9
    p = _manifold(test, one, at, throttle, full, rng)
    s = {"speed_rpm": speed, "throttle": throttle, "p_manifold_pa": p}
    s |= _turbo_side(one, at, p, full) | _cell_air(one, len(speed))
    s |= _engine_side(one, at, s, full, rng)
    sweep = np.where(full, np.gradient(speed, STEP_S), 0.0)
    torque = plant.torque_nm(speed, s, sweep)
    s["model_torque_nm"] = np.where(throttle > 0.01, torque, -30.0 - 0.006 * speed)
    scatter = rng.normal(0, 0.0028) + _wander(rng, len(speed), 0.0035, 0.12)
    s["torque_nm"] = s["model_torque_nm"] * (1 + scatter)
    s["pull"] = np.where(full & (np.gradient(speed) > 0), number + 1, 0)
    return s


def _of_pull(cell, number):
    return replace(cell, **{f: float(v[number]) for f, v in vars(cell).items() if np.ndim(v)})


def _manifold(test, cell, at, throttle, full, rng):
    """Manifold pressure: part load by the throttle, full load followed by the turbo's lag."""
    goal = np.where(
        full,
        at["p_manifold_pa"] + _wander(rng, len(throttle), 350.0, 0.5),
        cell.p_cell_pa * (0.31 + 0.62 * np.sqrt(throttle)),
    )
    lag = plant.TURBOS[test.turbo].lag_s
    return _followed(goal, np.where(full & (goal > cell.p_cell_pa), lag, 0.05))


def _turbo_side(cell, at, p_manifold_pa, full):
    """What goes with boost: all of it by the share of the settled boost that is there."""
    settled = np.maximum(at["p_manifold_pa"] - cell.p_cell_pa, 1e3)
    charged = np.clip((p_manifold_pa - cell.p_cell_pa) / settled, 0, 1.3)
    s = {}
    for name in ("p_exhaust_pa", "p_turbine_out_pa", "p_compressor_out_pa", "p_compressor_in_pa"):
        s[name] = cell.p_cell_pa + charged * (at[name] - cell.p_cell_pa)
    s["t_compressor_out_k"] = cell.t_cell_k + charged * (at["t_compressor_out_k"] - cell.t_cell_k)
    s["shaft_speed_rpm"] = np.maximum(at["shaft_speed_rpm"] * np.sqrt(charged), 12e3)
    for name in ("gate_duty", "p_gate_top_gauge_pa", "gate_lift_m"):
        s[name] = np.where(full, at[name] * np.clip(charged, 0, 1), 0.0)
    return s


def _engine_side(cell, at, s, full, rng):
    """Charge, mixture, spark, exhaust and flows; fuel is cut when the throttle shuts."""
    speed, p, fired = s["speed_rpm"], s["p_manifold_pa"], s["throttle"] > 0.01
    charge = np.where(full, at["t_charge_k"], cell.t_water_k + 8.0)
    charge = _followed(charge, np.full(len(speed), 0.4))
    lam = np.where(fired, plant.lam_target(p, cell), 1.5) + rng.normal(0, 0.002)
    spark = plant.spark_deg(speed, p, charge, cell)
    hot = np.where(full, plant.exhaust_t_k(speed, p, lam, spark), 840.0)
    air = plant.air_kg_s(speed, p, s["p_exhaust_pa"], charge)
    return {
        "t_charge_k": charge, "lam": lam, "spark_deg": spark, "air_flow_kg_s": air,
        "t_exhaust_k": _followed(hot, np.full(len(speed), 0.5)),
        "fuel_flow_kg_s": np.where(fired, air / (lam * plant.AIR_PER_FUEL), 0.0),
    }  # fmt: skip


def _standing(cell, seconds, speed_rpm):
    """Engine off (0 rpm) or idling before the first pull."""
    n = round(seconds / STEP_S)
    one = _of_pull(cell, 0)
    runs = speed_rpm > 0
    p = one.p_cell_pa
    values = {
        "speed_rpm": speed_rpm, "throttle": 0.03 * runs, "p_manifold_pa": p * (0.38 if runs else 1),
        "p_exhaust_pa": p + 400.0 * runs, "p_turbine_out_pa": p + 100.0 * runs,
        "p_compressor_out_pa": p, "p_compressor_in_pa": p, "t_compressor_out_k": one.t_cell_k + 6,
        "t_charge_k": one.t_water_k + 8, "lam": 1.0 if runs else 1.5, "spark_deg": 14.0 * runs,
        "t_exhaust_k": 700.0 if runs else 420.0, "shaft_speed_rpm": 12e3 * runs, "gate_duty": 0.0,
        "p_gate_top_gauge_pa": 0.0, "gate_lift_m": 0.0, "air_flow_kg_s": 6.5e-3 * runs,
        "fuel_flow_kg_s": 4.5e-4 * runs, "model_torque_nm": 0.0, "torque_nm": 0.0,
    }  # fmt: skip
    return {k: np.full(n, float(v)) for k, v in values.items()} | {
        "pull": np.zeros(n, dtype=int)
    } | _cell_air(one, n)  # fmt: skip


def _cell_air(cell, n):
    vapour = plant.water_share(cell.t_cell_k, cell.humidity, cell.p_cell_pa)
    values = {
        "p_cell_pa": cell.p_cell_pa, "t_cell_k": cell.t_cell_k, "humidity": cell.humidity,
        "vapour": vapour, "t_oil_k": cell.t_oil_k, "t_coolant_k": 0.6 * cell.t_oil_k + 141.0,
        "t_cooler_water_k": cell.t_water_k,
    }  # fmt: skip
    return {name: np.full(n, float(value)) for name, value in values.items()}


def _followed(goal, lag_s):
    """A first-order follower of `goal`; the lag may change along the way."""
    share = 1 - np.exp(-STEP_S / lag_s)
    out = np.empty_like(goal)
    value = goal[0]
    for i, (target, part) in enumerate(zip(goal.tolist(), share.tolist(), strict=True)):
        value += (target - value) * part
        out[i] = value
    return out


def _wander(rng, n, deviation, time_constant_s):
    """Slow random wandering of this standard deviation (first-order autoregressive)."""
    keep = np.exp(-STEP_S / time_constant_s)
    steps = rng.normal(0, deviation * np.sqrt(1 - keep**2), n)
    steps[0] = rng.normal(0, deviation)
    return lfilter([1.0], [1.0, -keep], steps)
