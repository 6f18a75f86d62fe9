"""What goes into a match and what comes out: points, their solution, and what limits each."""

from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np

from toolkit.physics.gate import Gate
from toolkit.physics.guard import checked

# What is possible at all, by field: lowest, highest, unit.
_RANGES = {
    "volume_flow_m3_s": (1e-6, 100, "m3/s"),
    "breathing_linear": (-1, 1, ""),
    "breathing_log": (-3, 1, ""),
    "p_cell_pa": (2e4, 2e5, "Pa"),
    "t_cell_k": (210, 340, "K"),
    "r_intake_j_kgk": (280, 310, "J/kgK"),
    "p_target_pa": (1e4, 2e6, "Pa"),
    "intake_loss": (0, np.inf, ""),
    "cooler_loss": (0, np.inf, ""),
    "exhaust_loss": (0, np.inf, ""),
    "effectiveness": (0, 1, ""),
    "t_medium_k": (210, 400, "K"),
    "exhaust_per_air": (1, 2, ""),
    "t_exhaust_k": (400, 2000, "K"),
    "lam": (0.5, 20, ""),
    "turbine_area_m2": (1e-6, 2, "m2"),
    "turbine_efficiency": (0.05, 1, ""),
    "mechanical_efficiency": (0.05, 1, ""),
    "turbos": (1, 16, ""),
    "gate_share": (0, 1, ""),
}

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
    OFF_TURBINE = 10  # expansion beyond the turbine's curve, or beyond 8 to 1
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

    def __post_init__(self):
        for name, (low, high, unit) in _RANGES.items():
            checked(name, getattr(self, name), low, high, unit)

    def flat(self):
        """The same with every field, the gate's too, an array of one axis and one length."""
        names = [f.name for f in fields(self) if f.name != "gate"]
        gate = gate_arrays(self.gate)
        arrays = np.broadcast_arrays(*(getattr(self, n) for n in names), *gate.values())
        flat = dict(zip([*names, *gate], map(np.ravel, arrays), strict=True))
        flat |= {n: flat[n].astype(np.intp) for n in ("map", "turbine", "turbos")}
        own = {n: flat.pop(n) for n in gate}
        return Points(**flat, gate=replace(self.gate, **own))

    def take(self, index):
        """Some of flat points."""
        own = {f.name: getattr(self, f.name)[index] for f in fields(self) if f.name != "gate"}
        gate = {k: v[index] for k, v in gate_arrays(self.gate).items()}
        return Points(**own, gate=replace(self.gate, **gate))


def gate_arrays(gate):
    """The gate's fields that may differ from point to point."""
    whole = ("ports", "bled")
    named = {f.name: getattr(gate, f.name) for f in fields(gate) if f.name not in whole}
    return {k: v for k, v in named.items() if v is not None}


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
        return self.each(lambda a: a.reshape(*shape))

    def __getitem__(self, index):
        return self.each(lambda a: a[index])

    @staticmethod
    def joined(parts):
        """Several one after the other."""
        names = [f.name for f in fields(Match)]
        return Match(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})

    def each(self, change):
        """Every array changed in one way."""
        return Match(**{f.name: change(getattr(self, f.name)) for f in fields(self)})
