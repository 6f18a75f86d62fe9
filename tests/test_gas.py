"""Gas properties against Cantera's ideal-gas mixtures and CoolProp, called here."""

import cantera as ct
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from toolkit.physics import gas

T_K = np.array([250.0, 300, 450, 700, 999, 1001, 1400, 2000, 3000])
FUELS = [(1.87, 0.0), (18 / 8, 0.0), (3.0, 0.5)]  # gasoline, iso-octane, ethanol


@pytest.fixture(scope="module")
def species():
    """The published species data that Cantera ships, as one ideal gas."""
    names = {"O2", "N2", "AR", "CO2", "H2O", "CO", "H2"}
    every = ct.Species.list_from_file("nasa_gas.yaml")
    chosen = [s for s in every if s.name.upper() in names]
    return ct.Solution(thermo="ideal-gas", species=chosen)


def burned(species, lam, h_to_c, o_to_c, t_shift_k=1740):
    """The same mixture by another route: Cantera finds the water-gas equilibrium itself."""
    oxygen = 1 + h_to_c / 4 - o_to_c / 2
    if lam >= 1:
        moles = {"CO2": 1, "H2O": h_to_c / 2, "O2": oxygen * (lam - 1)}
    else:
        missing = 2 * oxygen * (1 - lam)
        moles = {"CO2": 1 - missing / 2, "CO": missing / 2}
        moles |= {"H2O": h_to_c / 2 - missing / 2, "H2": missing / 2}
    moles["N2"] = 3.773 * oxygen * lam
    shifting = [s for s in species.species() if s.name in moles]
    mixture = ct.Solution(thermo="ideal-gas", species=shifting)
    mixture.TPX = t_shift_k, ct.one_atm, moles
    if lam < 1:
        mixture.equilibrate("TP")
    return mixture


def air(species):
    species.TPX = 300, ct.one_atm, {"O2": 0.2095, "N2": 0.7808, "Ar": 0.0097}
    return species


def along(mixture, t_k, name):
    states = ct.SolutionArray(mixture, len(t_k))
    states.TP = t_k, ct.one_atm
    return getattr(states, name)


def test_air_is_cantera_s(species):
    mixture = air(species)
    np.testing.assert_allclose(gas.cp_air_j_kgk(T_K), along(mixture, T_K, "cp_mass"), rtol=1e-5)
    gamma = along(mixture, T_K, "cp_mass") / along(mixture, T_K, "cv_mass")
    np.testing.assert_allclose(gas.gamma_air(T_K), gamma, atol=5e-5)


def test_air_agrees_with_coolprop():
    t_k = np.array([300.0, 350, 400, 450, 500, 550, 600, 800, 1000])
    cp = PropsSI("Cp0mass", "T", t_k, "P", 101325, "Air")
    np.testing.assert_allclose(gas.cp_air_j_kgk(t_k), cp, rtol=1e-3)
    np.testing.assert_allclose(gas.gamma_air(t_k), cp / (cp - gas.R_AIR_J_KGK), atol=5e-4)


@pytest.mark.parametrize("h_to_c, o_to_c", FUELS)
@pytest.mark.parametrize("lam", [0.7, 1 / 1.2, 0.95, 1.0, 1.3, 3.0])
def test_burned_gas_is_cantera_s(species, lam, h_to_c, o_to_c):
    mixture = burned(species, lam, h_to_c, o_to_c)
    fuel = {"h_to_c": h_to_c, "o_to_c": o_to_c}
    cp = along(mixture, T_K, "cp_mass")
    r = ct.gas_constant / mixture.mean_molecular_weight
    np.testing.assert_allclose(gas.r_burned_j_kgk(lam, **fuel), r, rtol=2e-5)
    np.testing.assert_allclose(gas.cp_burned_j_kgk(T_K, lam, **fuel), cp, rtol=2e-5)
    np.testing.assert_allclose(gas.gamma_burned(T_K, lam, **fuel), cp / (cp - r), atol=2e-5)
    rise = along(mixture, T_K, "enthalpy_mass") - along(mixture, [298.15], "enthalpy_mass")
    np.testing.assert_allclose(gas.h_burned_j_kg(T_K, lam, **fuel), rise, rtol=2e-5, atol=20)


@pytest.mark.parametrize("ratio", [0.25, 0.4, 0.5, 0.9, 1.0, 2.0, 3.0, 12.0])
def test_isentropic_steps_keep_cantera_s_entropy(species, ratio):
    for t_k in (298.15, 700.0, 1250.0):
        for mixture, ours in [
            (air(species), gas.isentropic_t_air_k(t_k, ratio)),
            (
                burned(species, 1 / 1.2, 18 / 8, 0),
                gas.isentropic_t_burned_k(t_k, ratio, 1 / 1.2, 18 / 8),
            ),
        ]:
            mixture.TP = t_k, 2e5
            mixture.SP = mixture.entropy_mass, 2e5 * ratio
            assert ours == pytest.approx(mixture.T, abs=0.05)


def test_real_air_is_within_a_fifth_of_a_kelvin():
    for ratio in (1.5, 2.0, 3.0):
        entropy = PropsSI("S", "T", 298.15, "P", 1e5, "Air")
        real = PropsSI("T", "S", entropy, "P", 1e5 * ratio, "Air")
        assert gas.isentropic_t_air_k(298.15, ratio) == pytest.approx(real, abs=0.2)


def test_constant_properties_understate_the_work_of_a_rich_turbine():
    """cp 1150 and gamma 1.33 lose about 6 % at 1150 K, expansion ratio 2, phi 1.2."""
    lam = 1 / 1.2
    end = gas.isentropic_t_burned_k(1150, 0.5, lam)
    drop = gas.h_burned_j_kg(1150, lam) - gas.h_burned_j_kg(end, lam)
    constant = 1150 * 1150 * (1 - 0.5 ** (0.33 / 1.33))
    assert 0.05 < 1 - constant / drop < 0.08


def test_enthalpy_is_the_integral_of_cp():
    t_k = np.linspace(250, 3000, 27501)
    for h, cp in [
        (gas.h_air_j_kg(t_k), gas.cp_air_j_kgk(t_k)),
        (gas.h_burned_j_kg(t_k, 0.85), gas.cp_burned_j_kgk(t_k, 0.85)),
    ]:
        np.testing.assert_allclose(np.gradient(h, t_k)[1:-1], cp[1:-1], rtol=2e-5)


# The inverse of enthalpy and isentrope, which Cantera checks above.
def test_inverses_return():
    t_k = np.linspace(220, 4000, 200)
    np.testing.assert_allclose(gas.t_air_k(gas.h_air_j_kg(t_k)), t_k, rtol=1e-9)
    for lam in (0.7, 1.0, 4.0):
        back = gas.t_burned_k(gas.h_burned_j_kg(t_k, lam), lam)
        np.testing.assert_allclose(back, t_k, rtol=1e-9)
        there = gas.isentropic_t_burned_k(t_k[20:], 0.9, lam)
        again = gas.isentropic_t_burned_k(there, 1 / 0.9, lam)
        np.testing.assert_allclose(again, t_k[20:], rtol=1e-9)


def test_composition_does_not_jump_at_lambda_one():
    near = gas.cp_burned_j_kgk(1100, [1 - 1e-9, 1.0, 1 + 1e-9])
    np.testing.assert_allclose(near, near[1], rtol=1e-8)


def test_shapes_broadcast_and_nan_passes():
    t_k = np.array([[900.0], [np.nan]])
    lam = np.array([0.8, 0.9, 1.0])
    cp = gas.cp_burned_j_kgk(t_k, lam)
    assert cp.shape == (2, 3)
    assert np.isfinite(cp[0]).all() and np.isnan(cp[1]).all()
    assert gas.cp_burned_j_kgk(900.0, lam).tolist() == cp[0].tolist()
    assert np.isnan(gas.isentropic_t_air_k(300.0, [np.nan, 2.0])).tolist() == [True, False]
    assert np.isnan(gas.isentropic_t_burned_k(900.0, 0.5, np.nan))


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: gas.cp_air_j_kgk(25), "t_k is 25 K"),
        (lambda: gas.cp_burned_j_kgk(900, 0.4), "lam is 0.4"),
        (lambda: gas.isentropic_t_air_k(300, -1), "pressure_ratio is -1"),
        (lambda: gas.isentropic_t_burned_k(5, 0.5, 0.9), "t_k is 5 K"),
        (lambda: gas.t_air_k(-2e5), "h_j_kg is -200000"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()
