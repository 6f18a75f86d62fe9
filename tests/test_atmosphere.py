"""The standard atmosphere against two libraries of it, called here."""

import ambiance
import fluids
import numpy as np
import psychrolib
import pytest

from toolkit.physics import atmosphere as ours

# U.S. Standard Atmosphere, 1976 (NASA-TM-X-74335), table I: geometric altitude, K, Pa, kg/m3.
TABLE_1976 = [
    (0, 288.150, 1.01325e5, 1.2250),
    (1000, 281.651, 8.9876e4, 1.1117),
    (2000, 275.154, 7.9501e4, 1.0066),
    (3000, 268.659, 7.0121e4, 0.90925),
]
ALTITUDES_M = [-1000, 0, 304.8, 1524, 1609.3, 3048, 6000, 10900]


@pytest.mark.parametrize("altitude_m, t_k, p_pa, density", TABLE_1976)
def test_the_published_table(altitude_m, t_k, p_pa, density):
    assert ours.standard_temperature_k(altitude_m) == pytest.approx(t_k, abs=6e-4)
    assert ours.standard_pressure_pa(altitude_m) == pytest.approx(p_pa, rel=1e-5)
    assert ours.standard_density_kg_m3(altitude_m) == pytest.approx(density, rel=5e-5)


@pytest.mark.parametrize("altitude_m", ALTITUDES_M)
def test_two_libraries_agree(altitude_m):
    for there in (ambiance.Atmosphere(altitude_m), fluids.ATMOSPHERE_1976(altitude_m)):
        if isinstance(there, ambiance.Atmosphere):
            t, p, rho = there.temperature[0], there.pressure[0], there.density[0]
        else:
            t, p, rho = there.T, there.P, there.rho
        assert ours.standard_temperature_k(altitude_m) == pytest.approx(t, rel=2e-6)
        assert ours.standard_pressure_pa(altitude_m) == pytest.approx(p, rel=2e-6)
        assert ours.standard_density_kg_m3(altitude_m) == pytest.approx(rho, rel=2e-6)


@pytest.mark.parametrize("altitude_m", ALTITUDES_M)
def test_density_altitude_inverts_the_library(altitude_m):
    density = fluids.ATMOSPHERE_1976(altitude_m).rho
    there = ambiance.Atmosphere(altitude_m).H[0]
    assert ours.density_altitude_m(density) == pytest.approx(there, abs=0.1)
    assert ours.geopotential_m(altitude_m) == pytest.approx(there, abs=1e-3)


def test_density_altitude_near_the_weather_service_form():
    """145442.16 (1 - (17.326 p/(459.67 + t))^0.235) ft, US weather service, from memory."""
    p_pa, t_f = 84307.3, 95.0
    service_ft = 145442.16 * (1 - (17.326 * p_pa / 3386.389 / (459.67 + t_f)) ** 0.235)
    density = p_pa / (287.05 * (t_f + 459.67) / 1.8)
    assert ours.density_altitude_m(density) / 0.3048 == pytest.approx(service_ft, abs=30)


@pytest.mark.parametrize("altitude_m", [0, 300, 1609.3])
def test_station_pressure_near_psychrolib_s_on_a_standard_day(altitude_m):
    psychrolib.SetUnitSystem(psychrolib.SI)
    t_c = ours.standard_temperature_k(altitude_m) - 273.15
    for sea_level in (99e3, 101325.0, 103e3):
        there = psychrolib.GetStationPressure(sea_level, altitude_m, t_c)
        assert ours.station_pressure_pa(sea_level, altitude_m) == pytest.approx(there, rel=1e-3)


# The inverse of the station pressure, which is checked against a reference library above; ISO
# 2533.
def test_station_pressure_is_the_atmosphere_on_a_standard_day_and_returns():
    altitude_m = np.array(ALTITUDES_M)
    station = ours.station_pressure_pa(101325, altitude_m)
    np.testing.assert_allclose(station, ours.standard_pressure_pa(altitude_m), rtol=1e-12)
    low = ours.station_pressure_pa(98e3, altitude_m)
    np.testing.assert_allclose(ours.sea_level_pressure_pa(low, altitude_m), 98e3, rtol=1e-12)


def test_confusing_station_with_sea_level_costs_a_tenth_at_a_thousand_metres():
    assert ours.station_pressure_pa(101325, 1000) / 101325 == pytest.approx(0.887, abs=1e-3)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: ours.standard_pressure_pa(20000), "altitude_m is 20000 m"),
        (lambda: ours.density_altitude_m(1225), "density_kg_m3 is 1225"),
        (lambda: ours.station_pressure_pa(29.92, 300), "p_sea_level_pa is 29.92 Pa"),
        (lambda: ours.sea_level_pressure_pa(0, 300), "p_station_pa is 0 Pa"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nan_passes():
    assert np.isnan(ours.station_pressure_pa(np.nan, 300.0))
    assert np.isnan(ours.density_altitude_m([1.2, np.nan])).tolist() == [False, True]
