"""The invented engine, its turbos and its gate: what "really happens" in the demo test cell.

Written apart from the toolkit's models and richer than they are, in plain numpy, so that a split
or a fit of the demo logs is not the inverse of what made them. All constants are invented.
Pressures in Pa absolute, temperatures in K, speed in rpm; arrays broadcast.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

R_AIR, CP_AIR, R_EXHAUST, CP_EXHAUST = 287.0, 1009.0, 288.5, 1195.0
COLD, HOT = R_AIR / CP_AIR, R_EXHAUST / CP_EXHAUST
DISPLACEMENT_M3 = 2.996e-3
CYLINDERS = 6
FUEL_ENERGY_PER_AIR = 43.2e6 / 14.6
AIR_PER_FUEL = 14.6
INERTIA_KG_M2 = 0.24  # engine and coupling, carried along by every sweep
INJECTOR_KG_S, INJECTOR_DEAD_S = 8.1e-3, 0.9e-3
WALL_K = 365.0


@dataclass(frozen=True)
class Turbo:
    """Compressor by tip speed and flow at its rated speed; turbine by nozzle area."""

    name: str
    tip_diameter_m: float
    rated_rpm: float
    choke_kg_s: float
    peak_efficiency: float
    turbine_area_m2: float
    turbine_efficiency: float
    lag_s: float


@dataclass(frozen=True)
class Gate:
    """Two-port gate: back pressure opens it, the top port helps the spring to shut it."""

    valve_area_m2: float = 1.018e-3
    diaphragm_area_m2: float = 3.85e-3
    spring_pa: float = 42.0e3
    rate_n_m: float = 5.0e3
    stroke_m: float = 10e-3
    discharge: float = 0.72


@dataclass(frozen=True)
class Cell:
    """Air and engine state of one pull."""

    p_cell_pa: float = 100.8e3
    t_cell_k: float = 293.0
    humidity: float = 0.45
    t_water_k: float = 297.0
    t_oil_k: float = 366.0
    spark_offset_deg: float = 0.0
    lam_full: float = 0.85


TURBOS = {
    "small": Turbo("Small", 0.0560, 154e3, 0.500, 0.765, 6.2e-4, 0.585, 0.16),
    "mid": Turbo("Mid", 0.0612, 140e3, 0.560, 0.775, 7.9e-4, 0.60, 0.21),
    "large": Turbo("Large", 0.0665, 129e3, 0.630, 0.785, 9.9e-4, 0.615, 0.28),
}
LIGHT_SPRING = Gate()
STIFF_SPRING = replace(LIGHT_SPRING, spring_pa=76.0e3)


# ---- compressor -----------------------------------------------------------------------------


def choke_and_surge_kg_s(turbo, fraction):
    """Ends of the speed line at this fraction of the rated speed, in reference air."""
    choke = turbo.choke_kg_s * (1.18 * fraction - 0.27 * fraction**3) / 0.91
    return choke, 0.35 * turbo.choke_kg_s * fraction**1.55


def along_line(turbo, fraction, position, t_ref_k=298.15):
    """(pressure ratio, efficiency) on a speed line; position 0 at surge, 1 at choke."""
    tip_m_s = np.pi * turbo.tip_diameter_m * turbo.rated_rpm / 60 * fraction
    head = 0.605 * (1 - 0.12 * position**2 - 0.50 * position**6)
    ratio = (1 + head * tip_m_s**2 / (CP_AIR * t_ref_k)) ** (1 / COLD)
    efficiency = (
        turbo.peak_efficiency
        - 0.26 * (position - 0.52) ** 2
        - 0.13 * position**8
        - 0.24 * (fraction - 0.74) ** 2
    )
    return ratio, efficiency


def compressor_state(turbo, flow_kg_s, ratio):
    """(fraction of rated speed, efficiency) at a corrected flow and pressure ratio."""
    low = np.full(np.broadcast(flow_kg_s, ratio).shape, 0.15)
    high = np.full_like(low, 1.35)
    for _ in range(26):
        middle = 0.5 * (low + high)
        too_slow = along_line(turbo, middle, _position(turbo, middle, flow_kg_s))[0] < ratio
        low, high = np.where(too_slow, middle, low), np.where(too_slow, high, middle)
    return high, along_line(turbo, high, _position(turbo, high, flow_kg_s))[1]


def _position(turbo, fraction, flow_kg_s):
    choke, surge = choke_and_surge_kg_s(turbo, fraction)
    return np.clip((flow_kg_s - surge) / (choke - surge), 0.0, 1.08)


@cache
def compressor_table(turbo):
    return CompressorTable(turbo)


class CompressorTable:
    """`compressor_state` tabulated once, for the many calls of the match."""

    def __init__(self, turbo):
        self.flows = np.linspace(0.01, 1.15 * turbo.choke_kg_s, 90)
        self.ratios = np.linspace(1.0, 3.4, 81)
        self.fraction, self.efficiency = compressor_state(
            turbo, self.flows[:, None], self.ratios[None, :]
        )

    def __call__(self, flow_kg_s, ratio):
        i, u = _cell(self.flows, flow_kg_s)
        j, v = _cell(self.ratios, ratio)
        return tuple(
            (1 - u) * ((1 - v) * t[i, j] + v * t[i, j + 1])
            + u * ((1 - v) * t[i + 1, j] + v * t[i + 1, j + 1])
            for t in (self.fraction, self.efficiency)
        )


def _cell(axis, value):
    place = np.clip((value - axis[0]) / (axis[1] - axis[0]), 0, len(axis) - 1.000001)
    index = place.astype(int)
    return index, place - index


# ---- engine ---------------------------------------------------------------------------------


def water_share(cell_t_k, humidity, p_cell_pa):
    """Part of the cell air's pressure that is water vapour (Magnus form, from memory)."""
    t_c = cell_t_k - 273.15
    return humidity * 611.2 * np.exp(17.62 * t_c / (243.1 + t_c)) / p_cell_pa


def breathing(speed_rpm, exhaust_to_manifold):
    """Filling of the cylinder: a tuning hump, less what back pressure pushes back.

    The overlap makes the slope steepest at low speed and steepest around equal pressures.
    """
    hump = 0.865 + 0.135 * np.exp(-(((speed_rpm - 4500) / 1900) ** 2))
    hump += 0.008 * np.sin(speed_rpm / 420)
    slope = 0.10 + 0.14 * np.exp(-(((speed_rpm - 3100) / 1500) ** 2))
    excess = exhaust_to_manifold - 1
    return hump * (1 - slope * 0.8 * np.arctan(excess / 0.8))


def lam_target(p_manifold_pa, cell):
    """Richer as boost comes up."""
    return cell.lam_full + 0.10 * np.clip((1.35e5 - p_manifold_pa) / 0.55e5, 0, 1)


def best_spark_deg(speed_rpm, p_manifold_pa):
    return 19.0 + 2.1e-3 * (speed_rpm - 2500) - 6.5e-5 * (p_manifold_pa - 1e5)


def spark_deg(speed_rpm, p_manifold_pa, t_charge_k, cell):
    """The controller's table: behind best spark under boost, and less when the charge is hot."""
    behind = 1.5 + 3.2e-5 * (p_manifold_pa - 1e5) + 0.10 * np.clip(t_charge_k - 325, 0, None)
    return best_spark_deg(speed_rpm, p_manifold_pa) - behind + cell.spark_offset_deg


def exhaust_t_k(speed_rpm, p_manifold_pa, lam, spark):
    late = best_spark_deg(speed_rpm, p_manifold_pa) - spark
    return 1035 + 0.033 * (speed_rpm - 2500) + 550 * (lam - 0.85) + 5.0 * late


def air_kg_s(speed_rpm, p_manifold_pa, p_exhaust_breathing_pa, t_charge_k):
    """Air (with its moisture) through the engine; the port walls warm it a little."""
    warmed = t_charge_k + 0.10 * (WALL_K - t_charge_k)
    filling = breathing(speed_rpm, p_exhaust_breathing_pa / p_manifold_pa)
    return filling * p_manifold_pa * DISPLACEMENT_M3 / (R_AIR * warmed) * speed_rpm / 120


def torque_parts_pa(speed_rpm, state, p_exhaust_breathing_pa=None):
    """Mean effective pressures: (gross, gas exchange, friction).

    `state` holds p_manifold_pa, p_exhaust_pa, t_charge_k, lam, spark_deg, vapour, t_oil_k.
    """
    p, p3 = state["p_manifold_pa"], state["p_exhaust_pa"]
    p3_breathing = p3 if p_exhaust_breathing_pa is None else p_exhaust_breathing_pa
    air = air_kg_s(speed_rpm, p, p3_breathing, state["t_charge_k"]) * (1 - state["vapour"])
    per_cycle = air * 120 / speed_rpm
    mixture = 1.037 - 2.57 * (state["lam"] - 0.88) ** 2
    late = best_spark_deg(speed_rpm, p) - state["spark_deg"]
    efficiency = 0.372 * (1 - 0.10 * ((speed_rpm - 4300) / 4000) ** 2) * (1 - 5.5e-4 * late**2)
    gross = per_cycle * FUEL_ENERGY_PER_AIR * efficiency * mixture / DISPLACEMENT_M3
    exchange = (p3 - p) + 0.10e5 * (speed_rpm / 5000) ** 2 * p / 2e5
    warm = 1 + 4.0e-3 * (366.0 - state["t_oil_k"])
    friction = (0.40e5 + 13.5 * speed_rpm + 1.25e-3 * speed_rpm**2 + 0.012 * gross) * warm
    return gross, exchange, friction


def torque_nm(speed_rpm, state, sweep_rpm_s=0.0, p_exhaust_breathing_pa=None):
    """At the dyno, less what the sweep keeps in the rotating parts."""
    gross, exchange, friction = torque_parts_pa(speed_rpm, state, p_exhaust_breathing_pa)
    brake = (gross - exchange - friction) * DISPLACEMENT_M3 / (4 * np.pi)
    return brake - INERTIA_KG_M2 * sweep_rpm_s * np.pi / 30


# ---- the whole: boost and back pressure -----------------------------------------------------


def nozzle_kg_s(area_m2, p_up_pa, p_down_pa, t_up_k):
    gamma = 1.33
    r = np.maximum(p_down_pa / p_up_pa, (2 / (gamma + 1)) ** (gamma / (gamma - 1)))
    r = np.minimum(r, 1.0)
    shape = r ** (2 / gamma) - r ** ((gamma + 1) / gamma)
    return area_m2 * p_up_pa / np.sqrt(R_EXHAUST * t_up_k) * np.sqrt(2 * gamma / 0.33 * shape)


class Match:
    """Boost and back pressure that one turbo settles to: rows of speed, columns of pulls.

    The fields of `cell` and `target_pa` (gauge) are numbers or one value per pull.
    """

    def __init__(self, turbo, gate, cell, speed_rpm, target_pa):
        self.turbo, self.gate, self.cell = turbo, gate, cell
        self.target = target_pa + cell.p_cell_pa
        self.speed = speed_rpm + 0 * self.target
        self.table = compressor_table(turbo)
        self.t_charge = 315.0  # a first guess; each call of _balance starts from the one before

    def solve(self):
        """Every channel of the steady point, as a dictionary of arrays."""
        low = np.full(self.speed.shape, 0.97) * self.cell.p_cell_pa
        high = np.full_like(low, 3.0e5)
        for _ in range(30):
            p = 0.5 * (low + high)
            point = self.at(p)
            reachable = point["bypass_kg_s"] >= self._pushed_flow(point)
            low, high = np.where(reachable, p, low), np.where(reachable, high, p)
        return self.at(np.minimum(low, self.target))

    def at(self, p_manifold_pa):
        """The point at a given boost: back pressure from the turbo's power balance."""
        low = np.full(p_manifold_pa.shape, 1.005) * self.cell.p_cell_pa
        high = np.full_like(low, 6.5e5)
        for _ in range(26):
            p3 = 0.5 * (low + high)
            point = self._balance(p_manifold_pa, p3)
            short = point["surplus_w"] < 0
            low, high = np.where(short, p3, low), np.where(short, high, p3)
        return point

    def _balance(self, p, p3):
        """Every channel at this boost and back pressure, and the turbine's power to spare."""
        point = {"p_manifold_pa": p, "p_exhaust_pa": p3}
        point |= self._intake(p, air_kg_s(self.speed, p, p3, self.t_charge))
        point |= self._combustion(point)
        exhaust = point["air_flow_kg_s"] * (1 + 1 / (point["lam"] * AIR_PER_FUEL))
        point["p_turbine_out_pa"] = self.cell.p_cell_pa + 13e3 * (exhaust / 0.38) ** 2
        flow, power = self._turbine(point, exhaust)
        return point | {
            "bypass_kg_s": exhaust - flow,
            "surplus_w": 0.965 * power - point["compressor_w"],
        }

    def _intake(self, p, air):
        """Filter, compressor, cooler and the walls after it."""
        cell, turbo = self.cell, self.turbo
        p1 = cell.p_cell_pa - 2.6e3 * (air / 0.35) ** 2
        p2 = p + 8.0e3 * (air / 0.35) ** 2 * (2.2e5 / p)
        corrected = air * np.sqrt(cell.t_cell_k / 298.15) / (p1 / 1e5)
        fraction, efficiency = self.table(corrected, p2 / p1)
        rise = cell.t_cell_k * ((p2 / p1) ** COLD - 1) / efficiency
        t2 = cell.t_cell_k + rise
        effectiveness = 1 - np.exp(-1.75 * (0.25 / air) ** 0.35)
        cooled = t2 - effectiveness * (t2 - cell.t_water_k)
        self.t_charge = cooled + 0.05 * (WALL_K - cooled)
        return {
            "p_compressor_in_pa": p1, "p_compressor_out_pa": p2, "t_compressor_out_k": t2,
            "t_charge_k": self.t_charge, "air_flow_kg_s": air,
            "compressor_w": air * CP_AIR * rise, "speed_fraction": fraction,
            "shaft_speed_rpm": fraction * turbo.rated_rpm * np.sqrt(cell.t_cell_k / 298.15),
        }  # fmt: skip

    def _combustion(self, point):
        """What the controller sets and how hot the exhaust gets."""
        p = point["p_manifold_pa"]
        lam = lam_target(p, self.cell)
        spark = spark_deg(self.speed, p, point["t_charge_k"], self.cell)
        t3 = exhaust_t_k(self.speed, p, lam, spark)
        return {"lam": lam, "spark_deg": spark, "t_exhaust_k": t3}

    def _turbine(self, point, exhaust):
        """(flow, power) of the turbine; its efficiency falls away from the best blade speed."""
        turbo, p3, p4 = self.turbo, point["p_exhaust_pa"], point["p_turbine_out_pa"]
        expansion = np.maximum(p3 / p4, 1.0005)
        area = turbo.turbine_area_m2 * (1 + 0.05 * (expansion - 1.6))
        flow = nozzle_kg_s(area, p3, np.minimum(p4, p3 * 0.9999), point["t_exhaust_k"])
        drop = CP_EXHAUST * point["t_exhaust_k"] * (1 - expansion**-HOT)
        blade = np.pi * turbo.tip_diameter_m * 0.93 * turbo.rated_rpm / 60
        speed_ratio = blade * point["speed_fraction"] / np.sqrt(2 * drop)
        efficiency = turbo.turbine_efficiency * (1 - 0.9 * (speed_ratio - 0.66) ** 2)
        return flow, np.minimum(flow, exhaust) * drop * efficiency

    def _pushed_flow(self, point):
        """What the gate passes with its top port fed as far as the controller can."""
        lift = self._lift(point, 0.97 * self._bottom_port(point))
        return self._gate_kg_s(point, lift)

    def _bottom_port(self, point):
        return point["p_compressor_out_pa"] - self.cell.p_cell_pa

    def _lift(self, point, top_port_pa):
        g = self.gate
        push = (point["p_exhaust_pa"] - point["p_turbine_out_pa"]) * g.valve_area_m2
        push += (self._bottom_port(point) - top_port_pa - g.spring_pa) * g.diaphragm_area_m2
        return np.clip(push / g.rate_n_m, 0.0, g.stroke_m)

    def _gate_kg_s(self, point, lift):
        g = self.gate
        curtain = np.pi * np.sqrt(4 * g.valve_area_m2 / np.pi) * lift
        area = g.discharge * np.minimum(curtain, 0.93 * g.valve_area_m2)
        p3 = point["p_exhaust_pa"]
        return nozzle_kg_s(
            area, p3, np.minimum(point["p_turbine_out_pa"], p3), point["t_exhaust_k"]
        )

    def control(self, point):
        """(duty, top port pressure, lift) with which the controller holds this point."""
        g = self.gate
        per_metre = np.maximum(
            self._gate_kg_s(point, np.full_like(point["lam"], 1e-3)) / 1e-3, 1e-9
        )
        lift = np.clip(point["bypass_kg_s"] / per_metre, 0, g.stroke_m)
        bottom = self._bottom_port(point)
        push = (point["p_exhaust_pa"] - point["p_turbine_out_pa"]) * g.valve_area_m2
        top = bottom - g.spring_pa + (push - g.rate_n_m * lift) / g.diaphragm_area_m2
        top = np.clip(top, 0.0, 0.97 * np.maximum(bottom, 0.0))
        duty = np.clip(top / np.maximum(bottom, 1e3), 0.0, 0.97)
        return duty, top, lift
