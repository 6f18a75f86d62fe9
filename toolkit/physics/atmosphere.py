"""The 1976 standard atmosphere up to 11 km, density altitude, station and sea-level pressure."""

import numpy as np

from toolkit.physics.guard import checked

T_SEA_LEVEL_K = 288.15
P_SEA_LEVEL_PA = 101325.0
DENSITY_SEA_LEVEL_KG_M3 = 1.225
_LAPSE_K_M = 0.0065
_EARTH_RADIUS_M = 6356766.0
_EXPONENT = 9.80665 * 28.9644e-3 / (8.31432 * _LAPSE_K_M)  # g M / (R L), the 1976 constants
_LOWEST_M, _HIGHEST_M = -2000, 11000


def geopotential_m(altitude_m):
    """Height of equal potential energy under constant gravity. [m]

    Geometric altitude [m], -2000 to 11000; number or array; NaN passes. ValueError outside.
    Source: U.S. Standard Atmosphere, 1976 (NASA-TM-X-74335), eq. 18.

    >>> round(float(geopotential_m(1524)), 2)
    1523.63
    """
    z = checked("altitude_m", altitude_m, _LOWEST_M, _HIGHEST_M, "m")
    return _EARTH_RADIUS_M * z / (_EARTH_RADIUS_M + z)


def standard_temperature_k(altitude_m):
    """Temperature of the standard atmosphere. [K]

    Geometric altitude [m], -2000 to 11000; number or array; NaN passes. ValueError outside.
    Source: U.S. Standard Atmosphere, 1976.

    >>> round(float(standard_temperature_k(1524)), 3)
    278.246
    """
    return T_SEA_LEVEL_K - _LAPSE_K_M * geopotential_m(altitude_m)


def standard_pressure_pa(altitude_m):
    """Pressure of the standard atmosphere. [Pa]

    Geometric altitude [m], -2000 to 11000; number or array; NaN passes. ValueError outside.
    Source: U.S. Standard Atmosphere, 1976.

    >>> round(float(standard_pressure_pa(1524)))
    84311
    """
    return P_SEA_LEVEL_PA * (standard_temperature_k(altitude_m) / T_SEA_LEVEL_K) ** _EXPONENT


def standard_density_kg_m3(altitude_m):
    """Density of the standard atmosphere. [kg/m3]

    Geometric altitude [m], -2000 to 11000; number or array; NaN passes. ValueError outside.
    Source: U.S. Standard Atmosphere, 1976.

    >>> round(float(standard_density_kg_m3(1524)), 4)
    1.0556
    """
    theta = standard_temperature_k(altitude_m) / T_SEA_LEVEL_K
    return DENSITY_SEA_LEVEL_KG_M3 * theta ** (_EXPONENT - 1)


def density_altitude_m(density_kg_m3):
    """Geopotential altitude at which the standard atmosphere is this thin. [m]

    Air density [kg/m3], 0.36 to 1.6; number or array; NaN passes. ValueError outside.
    Source: U.S. Standard Atmosphere, 1976, inverted.

    >>> round(float(density_altitude_m(1.225)), 6)
    0.0
    """
    density = checked("density_kg_m3", density_kg_m3, 0.36, 1.6, "kg/m3")
    theta = (density / DENSITY_SEA_LEVEL_KG_M3) ** (1 / (_EXPONENT - 1))
    return T_SEA_LEVEL_K / _LAPSE_K_M * (1 - theta)


def station_pressure_pa(p_sea_level_pa, altitude_m):
    """What a barometer at altitude reads, from a report corrected to sea level. [Pa]

    Sea-level pressure as an altimeter setting (QNH) [Pa], 85e3 to 110e3, geometric altitude
    [m], -2000 to 11000; broadcast; NaN passes. ValueError outside. A report reduced with the
    day's own temperature instead differs, by about 0.25 % at 300 m and 20 K off standard.
    Source: ICAO Doc 7488, the standard atmosphere shifted to the day's pressure.

    >>> round(float(station_pressure_pa(101325, 1609.3)))
    83432
    """
    p = checked("p_sea_level_pa", p_sea_level_pa, 85e3, 110e3, "Pa")
    return (p ** (1 / _EXPONENT) - _shift(altitude_m)) ** _EXPONENT


def sea_level_pressure_pa(p_station_pa, altitude_m):
    """The altimeter setting that a station pressure amounts to. [Pa]

    Station pressure [Pa] > 0, geometric altitude [m], -2000 to 11000; broadcast; NaN passes.
    ValueError outside. Source: the inverse of station_pressure_pa.

    >>> round(float(sea_level_pressure_pa(83432.2, 1609.3)))
    101325
    """
    p = checked("p_station_pa", p_station_pa, above=0, unit="Pa")
    return (p ** (1 / _EXPONENT) + _shift(altitude_m)) ** _EXPONENT


def _shift(altitude_m):
    """The fall of p**(1/n) over the altitude; p**(1/n) is linear in it."""
    scale = P_SEA_LEVEL_PA ** (1 / _EXPONENT) / T_SEA_LEVEL_K
    return scale * _LAPSE_K_M * np.asarray(geopotential_m(altitude_m))
