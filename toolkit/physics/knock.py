"""How near two states of one engine are to knock; a comparison, never a safe limit."""

import numpy as np

from toolkit.physics.guard import checked

# Of petrol, air and residual gas between 500 and 1000 K (from memory).
GAMMA_UNBURNED = 1.32


def ignition_delay_s(p_pa, t_k, octane):
    """Time that an unburned charge takes to ignite by itself, held at one state. [s]

    Pressure [Pa] > 0, unburned temperature [K] > 0, octane number 60 to 130; broadcast; NaN
    passes. ValueError outside. Use it to compare two states, never as a limit.
    Source: Douaud & Eyzat, SAE 780080 (1978); constants from memory.

    >>> round(float(ignition_delay_s(40 * 101325, 900, 95)) * 1000, 4)
    1.9137
    """
    p_atm = checked("p_pa", p_pa, above=0, unit="Pa") / 101325
    t = checked("t_k", t_k, above=0, unit="K")
    number = checked("octane", octane, 60, 130)
    return 17.68e-3 * (number / 100) ** 3.402 * p_atm**-1.7 * np.exp(3800 / t)


def knock_integral(time_s, p_pa, t_k, octane):
    """Livengood and Wu's sum of time over ignition delay along a history. [-]

    time [s], rising, pressure [Pa] and unburned temperature [K] along the last axis; the end
    gas would ignite where it reaches 1, if the constants fitted the fuel and the engine: use
    the ratio of two states only. ValueError as ignition_delay_s.
    Source: Livengood & Wu, 5th Symposium on Combustion (1955); trapezoidal rule.

    >>> delay = float(ignition_delay_s(4e6, 900, 95))
    >>> round(float(knock_integral([0, delay], [4e6, 4e6], [900, 900], 95)), 9)
    1.0
    """
    return np.trapezoid(1 / ignition_delay_s(p_pa, t_k, octane), time_s, axis=-1)


def unburned_t_k(t_start_k, p_start_pa, p_pa):
    """Temperature of the end gas, squeezed without heat from a start state. [K]

    Start temperature [K] > 0, start pressure and pressures [Pa] > 0; broadcast; NaN passes.
    ValueError outside. Source: isentropic, ratio of heat capacities 1.32 (from memory).

    >>> round(float(unburned_t_k(600, 1.5e6, 6e6)))
    840
    """
    t = checked("t_start_k", t_start_k, above=0, unit="K")
    start = checked("p_start_pa", p_start_pa, above=0, unit="Pa")
    ratio = checked("p_pa", p_pa, above=0, unit="Pa") / start
    return t * ratio ** (1 - 1 / GAMMA_UNBURNED)
