"""Coil springs against textbooks, a standard's other form and independent routes."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from toolkit.physics import springs as s
from toolkit.physics import wire
from toolkit.physics.springs import CoilSpring

INCH = 0.0254
POUND = 4.4482216152605
LB_IN = POUND / INCH
KPSI = 6894757.293168361
G_MUSIC = 11.85e3 * KPSI


def stress(force, d, coil, factor):
    return float(s.shear_stress_pa(force, d, coil, factor(coil / d)))


# A. M. Wahl, Mechanical Springs (1963) and Shigley (2011), eqs. (10-3), (10-5), by hand.
@pytest.mark.parametrize(
    ("index", "wahl", "bergstrasser", "direct"),
    [
        (4, 1.403750, 1.384615, 1.125),
        (6, 1.252500, 1.238095, 1.083333),
        (8, 1.184018, 1.172414, 1.0625),
        (10, 1.144833, 1.135135, 1.05),
        (12, 1.119432, 1.111111, 1.041667),
    ],
)
def test_stress_factors_side_by_side(index, wahl, bergstrasser, direct):
    assert s.wahl(index) == pytest.approx(wahl, abs=1e-6)
    assert s.bergstrasser(index) == pytest.approx(bergstrasser, abs=1e-6)
    assert s.direct_shear(index) == pytest.approx(direct, abs=1e-6)
    assert s.bergstrasser(index) == pytest.approx((index + 0.5) / (index - 0.75))
    assert s.bergstrasser(index) == pytest.approx(s.wahl(index), rel=0.015)


def test_shigley_example_10_1():
    # Shigley's Mechanical Engineering Design, ex. 10-1: no. 16 music wire, 12.5 turns, squared.
    d, coil = 0.037 * INCH, 0.400 * INCH  # the book rounds the mean diameter
    assert s.rate_n_m(G_MUSIC, d, coil, 10.5) / LB_IN == pytest.approx(4.13, abs=0.005)
    assert s.bergstrasser(coil / d) == pytest.approx(1.124, abs=0.0005)
    at_yield = math.pi * d**3 * 146 * KPSI / (8 * coil * s.bergstrasser(coil / d))
    assert at_yield / POUND == pytest.approx(6.46, abs=0.005)
    spring = CoilSpring(d, coil, 12.5, 2.06 * INCH, "squared", shear_modulus_pa=G_MUSIC)
    assert spring.solid_m / INCH == pytest.approx(0.500, abs=0.001)
    assert spring.active_turns == 10.5
    assert spring.force_n(0.500 * INCH) / POUND == pytest.approx(6.46, rel=0.003)
    assert spring.outer_m / INCH == pytest.approx(7 / 16, abs=0.001)
    # Its yield strength from the wire's own constants: 45 % of A / d^m.
    assert spring.material.shear_yield_pa(d) / KPSI == pytest.approx(146, rel=0.003)
    # Part (d): steel is stable below 2.63 D / 0.5 = 2.10 in, and this one is 2.06 in long. With
    # the wire's own table 10-5 moduli the limit is 2.03 in: it buckles just before solid.
    assert np.isinf(s.buckling_deflection_m(spring.free_m, coil, 0.5, 206e9, 79.3e9))
    assert 1.3 < spring.buckling_m(0.5) / INCH < 1.56


def test_shigley_example_10_4():
    # Shigley, ex. 10-4 (from memory): 0.092 in music wire, 9/16 in outside, 21 active turns.
    d, coil, g = 0.092 * INCH, (9 / 16 - 0.092) * INCH, 11.75e3 * KPSI
    k = s.rate_n_m(g, d, coil, 21)
    assert k / LB_IN == pytest.approx(48.1, abs=0.05)
    assert stress(15 * POUND, d, coil, s.bergstrasser) / KPSI == pytest.approx(29.7, abs=0.05)
    assert stress(20 * POUND, d, coil, s.bergstrasser) / KPSI == pytest.approx(39.6, abs=0.05)
    weight = 0.0586 * POUND / 9.80665
    assert s.surge_hz(k, weight) == pytest.approx(281, abs=0.6)
    spring = CoilSpring(d, coil, 23, 3 * INCH, shear_modulus_pa=g)
    assert spring.surge_hz == pytest.approx(281, rel=0.01)  # 7850 for the book's 7860 kg/m3
    low, high = (stress(f * POUND, d, coil, s.bergstrasser) for f in (5, 35))
    ssu = 0.67 * spring.material.strength_pa(d)
    assert s.goodman_factor(low, high, ssu) == pytest.approx(1.23, abs=0.005)


def test_quiz_spring_in_millimetres():
    # A textbook quiz after Shigley: 1.905 mm wire, 19.380 mm outside, 14.2 turns, G 81.0 GPa.
    d, coil = 1.905e-3, 19.380e-3 - 1.905e-3
    k = s.rate_n_m(81.0e9, d, coil, 12.2)
    assert k == pytest.approx(2048.16, abs=0.01)
    assert s.surge_hz(k, s.active_mass_kg(d, coil, 12.2, 7800)) == pytest.approx(185, abs=0.5)
    # EN 13906-1 prints the same frequency with 3560 (from memory) in mm, N/mm2, kg/dm3.
    standard = 3560 * 1.905 / (12.2 * 17.475**2) * math.sqrt(81000 / 7.8)
    found = s.surge_hz(k, s.active_mass_kg(d, coil, 12.2, 7800))
    assert found == pytest.approx(standard, rel=0.001)


def test_spring_design_sheet():
    # "Comprehensive Spring Design" work sheet: d .250 in, D 1.69 in, 13 active, 4 in, 11.5 Mpsi.
    d, coil, g = 0.250 * INCH, 1.69 * INCH, 11.5e3 * KPSI
    k = s.rate_n_m(g, d, coil, 13)
    assert k / LB_IN == pytest.approx(89, abs=0.5)
    assert s.wahl(coil / d) == pytest.approx(1.221, abs=0.0005)
    assert stress(356 * POUND, d, coil, s.wahl) / KPSI == pytest.approx(119.695, rel=0.003)


# Machinery's Handbook, table of compression spring deflections: 100 000 psi uncorrected; outside
# and wire diameter in inches, deflection in inches a coil, load in pounds. G of 11.2 Mpsi inferred.
@pytest.mark.parametrize(
    ("outer", "d", "per_coil", "load"),
    [
        (7 / 16, 0.0625, 0.0631, 25.6),
        (1 / 2, 0.0625, 0.0859, 21.9),
        (1 / 2, 0.0915, 0.0512, 73.6),
        (9 / 16, 0.080, 0.0816, 41.7),
        (7 / 16, 0.026, 0.1827, 1.678),
    ],
)
def test_machinerys_handbook_rows(outer, d, per_coil, load):
    coil = (outer - d) * INCH
    force = 100 * KPSI / s.shear_stress_pa(1.0, d * INCH, coil, 1.0)
    deflection = force / s.rate_n_m(11.2e3 * KPSI, d * INCH, coil, 1)
    assert force / POUND == pytest.approx(load, rel=0.003)
    assert deflection / INCH == pytest.approx(per_coil, rel=0.003)


def test_sadhu_singh_8_1_and_the_square_root_of_a_thousand():
    # Sadhu Singh, Machine Design, ex. 8.1: 250 to 300 N over 8 mm, C 8, G 84 GPa: d 4.25, D 34.
    assert s.wahl(8) == pytest.approx(1.184, abs=0.0005)
    smallest = math.sqrt(s.wahl(8) * 8 * 300 * 8 / (math.pi * 420e6))
    assert smallest == pytest.approx(4.15e-3, abs=1e-5)
    turns = s.rate_n_m(84e9, 4.25e-3, 34e-3, 1.0) / (50 / 8e-3)
    assert turns == pytest.approx(13.9453, abs=1e-4)
    k = s.rate_n_m(84e9, 4.25e-3, 34e-3, turns)
    mass = s.active_mass_kg(4.25e-3, 34e-3, turns, 7800)
    # The book's transcription prints 3.079 Hz: rate in N/mm beside mass in kg, off by sqrt(1000).
    assert s.surge_hz(k, mass) == pytest.approx(97.364, rel=0.003)
    assert s.surge_hz(k / 1000, mass) == pytest.approx(3.079, rel=0.003)
    # Free length 123 mm: solid, 15 % clash, and the deflection under the largest load.
    spring = CoilSpring(4.25e-3, 34e-3, 16, 0.123, shear_modulus_pa=84e9)
    at_most = spring.free_m - 300 / spring.rate_n_m
    assert spring.clash(at_most) == pytest.approx(0.15, abs=0.01)


def test_sadhu_singh_8_2_fatigue():
    # Ex. 8.2: 60 to 140 N, d 3, D 18 mm, S_ut 1430 MPa: n 1.44. The mean stress takes direct
    # shear alone, the alternating one Wahl; yield 0.45 and pulsating endurance 0.22 of S_ut.
    mean = stress(100, 3e-3, 18e-3, s.direct_shear)
    alternating = stress(40, 3e-3, 18e-3, s.wahl)
    assert (mean / 1e6, alternating / 1e6) == pytest.approx((183.912, 85.052), abs=1e-3)
    ends = mean - alternating, mean + alternating
    found = s.soderberg_factor(*ends, 0.45 * 1430e6, 0.22 * 1430e6)
    assert found == pytest.approx(1.44, abs=0.005)


def test_sadhu_singh_8_3():
    # Ex. 8.3: d 3, C 6, 15 turns, G 84 GPa, 40 N; and the load at 650 MPa.
    assert stress(40, 3e-3, 18e-3, s.wahl) / 1e6 == pytest.approx(85.05, abs=0.005)
    assert s.rate_n_m(84e9, 3e-3, 18e-3, 15) / 1e3 == pytest.approx(9.72, abs=0.005)
    load = 650e6 / stress(1.0, 3e-3, 18e-3, s.wahl)
    assert load == pytest.approx(305.7, abs=0.05)


def test_jindal_8_1_and_8_6():
    # U. C. Jindal, Machine Design, ex. 8-1: d 5, D 30, 15 turns, G 84 GPa, 300 N. (A public
    # transcription divides integers and prints 1.0, 1.1025 and 16.0.)
    assert s.direct_shear(6) == pytest.approx(1.083333, abs=1e-6)
    assert s.wahl(6) == pytest.approx(1.2525, abs=1e-6)
    k = s.rate_n_m(84e9, 5e-3, 30e-3, 15)
    assert k / 1e3 == pytest.approx(16.203704, abs=1e-6)
    assert 300 / k * 1e3 == pytest.approx(18.514286, abs=1e-6)
    # Ex. 8-6: d 1.219, outside 12.5 mm, 13.5 turns, A 1783, m 0.19, G 80.7 GPa.
    d, coil = 1.219e-3, (12.5 - 1.219) * 1e-3
    yield_pa = wire.WIRES["hard-drawn"].shear_yield_pa(d)
    strength = 1783 / 1.219**0.19
    assert yield_pa == pytest.approx(0.45 * strength * 1e6)
    # 686.9 MPa is 0.4 of that strength; the load at it by direct shear, and its deflection.
    assert 0.4 * strength == pytest.approx(686.9, abs=0.05)
    load = 0.4 * strength * 1e6 / stress(1.0, d, coil, s.direct_shear)
    assert load == pytest.approx(41.1, abs=0.05)
    assert load / s.rate_n_m(80.7e9, d, coil, 11.5) * 1e3 == pytest.approx(30.457, abs=1e-3)


def test_wentzell_8_2():
    # T. H. Wentzell, Machine Design, ex. 8.2: .105 in wire, .620 in coil, 35 lb in .5 in.
    g = 11.85e3 * KPSI
    spring = CoilSpring.for_rate(
        70 * LB_IN, 0.105 * INCH, 0.620 * INCH, 2 * INCH, shear_modulus_pa=g
    )
    assert spring.active_turns == pytest.approx(10.79226, abs=1e-4)
    assert spring.total_turns == pytest.approx(12.79226, abs=1e-4)
    assert spring.rate_n_m / LB_IN == pytest.approx(70)


@pytest.mark.parametrize(
    ("name", "d_in", "gpa"),
    [
        ("music wire", 0.030, 82.7),
        ("music wire", 0.037, 81.7),
        ("music wire", 0.092, 81.0),
        ("music wire", 0.2, 80.0),
        ("chrome-silicon", 0.2, 77.2),
        ("hard-drawn", 0.03, 80.7),
    ],
)
def test_shear_modulus_steps_with_the_diameter(name, d_in, gpa):
    # Shigley (2011), table 10-5.
    assert wire.WIRES[name].shear_modulus_pa(d_in * INCH) == pytest.approx(gpa * 1e9)


def test_strength_is_unknown_where_the_data_end():
    music = wire.WIRES["music wire"]
    # Shigley's other column: 201 kpsi in^0.145.
    assert music.strength_pa(0.1 * INCH) == pytest.approx(201 / 0.1**0.145 * KPSI, rel=0.003)
    assert np.isnan(music.strength_pa([9e-5, 7e-3])).all()
    assert np.isnan(wire.WIRES["chrome-silicon"].strength_pa(1e-3))


def test_standard_wires_rise_and_hold_known_sizes():
    for sizes in (wire.MUSIC_WIRE_M, wire.METRIC_WIRE_M):
        assert (np.diff(sizes) > 0).all()
    # Number 16 is .037 in (Shigley ex. 10-1); 4.25 mm is a size (Sadhu Singh ex. 8.1).
    assert np.isclose(wire.MUSIC_WIRE_M, 0.037 * INCH).any()
    assert np.isclose(wire.METRIC_WIRE_M, 4.25e-3).any()


def test_surge_agrees_with_a_chain_of_masses():
    # Second route: eigenvalues of the spring cut into many lumps between two fixed seats.
    from scipy.linalg import eigvalsh_tridiagonal

    k, m, n = 16203.7, 0.060, 400
    lump, part = m / n, k * n
    lowest = eigvalsh_tridiagonal(
        np.full(n - 1, 2 * part / lump),
        np.full(n - 2, -part / lump),
        select="i",
        select_range=(0, 0),
    )
    assert s.surge_hz(k, m) == pytest.approx(math.sqrt(lowest[0]) / (2 * math.pi), rel=1e-4)


def test_buckling_agrees_with_the_standards_form_and_its_limit():
    # EN 13906-1 (from memory) writes it with G / E.
    e, g, length, coil = 206e9, 81.5e9, 0.15, 0.02
    for constant in (0.5, 0.707, 1.0):
        q = g / e
        inner = 1 - (1 - q) / (0.5 + q) * (math.pi * coil / (constant * length)) ** 2
        standard = length * 0.5 / (1 - q) * (1 - math.sqrt(inner))
        found = s.buckling_deflection_m(length, coil, constant, e, g)
        assert found == pytest.approx(standard)
    # Shigley, eq. (10-13): steel springs are stable below 2.63 D / constant.
    lengths = np.array([2.60, 2.66]) * coil / 0.5
    assert np.isinf(s.buckling_deflection_m(lengths, coil, 0.5, 206e9, 79.3e9)).tolist() == [
        True,
        False,
    ]


@pytest.mark.parametrize(
    ("ends", "active", "solid"),
    [
        ("squared and ground", 8, 10),
        ("squared", 8, 11),
        ("plain", 10, 11),
        ("plain and ground", 9, 10),
    ],
)
def test_ends_decide_active_turns_and_solid_length(ends, active, solid):
    # Shigley (2011), table 10-1.
    spring = CoilSpring(2e-3, 16e-3, 10, 0.06, ends)
    assert spring.active_turns == active
    assert spring.solid_m == pytest.approx(solid * 2e-3)


def test_force_and_stress_over_the_stroke():
    spring = CoilSpring(3e-3, 18e-3, 10, 0.06, shear_modulus_pa=84e9)
    force = spring.force_n([0.07, 0.06, 0.05, 0.03, 0.0299])
    assert force[:2].tolist() == [0, 0]
    assert force[2] == pytest.approx(0.01 * spring.rate_n_m)
    assert np.isfinite(force[3]) and np.isnan(force[4])  # 30 mm is solid
    ratio = spring.stress_pa(0.05, s.wahl) / spring.stress_pa(0.05)
    assert ratio == pytest.approx(1.2525 / 1.238095, rel=1e-6)


def test_coil_widens_towards_solid_as_a_handbook_formula_says():
    # Associated Spring, Design Handbook (1987), from memory: growth .05 (p^2 - d^2) / D.
    spring = CoilSpring(4e-3, 30e-3, 8, 0.08)
    pitch = (0.08 - 8 * 4e-3) / 6 + 4e-3
    growth = spring.solid_outer_m - spring.outer_m
    assert growth == pytest.approx(0.05 * (pitch**2 - 4e-3**2) / 30e-3, rel=0.02)


def test_wire_for_a_wanted_rate_over_all_standard_sizes():
    spring = CoilSpring.for_rate(9722.22, wire.METRIC_WIRE_M, 18e-3, 0.1)
    assert spring.rate_n_m == pytest.approx(9722.22)
    assert (np.diff(spring.active_turns) > 0).all()
    assert spring.solid_m.shape == wire.METRIC_WIRE_M.shape


def test_stacked_springs():
    # Second route: two linear springs solved for the place of their joint.
    k1, k2, press = 6000.0, 3500.0, 0.012
    joint = k2 * press / (k1 + k2)
    assert s.series_rate_n_m(k1, k2) * press == pytest.approx(k1 * joint)


def test_fit_gives_a_textbooks_line_and_interval():
    # Miller & Freund, Probability and Statistics for Engineers, ch. 11: evaporation data.
    x = np.arange(20, 381, 40)
    y = [0.18, 0.37, 0.35, 0.78, 0.56, 0.75, 1.18, 1.36, 1.17, 1.65]
    fit = s.fit_rate(x, y)
    assert fit.rate_n_m == pytest.approx(0.00383, abs=5e-6)
    assert fit.preload_n == pytest.approx(0.069, abs=5e-4)
    interval = fit.preload_n - fit.preload_error_n, fit.preload_n + fit.preload_error_n
    assert interval == pytest.approx((-0.164, 0.302), abs=1e-3)


def test_fit_agrees_with_the_guide_to_uncertainty():
    # JCGM 100:2008 (GUM), H.3: thermometer line; u 0.0029 and 0.00067, s 0.0035.
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010])
    t = np.append(t, 26.511) - 20
    b = -1e-3 * np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160])
    fit = s.fit_rate(t, b)
    assert (fit.preload_n, fit.rate_n_m) == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    assert fit.scatter_n == pytest.approx(0.0035, abs=5e-5)
    assert fit.rate_error_n_m == pytest.approx(2.262157 * 0.00067, rel=0.01)
    assert fit.preload_error_n == pytest.approx(2.262157 * 0.0029, rel=0.01)


def test_fit_with_a_known_reading_error_agrees_with_a_reference_fit():
    travel, force = np.array([0.0, 2e-3, 5e-3]), np.array([100.0, 117.0, 141.0])
    fit = s.fit_rate(travel, force, reading_error_n=2.0)
    _, covariance = curve_fit(
        lambda x, k, f: k * x + f,
        travel,
        force,
        sigma=[2.0] * 3,
        absolute_sigma=True,
        p0=[8e3, 100],
    )
    errors = 1.959964 * np.sqrt(np.diag(covariance))
    assert (fit.rate_error_n_m, fit.preload_error_n) == pytest.approx(errors, rel=1e-4)


def test_two_readings_give_a_rate_and_no_error():
    # Crack pressures at two preloads, times the diaphragm: one turn of 1.25 mm, 10 to 12 psi.
    area = 40e-4
    fit = s.fit_rate([0, 1.25e-3], np.array([10, 12]) * 6894.757 * area)
    assert fit.rate_n_m == pytest.approx(2 * 6894.757 * area / 1.25e-3)
    assert np.isnan([fit.rate_error_n_m, fit.scatter_n]).all()
    known = s.fit_rate([0, 1.25e-3], [275.8, 331.0], reading_error_n=3.0)
    assert known.rate_error_n_m == pytest.approx(1.959964 * 3 * math.sqrt(2) / 1.25e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("travel", "force", "words"),
    [
        ([0, 1e-3], [100, np.nan], "a reading is missing"),
        ([1e-3, 1e-3], [100, 101], "two different travels"),
        ([1e-3], [100], "two different travels"),
        ([0, 1e-3, 2e-3], [100, 101], "two different travels"),
    ],
)
def test_readings_that_make_no_line_are_refused(travel, force, words):
    with pytest.raises(ValueError, match=words):
        s.fit_rate(travel, force)


@settings(max_examples=50, deadline=None, derandomize=True)
@given(
    d=st.floats(0.5e-3, 8e-3),
    index=st.floats(4, 12),
    turns=st.floats(2, 20),
    g=st.floats(6e10, 9e10),
)
def test_rate_mass_and_frequency_hang_together(d, index, turns, g):
    coil = index * d
    k, m = s.rate_n_m(g, d, coil, turns), s.active_mass_kg(d, coil, turns)
    closed = d / (2 * math.pi * turns * coil**2) * math.sqrt(g / (2 * 7850))
    assert s.surge_hz(k, m) == pytest.approx(closed, rel=1e-9)
    assert s.rate_n_m(g, d, coil, 2 * turns) == pytest.approx(k / 2)


def test_unknown_stays_unknown_and_the_impossible_is_refused():
    assert np.isnan(s.rate_n_m(np.nan, 3e-3, 18e-3, 10))
    assert np.isnan(wire.WIRES["music wire"].shear_modulus_pa(np.nan))
    assert np.isnan(s.soderberg_factor(np.nan, 1e8, 6e8, 3e8))
    with pytest.raises(ValueError, match="active_turns is 0: it must be above 0"):
        CoilSpring(2e-3, 16e-3, 2, 0.05)
    with pytest.raises(ValueError, match="index is"):
        CoilSpring(16e-3, 2e-3, 10, 0.05)
    with pytest.raises(ValueError, match="ends is 'round'"):
        CoilSpring(2e-3, 16e-3, 10, 0.05, "round")
    with pytest.raises(ValueError, match="high_pa - low_pa"):
        s.goodman_factor(2e8, 1e8, 1e9)
