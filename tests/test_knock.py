import numpy as np
import pytest

from toolkit.physics.knock import ignition_delay_s, knock_integral, unburned_t_k

ATM = 101325


@pytest.mark.parametrize(
    ("octane", "p_atm", "t_k", "delay_ms"),
    # Arithmetic on the form of Douaud & Eyzat, SAE 780080 (1978); constants from memory.
    [
        (100, 1, 3800, 48.059223),  # 17.68 e
        (95, 40, 900, 1.9137437),
        (90, 30, 900, 2.5965516),
        (98, 60, 950, 0.8549765),
        (95, 50, 850, 1.6788068),
    ],
)
def test_ignition_delay_arithmetic(octane, p_atm, t_k, delay_ms):
    assert ignition_delay_s(p_atm * ATM, t_k, octane) * 1000 == pytest.approx(delay_ms, rel=1e-6)


def test_two_halves_at_two_states_add_up_to_ignition():
    # Livengood & Wu (1955): the parts of the delays used up add to 1.
    first, second = (float(ignition_delay_s(p, t, 95)) for p, t in ((3e6, 850), (5e6, 950)))
    time = [0, first / 2, first / 2, first / 2 + second / 2]
    total = knock_integral(time, [3e6, 3e6, 5e6, 5e6], [850, 850, 950, 950], 95)
    assert total == pytest.approx(1, abs=1e-9)


def test_higher_octane_less_boost_and_cooler_charge_all_wait_longer():
    base = ignition_delay_s(5e6, 900, 95)
    assert ignition_delay_s(5e6, 900, 98) > base
    assert ignition_delay_s(4e6, 900, 95) > base
    assert ignition_delay_s(5e6, 880, 95) > base


# The isentrope, closed form: p / T^(gamma / (gamma - 1)) is kept.
def test_end_gas_follows_the_isentrope_of_its_heat_capacity_ratio():
    p = np.array([1.5e6, 3e6, 6e6])
    t = unburned_t_k(600, 1.5e6, p)
    assert p / t ** (1.32 / 0.32) == pytest.approx(p[0] / t[0] ** (1.32 / 0.32))


def test_unknown_stays_unknown_and_impossible_is_refused():
    assert np.isnan(ignition_delay_s(np.nan, 900, 95))
    assert ignition_delay_s([1e6, 2e6], 900, [[90], [95]]).shape == (2, 2)
    with pytest.raises(ValueError, match="octane is 30"):
        ignition_delay_s(1e6, 900, 30)
    with pytest.raises(ValueError, match="p_pa is -1 Pa"):
        unburned_t_k(600, 1e6, -1)
