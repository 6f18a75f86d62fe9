"""Fuels and injectors against published properties and reference libraries called here."""

import cantera as ct
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from toolkit.physics import fuel
from toolkit.physics.fuel import FUELS
from toolkit.units import parse

BTU_LB = 2326.0


def test_stoichiometry_is_cantera_s():
    """Air of oxygen, nitrogen, argon; fuels that the species data hold."""
    wanted = {"C8H18,isooctane", "C2H5OH", "CH3OH", "C7H8", "O2", "N2", "Ar"}
    every = ct.Species.list_from_file("nasa_gas.yaml")
    gas = ct.Solution(thermo="ideal-gas", species=[s for s in every if s.name in wanted])
    atoms = {"C2H5OH": (3, 0.5), "CH3OH": (4, 1), "C7H8": (8 / 7, 0)}
    atoms["C8H18,isooctane"] = (18 / 8, 0)
    for name in atoms:
        there = gas.stoich_air_fuel_ratio(name, "O2:0.2095, N2:0.7808, Ar:0.0097")
        assert fuel.stoichiometric_afr(*atoms[name]) == pytest.approx(there, rel=2e-4)


# Heywood, Internal Combustion Engine Fundamentals (1988), app. D, and US DOE Alternative Fuels
# Data Center: stoichiometric ratio by mass, to the printed digits (gasoline varies by crude).
PUBLISHED_AFR = [
    ("gasoline", 14.6, 0.1),
    ("ethanol", 9.0, 0.05),
    ("methanol", 6.47, 0.05),
    ("iso-octane", 15.13, 0.05),
    ("E85", 9.765, 0.05),
]


@pytest.mark.parametrize("name, published, tolerance", PUBLISHED_AFR)
def test_published_ratios(name, published, tolerance):
    assert FUELS[name].afr_stoich == pytest.approx(published, abs=tolerance)


# US DOE Alternative Fuels Data Center: Btu/lb of the lower heating value.
@pytest.mark.parametrize("name, btu", [("gasoline", 18676), ("ethanol", 11585), ("methanol", 8637)])
def test_published_heating_values(name, btu):
    assert FUELS[name].lhv_j_kg == pytest.approx(btu * BTU_LB, rel=1e-3)


def test_gasoline_s_density_is_what_its_two_heating_values_imply():
    """Same table: 116 090 Btu a US gallon beside 18 676 a pound."""
    implied = 116090 / 18676 * 0.45359237 / 3.785411784e-3
    assert FUELS["gasoline"].density_kg_m3 == pytest.approx(implied, rel=1e-3)


@pytest.mark.parametrize("name, fluid", [("ethanol", "Ethanol"), ("methanol", "Methanol")])
def test_density_is_coolprop_s(name, fluid):
    for t_c in (15, 20):
        there = PropsSI("D", "T", t_c + 273.15, "P", 101325, fluid)
        assert FUELS[name].density_kg_m3 == pytest.approx(there, rel=0.01)


def test_iso_octane_s_heating_value_is_cantera_s():
    """Heat of formation, less 307.6 kJ/kg to evaporate (Reid, Prausnitz & Poling, from memory)."""
    every = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}

    def enthalpy(name):
        return every[name].thermo.h(298.15) / 1e3  # J/mol

    octane = next(name for name in every if name.startswith("C8H18") and "iso" in name)
    released = enthalpy(octane) - 8 * enthalpy("CO2") - 9 * enthalpy("H2O")
    liquid = released / 0.11423 - 307.6e3
    assert FUELS["iso-octane"].lhv_j_kg == pytest.approx(liquid, rel=0.002)


# Mass balance of a blend: arithmetic on the published ratios of its parts.
def test_blends_lie_between_and_count_by_mass():
    e85, gasoline, ethanol = FUELS["E85"], FUELS["gasoline"], FUELS["ethanol"]
    mass = 0.85 * ethanol.density_kg_m3 / e85.density_kg_m3
    by_mass = (1 - mass) * gasoline.afr_stoich + mass * ethanol.afr_stoich
    assert e85.afr_stoich == pytest.approx(by_mass, rel=1e-9)
    assert e85.afr_stoich == pytest.approx(9.8029, rel=1e-3)
    assert FUELS["E10"].afr_stoich == pytest.approx(14.0119, rel=1e-3)
    assert e85.lhv_j_kg == pytest.approx(29.3e6, rel=2e-3)
    assert fuel.blend(gasoline, ethanol, 0, "x").afr_stoich == pytest.approx(gasoline.afr_stoich)
    ratios = [fuel.blend(gasoline, ethanol, part, "x").afr_stoich for part in np.linspace(0, 1, 9)]
    assert (np.diff(ratios) < 0).all()


def test_gasoline_scale_on_ethanol_is_a_trap():
    """Common practice: a gauge on the gasoline scale shows 11.76 at lambda 0.80, on E85 too."""
    assert fuel.afr_from_lambda(0.8, fuel.GASOLINE_SCALE_AFR) == pytest.approx(11.76)
    assert FUELS["E85"].afr(0.8) == pytest.approx(7.8, abs=0.05)
    assert fuel.lambda_from_afr(11.8, fuel.GASOLINE_SCALE_AFR) == pytest.approx(0.803, abs=5e-4)
    assert FUELS["E85"].lam(11.76) > 1.19  # what believing that gauge would mean


@pytest.mark.parametrize("name", FUELS)
def test_mixture_returns(name):
    lam = np.array([0.7, 0.85, 1.0, 1.4])
    np.testing.assert_allclose(FUELS[name].lam(FUELS[name].afr(lam)), lam, rtol=1e-12)


def test_injector_pressure():
    """Common practice: 58 psi rail, 15 psi boost, no reference: 86.1 %; 3 to 4 bar: 1.1547."""
    assert fuel.injector_flow_m3_s(1.0, 58, 43) == pytest.approx(0.861, abs=5e-4)
    assert fuel.injector_flow_m3_s(1000, 3, [3, 4, 5]) == pytest.approx(
        [1000, 1154.7005, 1290.9944], abs=1e-4
    )


# Arithmetic on NIST SP 811 factors.
def test_injector_sizing_through_the_units_a_person_writes():
    """500 kW, 300 g/kWh, eight injectors, 745 kg/m3: 330.69 lb/h, 419.46 cm3/min each."""
    flow = parse("500 kW", "power") * parse("300 g/kWh", "bsfc")
    assert flow == pytest.approx(parse("330.6934 lb/h", "fuel_flow"), rel=1e-6)
    each = fuel.injector_size_m3_s(flow, 8, 745, duty=1.0)
    assert each == pytest.approx(parse("419.4631 cm³/min", "injector_flow"), rel=1e-6)
    assert fuel.injector_duty(flow, 8, each, 745) == pytest.approx(1)
    assert fuel.injector_size_m3_s(flow, 8, 745) == pytest.approx(each / 0.85)


def test_pounds_an_hour_to_cubic_centimetres_depends_on_the_fuel():
    """The trade's 10.5 cm3/min a lb/h holds at 720 kg/m3; heptane, the test fluid, gives 11.06."""
    pound = parse("1 lb/h", "fuel_flow")
    for density, cm3_min in [(720, 10.49982), (683.8, 11.0557), (789.3, 9.57795)]:
        each = fuel.injector_size_m3_s(pound, 1, density, duty=1.0) * 60e6
        assert each == pytest.approx(cm3_min, rel=1e-5)


def test_duty_of_a_pulse():
    """Common practice: ms x rpm / 1200 in percent: 18 ms at 6500 is 97.5 %."""
    assert fuel.duty_from_pulse(18e-3, 6500) * 100 == pytest.approx(97.5, abs=1e-9)
    assert fuel.duty_from_pulse(20e-3, 6500) > 1  # not clamped: the injector never closes


def test_bsfc_unit():
    """1 lb/(hp h) is 608.277 g/kWh: NIST SP 811 factors."""
    assert parse("1 lb/(hp*h)", "bsfc") * 3.6e9 == pytest.approx(608.27739, rel=1e-7)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: fuel.stoichiometric_afr(18, 0), "h_to_c is 18"),
        (lambda: fuel.lambda_from_afr(0, 14.7), "air_fuel_ratio is 0"),
        (
            lambda: fuel.blend(FUELS["E10"], FUELS["ethanol"], 85, "x"),
            "volume_fraction is 85",
        ),
        (lambda: fuel.injector_flow_m3_s(1, 3e5, -1e4), "difference_pa is -10000 Pa"),
        (lambda: fuel.injector_duty(0.01, 0, 1e-5, 745), "injectors is 0"),
        (lambda: fuel.injector_size_m3_s(0.01, 6, 745, 85), "duty is 85"),
        (lambda: fuel.duty_from_pulse(-1, 6000), "pulse_s is -1 s"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nan_passes():
    assert np.isnan(fuel.injector_duty([0.01, np.nan], 6, 1e-5, 745)).tolist() == [False, True]
    assert np.isnan(FUELS["E85"].lam(np.nan))
