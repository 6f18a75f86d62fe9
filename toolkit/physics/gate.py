"""The gate (wastegate): which forces hold it shut, how far it opens, what it passes.

Forces at the valve, opening positive, with L the rod's travel per travel of the valve:

    (p3 - p4) A_v + L [(p_b - p_t) A_d - F0 - k L x]

Back pressure p3 - p4 pushes the valve of area A_v open. The diaphragm of area A_d opens it with
bottom port minus top port pressure; preload F0 and rate k of the spring shut it; x is the lift.
The balance is textbook statics. It takes the whole drop to act on the whole valve at every
lift, and leaves friction and the rod's own area out.
"""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.physics import nozzle
from toolkit.physics.guard import checked


@dataclass(frozen=True)
class Gate:
    """A gate as measured with a ruler, a caliper and a test stand; numbers or arrays.

    valve_area_m2, diaphragm_area_m2: what back pressure and boost act on [m2] > 0.
    preload_n: spring force at the rod with the valve shut [N] >= 0.
    rate_n_m: spring rate at the rod [N/m] > 0.
    max_lift_m: valve lift at the stop [m] > 0.
    ports: 1, or 2 where a top port can help the spring. bled: a one-port gate whose line is bled
    by a solenoid. Either lets the control take away the boost that opens the gate.
    lever_ratio: rod travel per valve travel, 1 for a poppet, arm lengths' ratio for a swing valve.
    port_area_m2: narrowest opening behind the valve [m2] > 0; the valve's own area when None.
    discharge: of the open valve, 0 to 1; 0.7 is from memory, typical of a poppet.

    Raises ValueError that names the field, the value and the range.
    """

    valve_area_m2: float
    diaphragm_area_m2: float
    preload_n: float
    rate_n_m: float
    max_lift_m: float
    ports: int = 1
    bled: bool = False
    lever_ratio: float = 1.0
    port_area_m2: float | None = None
    discharge: float = 0.7

    def __post_init__(self):
        checked("preload_n", self.preload_n, 0, unit="N")
        checked("discharge", self.discharge, 0, 1)
        lengths = {"valve_area_m2": "m2", "diaphragm_area_m2": "m2", "max_lift_m": "m"}
        for name, unit in (lengths | {"rate_n_m": "N/m", "lever_ratio": ""}).items():
            checked(name, getattr(self, name), above=0, unit=unit)
        if self.port_area_m2 is not None:
            checked("port_area_m2", self.port_area_m2, above=0, unit="m2")
        if self.ports not in (1, 2):
            raise ValueError(f"ports is {self.ports}: a gate has 1 or 2")

    @property
    def rating_gauge_pa(self):
        """Boost that cracks it without back pressure, F0 / A_d: the spring's rating. [Pa]"""
        return self.preload_n / self.diaphragm_area_m2

    @property
    def area_ratio(self):
        """Boost that one unit of back pressure is worth, A_v / (L A_d). [-]"""
        return self.valve_area_m2 / (self.lever_ratio * self.diaphragm_area_m2)

    @property
    def share_limit(self):
        """Largest share of the boost that the control can take off the diaphragm, 0 or 1."""
        return 1.0 if self.ports == 2 or self.bled else 0.0

    def with_rating(self, rating_gauge_pa):
        """The same gate with another spring, by its rating [Pa, gauge]; the rate is kept."""
        return replace(self, preload_n=rating_gauge_pa * self.diaphragm_area_m2)


def net_force_n(gate, exhaust_drop_pa, diaphragm_drop_pa, lift_m=0.0):
    """Force at the valve that is left to open it; below zero it is held shut. [N]

    exhaust_drop_pa: exhaust manifold minus turbine outlet pressure [Pa].
    diaphragm_drop_pa: bottom minus top port pressure [Pa]; boost * (1 - share). One port: boost.
    lift_m: valve lift [m] >= 0. Broadcasts with the gate's own fields; NaN passes.
    Raises ValueError on a lift below zero. Source: force balance in this module's heading.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> round(float(net_force_n(gate, 100e3, 80e3)), 6)
    20.0
    """
    lift = checked("lift_m", lift_m, 0, unit="m")
    rod = np.asarray(diaphragm_drop_pa, dtype=float) * gate.diaphragm_area_m2 - gate.preload_n
    rod = rod - gate.rate_n_m * gate.lever_ratio * lift
    return exhaust_drop_pa * gate.valve_area_m2 + gate.lever_ratio * rod


def lift_m(gate, exhaust_drop_pa, diaphragm_drop_pa):
    """Lift at which the forces balance, between seat and stop. [m]

    Arguments as in `net_force_n`. Source: the same balance solved for the lift.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> round(float(lift_m(gate, 100e3, 80e3)), 6)
    0.0025
    """
    opening = net_force_n(gate, exhaust_drop_pa, diaphragm_drop_pa)
    free = opening / (gate.rate_n_m * gate.lever_ratio**2)
    return np.clip(free, 0.0, gate.max_lift_m)


def _port_area_m2(gate):
    return gate.valve_area_m2 if gate.port_area_m2 is None else gate.port_area_m2


def _seat_circumference_m(gate):
    return 2 * np.sqrt(np.pi * np.asarray(gate.valve_area_m2, dtype=float))


def flow_area_m2(gate, lift_m):
    """Open area at a lift: the curtain pi d x, at most the port. [m2]

    Lift [m] >= 0; the curtain of a swing valve is taken at its middle. ValueError below zero.
    Source: curtain and port area of a poppet valve, Heywood (1988), section 6.3.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> [round(float(a) * 1e4, 2) for a in flow_area_m2(gate, [0, 0.005, 0.02])]
    [0.0, 5.6, 10.0]
    """
    curtain = _seat_circumference_m(gate) * checked("lift_m", lift_m, 0, unit="m")
    return np.minimum(curtain, _port_area_m2(gate))


def lift_for_area_m(gate, area_m2):
    """Lift that opens an area, the inverse of `flow_area_m2`; NaN above what opens. [m]

    Area [m2] >= 0, broadcasts. ValueError below zero. Source: the same curtain.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> [round(float(x) * 1e3, 3) for x in lift_for_area_m(gate, [5.6e-4, 11e-4])]
    [4.996, nan]
    """
    area = checked("area_m2", area_m2, 0, unit="m2")
    reachable = area <= flow_area_m2(gate, gate.max_lift_m)
    return np.where(reachable, area / _seat_circumference_m(gate), np.nan)


def flow_kg_s(gate, lift_m, p_exhaust_pa, p_turbine_out_pa, t_exhaust_k, gamma, r_j_kgk):
    """Exhaust gas that goes past the turbine at a lift. [kg/s]

    Lift [m] >= 0, pressures [Pa], temperature [K], gas as in `nozzle.flow_kg_s`, which raises
    outside its ranges. Source: nozzle flow (Heywood 1988, app. C) through `flow_area_m2`.

    >>> gate = Gate(9.0792e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.02)
    >>> round(float(flow_kg_s(gate, 0.02, 250e3, 130e3, 1150, 1.33, 288)), 4)
    0.1857
    """
    area = flow_area_m2(gate, lift_m)
    return nozzle.flow_kg_s(
        area, p_exhaust_pa, p_turbine_out_pa, t_exhaust_k, gamma, r_j_kgk, gate.discharge
    )


def crack_boost_gauge_pa(gate, exhaust_drop_pa=0.0, share=0.0):
    """Boost at which the gate begins to open. [Pa, gauge]

    exhaust_drop_pa: exhaust manifold minus turbine outlet [Pa]. share: what the control takes
    off the diaphragm, 0 (spring alone) to 1 (top port fully fed). Below zero: back pressure alone
    opens it. At share 1: infinite where the spring holds, minus infinite where it does not.
    Broadcasts, NaN passes; ValueError on a share outside 0 to 1. Source: `net_force_n` = 0.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> [round(float(p)) for p in crack_boost_gauge_pa(gate, [0, 100e3])]
    [100000, 75000]
    """
    reach = 1.0 - checked("share", share, 0, 1)
    spare = gate.rating_gauge_pa - gate.area_ratio * np.asarray(exhaust_drop_pa, dtype=float)
    with np.errstate(divide="ignore"):
        return spare / reach


def holding_drop_pa(gate, boost_gauge_pa=0.0, share=1.0):
    """Largest exhaust drop p3 - p4 against which the gate stays shut. [Pa]

    With the top port fully fed (share 1, the default) the boost cancels and the spring alone
    holds: rating / area ratio. Boost [Pa, gauge]; share >= 0 (above 1 with an outside supply).
    Below zero: boost alone opens it. Broadcasts. ValueError on a share below 0.
    Source: `net_force_n` = 0.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01)
    >>> float(holding_drop_pa(gate))
    400000.0
    """
    opening = np.asarray(boost_gauge_pa, dtype=float) * (1.0 - checked("share", share, 0))
    return (gate.rating_gauge_pa - opening) / gate.area_ratio


def window_gauge_pa(gate, drop_per_boost):
    """Boost the spring supports: lowest (spring alone) and highest (control at its limit). [Pa]

    drop_per_boost: exhaust drop p3 - p4 over gauge boost at this speed >= 0, taken to stay
    the same as boost changes (an estimate; the solved match needs none). Without a control both
    ends are one. Broadcasts, NaN passes. ValueError below 0. Source: `net_force_n` = 0.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01, ports=2)
    >>> [round(float(p)) for p in window_gauge_pa(gate, 1.0)]
    [80000, 400000]
    """
    slope = gate.area_ratio * checked("drop_per_boost", drop_per_boost, 0)
    with np.errstate(divide="ignore"):
        low, high = gate.rating_gauge_pa / (1 + slope), gate.rating_gauge_pa / slope
    return low, high if gate.share_limit else low


def share_needed(gate, boost_gauge_pa, exhaust_drop_pa, lift_m=0.0):
    """Share of the boost the control must take off for the gate to balance at a lift. [-]

    Top-port pressure over boost with two ports. Above 1: pushed open whatever the control does.
    Below 0: the gate holds less than this boost back, even on the spring alone. Boost > 0 [Pa,
    gauge], exhaust drop [Pa], lift [m] >= 0; broadcasts. ValueError outside.
    Source: `net_force_n` = 0.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01, ports=2)
    >>> round(float(share_needed(gate, 150e3, 100e3)), 3)
    0.5
    """
    boost = checked("boost_gauge_pa", boost_gauge_pa, above=0, unit="Pa")
    return net_force_n(gate, exhaust_drop_pa, boost, lift_m) / (
        gate.lever_ratio * gate.diaphragm_area_m2 * boost
    )


def lightest_rating_gauge_pa(gate, exhaust_drop_pa, boost_gauge_pa=0.0, margin=1.0, axis=None):
    """Lightest spring that holds a boost against back pressure, the control at its limit. [Pa]

    Exhaust drop p3 - p4 [Pa] at that boost [Pa, gauge]; with a control at its limit the boost
    cancels and counts for nothing. Largest along `axis` (all when None; NaN, not known, is left
    out), times the margin >= 1. A gauge pressure. ValueError on a margin below 1.
    Source: `holding_drop_pa` solved for the rating.

    >>> gate = Gate(10e-4, 40e-4, preload_n=400, rate_n_m=8000, max_lift_m=0.01, ports=2)
    >>> round(float(lightest_rating_gauge_pa(gate, [100e3, 200e3], margin=1.1)))
    55000
    """
    opening = np.asarray(boost_gauge_pa, dtype=float) * (1.0 - gate.share_limit)
    needed = gate.area_ratio * np.asarray(exhaust_drop_pa, dtype=float) + opening
    return np.fmax.reduce(needed, axis=axis) * checked("margin", margin, 1)
