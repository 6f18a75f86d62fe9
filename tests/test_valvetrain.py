"""Seat load, inertia, surge: published arithmetic, cam curves with known derivatives, balances."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from toolkit.physics import valvetrain as v
from toolkit.physics.springs import CoilSpring

INCH = 0.0254
POUND = 4.4482216152605
PSI = 6894.757293168361
CELL = 101325.0


# Pressure times area, arithmetic.
@pytest.mark.parametrize(("inches", "psi", "pounds"), [(2.02, 20, 64), (1.60, 40, 80)])
def test_head_load_of_a_closed_valve(inches, psi, pounds):
    # Pressure times area: 2.02 in at 20 psi is 64 lb, 1.60 in at 40 psi is 80 lb.
    load = v.head_load_n(inches * INCH, CELL + psi * PSI, CELL)
    assert load / POUND == pytest.approx(pounds, abs=0.5)


def test_chamber_pressure_holds_the_valve_shut():
    assert v.head_load_n(0.04, 150e3, 150e3) == 0
    assert v.head_load_n(0.04, 150e3, 250e3) < 0
    assert np.isnan(v.head_load_n(0.04, np.nan, CELL))


# R. L. Norton, Design of Machinery, table of cam functions (from memory): peak acceleration over
# height / angle^2 of a rise: cycloidal 6.283, polynomial 3-4-5 5.774, polynomial 4-5-6-7 7.526.
CAMS = {
    "cycloidal": (6.283, lambda u: u - np.sin(2 * np.pi * u) / (2 * np.pi)),
    "3-4-5": (5.774, lambda u: 10 * u**3 - 15 * u**4 + 6 * u**5),
    "4-5-6-7": (7.526, lambda u: 35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7),
}
HEIGHT, RISE_DEG = 0.010, 60.0
ANGLE = np.arange(-RISE_DEG, RISE_DEG + 0.5)


def lift_table(name, angle=ANGLE):
    return HEIGHT * CAMS[name][1](1 - np.abs(angle) / RISE_DEG)


@pytest.mark.parametrize("name", CAMS)
@pytest.mark.parametrize(("resolution", "within"), [(0.0, 0.003), (1e-5, 0.03), (25.4e-6, 0.03)])
def test_acceleration_of_known_cams(name, resolution, within):
    # The table as printed: exact, in hundredths of a millimetre, in thousandths of an inch.
    table = lift_table(name)
    if resolution:
        table = np.round(table / resolution) * resolution
    found = v.lift_spline(ANGLE, table, resolution).derivative(2)(np.radians(ANGLE))
    peak = CAMS[name][0] * HEIGHT / np.radians(RISE_DEG) ** 2
    assert found.max() == pytest.approx(peak, rel=within)
    assert found.min() == pytest.approx(-peak, rel=within)


def test_differencing_a_rounded_table_twice_is_noise():
    table = np.round(lift_table("cycloidal") / 25.4e-6) * 25.4e-6
    peak = CAMS["cycloidal"][0] * HEIGHT / np.radians(RISE_DEG) ** 2
    naive = np.diff(table, 2) / np.radians(1.0) ** 2
    assert naive.max() > 2 * peak


def test_spline_stays_within_the_rounding():
    table = np.round(lift_table("3-4-5") / 25.4e-6) * 25.4e-6
    left = v.lift_spline(ANGLE, table, 25.4e-6)(np.radians(ANGLE)) - table
    assert np.sqrt(np.mean(left**2)) <= 25.4e-6 / np.sqrt(12) * 1.001


def test_control_speed_is_the_root_of_the_contact_force():
    curve = v.lift_spline(ANGLE, lift_table("cycloidal"))
    turn = np.radians(ANGLE)
    spring = 400 + 40e3 * curve(turn)
    speed = v.control_speed_rpm(spring, 0.2, curve.derivative(2)(turn), gas_n=50.0)
    least = v.contact_n(spring, 0.2, curve.derivative(2)(turn), speed, gas_n=50.0).min()
    assert least == pytest.approx(0, abs=1e-9)
    assert v.control_speed_rpm(spring, 0.2, 0.02) is np.nan
    assert v.control_speed_rpm(spring, 0.2, -0.02, gas_n=900.0) == 0


def test_valve_leaves_its_cam_where_an_integration_says():
    # Second route: a mass on a spring, pushed by a follower that cannot pull; above the control
    # speed it flies over the nose, below it stays.
    def flight(speed_rpm):
        curve = v.lift_spline(ANGLE, lift_table("cycloidal"))
        omega = v.cam_rad_s(speed_rpm)
        stiff, damp = 5e8, 2e4

        def motion(t, state):
            push = curve(np.radians(-RISE_DEG) + omega * t) - state[0]
            rate = curve.derivative()(np.radians(-RISE_DEG) + omega * t) * omega - state[1]
            contact = max(stiff * push + damp * rate, 0.0)
            return [state[1], (contact - 400 - 40e3 * state[0]) / 0.2]

        end = np.radians(1.6 * RISE_DEG) / omega
        start = [-400 / stiff, 0.0]
        run = solve_ivp(motion, (0, end), start, method="LSODA", max_step=end / 400, rtol=1e-8)
        follower = curve(np.radians(-RISE_DEG) + omega * run.t)
        return np.max(run.y[0] - follower)

    curve = v.lift_spline(ANGLE, lift_table("cycloidal"))
    turn = np.radians(ANGLE)
    spring = 400 + 40e3 * curve(turn)
    speed = v.control_speed_rpm(spring, 0.2, curve.derivative(2)(turn))
    assert flight(0.97 * speed) < 2e-6
    assert flight(1.06 * speed) > 2e-5


def test_effective_mass_counts_a_third_of_the_spring():
    # Rayleigh: a uniform spring fixed at one end moves with a third of its mass.
    share = np.linspace(0, 1, 100001)
    assert np.trapezoid(share**2, share) == pytest.approx(1 / 3)
    assert v.effective_mass_kg(0.1, 0.0, 0.3) == pytest.approx(0.2)
    rocker = v.effective_mass_kg(0.0, 0.0, 0.0, rocker_inertia_kg_m2=1e-4, rocker_arm_m=0.05)
    assert rocker == pytest.approx(0.04)


def test_harmonics_rebuild_the_lift():
    table = lift_table("3-4-5")
    amplitude = v.lift_harmonics_m(ANGLE, table, 40)
    # Parseval: mean square about the mean is half the sum of the squares.
    turn = np.linspace(-180, 180, 7201)[:-1]
    lift = np.interp(turn, ANGLE, table, left=0, right=0)
    assert np.sum(amplitude**2) / 2 == pytest.approx(np.var(lift), rel=1e-6)
    # A symmetric lift has a cosine series, here by quadrature.
    eighth = 2 * np.mean(lift * np.cos(8 * np.radians(turn)))
    assert amplitude[7] == pytest.approx(abs(eighth), rel=1e-3)
    assert amplitude[20:].max() < 0.01 * amplitude[0]


# The definition of an order: turns of the cam in one swing.
def test_surge_orders_and_speeds_are_inverse():
    orders = np.arange(5, 20)
    assert v.surge_order(430.0, v.surge_speeds_rpm(430.0, orders)) == pytest.approx(orders)
    # A cam turn at 6000 rpm takes 20 ms: 50 Hz.
    assert v.surge_order(50.0, 6000.0) == 1


# Springs side by side add, Shigley, ch. 10; gaps by geometry.
def test_nested_springs_add_and_bind_at_the_first():
    outer, inner = CoilSpring(4e-3, 28e-3, 7, 0.05), CoilSpring(3e-3, 20e-3, 8, 0.048)
    pair = v.nested_force_n((outer, inner), np.array([0.049, 0.04, 0.0279]))
    assert pair[0] == pytest.approx(outer.force_n(0.049))  # the inner one is not reached yet
    assert pair[1] == pytest.approx(outer.force_n(0.04) + inner.force_n(0.04))
    assert np.isnan(pair[2])  # seven turns of 4 mm are solid at 28 mm
    assert v.radial_gap_m(outer, inner) == pytest.approx(0.5e-3)
    assert v.radial_gap_m(outer, CoilSpring(3e-3, 21.2e-3, 8, 0.048)) < 0


@pytest.mark.parametrize(
    ("angle", "lift", "words"),
    [
        ([0, 1, 2, 2, 4, 5, 6, 7], np.zeros(8), "rising cam angles"),
        ([0, 1, 2, 3], np.zeros(4), "8 rising cam angles"),
        (np.arange(9), [0, 1, np.nan, 1, 1, 1, 1, 1, 1], "the lift table has a gap"),
        (np.arange(9), np.zeros(8), "the lift table has a gap"),
    ],
)
def test_a_table_that_makes_no_curve_is_refused(angle, lift, words):
    with pytest.raises(ValueError, match=words):
        v.lift_spline(angle, lift)


def test_impossible_arguments_are_refused():
    with pytest.raises(ValueError, match="length of the lift table is 400 degrees"):
        v.lift_harmonics_m(np.linspace(0, 400, 50), np.zeros(50))
    with pytest.raises(ValueError, match="head_diameter_m is 0 m"):
        v.head_load_n(0, CELL, CELL)
    with pytest.raises(ValueError, match="mass_kg is 0 kg"):
        v.control_speed_rpm(100.0, 0.0, -0.02)
    with pytest.raises(ValueError, match=r"spring_kg is -0\.1"):
        v.effective_mass_kg(0.1, 0.02, -0.1)
