"""Engine breathing, pressures, friction and mixture against published worked examples."""

import numpy as np
import pytest

from toolkit.physics import engine

BAR = 1e5


def cylinders(count, bore_mm, stroke_mm):
    return count * np.pi / 4 * (bore_mm / 1e3) ** 2 * stroke_mm / 1e3


def test_mathur_sharma_10_1():
    """M. L. Mathur & R. P. Sharma, Internal Combustion Engines, Ex. 10.1.

    6 x 700 cm3, 3200 rpm, 27 kg/h at 12:1, 0.9 bar, 305 K, 78 kW: 78.16 %, 23.64 %, 233 N m.
    The book's gas constant is 287.
    """
    fuel = 27 / 3600
    efficiency = engine.volumetric_efficiency(12 * fuel, 4.2e-3, 3200, 0.9e5, 305)
    assert efficiency == pytest.approx(0.7816, abs=3e-4)
    bsfc = engine.bsfc_kg_j(fuel, 78e3)
    assert engine.brake_efficiency(bsfc, 44e6) == pytest.approx(0.2364, abs=5e-5)
    assert engine.torque_nm(engine.bmep_pa(233, 4.2e-3), 4.2e-3) == pytest.approx(233)
    assert engine.power_w(233, 3200) == pytest.approx(78e3, rel=2e-3)


def test_gupta_mean_effective_pressures():
    """H. N. Gupta, Fundamentals of Internal Combustion Engines, Ex. 16.1, 16.3 and 16.4."""
    assert engine.bmep_pa(120, cylinders(4, 90, 100)) / BAR == pytest.approx(5.93, abs=5e-3)
    torque = 160 * 0.35
    assert engine.power_w(torque, 3000) == pytest.approx(17.593e3, abs=0.5)
    assert engine.bmep_pa(torque, cylinders(4, 60, 85)) / BAR == pytest.approx(7.32, abs=5e-3)
    assert engine.mean_piston_speed_m_s(0.086, 3000) == pytest.approx(8.6, abs=1e-12)


def test_mathur_sharma_14_2():
    """Same book, Ex. 14.2: 30 % indicated, 44 MJ/kg, 75 kW, friction 18 or 45 kW."""
    for friction, printed in [(18e3, 0.338), (45e3, 0.436)]:
        fuel = (75e3 + friction) / 0.30 / 44e6
        bsfc = engine.bsfc_kg_j(fuel, 75e3)
        assert bsfc * 3.6e6 == pytest.approx(printed, abs=1e-3)


def test_mathur_sharma_18_1_air_box():
    """Same book, Ex. 18.1: 0.07555 m3/s through an air box; 4 x 110 x 130 mm, 2250 rpm.

    Its printed efficiency divides kilograms by cubic metres; volume over volume is 0.733.
    """
    flow = 0.6 * np.pi / 4 * 0.075**2 * np.sqrt(2 * 9.81 * 41 * 1.225561)
    swept = cylinders(4, 110, 130)
    ours = engine.volumetric_efficiency(flow, swept, 2250, 1.013e5, 288)
    assert ours == pytest.approx(0.732922, rel=1e-3)


# R. K. Rajput, Internal Combustion Engines, Ex. 7.6, 7.7, 7.9: exhaust over manifold pressure
# before and after, compression ratio, charge temperatures, manifold pressures, efficiency
# before (1: only the change is printed), and the printed efficiency and power after.
# Charge heating follows the square root of temperature in all three.
RAJPUT = [
    (1.15 / 1.013, 7.5, 298, 318, 1.013, 1.013, 0.80, 0.8144, 1 - 0.0461),
    (1.013 / 1.3, 14, 300, 333, 1.013, 1.3, 1.0, 1.0668, 1.2334),
    (1.01 / 1.38, 7.5, 300, 321, 1.01, 1.38, 0.81, 0.8636, 102.11 / 75),
]


@pytest.mark.parametrize("ratio, r_c, t1, t2, p1, p2, before, after, power", RAJPUT)
def test_rajput_breathing(ratio, r_c, t1, t2, p1, p2, before, after, power):
    ours = before * engine.breathing_bracket_isentropic(ratio, r_c) * np.sqrt(t2 / t1)
    assert ours == pytest.approx(after, abs=6e-5)
    gain = ours / before * engine.density_ratio(p2, t2, p1, t1)
    assert gain == pytest.approx(power, rel=1e-4)


def test_bracket_is_the_first_law_of_the_gas_exchange():
    """Second route: fill the cylinder with mixed residual and fresh gas of constant heat capacity.

    Residual at clearance volume expands to manifold pressure as fresh charge does work on the
    rest: energy balance solved for the mass drawn in, then compared at equal residual temperature.
    """
    r, g = 9.0, 1.35
    for x in (0.6, 1.0, 1.7, 2.5):
        p_i, t_i, cv = 2e5, 320.0, 718.0
        gas = cv * (g - 1)
        v_c, v_1 = 1.0, r
        # U1 - Ur = m h_i - p_i (V1 - Vc): every pressure-volume product is cv/R of its energy.
        internal_end, internal_residual = p_i * v_1 * cv / gas, x * p_i * v_c * cv / gas
        drawn = (internal_end - internal_residual + p_i * (v_1 - v_c)) / (g * cv * t_i)
        filling = drawn / (p_i * (v_1 - v_c) / (gas * t_i))
        assert engine.breathing_bracket(x, r, g) == pytest.approx(filling, rel=1e-12)


def test_bracket_landmarks():
    r = np.array([7.0, 9.5, 12.0])
    for form in (engine.breathing_bracket, engine.breathing_bracket_isentropic):
        assert form(1.0, r) == pytest.approx(1)
        assert (np.diff(form(np.linspace(0.5, 3, 30), 9.5)) < 0).all()
    slope = engine.breathing_bracket(2.0, r) - engine.breathing_bracket(1.0, r)
    np.testing.assert_allclose(slope, -1 / (1.4 * (r - 1)), rtol=1e-12)


# The definition of volumetric efficiency, Heywood (1988), sec. 2.10.
def test_speed_density_returns():
    speed = np.array([2000, 4000, 6500.0])
    flow = engine.air_flow_kg_s(0.93, 3e-3, speed, 180e3, 315)
    np.testing.assert_allclose(
        engine.volumetric_efficiency(flow, 3e-3, speed, 180e3, 315), 0.93, rtol=1e-12
    )
    # Litres of charge a second times its density.
    np.testing.assert_allclose(flow, 0.93 * 3e-3 * speed / 120 * 180e3 / 287.05 / 315, rtol=1e-12)


def test_published_density_at_equal_boost():
    """Trade press: 15 psi on 14.7 at 20 C is 2.43 kg/m3, at 40 C 2.28; ratios 1.68 and 2.02."""
    psi = 6894.757
    cold, hot = (29.7 * psi / (287.05 * t) for t in (293.15, 313.15))
    assert (cold, hot) == (pytest.approx(2.43, abs=5e-3), pytest.approx(2.28, abs=5e-3))
    gain = engine.density_ratio(29.7 * psi, 293.15, 29.7 * psi, 313.15)
    assert gain == pytest.approx(cold / hot, rel=1e-12)
    for boost, ratio in [(10, 1.68), (15, 2.02)]:
        ours = engine.pressure_ratio((boost + 14.7) * psi, 14.7 * psi)
        assert ours == pytest.approx(ratio, abs=5e-3)


def test_published_price_of_back_pressure():
    """Trade press: 5.7 litres at 6500 rpm: 2.85 hp a psi, 42.8 hp for 15 psi."""
    psi, hp = 6894.757, 745.6999
    for gap, price in [(1, 2.85), (15, 42.8)]:
        ours = engine.pumping_power_w((30 + gap) * psi, 30 * psi, 5.7e-3, 6500) / hp
        assert ours == pytest.approx(price, rel=2e-3)
    assert engine.pumping_power_w(28 * psi, 30 * psi, 5.7e-3, 6500) < 0


def test_friction_forms_by_hand():
    """Both forms' constants are from memory; the arithmetic is checked in bar and m/s."""
    for speed, bar in [(1000, 1.0654), (3000, 1.6406), (6000, 2.6143)]:
        assert engine.fmep_pa(speed, 80 * BAR, 0.086) / BAR == pytest.approx(bar, abs=5e-5)
    for speed, bar in [(1000, 1.17), (3000, 1.87), (6000, 3.67), (8000, 5.37)]:
        assert engine.fmep_with_pumping_pa(speed) / BAR == pytest.approx(bar, abs=1e-9)
    assert engine.fmep_pa(3000, 80 * BAR, 0.086, 1.2) == pytest.approx(
        1.2 * engine.fmep_pa(3000, 80 * BAR, 0.086)
    )


def test_mixture_peaks_where_published():
    """P. R. Crossley & J. A. Cook, IEE Control '91: torque 21.91 AF - 0.85 AF^2, best at 12.89."""
    lam = np.linspace(0.7, 1.6, 901)
    factor = engine.mixture_factor(lam)
    best = lam[np.argmax(factor)]
    assert 14.7 * best == pytest.approx(21.91 / (2 * 0.85), abs=0.3)
    # The same regression's drop from best to stoichiometric, on engines of 100 to 160 N m.
    drop_nm = 0.85 * (14.7 - 12.888) ** 2
    assert drop_nm / 160 < factor.max() - 1 < drop_nm / 100


def test_mixture_is_one_at_lambda_one_and_fuel_limited_beyond():
    assert engine.mixture_factor(1.0) == 1
    lean = np.array([1.1, 2.0, 5.0])
    np.testing.assert_allclose(engine.mixture_factor(lean) * lean, 1, rtol=1e-12)
    rich = engine.mixture_factor(np.linspace(0.5, 0.88, 40))
    assert (np.diff(rich) > 0).all()
    assert engine.mixture_factor(0.78) > 1  # the fall richer than best is gentle


def test_spark_loss_in_the_published_bands():
    """Common practice: 5 degrees cost 0.5 to 1.5 %, 10 2 to 5 %, 20 10 to 20 %."""
    for degrees, low, high in [(5, 0.985, 0.995), (10, 0.95, 0.98), (20, 0.80, 0.90)]:
        for sign in (-1, 1):
            assert low <= engine.spark_factor(sign * degrees) <= high
    assert engine.spark_factor(0) == 1


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: engine.air_flow_kg_s(95, 2e-3, 6000, 2e5, 313), "volumetric_efficiency is 95"),
        (lambda: engine.air_flow_kg_s(0.9, 2e-3, 6000, -1e4, 313), "p_manifold_pa is -10000 Pa"),
        (lambda: engine.volumetric_efficiency(0.1, 2e-3, 0, 1e5, 313), "perfect filling is 0"),
        (lambda: engine.pressure_ratio(-0.4e5, 1e5), "p_out_pa is -40000 Pa"),
        (lambda: engine.breathing_bracket(1, 1), "compression_ratio is 1"),
        (lambda: engine.bmep_pa(100, 0), "displacement_m3 is 0 m3"),
        (lambda: engine.mixture_factor(12.5e1), "lam is 125"),
        (lambda: engine.spark_factor(45), "degrees_from_best is 45"),
        (lambda: engine.fmep_pa(3000, -1, 0.08), "p_peak_pa is -1 Pa"),
        (lambda: engine.bsfc_kg_j(0.01, 0), "power_w is 0 W"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nan_passes_and_arrays_broadcast():
    flow = engine.air_flow_kg_s(0.9, 3e-3, [[2000.0], [4000.0]], [1e5, np.nan, 2e5], 310)
    assert flow.shape == (2, 3)
    assert np.isnan(flow[:, 1]).all()
    assert np.isnan(engine.mixture_factor([0.8, np.nan])).tolist() == [False, True]
    assert np.isnan(engine.breathing_bracket(np.nan, 9))
    assert np.isnan(engine.fmep_pa(3000, np.nan, 0.086))
