"""One pull, solved: where engine, compressor, turbine and gate agree.

The unknowns are the two coordinates of the compressor map: shaft speed, and the place between
surge and choke. From a place on the map everything else follows without a further search: the
air and its work, manifold pressure and charge temperature, the exhaust and its pressure behind
the turbine, how far the turbine must expand for that work, and how much exhaust it leaves over
for the gate. Two conditions remain,

    breathing   the engine takes in the volume that the compressor sends
    control     boost is on target, unless the gate is as shut, or as open, as it can get

each rising along one coordinate, so both are found between the edges of the map, all points at
once, by a bracketed search (roots.py). What has no solution stops at an edge, and says which.

Stations and signs as in DEVELOPERS.md. Energy: compressor power = turbine power times mechanical
efficiency. The form is standard (Watson & Janota, Turbocharging the Internal Combustion Engine,
1982; Heywood 1988, ch. 6); gas properties vary with temperature.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from toolkit.physics import gas
from toolkit.physics.compressor import LINE_NODES, SPEED_NODES, Cell, isentropic_work_j_kg
from toolkit.physics.expansion import Expansion
from toolkit.physics.gate import flow_area_m2, lift_for_area_m, lift_m
from toolkit.physics.points import Match, Points, Regime
from toolkit.physics.roots import root_of_increasing

TOLERANCE = 1e-8  # relative; what counts as solved
FINEST = 1e-9  # of the map's range, where a search ends
CHUNK = 4096  # points solved together: what stays in the processor's cache


def match(points, maps, curves=(None,), fuel=(gas.GASOLINE_H_TO_C, 0.0)):
    """Solve every point. Returns a Match of arrays as long as the points'.

    points: Points. maps, curves: the CompressorMaps and TurbineCurves (None for an effective
    area) that `points.map` and `points.turbine` number. fuel: its hydrogen and oxygen atoms per
    carbon.
    NaN in, NaN out. ValueError names a quantity that is impossible.
    """
    points = points.flat()
    parts = [
        _solved(_System.of(points.take(slice(k, k + CHUNK)), maps, curves, fuel))
        for k in range(0, max(points.map.size, 1), CHUNK)
    ]
    return Match.joined(parts)


def _solved(system):
    share, place = system.search(*system.first_guess(), FINEST, loose=1e-2)
    left = np.flatnonzero(system.wrong(share, place))
    if left.size:  # the few that slipped out of their bracket: again, with more care
        rest, again = system.take(left), (share[left], place[left], np.ones(left.size))
        share[left], place[left] = rest.search(*again, FINEST * 1e-4, loose=0)
    return system.result(share, place)


class _State(dict):
    """Everything that follows from a place on the map, by name."""

    __getattr__ = dict.__getitem__


@dataclass(frozen=True)
class _System:
    """The points with the tables they look things up in."""

    p: Points
    tables: tuple  # throttle setting at surge, at choke; pressure ratio; work over inlet T
    references: tuple  # of each map: T, p, lowest line's speed, span of speeds
    expansion: Expansion

    @classmethod
    def of(cls, points, maps, curves, fuel):
        nodes = [[m.nodes[0], m.nodes[1], m.nodes[2], m.work_j_kg / m.t_ref_k] for m in maps]
        ends = [m.line_speeds_rpm[[0, -1]] for m in maps]
        references = [
            np.array([m.t_ref_k for m in maps]),
            np.array([m.p_ref_pa for m in maps]),
            np.array([low for low, _ in ends]),
            np.array([high - low for low, high in ends]),
        ]
        expansion = Expansion(curves, points.turbine, points.t_exhaust_k, points.lam, fuel)
        tables = tuple(np.stack(t) for t in zip(*nodes, strict=True))
        return cls(points, tables, tuple(references), expansion)

    @property
    def size(self):
        return self.p.map.size

    def take(self, index):
        """The same system for some of the points."""
        return replace(
            self,
            p=self.p.take(index),
            expansion=self.expansion.take(index),
        )

    @cached_property
    def _inlet(self):
        """What of the compressor's inlet is the same at every place on the map."""
        p = self.p
        t_ref, p_ref, _, _ = (r[p.map] for r in self.references)
        air_factor = p.turbos / p_ref * np.sqrt(t_ref / p.t_cell_k)
        enthalpy = p.t_cell_k * _polynomial(_H, p.t_cell_k)
        return air_factor, 4 * p.intake_loss * p.t_cell_k, _polynomial(_CP, p.t_cell_k), enthalpy

    def first_guess(self):
        """Where the target's pressure ratio and the engine's appetite lie on the map, roughly:
        shares of its range in speed and place, and how steeply boost rises with speed there."""
        p, (surge, choke, ratios, _) = self.p, self.tables
        wanted = 1.05 * p.p_target_pa / p.p_cell_pa
        nodes, middle = np.linspace(0, 1, SPEED_NODES), ratios[:, :, LINE_NODES // 2]
        share, steep = np.full(self.size, 0.5), np.ones(self.size)
        for number, line in enumerate(middle):
            mine = (p.map == number) & (wanted > 0)  # NaN keeps a place from which it stays
            share[mine] = np.interp(wanted[mine], line, nodes)
            steep[mine] = np.interp(share[mine], nodes, np.gradient(line, nodes)) / wanted[mine]
        hot = p.t_cell_k * wanted**0.38
        charge_k = hot - p.effectiveness * (hot - p.t_medium_k)
        air = p.volume_flow_m3_s * p.p_target_pa / (p.r_intake_j_kgk * charge_k)
        setting = air / (self._inlet[0] * p.p_cell_pa) / wanted
        cell = Cell(share, np.zeros(self.size), p.map)
        low = cell.along(surge)
        place = (setting - low) / (cell.along(choke) - low)
        return share, np.where(place > 0, np.minimum(place, 1), 0), steep

    def search(self, guess, place, steep, finest, loose):
        """Shaft speed and place of every point, as shares of the map's range."""
        system, index = self, np.arange(self.size)
        slope, last = np.ones(self.size), np.ones(self.size)

        def control(share):
            # The place need only be as good as the next step of the speed will be.
            nonlocal last
            near = np.clip(loose * (share - last) ** 2, finest, 1e-4)
            last = share
            place[index], _, state, slope[index] = root_of_increasing(
                lambda u: system._breathing(share, u), place[index], 0, 1, slope[index], near
            )
            return system._control(state), None

        def narrow(keep):
            nonlocal system, index, last
            system, index, last = system.take(keep), index[keep], last[keep]

        share = root_of_increasing(control, guess, 0, 1, steep, finest, narrow=narrow)
        return share, place

    def wrong(self, share, place):
        """Where a search ended inside the map without a solution."""
        breathing, state = self._breathing(share, place)
        return _open(self._control(state), share) | _open(breathing, place)

    def _breathing(self, share, place):
        """Relative excess of the volume sent over the volume taken in, and the state."""
        state = self._state(share, place)
        over = state.p_exhaust / state.p_manifold - 1
        taken = (1 + self.p.breathing_linear * over) * np.exp(self.p.breathing_log * over)
        sent = state.air * self.p.r_intake_j_kgk * state.t_charge / state.p_manifold
        return sent / self.p.volume_flow_m3_s - taken, state

    def _state(self, share, place):
        """All that follows from a place on the map."""
        p, (surge, choke, ratios, works) = self.p, self.tables
        air_factor, drop_factor, cp, enthalpy = self._inlet
        cell = Cell(share, place, p.map)
        ratio = cell(ratios)
        low = cell.along(surge)
        corrected = (low + place * (cell.along(choke) - low)) * ratio
        # Air per pascal at the inlet; the inlet pressure follows, as the filter takes from it.
        per_pa = air_factor * corrected
        p_in = 2 * p.p_cell_pa / (1 + np.sqrt(1 + drop_factor * per_pa**2))
        air, p_out, work = per_pa * p_in, ratio * p_in, cell(works) * p.t_cell_k
        t_out = _warmed(p.t_cell_k, work, cp, enthalpy)
        p_manifold = p_out - p.cooler_loss * air**2 * t_out / p_out
        p_manifold = np.maximum(p_manifold, 0.01 * p_out)  # a cooler that takes all: far from any
        t_charge = t_out - p.effectiveness * (t_out - p.t_medium_k)
        power, exhaust = air * work, air * p.exhaust_per_air
        from_gas = power / (p.mechanical_efficiency * exhaust)
        t_after = self.expansion.t_after_k(from_gas) if np.any(p.exhaust_loss) else p.t_exhaust_k
        p_after = 0.5 * p.p_cell_pa
        p_after = p_after + np.sqrt(p_after**2 + p.exhaust_loss * exhaust**2 * t_after)
        area = p.turbos * p.turbine_area_m2
        demand = from_gas * exhaust / (p_after * area * p.turbine_efficiency)
        z, given = self.expansion.at(demand)
        p_exhaust = p_after * np.exp(z)
        turbine_flow = from_gas * exhaust / (given * p.turbine_efficiency)
        return _State(
            cell=cell, ratio=ratio, corrected=corrected, air=air, p_in=p_in, p_out=p_out,
            work=work, t_out=t_out, p_manifold=p_manifold, t_charge=t_charge, power=power,
            exhaust=exhaust, p_after=p_after, demand=demand, z=z, p_exhaust=p_exhaust,
            turbine_flow=turbine_flow, from_gas=from_gas,
        )  # fmt: skip

    def _control(self, state):
        """Above zero where the shaft is faster than gate and target allow."""
        above = state.p_manifold / self.p.p_target_pa - 1
        left_over = (state.exhaust - state.turbine_flow) / state.exhaust
        free = np.maximum(-left_over, above)
        if not self.p.gated.any():
            return free
        boost = np.maximum(state.p_out - self.p.p_cell_pa, 0)
        # As shut, and as open, as spring, back pressure and control can make the gate: the share
        # of the exhaust that it passes where its forces balance.
        per_area = self._gate_flow(state) / state.exhaust
        drop = state.p_exhaust - state.p_after
        shut, wide = (
            per_area * flow_area_m2(self.p.gate, lift_m(self.p.gate, drop, at_diaphragm))
            for at_diaphragm in (boost * (1 - self.p.gate_share), boost)
        )
        held = np.maximum(shut - left_over, np.minimum(above, wide - left_over))
        return np.where(self.p.gated, held, free)

    def _gate_flow(self, state):
        """What the gates pass by open area. [kg/s m2]"""
        per_area = self.expansion.nozzle_flow(state.z) * state.p_exhaust
        return self.p.turbos * self.p.gate.discharge * per_area

    def result(self, share, place):
        """The Match at the solved places."""
        p = self.p
        breathing, s = self._breathing(share, place)
        control = self._control(s)
        residual = np.maximum(np.abs(breathing), np.abs(control))
        exact = self.expansion.work_j_kg(s.z) * p.turbine_efficiency
        through = s.from_gas * s.exhaust / exact
        left_over = s.exhaust - through
        lift = self._lift(s, left_over)
        regime = self._regime(share, place, breathing, control, s, lift)
        t_ref, _, low, span = (r[p.map] for r in self.references)
        speed = low + share * span
        ideal = isentropic_work_j_kg(p.t_cell_k, s.ratio)
        after = self.expansion.t_after_k(s.from_gas)
        made = Match(
            regime=regime, residual=residual, air_flow_kg_s=s.air, p_compressor_in_pa=s.p_in,
            pressure_ratio=s.ratio, p_compressor_out_pa=s.p_out, t_compressor_out_k=s.t_out,
            compressor_efficiency=ideal / s.work, compressor_power_w=s.power,
            corrected_flow_kg_s=s.corrected, corrected_speed_rpm=speed,
            shaft_speed_rpm=speed * np.sqrt(p.t_cell_k / t_ref), map_position=place,
            p_manifold_pa=s.p_manifold, t_charge_k=s.t_charge, p_exhaust_pa=s.p_exhaust,
            p_turbine_out_pa=s.p_after, t_turbine_out_k=after, turbine_flow_kg_s=through,
            bypass_share=left_over / s.exhaust, gate_lift_m=lift,
        )  # fmt: skip
        lost = regime > Regime.SPRING_ABOVE_TARGET
        known = made.each(lambda a: np.where(lost, np.nan, a))
        return replace(known, regime=regime, residual=residual)

    def _lift(self, state, left_over):
        """Lift that passes what is left over; the stop where only the port limits the flow."""
        area = np.maximum(left_over, 0) / self._gate_flow(state)
        lift = lift_for_area_m(self.p.gate, np.nan_to_num(area))
        lift = np.where(np.isnan(lift), self.p.gate.max_lift_m, lift)
        return np.where(self.p.gated, lift, np.nan)

    def _regime(self, share, place, breathing, control, state, lift):
        above = state.p_manifold / self.p.p_target_pa - 1
        shut = state.exhaust - state.turbine_flow <= TOLERANCE * state.exhaust
        stop = lift >= self.p.gate.max_lift_m * (1 - TOLERANCE)
        off = np.abs(breathing) > TOLERANCE
        reach = self.expansion.reaches(state.demand)
        return np.select(
            [
                np.isnan(breathing) | np.isnan(control),
                off & (place <= 0),
                off & (place >= 1),
                (control < -TOLERANCE) & (share >= 1),
                (control > TOLERANCE) & (share <= 0),
                reach != 0,
                off | (np.abs(control) > TOLERANCE),
                np.abs(above) <= TOLERANCE,
                (above < 0) & shut,
                above < 0,
                stop,
            ],
            [
                Regime.UNKNOWN, Regime.SURGE, Regime.CHOKE, Regime.ABOVE_MAP, Regime.BELOW_MAP,
                Regime.OFF_TURBINE, Regime.UNKNOWN, Regime.HOLDING, Regime.BELOW_TARGET,
                Regime.PUSHED_OPEN, Regime.CREEP,
            ],
            Regime.SPRING_ABOVE_TARGET,
        )  # fmt: skip


def _open(value, x):
    """Where a search stopped without a root, and not because it met the end it was heading for."""
    stopped = (x <= 0) & (value > 0) | (x >= 1) & (value < 0)
    return (np.abs(value) > TOLERANCE / 2) & ~stopped


_CP = gas.coefficients()[0][:5].tolist()  # below 1000 K, where a compressor's air always is
_H = [a / (n + 1) for n, a in enumerate(_CP)]


def _warmed(t_k, work_j_kg, cp_j_kgk, enthalpy_j_kg):
    """Temperature of air after work was done on it: Newton from a constant cp."""
    wanted, t = work_j_kg + enthalpy_j_kg, t_k + work_j_kg / cp_j_kgk
    for _ in range(2):
        t = t + (wanted - t * _polynomial(_H, t)) / _polynomial(_CP, t)
    return t


def _polynomial(a, t):
    return a[0] + t * (a[1] + t * (a[2] + t * (a[3] + t * a[4])))
