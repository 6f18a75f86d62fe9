"""The turbo's rotor: its inertia, and its run-up under a given power."""

import numpy as np
from scipy.integrate import solve_ivp

from toolkit.physics.guard import checked

RPM = np.pi / 30  # rad/s in one revolution a minute
INERTIA_UNCERTAINTY = 2.0  # a scaled inertia may be this factor too high or too low (from memory)
KNOWN_WHEEL_M, KNOWN_INERTIA_KG_M2 = 0.050, 2.0e-5  # a passenger car's turbo (from memory)


def kinetic_energy_j(inertia_kg_m2, shaft_speed_rpm):
    """Energy in the spinning rotor. [J]

    Inertia [kg m2] >= 0, shaft speed [rpm] >= 0; broadcast; NaN passes. ValueError outside.
    Source: half the inertia times angular speed squared.

    >>> round(float(kinetic_energy_j(3e-5, 150000)), 1)
    3701.1
    """
    inertia = checked("inertia_kg_m2", inertia_kg_m2, 0, unit="kg m2")
    return 0.5 * inertia * (checked("shaft_speed_rpm", shaft_speed_rpm, 0, unit="rpm") * RPM) ** 2


def scaled_inertia_kg_m2(
    wheel_m, known_wheel_m=KNOWN_WHEEL_M, known_inertia_kg_m2=KNOWN_INERTIA_KG_M2
):
    """Inertia of a rotor of the same shape and materials as a known one. [kg m2]

    Wheel diameters [m] > 0 and the known inertia [kg m2] > 0; broadcast; NaN passes. ValueError
    outside. Good within INERTIA_UNCERTAINTY, since shapes and materials do differ.
    Source: geometric similarity, mass as d^3 times radius of gyration as d^2.

    >>> round(float(scaled_inertia_kg_m2(0.060, 0.050, 2.0e-5)) * 1e5, 4)
    4.9766
    """
    wheel = checked("wheel_m", wheel_m, above=0, unit="m")
    known = checked("known_wheel_m", known_wheel_m, above=0, unit="m")
    inertia = checked("known_inertia_kg_m2", known_inertia_kg_m2, above=0, unit="kg m2")
    return inertia * (wheel / known) ** 5


def run_up(inertia_kg_m2, start_rpm, net_power_w, times_s):
    """Shaft speeds under a net power. [rpm], one row a rotor, one column a time

    inertia [kg m2] > 0 and start speed [rpm] >= 0, one or an array of rotors;
    net_power_w(time_s, speed_rpm) [W] what drives less what brakes, for all rotors; times [s]
    rising, the first is the start. ValueError outside.
    Source: J w dw/dt = P, integrated in energy, which it conserves, by LSODA (Petzold 1983).

    >>> run_up(3e-5, 40e3, lambda t, n: 1000.0, [0, 2.1055156])[0, -1].round()
    np.float64(120000.0)
    """
    inertia = np.atleast_1d(checked("inertia_kg_m2", inertia_kg_m2, above=0, unit="kg m2"))
    start = kinetic_energy_j(inertia, start_rpm)

    def speed(energy):
        return np.sqrt(2 * np.maximum(energy, 0) / inertia) / RPM

    def rate(t, energy):
        return np.broadcast_to(net_power_w(t, speed(energy)), energy.shape)

    times = np.asarray(times_s, dtype=float)
    tight = {"method": "LSODA", "rtol": 1e-9, "atol": 1e-9}
    done = solve_ivp(rate, times[[0, -1]], start, t_eval=times, **tight)
    return speed(done.y.T).T
