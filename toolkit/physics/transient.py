"""A turbocharged engine in time: rotor, filling volumes and charge heat, for many at once.

Four states a candidate: shaft speed, intake manifold pressure, compressor outlet temperature,
exhaust manifold pressure; all relations between them are those of match.py, so that a settled
engine is a matched one. The compressor works at the throttle setting that the engine's appetite
asks for at that moment and sends flow_engine * (its pressure / pressure in the volume), which
fills the volume with the time constant volume / (VE * displacement * cycles a second) and stays
steady also where a speed line rises with flow. Exhaust temperature, mixture and VE are those
of full load at that engine speed: the manifold's iron takes no heat, so real lag is longer.

Below its lowest and above its highest speed line the compressor follows the fan laws (head as
speed squared, flow as speed), beyond choke head falls with the square of flow: estimates, told
apart by `on_map`. The gate is held as shut as it can be until boost nears the target, then
passes what holds it: a perfect controller, so an overshoot is never predicted.
"""

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from toolkit.physics import gas, nozzle
from toolkit.physics.compressor import LINE_NODES, Cell
from toolkit.physics.gate import flow_area_m2, lift_m
from toolkit.physics.guard import checked
from toolkit.physics.points import Points
from toolkit.physics.rotor import RPM
from toolkit.physics.turbine import MOST_EXPANSION

GATE_TIME_S = 0.01  # how fast the perfect controller sets exhaust pressure
APPROACH = 0.1  # share of the target over which it lets the shaft slow down
LEAST_SHAFT_RPM = 500.0
LIGHTER, SETTLING_S = 30, 4.0  # to stand at a start: a rotor so much lighter, for so long
_STATES = ("shaft_speed_rpm", "p_manifold_pa", "t_compressor_out_k", "p_exhaust_pa")
_SCALE = np.array([1e5, 1e5, 300.0, 1e5, 1e3])
_HEAD = 2 / 7  # (gamma - 1)/gamma of air, only to scale heads outside the map


@dataclass(frozen=True)
class Moments:
    """What a candidate does in time: time [s] along axis 0, candidates along axis 1.

    on_map: whether the compressor is where its map was measured; elsewhere values are estimates.
    """

    time_s: np.ndarray
    speed_rpm: np.ndarray
    shaft_speed_rpm: np.ndarray
    p_manifold_pa: np.ndarray
    t_compressor_out_k: np.ndarray
    t_charge_k: np.ndarray
    p_exhaust_pa: np.ndarray
    air_flow_kg_s: np.ndarray
    compressor_power_w: np.ndarray
    turbine_power_w: np.ndarray
    bypass_share: np.ndarray
    on_map: np.ndarray


class Exhaust(NamedTuple):
    """Burned gas before the turbine: the gas, its gamma, enthalpy [J/kg] and sqrt(R T) there."""

    gas: gas.Gas
    gamma: np.ndarray
    h_j_kg: np.ndarray
    root_rt: np.ndarray

    def nozzle(self, pressure_ratio):
        """Flow through an ideal nozzle over its area and the pressure before it."""
        return nozzle.flow_function(pressure_ratio, self.gamma) / self.root_rt


class Intake(NamedTuple):
    """Air of the engine and of the compressor [kg/s], the work [J/kg] and power [W] it takes,
    charge temperature [K], pressure in the volume's entry and manifold pressure that this shaft
    speed settles at [Pa], and whether the map says so."""

    engine: np.ndarray
    sent: np.ndarray
    work: np.ndarray
    power: np.ndarray
    t_charge: np.ndarray
    p_out: np.ndarray
    settles: np.ndarray
    on_map: np.ndarray


class Plant:
    """Candidates that can be run in time.

    points: points.Points, one element a candidate; or, along engine speed, arrays of (speeds,
    candidates) with `speeds_rpm` rising. maps, curves, fuel: as match.match takes them.
    inertia_kg_m2: of one rotor [kg m2] > 0. intake_m3, exhaust_m3: volume from compressor to
    valves and from valves to turbine [m3] > 0. Raises ValueError that names what is impossible.
    """

    def __init__(
        self, points, maps, curves, fuel, inertia_kg_m2, intake_m3, exhaust_m3, speeds_rpm=None
    ):
        names = [f.name for f in fields(Points) if f.name != "gate"]
        self.inertia = checked("inertia_kg_m2", inertia_kg_m2, above=0, unit="kg m2")
        each = [np.atleast_1d(getattr(points, n)) for n in names]
        *given, _ = np.broadcast_arrays(*each, self.inertia)
        if speeds_rpm is not None:
            given = [np.broadcast_to(a, (len(speeds_rpm), a.shape[-1])) for a in given]
        self.known = dict(zip(names, given, strict=True))
        self.gate, self.speeds_rpm = points.gate, speeds_rpm
        self.size = given[0].shape[-1]
        self.curves, self.fuel = curves, fuel
        self.tables = [
            np.stack(t)
            for t in zip(*((*m.nodes[:3], m.work_j_kg / m.t_ref_k) for m in maps), strict=True)
        ]
        self.references = np.array([(m.t_ref_k, m.p_ref_pa) for m in maps])
        self.lines_rpm = np.array([m.line_speeds_rpm[[0, -1]] for m in maps])
        self.intake_m3 = checked("intake_m3", intake_m3, above=0, unit="m3")
        self.exhaust_m3 = checked("exhaust_m3", exhaust_m3, above=0, unit="m3")
        if speeds_rpm is None:
            self._held = self._with_exhaust(self.known)
        else:
            self._varying = [n for n, a in self.known.items() if (a != a[:1]).any()]

    def at(self, speed_rpm):
        """The Points at engine speeds of shape (..., candidates), and their exhaust."""
        if self.speeds_rpm is None:
            return self._held
        place = np.interp(speed_rpm, self.speeds_rpm, np.arange(len(self.speeds_rpm)))
        low = np.minimum(place.astype(np.intp), len(self.speeds_rpm) - 2)
        share, column = place - low, np.arange(self.size)
        known = {name: a[0] for name, a in self.known.items()}
        for name in self._varying:
            a = self.known[name]
            known[name] = a[low, column] + share * (a[low + 1, column] - a[low, column])
        return self._with_exhaust(known)

    def _with_exhaust(self, known):
        points = Points(**known, gate=self.gate)
        burned = gas.burned(points.lam, *self.fuel)
        t = points.t_exhaust_k
        root_rt = np.sqrt(burned.r_j_kgk * t)
        return points, Exhaust(burned, burned.gamma(t), burned.h_j_kg(t), root_rt)

    def compressor(self, p, shaft_rpm, setting):
        """Pressure ratio, work over inlet temperature [J/kgK] and whether the map says so, at a
        shaft speed and a throttle setting, corrected flow over pressure ratio [kg/s]."""
        surge, choke, ratios, works = self.tables
        low, high = self.lines_rpm[p.map].T
        corrected = shaft_rpm / np.sqrt(p.t_cell_k / self.references[p.map, 0])
        line = np.clip(corrected, low, high)
        scale = corrected / line
        cell = Cell((line - low) / (high - low), 0.0, p.map)
        first, last = cell.along(surge), cell.along(choke)
        place = (setting / scale - first) / (last - first)
        cell = Cell((line - low) / (high - low), np.clip(place, 0, 1), p.map)
        head = cell(ratios) ** _HEAD - 1
        ends = [_column(cell, ratios, k) ** _HEAD - 1 for k in (0, LINE_NODES - 1)]
        beyond = np.maximum((setting / scale) ** 2 - last**2, 0)
        head = head - (ends[0] - ends[1]) / (last**2 - first**2) * beyond
        ratio = np.maximum(1 + scale**2 * head, 0.05) ** (1 / _HEAD)
        on_map = (scale == 1) & (place >= 0) & (place <= 1)
        return np.where(on_map, cell(ratios), ratio), scale**2 * cell(works), on_map

    def turbine(self, p, hot, ratio, p_exhaust):
        """Flow of all turbines [kg/s] and the work each kilogram gives [J/kg], as turbine.py has
        them: two nozzles in series, or a curve."""
        passed = hot.nozzle(1 / np.sqrt(ratio))
        flow, efficiency = p.turbine_area_m2 * passed * p_exhaust, p.turbine_efficiency
        for number, curve in enumerate(self.curves):
            if curve is None:
                continue
            first, last = curve.expansion_ratio[0], curve.expansion_ratio[-1]
            f, eta = curve.at(np.clip(ratio, first, last))
            # Under the curve's first point, as an area that passes the same there.
            f = f * passed / hot.nozzle(1 / np.sqrt(np.maximum(ratio, first)))
            f = f * np.sqrt(curve.t_ref_k / p.t_exhaust_k) * p_exhaust / curve.p_ref_pa
            mine = p.turbine == number
            flow, efficiency = np.where(mine, f, flow), np.where(mine, eta, efficiency)
        end = hot.gas.isentropic_t_k(p.t_exhaust_k, 1 / np.minimum(ratio, MOST_EXPANSION))
        return p.turbos * flow, efficiency * (hot.h_j_kg - hot.gas.h_j_kg(end))

    def state(self, p, hot, shaft_rpm, p_manifold, t_out, p_exhaust, load=1.0):
        """The states' rates of change, and everything that follows from them, by name."""
        air = self._intake(p, shaft_rpm, p_manifold, t_out, p_exhaust, load)
        supplied, turbine, bypass = self._exhaust(p, hot, air, p_exhaust)
        exhaust = air.engine * p.exhaust_per_air
        warmed = gas.AIR.t_k(gas.AIR.h_j_kg(p.t_cell_k) + air.work, p.t_cell_k + air.work / 1010)
        exchange = p.r_intake_j_kgk * air.t_charge / self.intake_m3
        momentum = self.inertia * p.turbos * np.maximum(shaft_rpm, LEAST_SHAFT_RPM) * RPM**2
        rates = (
            (supplied - air.power) / momentum,
            exchange * (air.sent - air.engine),
            exchange * air.sent / p_manifold * (warmed - t_out),
            hot.gas.r_j_kgk * p.t_exhaust_k / self.exhaust_m3 * (exhaust - turbine - bypass),
        )
        values = {
            "shaft_speed_rpm": shaft_rpm,
            "p_manifold_pa": p_manifold,
            "t_compressor_out_k": t_out,
            "t_charge_k": air.t_charge,
            "p_exhaust_pa": p_exhaust,
            "air_flow_kg_s": air.engine,
            "compressor_power_w": air.power,
            "turbine_power_w": supplied,
            "bypass_share": bypass / exhaust,
            "on_map": air.on_map,
        }
        return rates, values

    def _intake(self, p, shaft_rpm, p_manifold, t_out, p_exhaust, load):
        """What the engine takes in and the compressor sends. -> Intake"""
        t_charge = t_out - p.effectiveness * (t_out - p.t_medium_k)
        over = p_exhaust / p_manifold - 1
        taken = (1 + p.breathing_linear * over) * np.exp(p.breathing_log * over)
        taken = np.maximum(taken, 0.05)  # far beyond any engine, where the straight line ends
        engine = load * p.volume_flow_m3_s * taken * p_manifold / (p.r_intake_j_kgk * t_charge)
        p_in = p.p_cell_pa - p.intake_loss * p.t_cell_k * engine**2 / p.p_cell_pa
        half, drop = 0.5 * p_manifold, p.cooler_loss * engine**2 * t_out
        p_out = half + np.sqrt(half**2 + drop)
        t_ref, p_ref = self.references[p.map].T
        setting = engine / p.turbos * np.sqrt(p.t_cell_k / t_ref) * p_ref / p_out
        ratio, work, on_map = self.compressor(p, shaft_rpm, setting)
        sent, work = engine * ratio * p_in / p_out, work * p.t_cell_k
        settles = ratio * p_in - drop / (ratio * p_in)
        return Intake(engine, sent, work, sent * work, t_charge, p_out, settles, on_map)

    def _exhaust(self, p, hot, air, p_exhaust):
        """Power that reaches the compressor [W], flow of the turbine and past it [kg/s]."""
        exhaust = air.engine * p.exhaust_per_air
        p_after = self._after(p, hot, air.power, exhaust)
        expansion = np.maximum(p_exhaust / p_after, 1)
        turbine, given = self.turbine(p, hot, expansion, p_exhaust)
        supplied = turbine * given * p.mechanical_efficiency
        # The controller slows the shaft down as boost comes near, by the pressure that asks for.
        allowed = air.power * (1 + (1 - air.settles / p.p_target_pa) / APPROACH)
        change = p_exhaust / GATE_TIME_S * (allowed - supplied) / (air.power + supplied + 1)
        stored = change * self.exhaust_m3 / (hot.gas.r_j_kgk * p.t_exhaust_k)
        passing = hot.nozzle(1 / expansion) * p_exhaust
        boost = air.p_out - p.p_cell_pa
        shut, wide = self._gate(p, passing, p_exhaust - p_after, boost, exhaust)
        return supplied, turbine, np.clip(exhaust - turbine - stored, shut, wide)

    def _after(self, p, hot, power, exhaust):
        """Pressure behind the turbine, by the exhaust's drop on its way out."""
        if not np.any(p.exhaust_loss):
            return p.p_cell_pa
        given = power / (p.mechanical_efficiency * exhaust)
        t_after = hot.gas.t_k(hot.h_j_kg - given, p.t_exhaust_k - given / 1250)
        half = 0.5 * p.p_cell_pa
        return half + np.sqrt(half**2 + p.exhaust_loss * exhaust**2 * t_after)

    def _gate(self, p, passing, exhaust_drop, boost, exhaust):
        """Least and most that the gate passes where its forces balance. [kg/s]"""
        if not np.any(p.gated):
            return 0.0, exhaust
        drop, boost = np.maximum(exhaust_drop, 0), np.maximum(boost, 0)
        passing = p.turbos * p.gate.discharge * passing
        shut, wide = (
            passing * flow_area_m2(p.gate, lift_m(p.gate, drop, boost * share))
            for share in (1 - p.gate_share, 1.0)
        )
        return np.where(p.gated, shut, 0.0), np.where(p.gated, wide, exhaust)

    def run(self, start, times_s, speed_rpm, speed_rate=None, load=1.0, rtol=1e-4):
        """Moments from a start, (candidates, 4) of shaft speed, pressures and temperature.

        speed_rate(speed_rpm, values): change of engine speed [rpm/s]; None holds it. load: air
        taken in over that at full throttle.
        """
        count = len(_STATES) + (speed_rate is not None)
        scale = np.tile(_SCALE[:count], self.size)
        first = np.column_stack([start, np.broadcast_to(speed_rpm, self.size)])[:, :count]

        def split(y):
            """The four states and engine speed, each (..., candidates)."""
            x = np.moveaxis((y * scale).reshape(*y.shape[:-1], self.size, count), -1, 0)
            return x[:4], x[4] if count > 4 else np.broadcast_to(speed_rpm, x[0].shape)

        def rate(_, y):
            states, speed = split(y)
            rates, values = self.state(*self.at(speed), *states, load)
            if speed_rate is not None:
                rates = (*rates, np.broadcast_to(speed_rate(speed, values), speed.shape))
            # A candidate with an unknown input stands still here and is NaN below.
            return np.nan_to_num(np.stack(rates, axis=1).ravel() / scale)

        times = np.asarray(times_s, dtype=float)
        done = solve_ivp(
            rate, (times[0], times[-1]), np.nan_to_num(first.ravel() / scale, nan=1.0),
            method="LSODA", t_eval=times, rtol=rtol, atol=0.01 * rtol,
            lband=count - 1, uband=count - 1,
        )  # fmt: skip
        if not done.success:
            raise ValueError(f"the response could not be followed in time: {done.message}")
        states, speed = split(done.y.T)
        _, values = self.state(*self.at(speed), *states, load)
        unknown = np.isnan(values["turbine_power_w"])
        known = {k: np.where(unknown, np.nan, v) for k, v in values.items() if k != "on_map"}
        return Moments(times, speed, **known, on_map=values["on_map"] & ~unknown)

    def settled(self, speed_rpm, load=1.0):
        """The start that follows from standing at an engine speed, (candidates, 4): the rotor is
        made light, so that it settles at once."""
        light = object.__new__(Plant)
        light.__dict__ = self.__dict__ | {"inertia": self.inertia / LIGHTER}
        p, _ = self.at(np.broadcast_to(speed_rpm, self.size))
        low = self.lines_rpm[p.map, 0]
        start = np.stack([low / 2, p.p_cell_pa, p.t_cell_k, 1.05 * p.p_cell_pa], axis=1)
        end = light.run(start, [0.0, SETTLING_S], speed_rpm, None, load, rtol=1e-3)
        last = np.stack([getattr(end, name)[-1] for name in _STATES], axis=1)
        last[:, 1] *= load  # behind the throttle plate
        return last


def _column(cell, table, column):
    """Linear interpolation along speed in one column of a table."""
    flat = table[..., column].reshape(-1)
    return flat[cell.row] + cell.a * (flat[cell.row + 1] - flat[cell.row])
