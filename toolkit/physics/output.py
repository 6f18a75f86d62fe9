"""Torque, power and fuel that an engine makes of its air, at given pressures around it."""

from dataclasses import dataclass

import numpy as np

from toolkit.physics import engine
from toolkit.physics.guard import checked

# Peak cylinder pressure over gross indicated mean effective pressure, for the friction's share
# that grows with it. From memory: 4.5 to 6 in petrol engines at full load.
PEAK_PER_IMEP = 5.0


@dataclass(frozen=True)
class Output:
    """What comes out; mean effective pressures [Pa], torque [N m], power [W], fuel [kg/s], bsfc
    [kg/J], NaN where there is no power."""

    imep_gross_pa: np.ndarray
    pmep_pa: np.ndarray
    fmep_pa: np.ndarray
    torque_nm: np.ndarray
    power_w: np.ndarray
    fuel_flow_kg_s: np.ndarray
    bsfc_kg_j: np.ndarray


def output(
    air_flow_kg_s, p_manifold_pa, p_exhaust_pa, speed_rpm, displacement_m3, stroke_m, fuel,
    lam=1.0, spark_retard_deg=0.0, indicated_efficiency=0.37, friction_scale=1.0,
):  # fmt: skip
    """Torque, power and fuel of a four-stroke spark-ignition engine. An Output.

    Dry air [kg/s] >= 0, manifold and exhaust manifold pressure, absolute [Pa] > 0, speed [rpm]
    > 0, displacement [m3] > 0, stroke [m] > 0, a fuel.Fuel, lambda 0.5 to 20, degrees of spark
    later than best 0 to 30, gross indicated efficiency at lambda 1 and best spark 0 to 0.7,
    scale of the friction >= 0. Broadcast; NaN passes. ValueError outside.

    T = V/(4 pi) (IMEP_gross - (p3 - p_i) - FMEP); IMEP_gross from the heat that the air can
    burn, with engine.mixture_factor and engine.spark_factor.
    Source: Heywood, Internal Combustion Engine Fundamentals (1988), secs. 2.7, 5.5 and 13.

    >>> from toolkit.physics.fuel import FUELS
    >>> made = output(0.30, 200e3, 210e3, 6000, 3.0e-3, 0.09, FUELS["gasoline"], lam=0.85)
    >>> round(float(made.power_w) / 1e3), round(float(made.bsfc_kg_j) * 3.6e9)
    (294, 296)
    """
    air = checked("air_flow_kg_s", air_flow_kg_s, 0, unit="kg/s")
    efficiency = checked("indicated_efficiency", indicated_efficiency, 0, 0.7)
    burned_w = air * fuel.lhv_j_kg / fuel.afr_stoich * efficiency
    burned_w = burned_w * engine.mixture_factor(lam) * engine.spark_factor(spark_retard_deg)
    cycles_s = checked("speed_rpm", speed_rpm, above=0, unit="rpm") / 120
    imep = burned_w / (cycles_s * checked("displacement_m3", displacement_m3, above=0, unit="m3"))
    pmep = checked("p_exhaust_pa", p_exhaust_pa, above=0, unit="Pa") - checked(
        "p_manifold_pa", p_manifold_pa, above=0, unit="Pa"
    )
    fmep = engine.fmep_pa(speed_rpm, PEAK_PER_IMEP * imep, stroke_m, friction_scale)
    torque = engine.torque_nm(imep - pmep - fmep, displacement_m3)
    power = engine.power_w(torque, speed_rpm)
    burned_kg_s = air / fuel.afr(lam)
    bsfc = burned_kg_s / np.where(power > 0, power, np.nan)
    return Output(imep, pmep, fmep, torque, power, burned_kg_s, bsfc)
