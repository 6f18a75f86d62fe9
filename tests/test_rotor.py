"""Rotor energy and run-up against a worked example, closed forms and an outside simulation."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import cumulative_trapezoid, quad

from toolkit.physics.rotor import RPM, kinetic_energy_j, run_up, scaled_inertia_kg_m2


def test_khurmi_10_34():
    """R. S. Khurmi & J. K. Gupta, Theory of Machines, Ex. 10.34: 4.1 s.

    13.5 kg at 150 mm radius of gyration, 7.8 N m, to 1000 rpm.
    """
    times = np.linspace(0, 5, 501)
    speed = run_up(13.5 * 0.15**2, 0.0, lambda t, n: 7.8 * np.maximum(n, 1e-6) * RPM, times)[0]
    assert np.interp(1000, speed, times) == pytest.approx(4.1, rel=0.01)


@pytest.mark.parametrize("power_w", [500, 1000, 2000])
def test_constant_power_in_closed_form(power_w):
    gained = kinetic_energy_j(3e-5, 120e3) - kinetic_energy_j(3e-5, 40e3)
    speed = run_up(3e-5, 40e3, lambda t, n: power_w, [0, gained / power_w])
    assert speed[0, -1] == pytest.approx(120e3, rel=1e-7)


@pytest.mark.parametrize("torque_nm", [0.1, 0.2])
def test_constant_torque_in_closed_form(torque_nm):
    seconds = 3e-5 * 80e3 * RPM / torque_nm
    speed = run_up(3e-5, 40e3, lambda t, n: torque_nm * n * RPM, [0, seconds])
    assert speed[0, -1] == pytest.approx(120e3, rel=1e-7)


def test_settling_against_a_cubic_load():
    """Second route: the time to each speed as the integral of J w dw over the net power."""
    inertia, power = 3e-5, 0.95 * 3000.0
    c = power / (130e3 * RPM) ** 3
    ends = np.array([40e3, 60e3, 90e3, 117e3, 129e3]) * RPM
    times = [
        0.0,
        *(quad(lambda w: inertia * w / (power - c * w**3), ends[0], w)[0] for w in ends[1:]),
    ]
    speed = run_up(inertia, 40e3, lambda t, n: power - c * (n * RPM) ** 3, times)[0]
    np.testing.assert_allclose(speed, ends / RPM, rtol=1e-6)
    assert times[3] == pytest.approx(1.1725, rel=5e-4)


def test_the_last_of_the_way_is_exponential():
    """Linearised about balance with a cubic load, the time constant is J w^2 / (3 P)."""
    inertia, power = 3e-5, 0.95 * 3000.0
    c = power / (130e3 * RPM) ** 3
    constant = inertia * (130e3 * RPM) ** 2 / (3 * power)
    speed = run_up(inertia, 129.9e3, lambda t, n: power - c * (n * RPM) ** 3, [0, constant])
    assert 130e3 - speed[0, -1] == pytest.approx(100 / np.e, rel=2e-3)


def test_many_rotors_at_once_and_slower_with_inertia():
    inertia = np.array([1e-5, 2e-5, 4e-5])
    speed = run_up(inertia, 40e3, lambda t, n: 1000.0 - n * 1e-3, np.linspace(0, 1, 11))
    assert speed.shape == (3, 11)
    assert (np.diff(speed[:, -1]) < 0).all()
    alone = run_up(2e-5, 40e3, lambda t, n: 1000.0 - n * 1e-3, np.linspace(0, 1, 11))
    np.testing.assert_allclose(alone[0], speed[1], rtol=1e-6)


# Moment of inertia of a solid disc, closed form.
def test_scaling_is_the_fifth_power_and_a_disc_obeys_it():
    """A solid disc: J = m r^2 / 2, its thickness scaled with it."""
    disc = [2700 * np.pi * r**2 * (r / 3) * r**2 / 2 for r in (0.025, 0.030)]
    ours = scaled_inertia_kg_m2(0.060, 0.050, disc[0])
    assert ours == pytest.approx(disc[1], rel=1e-12)
    assert scaled_inertia_kg_m2(0.07, 0.05, 2e-5) == pytest.approx(1.07565e-4, rel=1e-5)


@pytest.fixture
def simulated(shared_data):
    """A mean-value engine model of others (Modelica), a throttle step at held speed."""
    frame = pd.read_csv(shared_data / "logs" / "sim_turbo_si_step.csv")
    return frame.drop_duplicates("time_s").query("time_s > 0.25").reset_index(drop=True)


def test_an_outside_simulation_s_shaft_closes(simulated):
    """Inertia from the first four seconds; speed through the step predicted from the torques."""
    t, w = simulated.time_s.to_numpy(), simulated.turbo_speed_rad_s.to_numpy()
    torque = (
        simulated.turbine_shaft_torque_Nm
        - simulated.compressor_shaft_torque_Nm
        - simulated.bearing_friction_torque_Nm
    ).to_numpy()
    early = t < 4
    impulse = cumulative_trapezoid(torque, t, initial=0)
    inertia = np.polyfit(w[early], impulse[early], 1)[0]
    assert 1e-6 < inertia < 6e-5  # of a passenger car, order of magnitude from memory
    ours = run_up(inertia, w[0] / RPM, lambda s, n: np.interp(s, t, torque) * n * RPM, t)[0]
    np.testing.assert_allclose(ours, w / RPM, rtol=0.02)
    assert ours[-1] - ours[early][-1] > 30e3  # the step lies behind the four seconds
    gained = kinetic_energy_j(inertia, w[-1] / RPM) - kinetic_energy_j(inertia, w[0] / RPM)
    work = np.trapezoid(torque * w, t)
    assert work == pytest.approx(gained, rel=0.02)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: kinetic_energy_j(-1, 1e5), "inertia_kg_m2 is -1"),
        (lambda: run_up(0, 1e4, lambda t, n: 1, [0, 1]), "inertia_kg_m2 is 0"),
        (lambda: scaled_inertia_kg_m2(0.06, 0, 2e-5), "known_wheel_m is 0 m"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nan_passes():
    assert np.isnan(kinetic_energy_j([3e-5, np.nan], 1e5)).tolist() == [False, True]
    assert np.isnan(scaled_inertia_kg_m2(np.nan, 0.05, 2e-5))
