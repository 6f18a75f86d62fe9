"""The gate: force balance, spring window, lift and flow."""

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from toolkit.physics import gate as g
from toolkit.physics.gate import Gate

PSI = 6894.757293168361  # NIST SP 811 (2008), app. B.8
QUARTER = Gate(10e-4, 40e-4, preload_n=14 * PSI * 40e-4, rate_n_m=9000, max_lift_m=0.009)
TWO_PORT = Gate(15e-4, 37e-4, preload_n=7 * PSI * 37e-4, rate_n_m=9e3, max_lift_m=0.01, ports=2)
SWING = Gate(8e-4, 20e-4, 120, 6000, 0.008, ports=2, lever_ratio=1.3, port_area_m2=6e-4)


@pytest.mark.parametrize(("exhaust_psi", "crack_psi"), [(0, 14.0), (16, 10.0), (24, 8.0)])
def test_back_pressure_lowers_the_crack_boost(exhaust_psi, crack_psi):
    # Common practice: crack boost = spring rating - (valve / diaphragm area) x back pressure.
    found = g.crack_boost_gauge_pa(QUARTER, exhaust_psi * PSI) / PSI
    assert found == pytest.approx(crack_psi, abs=1e-9)


def test_top_port_fully_fed_leaves_the_spring_alone_against_back_pressure():
    # Common practice (no source): the same two-port gate with 7 psi and full top-port pressure
    # held 14 psi against 14 psi of back pressure and was at 12.5 psi against 19.1.
    limit = float(g.holding_drop_pa(TWO_PORT) / PSI)
    assert 14 < limit < 19.1
    held = g.net_force_n(TWO_PORT, np.array([14.0, 19.1]) * PSI, 0.0)
    assert held[0] < 0 < held[1]


def test_outside_supply_holds_more_than_a_fed_top_port():
    drop = g.holding_drop_pa(TWO_PORT, 14 * PSI, share=1.2)
    assert g.net_force_n(TWO_PORT, drop, 14 * PSI * (1 - 1.2)) == pytest.approx(0, abs=1e-9)
    assert drop > g.holding_drop_pa(TWO_PORT)


@pytest.mark.parametrize("gate", [QUARTER, TWO_PORT, SWING])
def test_crack_boost_is_the_root_of_the_force(gate):
    def force(boost):
        return float(g.net_force_n(gate, 50e3, boost * 0.7))

    root = brentq(force, -1e6, 1e7)
    assert g.crack_boost_gauge_pa(gate, 50e3, share=0.3) == pytest.approx(root, rel=1e-9)


@pytest.mark.parametrize("gate", [QUARTER, SWING])
def test_moments_about_the_pivot_agree_with_the_lever_ratio(gate):
    # A second route: moments with arms instead of a ratio.
    arm_valve, arm_rod = 0.02, 0.02 * gate.lever_ratio
    lift, exhaust, diaphragm = 0.003, 90e3, 70e3
    spring = gate.preload_n + gate.rate_n_m * lift / arm_valve * arm_rod
    moment = exhaust * gate.valve_area_m2 * arm_valve
    moment += (diaphragm * gate.diaphragm_area_m2 - spring) * arm_rod
    assert g.net_force_n(gate, exhaust, diaphragm, lift) * arm_valve == pytest.approx(moment)


# Balance of forces, closed form: the net force vanishes where the gate rests.
def test_lift_balances_the_force_between_its_stops():
    lift = g.lift_m(SWING, 60e3, np.array([0.0, 62e3, 70e3, 900e3]))
    assert lift[0] == 0 and lift[3] == SWING.max_lift_m
    inner = g.net_force_n(SWING, 60e3, np.array([62e3, 70e3]), lift[1:3])
    assert inner == pytest.approx(0, abs=1e-9)
    assert 0 < lift[1] < lift[2] < SWING.max_lift_m


def test_window_ends_are_where_the_force_vanishes():
    low, high = g.window_gauge_pa(TWO_PORT, 1.3)
    assert g.net_force_n(TWO_PORT, 1.3 * low, low) == pytest.approx(0, abs=1e-9)
    assert g.net_force_n(TWO_PORT, 1.3 * high, 0.0) == pytest.approx(0, abs=1e-9)
    assert low < TWO_PORT.rating_gauge_pa < high


def test_window_of_a_plain_gate_is_one_boost_and_a_bleed_opens_it():
    low, high = g.window_gauge_pa(QUARTER, 1.0)
    assert low == high
    bled = Gate(10e-4, 40e-4, QUARTER.preload_n, 9000, 0.009, bled=True)
    assert g.window_gauge_pa(bled, 1.0)[1] == pytest.approx(56 * PSI)


# Balance of forces, closed form, at both ends and in between.
def test_needed_share_runs_from_spring_alone_to_pushed_open():
    share = g.share_needed(TWO_PORT, 14 * PSI, np.array([0.0, 10.0, 19.1]) * PSI)
    assert share[0] == pytest.approx(0.5)
    assert 0 < share[1] < 1 < share[2]
    at = g.net_force_n(TWO_PORT, 10 * PSI, 14 * PSI * (1 - share[1]))
    assert at == pytest.approx(0, abs=1e-9)
    assert g.share_needed(TWO_PORT, 5 * PSI, 0.0) < 0
    assert g.share_needed(TWO_PORT, 14 * PSI, 10 * PSI, lift_m=0.004) < share[1]


# Balance of forces, closed form: at the worst point nothing is left.
def test_lightest_spring_just_holds_the_worst_point():
    drop = np.array([9.0, np.nan, 19.1]) * PSI
    lightest = g.lightest_rating_gauge_pa(TWO_PORT, drop)
    worst = g.net_force_n(TWO_PORT.with_rating(lightest), drop, 0.0)
    assert np.nanmax(worst) == pytest.approx(0, abs=1e-9)
    with_margin = g.lightest_rating_gauge_pa(TWO_PORT, drop, margin=1.1)
    assert with_margin == pytest.approx(1.1 * lightest)
    plain = g.lightest_rating_gauge_pa(QUARTER, 16 * PSI, 10 * PSI)
    assert g.crack_boost_gauge_pa(QUARTER.with_rating(plain), 16 * PSI) == pytest.approx(10 * PSI)
    rows = g.lightest_rating_gauge_pa(TWO_PORT, [drop, 2 * drop], axis=1)
    assert rows == pytest.approx([lightest, 2 * lightest])


def test_larger_diaphragm_or_smaller_valve_hold_more():
    limit = g.holding_drop_pa(TWO_PORT)
    larger = Gate(15e-4, 45e-4, 7 * PSI * 45e-4, 9e3, 0.01, ports=2)
    smaller = Gate(12e-4, 37e-4, TWO_PORT.preload_n, 9e3, 0.01, ports=2)
    assert g.holding_drop_pa(larger) == pytest.approx(limit * 45 / 37)
    assert g.holding_drop_pa(smaller) == pytest.approx(limit * 15 / 12)


# Curtain and port by geometry, Heywood (1988), sec. 6.3.1.
def test_area_is_curtain_then_port_and_its_inverse_agrees():
    lifts = np.array([0.0, 0.002, 0.004])
    area = g.flow_area_m2(SWING, lifts)
    assert area == pytest.approx(np.pi * np.sqrt(4 * 8e-4 / np.pi) * lifts)
    assert g.lift_for_area_m(SWING, area) == pytest.approx(lifts)
    assert g.flow_area_m2(SWING, 0.008) == pytest.approx(6e-4)
    assert np.isnan(g.lift_for_area_m(SWING, 6.01e-4))
    # Common knowledge of valves: a quarter of the diameter opens the whole of it.
    diameter = np.sqrt(4 * 10e-4 / np.pi)
    assert g.flow_area_m2(QUARTER, diameter / 4) == pytest.approx(10e-4)


def test_choked_flow_agrees_with_a_reference_library():
    open_gate = Gate(10e-4, 40e-4, 400, 9000, max_lift_m=0.02)
    found = g.flow_kg_s(open_gate, 0.02, 250e3, 120e3, 1150.0, 1.33, 288.0)
    throat = fluids.P_critical_flow(250e3, 1.33)
    t = 1150.0 / (1 + 0.33 / 2)
    speed = np.sqrt(1.33 * 288.0 * t)
    assert found == pytest.approx(0.7 * 10e-4 * throat / (288.0 * t) * speed, rel=1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    ratio=st.floats(0.05, 0.9),
    rating=st.floats(2e3, 3e5),
    drop=st.floats(0, 4e5),
    boost=st.floats(1e3, 3e5),
    lever=st.floats(0.5, 2),
)
def test_pressures_alone_decide_not_the_size(ratio, rating, drop, boost, lever):
    def sized(scale):
        area = 30e-4 * scale
        valve = ratio * area * lever
        return Gate(valve, area, rating * area, 8e3 * scale, 0.01, ports=2, lever_ratio=lever)

    small, large = sized(1), sized(4)
    assert g.share_needed(small, boost, drop) == pytest.approx(g.share_needed(large, boost, drop))
    share = g.share_needed(small, boost, drop)
    balance = g.net_force_n(small, drop, boost * (1 - share))
    assert balance == pytest.approx(0, abs=1e-6)


def test_arrays_of_gates_and_speeds_broadcast():
    springs = TWO_PORT.with_rating(np.array([[7.0], [10.0]]) * PSI)
    assert g.net_force_n(springs, np.linspace(5, 20, 4) * PSI, 0.0).shape == (2, 4)
    assert g.lift_m(springs, np.linspace(5, 20, 4) * PSI, 0.0).shape == (2, 4)


def test_unknown_stays_unknown():
    assert np.isnan(g.net_force_n(QUARTER, np.nan, 50e3))
    assert np.isnan(g.lift_m(QUARTER, np.nan, 50e3))
    assert np.isnan(g.crack_boost_gauge_pa(QUARTER, np.nan))
    assert np.isnan(g.lightest_rating_gauge_pa(QUARTER, [np.nan, np.nan]))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"valve_area_m2": 0}, "valve_area_m2 is 0 m2: it must be above 0 m2"),
        ({"rate_n_m": -5}, "rate_n_m is -5 N/m"),
        ({"preload_n": -1}, "preload_n is -1 N"),
        ({"lever_ratio": 0}, "lever_ratio is 0"),
        ({"port_area_m2": 0}, "port_area_m2 is 0 m2"),
        ({"discharge": 1.4}, "discharge is 1.4: it must lie between 0 and 1"),
        ({"ports": 3}, "ports is 3: a gate has 1 or 2"),
    ],
)
def test_an_impossible_gate_is_refused_by_name(change, words):
    good = {
        "valve_area_m2": 1e-3,
        "diaphragm_area_m2": 4e-3,
        "preload_n": 4e2,
        "rate_n_m": 8e3,
        "max_lift_m": 1e-2,
    }
    with pytest.raises(ValueError, match=words):
        Gate(**(good | change))


def test_impossible_arguments_are_refused():
    with pytest.raises(ValueError, match=r"share is 1\.5"):
        g.crack_boost_gauge_pa(QUARTER, 0.0, share=1.5)
    with pytest.raises(ValueError, match=r"margin is 0\.9"):
        g.lightest_rating_gauge_pa(QUARTER, 1e5, margin=0.9)
    with pytest.raises(ValueError, match="boost_gauge_pa is 0 Pa"):
        g.share_needed(QUARTER, 0.0, 1e5)
    with pytest.raises(ValueError, match=r"lift_m is -0\.001 m"):
        g.flow_area_m2(QUARTER, -0.001)
