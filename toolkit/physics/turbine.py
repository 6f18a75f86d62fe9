"""The turbine: what it passes and what it gives, at one of two levels.

(a) an effective area with one efficiency: two nozzles in series, volute and wheel, that share
the expansion evenly, so that flow saturates as late as a radial turbine's does (after Payri,
Benajes & Reyes, Int. J. Mech. Sci. 38, 1996, 853-869); (b) curves of corrected flow and
efficiency against expansion ratio. Gas properties vary with temperature and mixture
(gas.py): a constant 1.33 and 1150 J/kgK would understate rich exhaust's work by some 6 %.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import PchipInterpolator

from toolkit.physics import gas, nozzle
from toolkit.physics.guard import checked

MOST_EXPANSION = 8.0
GASOLINE = (gas.GASOLINE_H_TO_C, 0.0)


def flow_kg_s(area_m2, p_exhaust_pa, p_out_pa, t_exhaust_k, lam):
    """Exhaust through a turbine of an effective area. [kg/s]

    Effective area [m2] >= 0, pressure before > 0 and after it [Pa], absolute, temperature before
    it [K], 200 to 6000, lambda 0.5 to 20; broadcast; NaN passes. ValueError outside.
    Source: nozzle flow (Heywood, Internal Combustion Engine Fundamentals, 1988, app. C) at the
    square root of the pressure ratio: two nozzles in series, see the module's heading.

    >>> round(float(flow_kg_s(8e-4, 200e3, 110e3, 1150, 0.85)), 4)
    0.165
    """
    between = np.sqrt(checked("p_exhaust_pa", p_exhaust_pa, above=0, unit="Pa") * p_out_pa)
    gamma = gas.gamma_burned(t_exhaust_k, lam)
    return nozzle.flow_kg_s(
        area_m2, p_exhaust_pa, between, t_exhaust_k, gamma, gas.r_burned_j_kgk(lam)
    )


def effective_area_m2(exhaust_kg_s, p_exhaust_pa, p_out_pa, t_exhaust_k, lam):
    """Effective area that passes a measured flow: the inverse of `flow_kg_s`. [m2]

    Flow [kg/s] >= 0, the others as there; NaN where no pressure drives it.

    >>> round(float(effective_area_m2(0.165, 200e3, 110e3, 1150, 0.85)) * 1e4, 2)
    8.0
    """
    per_area = flow_kg_s(1.0, p_exhaust_pa, p_out_pa, t_exhaust_k, lam)
    exhaust = checked("exhaust_kg_s", exhaust_kg_s, 0, unit="kg/s")
    return exhaust / np.where(per_area > 0, per_area, np.nan)


def isentropic_work_j_kg(t_exhaust_k, expansion_ratio, lam, fuel=GASOLINE):
    """Most work that the exhaust can give on the way down. [J/kg]

    Temperature before the turbine [K], 200 to 6000, expansion ratio p3/p4 >= 1, lambda 0.5 to
    20, the fuel's atoms of hydrogen and oxygen per carbon; broadcast; NaN passes. ValueError
    outside. Source: enthalpy of an isentropic step of burned gas, cp varying, composition
    frozen (gas.py).

    >>> round(float(isentropic_work_j_kg(1150, 2.0, 1.0)) / 1000, 1)
    212.5
    """
    ratio = checked("expansion_ratio", expansion_ratio, 1)
    end = gas.isentropic_t_burned_k(t_exhaust_k, 1 / ratio, lam, *fuel)
    return gas.h_burned_j_kg(t_exhaust_k, lam, *fuel) - gas.h_burned_j_kg(end, lam, *fuel)


def outlet_t_k(t_exhaust_k, expansion_ratio, efficiency, lam):
    """Temperature behind the turbine. [K]

    Arguments and errors as `isentropic_work_j_kg`, total-to-static efficiency 0 to 1.
    Source: definition of isentropic efficiency, Dixon, Fluid Mechanics and Thermodynamics of
    Turbomachinery, ch. 8, cp varying.

    >>> round(float(outlet_t_k(1150, 2.0, 0.7, 1.0)))
    1035
    """
    work = checked("efficiency", efficiency, 0, 1) * isentropic_work_j_kg(
        t_exhaust_k, expansion_ratio, lam
    )
    return gas.t_burned_k(gas.h_burned_j_kg(t_exhaust_k, lam) - work, lam)


@dataclass(frozen=True, eq=False)
class TurbineCurve:
    """Level (b): corrected flow [kg/s] and efficiency along expansion ratio p3/p4.

    Flow is corrected to the reference temperature [K] and pressure [Pa] at the turbine's inlet.
    Two points or more; monotone splines between them (Fritsch & Carlson 1980), NaN outside.
    Raises ValueError that names what is impossible.
    """

    expansion_ratio: tuple
    flow_kg_s: tuple
    efficiency: tuple
    t_ref_k: float
    p_ref_pa: float

    def __post_init__(self):
        ratio = checked("expansion_ratio", self.expansion_ratio, 1.001, MOST_EXPANSION)
        checked("flow_kg_s", self.flow_kg_s, above=0, unit="kg/s")
        checked("efficiency", checked("efficiency", self.efficiency, 0, 1), above=0)
        checked("t_ref_k", self.t_ref_k, 200, 1500, "K")
        checked("p_ref_pa", self.p_ref_pa, 1e4, 1e6, "Pa")
        if len(ratio) < 2 or np.any(np.diff(ratio) <= 0):
            raise ValueError("a turbine curve needs two or more points of rising expansion_ratio")
        if np.any(np.diff(self.flow_kg_s) < -1e-9 * np.max(self.flow_kg_s)):
            raise ValueError("a turbine curve's corrected flow must not fall with expansion_ratio")

    @cached_property
    def _splines(self):
        z = np.log(self.expansion_ratio)
        both = np.stack([self.flow_kg_s, self.efficiency], axis=1)
        spline = PchipInterpolator(z, both)
        return spline, spline.derivative()

    def at(self, expansion_ratio):
        """Corrected flow [kg/s] and efficiency at an expansion ratio; NaN off the curve."""
        return self._along(self._splines[0], expansion_ratio)

    def slope(self, expansion_ratio):
        """Change of both per natural logarithm of expansion ratio; NaN off the curve."""
        return self._along(self._splines[1], expansion_ratio)

    def _along(self, spline, expansion_ratio):
        ends = np.log([self.expansion_ratio[0], self.expansion_ratio[-1]])
        z = np.log(expansion_ratio)
        z = np.where((z < ends[0] - 1e-12) | (z > ends[1] + 1e-12), np.nan, z)
        return np.moveaxis(spline(z), -1, 0)
