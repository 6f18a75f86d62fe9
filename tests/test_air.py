"""Humid air against CoolProp (IAPWS-95, ASHRAE RP-1485) and psychrolib, called here."""

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from toolkit.physics.air import (
    density_kg_m3,
    dry_pressure_pa,
    humidity_from_dew_point,
    humidity_from_wet_bulb,
    saturation_pressure_pa,
    vapour_pressure_pa,
)

psychrolib.SetUnitSystem(psychrolib.SI)
# Cells cold and hot, dry and wet, low and high: t C, p Pa, humidity.
CELLS = [
    (15, 101325, 0.0),
    (25, 99000, 0.0),
    (20, 101325, 0.5),
    (30, 101325, 0.6),
    (35, 99000, 0.7),
    (40, 95000, 0.3),
    (30, 83500, 0.4),
]


@pytest.mark.parametrize("t_c", [0.01, 5, 10, 20, 30, 40, 50, 90, 200])
def test_saturation_is_iapws(t_c):
    iapws = PropsSI("P", "T", t_c + 273.15, "Q", 0, "Water")
    assert saturation_pressure_pa(t_c + 273.15) == pytest.approx(iapws, rel=8e-5)


@pytest.mark.parametrize("t_c", [1, 15, 35, 50])
def test_saturation_is_ashrae(t_c):
    ashrae = psychrolib.GetSatVapPres(t_c)
    assert saturation_pressure_pa(t_c + 273.15) == pytest.approx(ashrae, rel=3e-4)


def test_saturation_goes_on_over_liquid_below_freezing():
    """Supercooled water, as D. Sonntag (Z. Meteorol. 70, 1990) gives it for WMO humidity."""
    t = np.array([253.15, 263.15, 273.15])
    sonntag = np.exp(
        16.635794 - 6096.9385 / t - 2.711193e-2 * t + 1.673952e-5 * t**2 + 2.433502 * np.log(t)
    )
    np.testing.assert_allclose(saturation_pressure_pa(t), 100 * sonntag, rtol=3e-3)
    ice = psychrolib.GetSatVapPres(-10)
    assert saturation_pressure_pa(263.15) == pytest.approx(1.10 * ice, rel=0.01)


@pytest.mark.parametrize("t_c, p_pa, humidity", CELLS)
def test_vapour_pressure_is_ashrae(t_c, p_pa, humidity):
    ashrae = psychrolib.GetVapPresFromRelHum(t_c, humidity)
    assert vapour_pressure_pa(t_c + 273.15, humidity) == pytest.approx(ashrae, rel=3e-4)


@pytest.mark.parametrize("t_c, p_pa, humidity", CELLS)
def test_density(t_c, p_pa, humidity):
    t_k = t_c + 273.15
    real = 1 / HAPropsSI("Vha", "T", t_k, "P", p_pa, "R", humidity)
    water = psychrolib.GetHumRatioFromRelHum(t_c, humidity, p_pa)
    ours = density_kg_m3(p_pa, t_k, humidity)
    assert ours == pytest.approx(real, rel=5e-4)
    assert ours == pytest.approx(psychrolib.GetMoistAirDensity(t_c, water, p_pa), rel=1e-4)


@pytest.mark.parametrize("t_c, p_pa, humidity", CELLS)
def test_dry_pressure(t_c, p_pa, humidity):
    """The real mixture holds up to 0.4 % more vapour: 25 Pa at most."""
    real = p_pa - HAPropsSI("P_w", "T", t_c + 273.15, "P", p_pa, "R", humidity)
    assert dry_pressure_pa(p_pa, t_c + 273.15, humidity) == pytest.approx(real, abs=25)
    psychro = p_pa - psychrolib.GetVapPresFromRelHum(t_c, humidity)
    assert dry_pressure_pa(p_pa, t_c + 273.15, humidity) == pytest.approx(psychro, abs=2)


def test_wet_bulb_of_nag():
    """P. K. Nag, Engineering Thermodynamics, Ex. 15.2: 30 C, wet bulb 20 C, 100 kPa, 39.9 %."""
    assert humidity_from_wet_bulb(303.15, 293.15, 100e3) == pytest.approx(0.399, abs=5e-4)


@pytest.mark.parametrize("t_c, wet_c, p_pa", [(30, 20, 1e5), (15, 14, 99e3), (40, 18, 85e3)])
def test_wet_bulb_is_psychrolib_s(t_c, wet_c, p_pa):
    there = psychrolib.GetRelHumFromTWetBulb(t_c, wet_c, p_pa)
    ours = humidity_from_wet_bulb(t_c + 273.15, wet_c + 273.15, p_pa)
    assert ours == pytest.approx(there, abs=1e-4)


@pytest.mark.parametrize("t_c, humidity", [(30, 0.4), (15, 0.9), (35, 0.2)])
def test_dew_point_returns(t_c, humidity):
    dew_c = psychrolib.GetTDewPointFromRelHum(t_c, humidity)
    ours = humidity_from_dew_point(t_c + 273.15, dew_c + 273.15)
    assert ours == pytest.approx(humidity, rel=5e-4)
    assert humidity_from_dew_point(300.0, 300.0) == 1


def test_integer_celsius_in_place_of_kelvin_is_refused():
    with pytest.raises(ValueError, match="t_k is 25 K"):
        density_kg_m3(101325, 25, 0.5)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: vapour_pressure_pa(300, 60), "humidity is 60"),
        (lambda: dry_pressure_pa(-1, 300, 0.5), "p_pa is -1 Pa"),
        (lambda: dry_pressure_pa(3000, 310, 1.0), "p_pa less its vapour"),
        (lambda: humidity_from_dew_point(290, 295), "humidity from t_dew_k over t_k"),
        (lambda: humidity_from_wet_bulb(263, 262, 1e5), "t_wet_k is 262 K"),
        (lambda: humidity_from_wet_bulb(313, 275, 1e5), "humidity from t_wet_k under t_k is -"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nan_passes_and_shapes_broadcast():
    dry = dry_pressure_pa([[1e5], [np.nan]], 300.0, [0.0, 0.5, 1.0])
    assert dry.shape == (2, 3)
    assert np.isfinite(dry[0]).all() and np.isnan(dry[1]).all()
    assert np.isnan(humidity_from_wet_bulb(303.15, np.nan, 1e5))


def test_humid_air_is_lighter():
    density = density_kg_m3(1e5, 308.15, np.linspace(0, 1, 11))
    assert (np.diff(density) < 0).all()
