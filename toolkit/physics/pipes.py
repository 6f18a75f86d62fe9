"""Pipe diameters from an air-speed limit."""

import numpy as np

from toolkit.physics.guard import checked

# Common practice for the mean speed in charge pipes; above it losses grow fast.
SPEED_LIMIT_M_S = 90.0


def gas_speed_m_s(flow_kg_s, density_kg_m3, diameter_m):
    """Mean speed in a round pipe. [m/s]

    Flow [kg/s] >= 0, density [kg/m3] > 0, inner diameter [m] > 0; broadcast; NaN passes.
    ValueError outside. Source: continuity.

    >>> round(float(gas_speed_m_s(0.3, 2.0, 0.06)), 1)
    53.1
    """
    area = np.pi / 4 * checked("diameter_m", diameter_m, above=0, unit="m") ** 2
    flow = checked("flow_kg_s", flow_kg_s, 0, unit="kg/s")
    return flow / (checked("density_kg_m3", density_kg_m3, above=0, unit="kg/m3") * area)


def diameter_m(flow_kg_s, density_kg_m3, speed_limit_m_s=SPEED_LIMIT_M_S):
    """Inner diameter that keeps the mean speed at a limit. [m]

    Flow [kg/s] >= 0, density [kg/m3] > 0, speed [m/s] > 0; broadcast; NaN passes. ValueError
    outside. Source: continuity.

    >>> round(float(diameter_m(0.3, 2.0, 53.05)), 3)
    0.06
    """
    limit = checked("speed_limit_m_s", speed_limit_m_s, above=0, unit="m/s")
    density = checked("density_kg_m3", density_kg_m3, above=0, unit="kg/m3")
    flow = checked("flow_kg_s", flow_kg_s, 0, unit="kg/s")
    return np.sqrt(4 * flow / (np.pi * density * limit))
