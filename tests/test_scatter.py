"""Statistics of repeats against published examples and reference libraries."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from toolkit.analysis.scatter import (
    coverage_factor,
    effective_dof,
    regression,
    summary,
    welch,
    with_drift,
)

FIVE_PULLS = [451.2, 449.8, 450.6, 451.0, 450.1]


def test_mean_and_scatter_of_five_pulls():
    """Recomputed by hand: mean 450.54, s 0.5899152, half-width of the mean 0.732477."""
    mean, sd, n = summary(FIVE_PULLS)
    assert mean == pytest.approx(450.54)
    assert sd == pytest.approx(0.5899152, abs=5e-8)
    assert coverage_factor(n - 1) * sd / np.sqrt(n) == pytest.approx(0.732477, abs=1e-6)


@pytest.mark.parametrize(
    ("dof", "t"),
    [(2, 4.302653), (3, 3.182446), (4, 2.776445), (5, 2.570582), (9, 2.262157), (18, 2.100922)],
)
def test_coverage_factors_of_the_t_table(dof, t):
    """Student's t, 95 % two-sided, as tabulated (GUM, JCGM 100:2008, table G.2, more digits)."""
    assert coverage_factor(dof) == pytest.approx(t, abs=5e-7)
    assert np.isnan(coverage_factor(0))


def test_effective_degrees_of_freedom_of_the_gum_end_gauge():
    """GUM, JCGM 100:2008, example H.1 (H.1.6): dof 25.6 of the comparator's three parts (5.8, 3.9
    and 6.7 nm with 24, 5 and 8), 16.7 of the whole; then t at 99 % and dof 16 is 2.92.
    """
    parts = [13 / np.sqrt(5), 10 / 2.57, 20 / 3]
    dof = effective_dof(parts, [24, 5, 8])
    assert dof == pytest.approx(25.6, abs=0.05)
    comparator = np.hypot.reduce(parts)
    assert comparator == pytest.approx(9.7, abs=0.05)
    whole = effective_dof([25, comparator, 2.887, 16.599], [18, dof, 50, 2])
    assert whole == pytest.approx(16.7, abs=0.05)
    assert coverage_factor(int(whole), 0.99) == pytest.approx(2.92, abs=0.005)


def test_line_through_the_gum_thermometer():
    """GUM, JCGM 100:2008, example H.3 (table H.6): intercept, slope, u of both, correlation."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    design = np.column_stack([np.ones(11), np.array(t) - 20])
    y, covariance, dof = regression(design, b)
    u = np.sqrt(np.diag(covariance))
    assert dof == 9
    assert y == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert u == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert covariance[0, 1] / u[0] / u[1] == pytest.approx(-0.930, abs=5e-4)


def test_line_of_miller_and_freund():
    """Miller and Freund, Probability and Statistics for Engineers, ch. 11: air velocity and
    evaporation; slope 0.00383, intercept 0.069, its 95 % limits -0.164 and 0.302."""
    x = np.arange(20.0, 381, 40)
    y = [0.18, 0.37, 0.35, 0.78, 0.56, 0.75, 1.18, 1.36, 1.17, 1.65]
    (a, slope), covariance, dof = regression(np.column_stack([np.ones(10), x]), y)
    half = coverage_factor(dof) * np.sqrt(covariance[0, 0])
    assert slope == pytest.approx(0.00383, abs=5e-6)
    assert a == pytest.approx(0.069, abs=5e-4)
    assert [a - half, a + half] == pytest.approx([-0.164, 0.302], abs=5e-4)


repeats = st.lists(st.floats(-1e3, 1e3).map(lambda v: round(v, 2)), min_size=2, max_size=6)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(repeats, repeats)
def test_welch_agrees_with_a_library_test(a, b):
    if np.ptp(a) < 0.1 or np.ptp(b) < 0.1:
        a, b = [*a, a[0] + 1], [*b, b[0] + 2]
    ours = welch(a, b)
    library = stats.ttest_ind(b, a, equal_var=False)
    interval = library.confidence_interval(0.95)
    assert ours.dof == pytest.approx(library.df, rel=1e-6)
    assert [ours.low, ours.high] == pytest.approx([interval.low, interval.high], rel=1e-6, abs=1e-9)
    assert ours.clear == (library.pvalue < 0.05)


def test_swapping_sides_flips_the_sign_exactly():
    a, b = [640.0, 643.5, 641.1], [650.2, 648.9]
    there, back = welch(a, b), welch(b, a)
    assert there.difference == -back.difference
    assert there.half_width == back.half_width


def test_one_pull_has_no_scatter():
    gain = welch([671.0], [676.0])
    assert gain.difference == 5
    assert np.isnan(gain.half_width)
    assert not gain.clear


def test_points_that_some_pulls_lack():
    a = np.array([[1.0, 2.0], [3.0, np.nan], [2.0, 4.0]])
    gain = welch(a, a + 1)
    assert gain.n_a.tolist() == [3, 2]
    assert gain.level_a.tolist() == [2, 3]
    assert gain.difference.tolist() == [1, 1]


def test_drift_is_taken_out_exactly_where_it_is_linear():
    hours_a, hours_b = np.array([0, 0.1, 3.0, 3.1]), np.array([1.2, 1.3])
    a, b = 500 - 4 * hours_a, 511.5 - 4 * hours_b
    gain = with_drift(a, b, hours_a, hours_b)
    assert gain.difference == pytest.approx(11.5, abs=1e-9)
    assert gain.drift == pytest.approx(-4, abs=1e-9)
    assert gain.level_b - gain.level_a == pytest.approx(gain.difference)


def test_drift_fit_agrees_with_a_library_solver_point_by_point():
    rng = np.random.default_rng(5)
    hours_a, hours_b = np.array([0, 0.3, 4.0, 4.4]), np.array([2.0, 2.5, 2.7])
    a, b = rng.normal(500, 3, (4, 6)), rng.normal(510, 3, (3, 6))
    b[1, 4] = np.nan
    ours = with_drift(a, b, hours_a, hours_b)
    time = np.r_[hours_a, hours_b]
    design = np.column_stack([np.ones(7), [0, 0, 0, 0, 1, 1, 1], time])
    for point in range(6):
        y = np.r_[a, b][:, point]
        kept = np.isfinite(y)
        expected = np.linalg.lstsq(design[kept], y[kept], rcond=None)[0]
        assert ours.difference[point] == pytest.approx(expected[1], rel=1e-9)
        assert ours.drift[point] == pytest.approx(expected[2], rel=1e-9)
    assert ours.dof.tolist() == [4, 4, 4, 4, 3, 4]


def test_what_the_data_cannot_separate_is_nan():
    """All of B after all of A, one each: time and side are the same thing."""
    gain = with_drift([500.0], [510.0], [0.0], [1.0])
    assert np.isnan(gain.difference)
    return_of_one = with_drift([500.0, 496.0], [510.0], [0.0, 2.0], [1.0])
    assert return_of_one.difference == pytest.approx(12)
    assert np.isnan(return_of_one.half_width)  # no degree of freedom is left for scatter


def test_own_sessions_of_the_three_kinds():
    """A-B-A with a falling base, a gap inside the scatter, one pull each: own numbers."""
    a, b = [512.0, 511.2, 506.1, 505.0], [515.9, 514.8]
    naive = np.mean(b) - np.mean(a[:2])
    corrected = with_drift(a, b, [0, 1, 4, 5], [2, 3])
    assert naive == pytest.approx(3.75)
    assert corrected.difference == pytest.approx(6.775)
    assert corrected.clear
    assert not welch([401.0, 405.2, 403.0], [404.4, 407.0, 403.9]).clear


def test_case_of_drift_and_repeatability(shared_cases):
    case = json.loads((shared_cases / "c06_drift_repeatability.params.json").read_text())
    expect = json.loads((shared_cases / "c06_drift_repeatability.expect.json").read_text())
    first = case["session_1_A_B_A"]
    hp, side = np.array(first["mean_hp_4000_6500"]), np.array(first["order"])
    order = np.arange(6)
    a, b = side == "A", side == "B"
    gain = with_drift(hp[a], hp[b], order[a], order[b])
    assert gain.difference == pytest.approx(expect["session_1"]["drift_corrected_gain"], abs=0.2)
    naive = hp[b].mean() - hp[:2].mean()
    assert naive == pytest.approx(expect["session_1"]["naive_B_minus_first_A"], abs=0.2)
    second = welch(case["session_2_small_gap"]["A_hp"], case["session_2_small_gap"]["B_hp"])
    assert second.difference == pytest.approx(expect["session_2"]["difference"], abs=0.2)
    assert second.standard_error == pytest.approx(expect["session_2"]["standard_error"], abs=0.2)
    assert not second.clear
    third = case["session_3_one_pull_each"]
    assert np.isnan(welch(third["A_hp"], third["B_hp"]).half_width)
