"""Compressible flow through an opening: throttle, valve, gate, turbine as a nozzle."""

import numpy as np

from toolkit.physics.guard import checked


def critical_ratio(gamma):
    """Pressure ratio p_down / p_up at and below which the opening is choked. [-]

    Ratio of heat capacities > 1; number or array; NaN passes. ValueError otherwise.
    Source: (2/(g+1))^(g/(g-1)), NACA Report 1135 (1953), p/p0 at Mach 1.

    >>> round(float(critical_ratio(1.4)), 4)
    0.5283
    """
    g = checked("gamma", gamma, above=1)
    return (2 / (g + 1)) ** (g / (g - 1))


def flow_kg_s(area_m2, p_up_pa, p_down_pa, t_up_k, gamma, r_j_kgk, discharge=1.0):
    """Mass flow through an opening, choked or not. [kg/s]

    Area [m2] >= 0, total pressure before and static after it [Pa], p_up > 0, temperature
    before it [K] > 0, ratio of heat capacities > 1, gas constant [J/kgK] > 0, discharge
    coefficient 0 to 1. Numbers or arrays, broadcast; NaN passes. ValueError outside these and
    where p_down is above p_up: the gas, and so its temperature, would come from the other side.
    Source: Heywood, Internal Combustion Engine Fundamentals (1988), app. C.

    >>> round(float(flow_kg_s(300e-6, 100e3, 40e3, 293.15, 1.4, 287.05)), 4)
    0.0708
    """
    area = checked("area_m2", area_m2, 0, unit="m2")
    p_up = checked("p_up_pa", p_up_pa, above=0, unit="Pa")
    p_down = checked("p_down_pa", p_down_pa, 0, unit="Pa")
    t_up = checked("t_up_k", t_up_k, above=0, unit="K")
    r_gas = checked("r_j_kgk", r_j_kgk, above=0, unit="J/kgK")
    cd = checked("discharge", discharge, 0, 1)
    ratio = checked("p_down_pa / p_up_pa", p_down / p_up, 0, 1)
    return cd * area * p_up / np.sqrt(r_gas * t_up) * flow_function(ratio, gamma)


def flow_function(ratio, gamma):
    """m sqrt(R T0) / (A p0) of an ideal opening at p_down / p_up. [-]

    Pressure ratio 0 to 1, ratio of heat capacities > 1; broadcast; NaN passes. ValueError
    outside. Source: Heywood (1988), app. C.

    >>> round(float(flow_function(0.4, 1.4)), 4)
    0.6847
    """
    g = np.asarray(gamma, dtype=float)
    r = np.maximum(checked("ratio", ratio, 0, 1), critical_ratio(g))
    return np.sqrt(2 * g / (g - 1) * (r ** (2 / g) - r ** ((g + 1) / g)))
