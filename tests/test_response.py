"""Response: it settles where the match is, keeps its books, and grows with inertia.

The engine, maps and gates are invented. What the shaft does under known torques is checked
against an outside simulation in test_rotor.py; here the whole machine is.
"""

from dataclasses import replace

import numpy as np
import pytest

from toolkit.physics.compressor import CompressorMap
from toolkit.physics.gate import Gate
from toolkit.physics.match import match
from toolkit.physics.points import Points, Regime
from toolkit.physics.response import (
    Vehicle,
    after_step,
    boost_after_s,
    in_sweep,
    in_vehicle,
    speed_of_boost_rpm,
    time_to_boost_s,
)
from toolkit.physics.rotor import kinetic_energy_j
from toolkit.physics.transient import Plant
from toolkit.physics.turbine import TurbineCurve

FUEL = (1.87, 0.0)
CELL_PA, CELL_K = 100e3, 298.15
DISPLACEMENT_M3 = 3.0e-3


def a_map(size):
    """Head falls with the cube of flow; speed lines like those of a truck's or a car's turbo."""
    speeds = np.linspace(50e3, 150e3, 9)[:, None]
    x = np.linspace(0.35, 1, 12)
    share = speeds / speeds[-1]
    flow = size * 0.30 * share**1.1 * x
    head = 0.62 * share**2 * (1 + 0.25 * x - 0.62 * x**3)
    columns = np.broadcast_arrays(
        np.arange(9)[:, None], speeds, flow, (1 + head) ** 3.5, 0.76 - 0.35 * (x - 0.7) ** 2
    )
    return CompressorMap.from_points(*(c.ravel() for c in columns), CELL_K, 100e3)


MAPS = [a_map(1.0), a_map(1.3)]
GATE = Gate(9e-4, 40e-4, preload_n=320, rate_n_m=8000, max_lift_m=0.01, ports=2)


def points(speed_rpm, candidates=2, **changes):
    """Small and Large by turns, at an engine speed or at (speeds, 1) of them."""
    every = np.arange(candidates)
    known = {
        "volume_flow_m3_s": 0.9 * DISPLACEMENT_M3 * np.asarray(speed_rpm) / 120,
        "breathing_linear": -0.09,
        "breathing_log": 0.0,
        "p_cell_pa": CELL_PA,
        "t_cell_k": CELL_K,
        "r_intake_j_kgk": 287.05,
        "p_target_pa": 200e3,
        "intake_loss": 2e3 * 1e5 / (298 * 0.2**2),
        "cooler_loss": 4e3 * 2e5 / (400 * 0.2**2),
        "exhaust_loss": 8e3 * 1.1e5 / (1000 * 0.2**2),
        "effectiveness": 0.75,
        "t_medium_k": CELL_K,
        "exhaust_per_air": 1 + 1 / 12.5,
        "t_exhaust_k": 1100.0,
        "lam": 0.85,
        "map": every % 2,
        "turbine": 0,
        "turbine_area_m2": np.where(every % 2, 9e-4, 7e-4),
        "turbine_efficiency": 0.68,
        "mechanical_efficiency": 0.96,
        "turbos": 1,
        "gated": True,
        "gate_share": 1.0,
        "gate": GATE,
    }
    return Points(**known | changes)


def plant(given, inertia=5e-5, curves=(None,), intake_m3=6e-3, speeds_rpm=None):
    return Plant(given, MAPS, curves, FUEL, inertia, intake_m3, 2e-3, speeds_rpm)


def step(given, speed_rpm, seconds=4.0, **more):
    return after_step(plant(given, **more), speed_rpm, seconds)


# --- the steady end is the match ---

WEAK = replace(GATE, preload_n=20.0)
NARROW = replace(GATE, max_lift_m=0.004, preload_n=20.0)
ONE_PORT = replace(GATE, ports=1)
CURVE = TurbineCurve(
    (1.2, 1.6, 2.2, 3.0), (0.05, 0.07, 0.08, 0.082), (0.6, 0.68, 0.7, 0.66), 900.0, 1e5
)
ENDS = [
    ("held on target", 4000, {}, (None,), Regime.HOLDING),
    ("below target", 2400, {}, (None,), Regime.BELOW_TARGET),
    ("pushed open", 5500, {"gate": WEAK}, (None,), Regime.PUSHED_OPEN),
    ("creep", 5500, {"gate": NARROW, "p_target_pa": 160e3}, (None,), Regime.CREEP),
    ("spring alone", 4000, {"gate": ONE_PORT, "gate_share": 0.0}, (None,), None),
    ("no gate", 5000, {"gated": False}, (None,), Regime.HOLDING),
    ("two in parallel", 5500, {"turbos": 2, "turbine_area_m2": 4e-4}, (None,), None),
    ("strong breathing", 5000, {"breathing_linear": 0.0, "breathing_log": -0.3}, (None,), None),
    (
        "a turbine curve",
        4500,
        {"turbine_area_m2": 1.0, "turbine_efficiency": 1.0},
        (CURVE,),
        Regime.HOLDING,
    ),
]


# By another route: the match, solved without time.
@pytest.mark.parametrize("what, speed, changes, curves, regime", ENDS, ids=[e[0] for e in ENDS])
def test_the_steady_end_is_the_match(what, speed, changes, curves, regime):
    given = points(speed, **changes)
    wanted = match(given, MAPS, curves, FUEL)
    large = 1  # the Small's map ends before the highest speeds
    if regime is not None:
        assert wanted.regime[large] == regime
    assert Regime(wanted.regime[large]).solved
    end = step(given, speed, seconds=30.0, curves=curves, inertia=2e-5).moments
    for name in ("shaft_speed_rpm", "p_manifold_pa", "t_charge_k", "p_exhaust_pa"):
        ours = getattr(end, name)[-1, large]
        assert ours == pytest.approx(getattr(wanted, name)[large], rel=5e-4), name
    assert end.air_flow_kg_s[-1, large] == pytest.approx(wanted.air_flow_kg_s[large], rel=5e-4)
    assert end.bypass_share[-1, large] == pytest.approx(wanted.bypass_share[large], abs=5e-4)
    assert end.on_map[-1, large]


# --- books ---


# Work and energy of the rotor, closed form: the integral of power is what its speed holds.
def test_the_rotor_gains_what_the_turbine_gives_beyond_the_compressor():
    inertia = np.array([4e-5, 7e-5])
    made = after_step(plant(points(3500), inertia), 3500, 4.0, samples=4001).moments
    work = np.trapezoid(made.turbine_power_w - made.compressor_power_w, made.time_s, axis=0)
    energy = kinetic_energy_j(inertia, made.shaft_speed_rpm)
    np.testing.assert_allclose(work, energy[-1] - energy[0], rtol=2e-3)
    assert (energy[-1] > 3 * energy[0]).all()


def test_a_volume_fills_with_its_own_time_constant():
    """A rotor too heavy to move, an ideal cooler, no losses: closed form, volume over intake."""
    given = points(
        3000, intake_loss=0, cooler_loss=0, exhaust_loss=0, breathing_linear=0, effectiveness=1.0
    )
    heavy = plant(given, inertia=1e3, intake_m3=9e-3)
    start = heavy.settled(3000, 0.4)
    start[:, 0] = 70e3
    times = np.linspace(0, 1.0, 201)
    p = heavy.run(start, times, 3000).p_manifold_pa
    constant = 9e-3 / (0.9 * DISPLACEMENT_M3 * 3000 / 120)
    wanted = p[-1] + (p[0] - p[-1]) * np.exp(-times / constant)[:, None]
    np.testing.assert_allclose(p, wanted, rtol=2e-3)
    assert (p[-1] > 1.1 * CELL_PA).all()


def test_larger_volumes_delay():
    times = [time_to_boost_s(step(points(3500), 3500, intake_m3=v), 190e3)[0] for v in (2e-3, 2e-2)]
    assert times[0] < times[1]


# --- time to boost ---


# Watson & Janota (1982), sec. on transient response: time grows with inertia.
def test_time_to_boost_grows_with_inertia():
    inertia = np.geomspace(1e-5, 2e-4, 9)
    same = points(3500, 9, map=0, turbine_area_m2=7e-4)
    times = time_to_boost_s(step(same, 3500, inertia=inertia), 190e3)
    assert np.isfinite(times).all()
    assert (np.diff(times) > 0).all()
    # The rotor rules: less than in proportion, because volumes have to fill as well.
    assert 2 < times[-1] / times[0] < 20


def test_candidates_together_are_candidates_alone():
    together = time_to_boost_s(
        step(points(3500, 4), 3500, inertia=np.linspace(3e-5, 6e-5, 4)), 190e3
    )
    alone = [
        time_to_boost_s(
            step(points(3500, 1, map=k % 2, turbine_area_m2=(7e-4, 9e-4)[k % 2]), 3500, inertia=j),
            190e3,
        )[0]
        for k, j in enumerate(np.linspace(3e-5, 6e-5, 4))
    ]
    np.testing.assert_allclose(together, alone, rtol=2e-3)


def test_every_candidate_may_hold_its_own_speed():
    speeds = np.array([3000.0, 3500, 4500])
    times = time_to_boost_s(step(points(speeds, 3, map=0, turbine_area_m2=7e-4), speeds), 190e3)
    assert (np.diff(times) < 0).all()


def test_a_boost_never_reached_has_no_time():
    response = step(points(2400), 2400)
    small, large = time_to_boost_s(response, 190e3)
    assert np.isnan(large)
    assert time_to_boost_s(response, 20e3)[1] == 0
    assert small > 1 or np.isnan(small)


def test_boost_is_not_overshot():
    made = step(points(4500), 4500, seconds=6).moments
    assert (made.p_manifold_pa.max(axis=0) < 200e3 * 1.002).all()


def test_where_the_map_ends_is_said():
    made = step(points(3000), 3000).moments
    assert not made.on_map[0].any()  # a rotor at cruise turns slower than any speed line
    assert made.on_map[-1].all()


# --- sweeps ---

SPEEDS = np.arange(1800.0, 5001.0, 100.0)


def sweeping(**changes):
    return plant(points(SPEEDS[:, None], **changes), speeds_rpm=SPEEDS)


# By another route: the match along speed is where an endless sweep runs.
def test_a_slow_sweep_follows_the_steady_line_and_a_fast_one_lags():
    steady = match(points(SPEEDS[:, None]), MAPS, (None,), FUEL).reshape(len(SPEEDS), 2)
    slow = in_sweep(sweeping(), 1800, 5000, 20).moments
    for k in (0, 1):
        known = np.isfinite(steady.p_manifold_pa[:, k])
        ours = np.interp(SPEEDS, slow.speed_rpm[:, k], slow.p_manifold_pa[:, k])
        np.testing.assert_allclose(ours[known], steady.p_manifold_pa[known, k], rtol=0.03)
    arrivals = np.array(
        [speed_of_boost_rpm(in_sweep(sweeping(), 1800, 5000, r), 190e3) for r in (100, 800)]
    )
    assert (np.diff(arrivals, axis=0) > 0).all()


def test_a_sweep_never_gives_a_time_to_boost():
    swept = in_sweep(sweeping(), 1800, 4500, 400)
    with pytest.raises(ValueError, match="sweep does not tell the time to boost"):
        time_to_boost_s(swept, 190e3)
    with pytest.raises(ValueError, match="not at a speed"):
        speed_of_boost_rpm(step(points(3500), 3500), 190e3)


# --- a vehicle ---


def torque_nm(speed_rpm, values):
    """An invented engine: 0.9 MJ of work from a kilogram of air."""
    return 0.9e6 * values["air_flow_kg_s"] / (speed_rpm * np.pi / 30)


# Newton's second law, closed form.
def test_a_vehicle_under_constant_torque_in_closed_form():
    bare = Vehicle(1500, 4.0, 0.32, drag_area_m2=0, rolling=0, efficiency=1.0, inertia_kg_m2=0)
    rate = 300 * 4.0 / 0.32 / 1500 / 0.32 * 4.0 * 30 / np.pi
    assert bare.speed_rate_rpm_s(300.0, 2000.0) == pytest.approx(rate)
    made = in_vehicle(sweeping(), bare, lambda n, values: 300.0, 2000, seconds=5).moments
    np.testing.assert_allclose(made.speed_rpm[:, 0], 2000 + rate * made.time_s, rtol=1e-4)


def test_drag_balances_at_top_speed():
    car = Vehicle(1500, 3.0, 0.32)
    road = car.road_speed_m_s(6000)
    force = 0.5 * 1.2 * 0.7 * road**2 + 0.013 * 1500 * 9.80665
    assert car.speed_rate_rpm_s(force * 0.32 / 3.0 / 0.9, 6000) == pytest.approx(0, abs=1e-9)


# Newton's second law on a slope, closed form.
def test_a_slope_takes_its_share_of_the_weight():
    flat, up = (Vehicle(1500, 4.0, 0.32, 0, 0.013, 1.0, 0, grade=g) for g in (0.0, 0.1))
    slowed = 9.80665 * (0.1 + 0.013 * (np.sqrt(0.99) - 1)) * 4.0 / 0.32 * 30 / np.pi
    lost = flat.speed_rate_rpm_s(300.0, 2000.0) - up.speed_rate_rpm_s(300.0, 2000.0)
    assert lost == pytest.approx(slowed)


# By another route: when it is there, the speed is the one found along speed.
def test_time_in_a_pull_belongs_to_that_pull():
    light, heavy = (
        in_vehicle(sweeping(), Vehicle(m, 5.0, 0.32), torque_nm, 2000, seconds=15)
        for m in (900, 3600)
    )
    for made in (light, heavy):
        at = boost_after_s(made, 190e3)
        speed = [
            np.interp(t, made.moments.time_s, n)
            for t, n in zip(at, made.moments.speed_rpm.T, strict=True)
        ]
        np.testing.assert_allclose(speed, speed_of_boost_rpm(made, 190e3), rtol=2e-3)
    with pytest.raises(ValueError, match="throttle step at held speed is no pull of a vehicle"):
        boost_after_s(step(points(3500), 3500), 190e3)
    with pytest.raises(ValueError, match="pull of a vehicle does not tell the time to boost"):
        time_to_boost_s(light, 190e3)


def test_a_heavier_car_has_its_boost_at_a_lower_speed():
    arrivals = [
        speed_of_boost_rpm(
            in_vehicle(sweeping(), Vehicle(m, 5.0, 0.32), torque_nm, 2000, seconds=15), 190e3
        )
        for m in (900, 3600)
    ]
    assert (np.diff(arrivals, axis=0) < 0).all()


def test_the_pull_stops_at_the_last_speed():
    made = in_vehicle(sweeping(), Vehicle(500, 6.0, 0.3), lambda n, v: 600.0, 2000, 6).moments
    assert made.speed_rpm.max() <= SPEEDS[-1] * 1.001


# --- what cannot be ---


def test_an_unknown_input_leaves_only_its_candidate_unknown():
    known, unknown = time_to_boost_s(
        step(points(3500, turbine_efficiency=np.array([0.68, np.nan])), 3500), 190e3
    )
    assert np.isfinite(known) and np.isnan(unknown)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: plant(points(3000), inertia=-1e-5), "inertia_kg_m2 is -1e-05"),
        (lambda: plant(points(3000), intake_m3=0), "intake_m3 is 0 m3"),
        (lambda: after_step(plant(points(3000)), 3000, part_load=0), "part_load is 0"),
        (lambda: in_sweep(sweeping(), 3000, 2000, 100), "to_rpm - from_rpm is -1000 rpm"),
        (lambda: in_sweep(sweeping(), 2000, 3000, 0), "rate_rpm_s is 0 rpm/s"),
        (lambda: Vehicle(0, 4, 0.3), "mass_kg is 0"),
        (lambda: Vehicle(1000, 4, 0.3, efficiency=90), "efficiency is 90"),
        (lambda: Vehicle(1000, 4, 0.3, grade=1.2), "grade is 1.2"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()
