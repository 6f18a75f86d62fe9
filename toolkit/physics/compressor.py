"""The compressor: its measured map, how to read it, and the air it delivers.

Every speed line is drawn through its own points from surge to choke, then the lines are joined
across speed. The coordinate along a line is the throttle setting, corrected flow over pressure
ratio, which rises all the way from surge to choke, also where the line falls straight down at
choke and flow alone could not tell its points apart. Both ways with monotone splines (Fritsch &
Carlson 1980), kept as a fine table. Outside the map there is no value, only a reason.
"""

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator

from toolkit.physics import gas
from toolkit.physics.guard import checked
from toolkit.physics.roots import root_of_increasing

SPEED_NODES = 97
LINE_NODES = 65


class Region(IntEnum):
    """Where a point lies on a map, or on which side of it."""

    ON_MAP = 0
    SURGE = 1  # left of the surge line
    CHOKE = 2  # right of the choke line
    ABOVE_TOP_LINE = 3
    BELOW_LOWEST_LINE = 4


@dataclass(frozen=True)
class Reading:
    """A map read at a flow and pressure ratio; NaN where `region` says why. Speed [rpm] is
    corrected; position runs from 0 at surge to 1 at choke."""

    speed_rpm: np.ndarray
    efficiency: np.ndarray
    position: np.ndarray
    region: np.ndarray


@dataclass(frozen=True, eq=False)
class CompressorMap:
    """A compressor map, its points in order of speed line and throttle setting.

    line, speed_rpm, flow_kg_s, pressure_ratio, efficiency: one element a point, speed and flow
    corrected to the reference temperature [K] and pressure [Pa]; pressure ratio total to total.
    Made by `from_points`.
    """

    line: np.ndarray
    speed_rpm: np.ndarray
    flow_kg_s: np.ndarray
    pressure_ratio: np.ndarray
    efficiency: np.ndarray
    t_ref_k: float
    p_ref_pa: float

    @classmethod
    def from_points(cls, line, speed_rpm, flow_kg_s, pressure_ratio, efficiency, t_ref_k, p_ref_pa):
        """A map from measured points in any order; `line` says which speed line each is on.

        Raises ValueError that names the line and what cannot be: fewer than two lines or two
        points a line, two points at one throttle setting, lines that cross.
        """
        speed = checked("speed_rpm", speed_rpm, above=0, unit="rpm")
        flow = checked("flow_kg_s", flow_kg_s, above=0, unit="kg/s")
        ratio = checked("pressure_ratio", pressure_ratio, 0.5, 30)
        efficiency = checked("efficiency", efficiency, 0.05, 1)
        t_ref = checked("t_ref_k", t_ref_k, 200, 400, "K")
        p_ref = checked("p_ref_pa", p_ref_pa, 2e4, 2e5, "Pa")
        order = np.lexsort((flow / ratio, line))
        names = np.asarray(line)[order]
        mean = {name: speed[np.asarray(line) == name].mean() for name in np.unique(names)}
        rank = np.argsort([mean[name] for name in names], kind="stable")
        columns = [np.asarray(c)[order][rank] for c in (line, speed, flow, ratio, efficiency)]
        made = cls(*columns, float(t_ref), float(p_ref))
        made._refuse_impossible()
        return made

    @cached_property
    def _lines(self):
        """A slice of each speed line, by rising speed."""
        breaks = np.flatnonzero(np.diff(self.line)) + 1
        ends = np.concatenate([[0], breaks, [len(self.line)]])
        return [slice(a, b) for a, b in pairwise(ends)]

    @cached_property
    def line_speeds_rpm(self):
        """Corrected speed of each line, the mean of its points. [rpm]"""
        return np.array([self.speed_rpm[s].mean() for s in self._lines])

    def _refuse_impossible(self):
        if len(self._lines) < 2:
            raise ValueError("a compressor map needs at least two speed lines")
        for s, speed in zip(self._lines, self.line_speeds_rpm, strict=True):
            setting = self.flow_kg_s[s] / self.pressure_ratio[s]
            if len(setting) < 2 or np.any(np.diff(setting) <= 0):
                raise ValueError(
                    f"the speed line at {speed:.0f} rpm needs two or more points, each at its own "
                    "flow and pressure ratio"
                )
        _, _, ratio, _ = self.nodes
        if np.any(np.diff(self.line_speeds_rpm) <= 0) or np.any(np.diff(ratio, axis=0) <= 0):
            raise ValueError(
                "two speed lines cross or have one speed: pressure ratio must rise with speed "
                "from surge to choke"
            )

    @cached_property
    def nodes(self):
        """The fine table: throttle setting at surge and at choke [kg/s] along speed; pressure
        ratio and efficiency along speed (axis 0) and from surge to choke (axis 1)."""
        across = np.linspace(0, 1, LINE_NODES)
        lines = []
        for s in self._lines:
            setting = self.flow_kg_s[s] / self.pressure_ratio[s]
            along = setting[0] + across * (setting[-1] - setting[0])
            both = np.stack([self.pressure_ratio[s], self.efficiency[s]], axis=1)
            values = PchipInterpolator(setting, both)(np.clip(along, setting[0], setting[-1]))
            lines.append(np.concatenate([[setting[0], setting[-1]], values.T.ravel()]))
        speeds = np.linspace(*self.line_speeds_rpm[[0, -1]], SPEED_NODES)
        speeds = np.clip(speeds, *self.line_speeds_rpm[[0, -1]])
        table = PchipInterpolator(self.line_speeds_rpm, np.array(lines))(speeds)
        ratio, efficiency = np.split(table[:, 2:], 2, axis=1)
        return table[:, 0], table[:, 1], ratio, efficiency

    @cached_property
    def work_j_kg(self):
        """Work on the air at the nodes, for inlet air at the reference temperature. [J/kg]"""
        _, _, ratio, efficiency = self.nodes
        return isentropic_work_j_kg(self.t_ref_k, ratio) / efficiency

    def at(self, speed_rpm, position):
        """Corrected flow [kg/s], pressure ratio and efficiency at a corrected speed [rpm] and a
        position from 0 at surge to 1 at choke; broadcast, NaN outside the map."""
        low, high = self.line_speeds_rpm[[0, -1]]
        share = (np.asarray(speed_rpm, dtype=float) - low) / (high - low)
        share, u = np.broadcast_arrays(share, np.asarray(position, dtype=float))
        off = ~((share >= 0) & (share <= 1) & (u >= 0) & (u <= 1))
        cell = Cell(np.where(off, 0, share), np.where(off, 0, u))
        surge, choke, ratio, efficiency = self.nodes
        pr = cell(ratio)
        flow = (cell.along(surge) * (1 - u) + cell.along(choke) * u) * pr
        return tuple(np.where(off, np.nan, v) for v in (flow, pr, cell(efficiency)))

    def read(self, flow_kg_s, pressure_ratio):
        """The map read the other way: a Reading at a corrected flow [kg/s] and pressure ratio.

        Numbers or arrays, broadcast; NaN where NaN goes in and where the point is off the map,
        with the reason in `region`.
        """
        flow, ratio = np.broadcast_arrays(flow_kg_s, np.asarray(pressure_ratio, dtype=float))
        shape, flow, ratio = flow.shape, flow.ravel(), ratio.ravel()
        setting = flow / ratio
        surge, choke, ratios, efficiencies = self.nodes

        def spare(share):
            low, high = _along(surge, share), _along(choke, share)
            place = (setting - low) / (high - low)
            cell = Cell(share, np.where(place > 0, np.minimum(place, 1), 0))  # NaN: anywhere
            return cell(ratios) - ratio, (place, cell)

        share, gap, (place, cell), _ = root_of_increasing(spare, np.full(ratio.shape, 0.5))
        edge = 1e-9
        region = np.select(
            [gap < -edge, gap > edge, place < -edge, place > 1 + edge],
            [Region.ABOVE_TOP_LINE, Region.BELOW_LOWEST_LINE, Region.SURGE, Region.CHOKE],
            Region.ON_MAP,
        )
        speeds = self.line_speeds_rpm[0] + share * np.ptp(self.line_speeds_rpm)
        off = (region != Region.ON_MAP) | np.isnan(setting)
        values = [np.where(off, np.nan, v) for v in (speeds, cell(efficiencies), place)]
        values.append(np.where(np.isnan(setting), -1, region))
        return Reading(*(v.reshape(shape) for v in values))

    def surge_flow_kg_s(self, pressure_ratio):
        """Corrected flow on the surge line at a pressure ratio; NaN above and below it. [kg/s]"""
        surge, _, ratio, _ = self.nodes
        return np.interp(pressure_ratio, ratio[:, 0], surge * ratio[:, 0], np.nan, np.nan)

    def choke_flow_kg_s(self, speed_rpm):
        """Largest corrected flow on the map at a corrected speed [rpm]; NaN off it. [kg/s]"""
        surge, choke, ratio, _ = self.nodes
        across = np.linspace(0, 1, LINE_NODES)
        most = ((surge[:, None] * (1 - across) + choke[:, None] * across) * ratio).max(axis=1)
        speeds = np.linspace(*self.line_speeds_rpm[[0, -1]], SPEED_NODES)
        return np.interp(speed_rpm, speeds, most, np.nan, np.nan)

    def surge_margin(self, flow_kg_s, pressure_ratio):
        """Share of the flow that can be lost at this pressure ratio before surge. [-]"""
        return 1 - self.surge_flow_kg_s(pressure_ratio) / np.asarray(flow_kg_s, dtype=float)

    def choke_margin(self, flow_kg_s, speed_rpm):
        """Share by which flow can grow at this corrected speed before the line ends. [-]"""
        return self.choke_flow_kg_s(speed_rpm) / np.asarray(flow_kg_s, dtype=float) - 1


class Cell:
    """Linear interpolation in the fine table at a share of the speed range and a position.

    `first` is where the table starts when several maps stand in one.
    """

    def __init__(self, share, position, first=0):
        x, y = share * (SPEED_NODES - 1), position * (LINE_NODES - 1)
        i = _whole(x, SPEED_NODES)
        j = _whole(y, LINE_NODES)
        self.a, self.b = x - i, y - j
        self.row = first * SPEED_NODES + i
        self.index = self.row * LINE_NODES + j

    def __call__(self, table):
        flat, k = table.reshape(-1), self.index
        low = flat[k] + self.b * (flat[k + 1] - flat[k])
        k = k + LINE_NODES
        return low + self.a * (flat[k] + self.b * (flat[k + 1] - flat[k]) - low)

    def along(self, table):
        flat = table.reshape(-1)
        return flat[self.row] + self.a * (flat[self.row + 1] - flat[self.row])


def _whole(x, nodes):
    """The number of the cell, of which the last ends at the last node."""
    return np.minimum(x, nodes - 2).astype(np.intp)


def _along(table, share):
    x = share * (SPEED_NODES - 1)
    i = _whole(x, SPEED_NODES)
    return table[i] + (x - i) * (table[i + 1] - table[i])


def isentropic_work_j_kg(t_in_k, pressure_ratio):
    """Least work to compress air. [J/kg]

    Inlet temperature [K], 200 to 6000, pressure ratio > 0; broadcast; NaN passes. ValueError
    outside. Source: enthalpy of an isentropic step, cp varying (gas.py).

    >>> round(float(isentropic_work_j_kg(298.15, 2.0)) / 1000, 2)
    65.6
    """
    start = gas.h_air_j_kg(t_in_k)
    return gas.h_air_j_kg(gas.isentropic_t_air_k(t_in_k, pressure_ratio)) - start


def outlet_t_k(t_in_k, pressure_ratio, efficiency):
    """Temperature of the air behind the compressor. [K]

    Inlet temperature [K], 200 to 6000, total pressure ratio > 0, total-to-total isentropic
    efficiency above 0 to 1; broadcast; NaN passes. ValueError outside.
    Source: definition of isentropic efficiency, Dixon, Fluid Mechanics and Thermodynamics of
    Turbomachinery, ch. 2, with cp varying.

    >>> round(float(outlet_t_k(298.15, 2.0, 0.75)), 1)
    384.9
    """
    eta = checked("efficiency", checked("efficiency", efficiency, 0, 1), above=0)
    work = isentropic_work_j_kg(t_in_k, pressure_ratio) / eta
    return gas.t_air_k(gas.h_air_j_kg(t_in_k) + work)


def efficiency(t_in_k, t_out_k, pressure_ratio):
    """Isentropic efficiency from measured temperatures. [-]

    Temperatures before and behind the compressor, before any cooler [K], 200 to 6000, total
    pressure ratio > 0; broadcast; NaN passes, and where the air was not warmed. ValueError
    outside. Source: as `outlet_t_k`, solved for the efficiency.

    >>> round(float(efficiency(298.15, 384.928, 2.0)), 3)
    0.75
    """
    work = gas.h_air_j_kg(t_out_k) - gas.h_air_j_kg(t_in_k)
    return isentropic_work_j_kg(t_in_k, pressure_ratio) / np.where(work > 0, work, np.nan)


def corrected_flow_kg_s(flow_kg_s, t_in_k, p_in_pa, t_ref_k, p_ref_pa):
    """Flow as a map with this reference state shows it. [kg/s]

    Flow [kg/s], total temperature [K] > 0 and pressure [Pa] > 0 at the inlet and of the
    reference; broadcast; NaN passes. ValueError outside. Source: similarity, m sqrt(T)/p (Dixon,
    Fluid Mechanics and Thermodynamics of Turbomachinery, ch. 2).

    >>> round(float(corrected_flow_kg_s(0.20, 308.15, 95e3, 298.15, 100e3)), 6)
    0.214028
    """
    flow = np.asarray(flow_kg_s, dtype=float)
    return flow / _flow_factor(t_in_k, p_in_pa, t_ref_k, p_ref_pa)


def physical_flow_kg_s(corrected_kg_s, t_in_k, p_in_pa, t_ref_k, p_ref_pa):
    """Mass flow of a corrected flow, the inverse of `corrected_flow_kg_s`. [kg/s]

    >>> round(float(physical_flow_kg_s(0.2140277, 308.15, 95e3, 298.15, 100e3)), 6)
    0.2
    """
    flow = np.asarray(corrected_kg_s, dtype=float)
    return flow * _flow_factor(t_in_k, p_in_pa, t_ref_k, p_ref_pa)


def _flow_factor(t_in_k, p_in_pa, t_ref_k, p_ref_pa):
    p_ratio = checked("p_in_pa", p_in_pa, above=0, unit="Pa") / checked(
        "p_ref_pa", p_ref_pa, above=0, unit="Pa"
    )
    return p_ratio / _root_theta(t_in_k, t_ref_k)


def corrected_speed_rpm(speed_rpm, t_in_k, t_ref_k):
    """Shaft speed as a map with this reference temperature shows it. [rpm]

    Speed [rpm], total inlet and reference temperature [K] > 0; broadcast; NaN passes. ValueError
    outside. Source: similarity, N/sqrt(T) (Dixon, ch. 2).

    >>> round(float(corrected_speed_rpm(150000, 308.15, 298.15)))
    147546
    """
    return np.asarray(speed_rpm, dtype=float) / _root_theta(t_in_k, t_ref_k)


def _root_theta(t_in_k, t_ref_k):
    t_in = checked("t_in_k", t_in_k, above=0, unit="K")
    return np.sqrt(t_in / checked("t_ref_k", t_ref_k, above=0, unit="K"))
