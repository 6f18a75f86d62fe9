"""Four-stroke engine: air taken in, mean effective pressures, friction, mixture and spark."""

import numpy as np

from toolkit.physics.gas import R_AIR_J_KGK
from toolkit.physics.guard import checked

LAMBDA_BEST_TORQUE = 0.88
BAR_PA = 1e5


def air_flow_kg_s(volumetric_efficiency, displacement_m3, speed_rpm, p_manifold_pa, t_charge_k):
    """Air that a four-stroke engine takes in: speed-density. [kg/s]

    Volumetric efficiency referred to the manifold, 0 to 1.5, displacement [m3] >= 0, speed
    [rpm] >= 0, manifold pressure, absolute [Pa] >= 0, charge temperature [K] > 0; broadcast;
    NaN passes. ValueError outside.
    Source: Heywood, Internal Combustion Engine Fundamentals (1988), sec. 2.10.

    >>> round(float(air_flow_kg_s(0.95, 2.0e-3, 6000, 200e3, 313.15)), 5)
    0.21137
    """
    efficiency = checked("volumetric_efficiency", volumetric_efficiency, 0, 1.5)
    return efficiency * _ideal_air_flow_kg_s(displacement_m3, speed_rpm, p_manifold_pa, t_charge_k)


def volumetric_efficiency(air_flow_kg_s, displacement_m3, speed_rpm, p_manifold_pa, t_charge_k):
    """Air taken in over what the displacement holds at manifold state. [-]

    Air flow [kg/s] >= 0; the others as in air_flow_kg_s, all > 0; broadcast; NaN passes.
    ValueError outside. Source: Heywood (1988), sec. 2.10.

    >>> round(float(volumetric_efficiency(0.21137, 2.0e-3, 6000, 200e3, 313.15)), 3)
    0.95
    """
    flow = checked("air_flow_kg_s", air_flow_kg_s, 0, unit="kg/s")
    ideal = _ideal_air_flow_kg_s(displacement_m3, speed_rpm, p_manifold_pa, t_charge_k)
    return flow / checked("air flow of a perfect filling", ideal, above=0, unit="kg/s")


def _ideal_air_flow_kg_s(displacement_m3, speed_rpm, p_pa, t_k):
    displacement = checked("displacement_m3", displacement_m3, 0, unit="m3")
    cycles_s = checked("speed_rpm", speed_rpm, 0, unit="rpm") / 120
    p = checked("p_manifold_pa", p_pa, 0, unit="Pa")
    t = checked("t_charge_k", t_k, above=0, unit="K")
    return displacement * cycles_s * p / (R_AIR_J_KGK * t)


def pressure_ratio(p_out_pa, p_in_pa):
    """Absolute pressure after over before. [-]

    Both absolute [Pa], > 0; broadcast; NaN passes. ValueError outside: a gauge pressure below
    zero is one sign that the barometer was not added.
    Source: definition.

    >>> round(float(pressure_ratio(196.5e3, 99e3)), 3)
    1.985
    """
    p_out = checked("p_out_pa", p_out_pa, above=0, unit="Pa")
    return p_out / checked("p_in_pa", p_in_pa, above=0, unit="Pa")


def density_ratio(p_out_pa, t_out_k, p_in_pa, t_in_k):
    """Density of dry air after over before: what the engine gains from boost and cooler. [-]

    Pressures absolute [Pa] > 0, temperatures [K] > 0; broadcast; NaN passes. ValueError
    outside. Source: ideal gas.

    >>> round(float(density_ratio(196.5e3, 313.15, 99e3, 298.15)), 3)
    1.89
    """
    t_out = checked("t_out_k", t_out_k, above=0, unit="K")
    return pressure_ratio(p_out_pa, p_in_pa) * checked("t_in_k", t_in_k, above=0, unit="K") / t_out


def breathing_bracket(exhaust_to_manifold, compression_ratio, gamma=1.4):
    """Ideal-cycle volumetric efficiency against back pressure; 1 where it equals boost. [-]

    Exhaust over manifold pressure, absolute, 0.1 to 10, compression ratio > 1, ratio of heat
    capacities > 1; broadcast; NaN passes. ValueError outside. Residual gas only: measured
    turbocharged petrol engines lose three to six times as much, so this is a lower bound.
    Source: Heywood (1988), sec. 6.2, ideal four-stroke cycle.

    >>> round(float(breathing_bracket(1.5, 9.0)), 4)
    0.9554
    """
    ratio, r, g = _bracket_arguments(exhaust_to_manifold, compression_ratio, gamma)
    return (r - (ratio + g - 1) / g) / (r - 1)


def breathing_bracket_isentropic(exhaust_to_manifold, compression_ratio, gamma=1.4):
    """The other published form: residual gas first expands without heat to boost. [-]

    Arguments, range and errors as breathing_bracket: pressures absolute, ratio 0.1 to 10.
    Source: R. K. Rajput, Internal Combustion Engines, ch. 7.

    >>> round(float(breathing_bracket_isentropic(1.5, 9.0)), 4)
    0.958
    """
    ratio, r, g = _bracket_arguments(exhaust_to_manifold, compression_ratio, gamma)
    return (r - ratio ** (1 / g)) / (r - 1)


def _bracket_arguments(exhaust_to_manifold, compression_ratio, gamma):
    ratio = checked("exhaust_to_manifold", exhaust_to_manifold, 0.1, 10)
    r = checked("compression_ratio", compression_ratio, above=1)
    return ratio, r, checked("gamma", gamma, above=1)


def bmep_pa(torque_nm, displacement_m3):
    """Mean effective pressure of a four-stroke torque. [Pa]

    Torque [N m], displacement [m3] > 0; broadcast; NaN passes. ValueError outside.
    Source: Heywood (1988), sec. 2.7: work per cycle over displacement, two turns a cycle.

    >>> round(float(bmep_pa(400, 2.0e-3)) / 1e5, 4)
    25.1327
    """
    displacement = checked("displacement_m3", displacement_m3, above=0, unit="m3")
    return 4 * np.pi * np.asarray(torque_nm, dtype=float) / displacement


def torque_nm(mep_pa, displacement_m3):
    """Torque of a four-stroke mean effective pressure; the inverse of bmep_pa. [N m]

    Mean effective pressure [Pa], displacement [m3] >= 0; broadcast; NaN passes. ValueError
    outside. Source: Heywood (1988), sec. 2.7.

    >>> round(float(torque_nm(25.1327e5, 2.0e-3)))
    400
    """
    displacement = checked("displacement_m3", displacement_m3, 0, unit="m3")
    return np.asarray(mep_pa, dtype=float) * displacement / (4 * np.pi)


def power_w(torque_nm, speed_rpm):
    """Shaft power. [W]

    Torque [N m], speed [rpm] >= 0; broadcast; NaN passes. ValueError outside.
    Source: torque times angular speed.

    >>> round(float(power_w(400, 6000)))
    251327
    """
    speed = checked("speed_rpm", speed_rpm, 0, unit="rpm")
    return np.asarray(torque_nm, dtype=float) * speed * np.pi / 30


def pumping_power_w(p_exhaust_pa, p_manifold_pa, displacement_m3, speed_rpm):
    """Power spent on pushing exhaust out against back pressure, ideal. [W]

    Exhaust and manifold pressure, absolute [Pa] > 0, displacement [m3] >= 0, speed [rpm] >= 0;
    broadcast; NaN passes. ValueError outside. Negative where boost exceeds back pressure. A
    lower bound: valve losses, residual gas and knock come on top.
    Source: Heywood (1988), sec. 5.5: pumping mean effective pressure = exhaust - intake.

    >>> psi, litre, hp = 6894.757, 1e-3, 745.6999
    >>> round(float(pumping_power_w(45 * psi, 30 * psi, 5.7 * litre, 6500)) / hp, 1)
    42.8
    """
    exhaust = checked("p_exhaust_pa", p_exhaust_pa, above=0, unit="Pa")
    loss_pa = exhaust - checked("p_manifold_pa", p_manifold_pa, above=0, unit="Pa")
    return power_w(torque_nm(loss_pa, displacement_m3), speed_rpm)


def mean_piston_speed_m_s(stroke_m, speed_rpm):
    """Mean piston speed. [m/s]

    Stroke [m] > 0, speed [rpm] >= 0; broadcast; NaN passes. ValueError outside.
    Source: two strokes a turn.

    >>> round(float(mean_piston_speed_m_s(0.086, 6000)), 6)
    17.2
    """
    stroke = checked("stroke_m", stroke_m, above=0, unit="m")
    return 2 * stroke * checked("speed_rpm", speed_rpm, 0, unit="rpm") / 60


def fmep_pa(speed_rpm, p_peak_pa, stroke_m, scale=1.0):
    """Friction mean effective pressure without pumping. [Pa]

    Speed [rpm] >= 0, peak cylinder pressure [Pa] >= 0, stroke [m] > 0, and a scale >= 0 for
    fitting; broadcast; NaN passes. ValueError outside.
    Source: form of S. K. Chen & P. F. Flynn, SAE 650733; its constants in the set common for
    spark-ignition engines (0.4 bar, 0.005, 0.09, 0.0009) are from memory.

    >>> round(float(fmep_pa(6000, 80e5, 0.086)) / 1e5, 4)
    2.6143
    """
    piston = mean_piston_speed_m_s(stroke_m, speed_rpm)
    peak_bar = checked("p_peak_pa", p_peak_pa, 0, unit="Pa") / BAR_PA
    loss_bar = 0.4 + 0.005 * peak_bar + 0.09 * piston + 0.0009 * piston**2
    return checked("scale", scale, 0) * BAR_PA * loss_bar


def fmep_with_pumping_pa(speed_rpm):
    """Friction of an unboosted engine at full throttle, pumping included. [Pa]

    Speed [rpm], 0 to 10000; number or array; NaN passes. ValueError outside. Never add the
    pumping loss to it again.
    Source: form of Barnes-Moss as given by Heywood (1988), sec. 13.6; from memory.

    >>> round(float(fmep_with_pumping_pa(6000)) / 1e5, 2)
    3.67
    """
    thousands = checked("speed_rpm", speed_rpm, 0, 10000, "rpm") / 1000
    return BAR_PA * (0.97 + 0.15 * thousands + 0.05 * thousands**2)


def bsfc_kg_j(fuel_flow_kg_s, power_w):
    """Fuel burned per work at the shaft. [kg/J]

    Fuel flow [kg/s] >= 0, shaft power [W] > 0; broadcast; NaN passes. ValueError outside.
    Source: definition.

    >>> round(float(bsfc_kg_j(22.5e-3, 300e3)) * 3.6e9)  # g/kWh
    270
    """
    flow = checked("fuel_flow_kg_s", fuel_flow_kg_s, 0, unit="kg/s")
    return flow / checked("power_w", power_w, above=0, unit="W")


def brake_efficiency(bsfc_kg_j, lhv_j_kg):
    """Work at the shaft over heat in the fuel. [-]

    Specific consumption [kg/J] > 0, lower heating value [J/kg] > 0; broadcast; NaN passes.
    ValueError outside. Source: definition.

    >>> round(float(brake_efficiency(270 / 3.6e9, 43.4e6)), 4)
    0.3072
    """
    bsfc = checked("bsfc_kg_j", bsfc_kg_j, above=0, unit="kg/J")
    return 1 / (bsfc * checked("lhv_j_kg", lhv_j_kg, above=0, unit="J/kg"))


def mixture_factor(lam):
    """Torque at fixed air flow against that at lambda 1. [-]

    Lambda, 0.5 to 20; number or array; NaN passes. ValueError outside. Rich of 1 all air
    burns, best at 0.88; lean of 1 the fuel is what limits, so torque falls as 1/lambda.
    Source: rich, the cosine of J. J. Moskwa & J. K. Hedrick (American Control Conference,
    1987), constant from memory, its peak moved to lambda 0.88 (common practice: 0.85 to 0.92).

    >>> [round(float(mixture_factor(lam)), 3) for lam in (0.78, 0.88, 1.0, 1.25)]
    [1.008, 1.026, 1.0, 0.8]
    """
    lam = checked("lam", lam, 0.5, 20)
    return np.where(lam < 1, _richness(np.minimum(lam, 1)) / _richness(1.0), 1 / lam)[()]


def _richness(lam):
    return np.cos(np.radians(7.3834 * 14.7 * (lam - LAMBDA_BEST_TORQUE)))


def spark_factor(degrees_from_best):
    """Torque against that at best spark. [-]

    Degrees of crank away from best, either way, -30 to 30; number or array; NaN passes.
    ValueError outside. Tells nothing about knock.
    Source: cos(x)^2.875 of Moskwa & Hedrick (American Control Conference, 1987); from memory.

    >>> round(float(spark_factor(10)), 3)
    0.957
    """
    away = checked("degrees_from_best", degrees_from_best, -30, 30, "degrees")
    return np.cos(np.radians(away)) ** 2.875
