"""What the gate saw along engine speed, and what its spring and control can do there."""

from dataclasses import dataclass, fields, replace

import numpy as np

from toolkit.physics import gate as gates


@dataclass(frozen=True)
class Tolerance:
    """How well the inputs are known, one standard deviation; all are ours to change.

    spring, areas: shares of the spring's rating and of the area ratio. pressure_pa: of each
    pressure. outlet_pa: of the turbine outlet where it was not logged and cell pressure stands
    in for it. target: share of the target that counts as held.
    """

    spring: float = 0.05
    areas: float = 0.03
    pressure_pa: float = 1.5e3
    outlet_pa: float = 7e3
    target: float = 0.03


USUAL = Tolerance()


@dataclass(frozen=True)
class GateLog:
    """What the gate saw along engine speed: equal arrays, NaN where not known.

    boost_gauge_pa is the bottom port's; exhaust_drop_pa is p3 - p4. top_gauge_pa, duty, lift_m,
    air_flow_kg_s and choke_margin (flow left to choke over flow, from a compressor map) are None
    where nobody logged or worked them out. outlet_known: p4 was measured. notes: what was
    assumed, in words. left_out: pressures without a value where their sensor was at its end, as
    `sensor_ends.LeftOut`.
    """

    speed_rpm: np.ndarray
    boost_gauge_pa: np.ndarray
    exhaust_drop_pa: np.ndarray
    top_gauge_pa: np.ndarray | None = None
    duty: np.ndarray | None = None
    lift_m: np.ndarray | None = None
    air_flow_kg_s: np.ndarray | None = None
    choke_margin: np.ndarray | None = None
    outlet_known: bool = True
    notes: tuple = ()
    left_out: tuple = ()

    @classmethod
    def from_channels(cls, frame, p_cell_pa=None, outlet_gauge_pa=None):
        """The gate's view of a run on its speed grid.

        frame: a table of our channels, with `speed_rpm` as a column or as its index. p_cell_pa:
        barometer [Pa] where the table has none; outlet_gauge_pa: turbine outlet [Pa, gauge] where
        it was measured without being logged. Raises ValueError that names a missing channel.
        """
        cell = _channel(frame, "p_cell_pa", p_cell_pa)
        exhaust = _channel(frame, "p_exhaust_pa")
        notes = []
        if "p_compressor_out_pa" in frame:
            boost = _channel(frame, "p_compressor_out_pa") - cell
        else:
            boost = _channel(frame, "p_manifold_pa") - cell
            notes.append("The gate's line is taken to carry manifold pressure.")
        outlet_known = "p_turbine_out_pa" in frame or outlet_gauge_pa is not None
        outlet = _channel(frame, "p_turbine_out_pa", cell + (outlet_gauge_pa or 0.0))
        if not outlet_known:
            notes.append(
                "Turbine outlet pressure was not logged: cell pressure stands in for it, "
                "so back pressure across the valve is at most what is shown."
            )
        optional = {
            "top_gauge_pa": "p_gate_top_gauge_pa",
            "duty": "gate_duty",
            "lift_m": "gate_lift_m",
            "air_flow_kg_s": "air_flow_kg_s",
        }
        more = {k: _channel(frame, c) for k, c in optional.items() if c in frame}
        speed = _channel(frame, "speed_rpm", getattr(frame, "index", None))
        drop = exhaust - outlet
        return cls(speed, boost, drop, outlet_known=outlet_known, notes=tuple(notes), **more)

    def where(self, mask):
        """The same pull at some of its speeds."""
        arrays = {f.name: getattr(self, f.name) for f in fields(self)}
        cut = {n: np.asarray(a)[mask] for n, a in arrays.items() if isinstance(a, np.ndarray)}
        return replace(self, **cut)

    @property
    def drop_per_boost(self):
        """Exhaust drop over boost; NaN below a fifth of the pull's highest boost. [-]"""
        enough = self.boost_gauge_pa > 0.2 * np.nanmax(self.boost_gauge_pa)
        boost = np.where(enough, self.boost_gauge_pa, np.nan)
        return np.clip(self.exhaust_drop_pa, 0, None) / boost


def _channel(frame, name, otherwise=None):
    if name in frame:
        return np.asarray(frame[name], dtype=float)
    if otherwise is None:
        raise ValueError(f"the gate check needs {name}: log it, or type the points by hand")
    return np.asarray(otherwise, dtype=float)


@dataclass(frozen=True)
class Along:
    """The gate along engine speed; arrays in SI.

    holding_drop_pa: exhaust drop it stays shut against with the control at its limit;
    holding_error_pa: standard deviation of drop less that, first order. low and high: boost
    window of the spring, back pressure taken in proportion to boost (estimated). share_needed,
    top_needed_gauge_pa: what keeps the gate at its seat at the target; a proportional solenoid
    needs that share as its duty.
    """

    holding_drop_pa: np.ndarray
    holding_error_pa: np.ndarray
    low_gauge_pa: np.ndarray
    high_gauge_pa: np.ndarray
    share_needed: np.ndarray
    top_needed_gauge_pa: np.ndarray


def along(gate, log, target_gauge_pa, tolerance=USUAL):
    """Window and control effort at every speed of the log, for a target [Pa, gauge]. [Along]"""
    target = np.asarray(target_gauge_pa, dtype=float) + 0 * log.speed_rpm
    at_target = log.drop_per_boost * target
    low, high = gates.window_gauge_pa(gate, log.drop_per_boost)
    share = gates.share_needed(gate, target, at_target)
    limit, error = holding(gate, log, gate.share_limit, tolerance)
    return Along(limit, error, low, high, share, share * target)


def holding(gate, log, share, tolerance=USUAL):
    """Exhaust drop the gate stays shut against at a share, and the error of drop less it. [Pa]"""
    limit = gates.holding_drop_pa(gate, log.boost_gauge_pa, share)
    outlet = 0.0 if log.outlet_known else tolerance.outlet_pa
    opening = np.abs(1 - np.asarray(share)) * tolerance.pressure_pa / gate.area_ratio
    spring = tolerance.spring * gate.rating_gauge_pa / gate.area_ratio
    parts = (spring, tolerance.areas * limit, opening, tolerance.pressure_pa, outlet)
    return limit, np.sqrt(sum(np.square(p) for p in parts)) + 0 * log.speed_rpm


def spring_for(gate, log, target_gauge_pa, margin=1.1):
    """Lightest rating that holds the target at every speed of the log, with a margin. [Pa, gauge]

    Back pressure is taken in proportion to boost up to the target: an estimate.
    """
    target = np.asarray(target_gauge_pa, dtype=float) + 0 * log.speed_rpm
    return float(gates.lightest_rating_gauge_pa(gate, log.drop_per_boost * target, target, margin))
