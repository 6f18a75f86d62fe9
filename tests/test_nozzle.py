"""Nozzle flow against published examples and the fluids library."""

import fluids
import numpy as np
import pytest

from toolkit.physics.nozzle import critical_ratio, flow_function, flow_kg_s

PSI_PA, LB_KG, FT2_M2, RANKINE_K = 6894.757293, 0.45359237, 0.09290304, 5 / 9

# Fox & McDonald, Introduction to Fluid Mechanics, Examples 12.2 (kg/s) and 12.3 (lbm/s): a
# converging nozzle with 1000 kPa, 333 K before and 591 kPa behind it; and one with the total
# state of M 0.52, 500 R, 60 psia, of throat area 0.013 ft2 / (A/A*), choked.
MACH_052 = 1 + 0.2 * 0.52**2
FOX_MCDONALD = [
    ((0.001, 1000e3, 591e3, 333.0, 1.4, 287.0), 2.20, 0.005),
    (
        (
            0.013 * FT2_M2 / ((MACH_052 / 1.2) ** 3 / 0.52),
            60 * MACH_052**3.5 * PSI_PA,
            30 * PSI_PA,
            500 * MACH_052 * RANKINE_K,
            1.4,
            287.0,
        ),
        2.40 * LB_KG,
        0.005 * LB_KG,
    ),
]


@pytest.mark.parametrize("case, published_kg_s, tolerance", FOX_MCDONALD)
def test_fox_mcdonald(case, published_kg_s, tolerance):
    assert flow_kg_s(*case) == pytest.approx(published_kg_s, abs=tolerance)


# p/p0 and A/A* at a Mach number, gamma 1.4: NACA Report 1135 (1953), table I.
NACA_1135 = [(0.2, 0.9725, 2.964), (0.3, 0.9395, 2.035), (0.5, 0.8430, 1.340), (0.8, 0.6560, 1.038)]


@pytest.mark.parametrize("mach, ratio, area_ratio", NACA_1135)
def test_flow_function_is_the_area_ratio_of_the_tables(mach, ratio, area_ratio):
    exact = (1 + 0.2 * mach**2) ** -3.5
    assert exact == pytest.approx(ratio, abs=5e-5)
    ours = flow_function(0.1, 1.4) / flow_function(exact, 1.4)
    assert ours == pytest.approx(area_ratio, abs=6e-4)


def test_a_hole_against_the_closed_form_at_mach_number():
    """Second route: density times velocity at the throat, from Mach 0.9."""
    mach = 0.9
    p0, t0, g, r = 101325.0, 293.15, 1.4, 287.05
    ratio = (1 + 0.2 * mach**2) ** -3.5
    t = t0 / (1 + 0.2 * mach**2)
    expected = ratio * p0 / (r * t) * mach * np.sqrt(g * r * t) * 1e-3
    assert flow_kg_s(1e-3, p0, ratio * p0, t0, g, r) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("gamma", [1.3, 1.33, 1.35, 1.4])
def test_choking(gamma):
    ratio = fluids.P_critical_flow(1e5, gamma) / 1e5
    assert critical_ratio(gamma) == pytest.approx(ratio, rel=1e-12)
    choked = np.sqrt(gamma) * (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1)))
    assert flow_function([0.0, 0.3, ratio], gamma) == pytest.approx(choked, rel=1e-12)


def test_flow_falls_to_nothing_without_a_difference():
    r = np.linspace(critical_ratio(1.33), 1, 50)
    flow = flow_function(r, 1.33)
    assert (np.diff(flow) < 0).all()
    assert flow[-1] == 0


def test_small_differences_meet_bernoulli():
    dp, rho = 100.0, 101325 / (287.05 * 293.15)
    ours = flow_kg_s(1e-3, 101325, 101325 - dp, 293.15, 1.4, 287.05)
    assert ours == pytest.approx(1e-3 * np.sqrt(2 * rho * dp), rel=1e-3)


def test_discharge_scales_and_nan_passes():
    flow = flow_kg_s(1e-3, 2.5e5, [1.3e5, np.nan], 1150, 1.33, 288, discharge=0.7)
    assert flow[0] == pytest.approx(0.7 * flow_kg_s(1e-3, 2.5e5, 1.3e5, 1150, 1.33, 288))
    assert np.isnan(flow[1])


@pytest.mark.parametrize(
    "change, words",
    [
        ({"p_down_pa": 2e5}, "p_down_pa / p_up_pa is 2"),
        ({"area_m2": -1}, "area_m2 is -1"),
        ({"t_up_k": 0}, "t_up_k is 0 K"),
        ({"gamma": 1.0}, "gamma is 1"),
        ({"discharge": 1.2}, "discharge is 1.2"),
    ],
)
def test_impossible_arguments_are_named(change, words):
    case = {
        "area_m2": 1e-3,
        "p_up_pa": 1e5,
        "p_down_pa": 9e4,
        "t_up_k": 300,
        "gamma": 1.4,
        "r_j_kgk": 287,
        "discharge": 1.0,
    }
    with pytest.raises(ValueError, match=words):
        flow_kg_s(**(case | change))
