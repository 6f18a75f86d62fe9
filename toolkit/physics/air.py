"""Humid air: vapour, dry pressure, density, and humidity from a dew point or a wet bulb.

Humidity is relative to saturation over liquid water at every temperature, also below
freezing, as the World Meteorological Organization defines it (WMO-No. 8). Air and vapour are
taken as ideal gases that ignore each other: the enhancement factor would raise the vapour
pressure by 0.4 %, at most 25 Pa in a test cell.
"""

import numpy as np

from toolkit.physics.gas import R_AIR_J_KGK
from toolkit.physics.guard import checked

R_VAPOUR_J_KGK = 461.52
ZERO_CELSIUS_K = 273.15
_MOLAR_RATIO = 0.621945  # water to dry air

# Wagner & Pruss: ln(p/p_critical) = T_critical/T * sum(a * tau**n), tau = 1 - T/T_critical.
_T_CRITICAL_K, _P_CRITICAL_PA = 647.096, 22.064e6
_A = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
_N = (1.0, 1.5, 3.0, 3.5, 4.0, 7.5)


def saturation_pressure_pa(t_k):
    """Pressure of water vapour in balance with liquid water. [Pa]

    Temperature [K], 230 to 647; below 273.16 the liquid is supercooled; number or array; NaN
    passes. ValueError outside.
    Source: W. Wagner & A. Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, as issued in IAPWS
    SR1-86(1992).

    >>> round(float(saturation_pressure_pa(298.15)), 1)
    3169.8
    """
    t = checked("t_k", t_k, 230, _T_CRITICAL_K, "K")
    tau = 1 - t / _T_CRITICAL_K
    series = sum(a * tau**n for a, n in zip(_A, _N, strict=True))
    return _P_CRITICAL_PA * np.exp(_T_CRITICAL_K / t * series)


def vapour_pressure_pa(t_k, humidity):
    """Partial pressure of the water vapour in air. [Pa]

    Air temperature [K], 230 to 647, relative humidity 0 to 1; broadcast; NaN passes.
    ValueError outside. Source: the definition of relative humidity, WMO-No. 8.

    >>> round(float(vapour_pressure_pa(303.15, 0.6)))
    2548
    """
    return checked("humidity", humidity, 0, 1) * saturation_pressure_pa(t_k)


def dry_pressure_pa(p_pa, t_k, humidity):
    """Pressure of the air without its water vapour: what most power corrections ask for. [Pa]

    Total pressure [Pa] > 0, temperature [K], 230 to 647, relative humidity 0 to 1; broadcast;
    NaN passes. ValueError outside, and where the vapour alone would exceed the total.
    Source: Dalton's law.

    >>> round(float(dry_pressure_pa(98e3, 303.15, 0.6)))
    95452
    """
    p = checked("p_pa", p_pa, above=0, unit="Pa")
    return checked("p_pa less its vapour", p - vapour_pressure_pa(t_k, humidity), 0, unit="Pa")[()]


def density_kg_m3(p_pa, t_k, humidity=0.0):
    """Density of humid air. [kg/m3]

    Total pressure [Pa] > 0, temperature [K], 230 to 647, relative humidity 0 to 1; broadcast;
    NaN passes. ValueError outside. Source: two ideal gases side by side; within 5e-4 of the
    real mixture (CIPM-2007, Metrologia 45, 149).

    >>> round(float(density_kg_m3(101325, 298.15, 0.5)), 4)
    1.1769
    """
    dry = dry_pressure_pa(p_pa, t_k, humidity)
    vapour = vapour_pressure_pa(t_k, humidity)
    return (dry / R_AIR_J_KGK + vapour / R_VAPOUR_J_KGK) / np.asarray(t_k, dtype=float)


def humidity_from_dew_point(t_k, t_dew_k):
    """Relative humidity of air of a known dew point. [-]

    Air temperature and dew point [K], 230 to 647, the dew point not above the air; broadcast;
    NaN passes. ValueError outside. A frost point, over ice, is not a dew point: at -10 C it would
    give a tenth too much. Source: the definition of the dew point, WMO-No. 8.

    >>> round(float(humidity_from_dew_point(303.15, 288.04)), 2)
    0.4
    """
    ratio = saturation_pressure_pa(t_dew_k) / saturation_pressure_pa(t_k)
    return checked("humidity from t_dew_k over t_k", ratio, 0, 1)[()]


def humidity_from_wet_bulb(t_k, t_wet_k, p_pa):
    """Relative humidity of air from a ventilated wet bulb. [-]

    Air and wet-bulb temperature [K], the wet bulb above freezing (below it may carry ice or
    not, and the reading cannot tell) and not above the air; total pressure [Pa] > 0;
    broadcast; NaN passes. ValueError outside, and where the wet bulb is colder than dry air
    could make it.
    Source: ASHRAE Handbook of Fundamentals (2017), ch. 1, the adiabatic saturation balance.

    >>> round(float(humidity_from_wet_bulb(303.15, 293.15, 100e3)), 3)
    0.399
    """
    t_c = checked("t_k", t_k, 230, 647, "K") - ZERO_CELSIUS_K
    wet_c = checked("t_wet_k", t_wet_k, ZERO_CELSIUS_K, 647, "K") - ZERO_CELSIUS_K
    p = checked("p_pa", p_pa, above=0, unit="Pa")
    saturated = _water_ratio(saturation_pressure_pa(wet_c + ZERO_CELSIUS_K), p)
    water = ((2501 - 2.326 * wet_c) * saturated - 1.006 * (t_c - wet_c)) / (
        2501 + 1.86 * t_c - 4.186 * wet_c
    )
    vapour = p * water / (_MOLAR_RATIO + water)
    humidity = vapour / saturation_pressure_pa(t_c + ZERO_CELSIUS_K)
    return checked("humidity from t_wet_k under t_k", humidity, 0, 1)[()]


def _water_ratio(vapour_pa, p_pa):
    """Mass of water per mass of dry air."""
    return _MOLAR_RATIO * vapour_pa / (p_pa - vapour_pa)
