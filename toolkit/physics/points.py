"""What goes into a match and what comes out: points, their solution, and what limits each."""

from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np

from toolkit.physics.gate import Gate

# Stands in where bypass is free.
NO_GATE = Gate(1e-4, 1e-4, preload_n=1.0, rate_n_m=1.0, max_lift_m=1.0)


class Regime(IntEnum):
    """What limits a point."""

    BELOW_TARGET = 1  # gate shut, target not reached
    HOLDING = 2  # on target, the gate passing what is left over
    PUSHED_OPEN = 3  # back pressure opens the gate: boost falls short
    CREEP = 4  # gate at its stop, boost above target
    SPRING_ABOVE_TARGET = 5  # the spring alone holds more than the target
    SURGE = 6  # left of the compressor map
    CHOKE = 7  # right of it
    ABOVE_MAP = 8  # beyond its top speed line
    BELOW_MAP = 9  # under its lowest speed line
    OFF_TURBINE_CURVE = 10  # the curve does not reach there
    UNKNOWN = 11  # an input is not known (NaN), or the search did not settle

    @property
    def solved(self):
        return self <= Regime.SPRING_ABOVE_TARGET


@dataclass(frozen=True)
class Points:
    """What is known of each point: numbers or arrays that broadcast against each other.

    volume_flow_m3_s: what the engine would take in at p3 = p_i: VE * displacement * rpm / 120.
    breathing_linear, breathing_log: change of that with p3/p_i: factor
        (1 + linear (p3/p_i - 1)) exp(log (p3/p_i - 1)).
    p_cell_pa, t_cell_k, r_intake_j_kgk: the air. p_target_pa: absolute manifold pressure.
    intake_loss, cooler_loss, exhaust_loss: drop * p / (T flow^2), by the gas on its way in.
    effectiveness, t_medium_k: of the charge cooler; 0 for none.
    exhaust_per_air: exhaust over air mass, 1 + fuel/air. t_exhaust_k, lam: before the turbine.
    map, turbine: which of `maps` and `curves`. turbine_area_m2, turbine_efficiency: of each
        turbo; both 1 for a curve. mechanical_efficiency. turbos: how many in parallel.
    gate: a Gate whose fields may be arrays. gated: where it counts; elsewhere bypass is free,
        as with a gate that always copes. gate_share: how much of the boost its control can take
        off the diaphragm (Gate.share_limit).
    """

    volume_flow_m3_s: np.ndarray
    breathing_linear: np.ndarray
    breathing_log: np.ndarray
    p_cell_pa: np.ndarray
    t_cell_k: np.ndarray
    r_intake_j_kgk: np.ndarray
    p_target_pa: np.ndarray
    intake_loss: np.ndarray
    cooler_loss: np.ndarray
    exhaust_loss: np.ndarray
    effectiveness: np.ndarray
    t_medium_k: np.ndarray
    exhaust_per_air: np.ndarray
    t_exhaust_k: np.ndarray
    lam: np.ndarray
    map: np.ndarray
    turbine: np.ndarray
    turbine_area_m2: np.ndarray
    turbine_efficiency: np.ndarray
    mechanical_efficiency: np.ndarray
    turbos: np.ndarray
    gated: np.ndarray = False
    gate_share: np.ndarray = 0.0
    gate: Gate = NO_GATE


@dataclass(frozen=True)
class Match:
    """The solved points; NaN where `regime` says that there is no solution.

    residual: the larger of both conditions' relative errors. Flows, areas and powers are of all
    turbos together; shaft speeds and corrected flow of one.
    """

    regime: np.ndarray
    residual: np.ndarray
    air_flow_kg_s: np.ndarray
    p_compressor_in_pa: np.ndarray
    pressure_ratio: np.ndarray
    p_compressor_out_pa: np.ndarray
    t_compressor_out_k: np.ndarray
    compressor_efficiency: np.ndarray
    compressor_power_w: np.ndarray
    corrected_flow_kg_s: np.ndarray
    corrected_speed_rpm: np.ndarray
    shaft_speed_rpm: np.ndarray
    map_position: np.ndarray
    p_manifold_pa: np.ndarray
    t_charge_k: np.ndarray
    p_exhaust_pa: np.ndarray
    p_turbine_out_pa: np.ndarray
    t_turbine_out_k: np.ndarray
    turbine_flow_kg_s: np.ndarray
    bypass_share: np.ndarray
    gate_lift_m: np.ndarray

    def reshape(self, *shape):
        """Every array in another shape."""
        return self._each(lambda a: a.reshape(*shape))

    def __getitem__(self, index):
        return self._each(lambda a: a[index])

    def _each(self, change):
        return Match(**{f.name: change(getattr(self, f.name)) for f in fields(self)})
