"""The engine cycle's differential equation and its integration, compiled; use `cycle.py`.

One well-mixed zone. The state is the air and the burned gas in the cylinder and their
temperature; the charge that was pushed back into the intake port (its air, burned gas and
enthalpy: it returns first); and running totals of what crossed each valve, of work and of heat.

The first call on a machine compiles for about ten seconds. The compiled code is kept by numba
beside this file, or in the person's cache folder where this one cannot be written; where neither
can, it is compiled anew in each process.
"""

from math import ceil, cos, exp, log, pi, sin, sqrt
from typing import NamedTuple

import numba
import numpy as np

AIR, BURNED, T, PORT_AIR, PORT_BURNED, PORT_H, T_EX = range(7)
IN_AIR, IN_BURNED, IN_H, OUT_AIR, OUT_BURNED, OUT_H = range(7, 13)  # net, into and out of
WORK, WALL_HEAT, FUEL_HEAT, LEFT_KG, LEFT_H = range(13, 18)  # LEFT: outward only
STATES = 18

# What a degree of the last cycle leaves in the trace.
ANGLE, VOLUME, PRESSURE, TEMPERATURE, INTAKE_FLOW, EXHAUST_FLOW, AIR_KG, BURNED_KG = range(8)

START_DEG = -180.0  # bottom dead centre before compression; 0 is firing top dead centre
AREA_PER_DEG = 4  # samples of the valve area tables
T_BREAK_K = 1000.0  # between the two ranges of gas.coefficients
WIEBE_A, WIEBE_M = 5.0, 2.0

# Within this fraction of the upstream pressure the flow falls linearly to zero: the square
# root's infinite slope there would make the equations infinitely stiff.
LAMINAR = 2e-4
# The port gives back what it holds mixed with this fraction of a charge of fresh air.
PORT_MIXING = 0.01
EMPTY = 1e-6  # of that: the port gives back no more
# A step times the fastest rate must stay below this; Runge-Kutta is stable to 2.7.
STIFFNESS = 1.6


class Setup(NamedTuple):
    """One operating point of one cylinder; the gases as gas.coefficients gives them."""

    seconds_per_deg: float
    p_in: float
    p_ex: float
    t_in: float
    crank: float
    rod: float
    piston_area: float
    clearance: float
    head_area: float
    bore: float
    t_wall: float
    wall_factor: float
    piston_speed: float
    burn_start: float
    burn_deg: float
    heat_per_air: float
    fuel_per_air: float  # 0: heat alone, the air stays air
    r_air: float
    r_burned: float
    gas_air: tuple
    gas_burned: tuple
    area_in: np.ndarray
    area_ex: np.ndarray
    port_mixing_kg: float


def _compiled(function):
    try:
        return numba.njit(cache=True, nogil=True, error_model="numpy", forceinline=True)(function)
    except RuntimeError:  # nowhere to keep compiled code
        return numba.njit(nogil=True, error_model="numpy", forceinline=True)(function)


@_compiled
def cp_of(t, c):
    a = c[0] if t < T_BREAK_K else c[1]
    return a[0] + t * (a[1] + t * (a[2] + t * (a[3] + t * a[4])))


@_compiled
def h_of(t, c):
    a = c[0] if t < T_BREAK_K else c[1]
    return a[5] + t * (a[0] + t * (a[1] / 2 + t * (a[2] / 3 + t * (a[3] / 4 + t * a[4] / 5))))


@_compiled
def t_of(h, air, s, start):
    """Temperature of a mixture of that enthalpy, by Newton's method."""
    t = start
    for _ in range(8):
        miss = h - air * h_of(t, s.gas_air) - (1 - air) * h_of(t, s.gas_burned)
        t += miss / (air * cp_of(t, s.gas_air) + (1 - air) * cp_of(t, s.gas_burned))
        if abs(miss) < 1.0:  # J/kg, a thousandth of a kelvin
            break
    return t


@_compiled
def valve_flow(area, p_up, p_down, t_up, gamma, r):
    """As nozzle.flow_kg_s, but falling linearly to zero in the last LAMINAR of pressure."""
    ratio = p_down / p_up
    if ratio < 0.6:  # perhaps choked
        ratio = max(ratio, (2 / (gamma + 1)) ** (gamma / (gamma - 1)))
    drop = 1 - ratio
    power = ratio ** (1 / gamma)
    squared = 2 * gamma / (gamma - 1) * (power * power - power * ratio)
    return area * p_up * sqrt(max(squared, 0.0) * drop / ((drop + LAMINAR) * r * t_up))


@_compiled
def area_at(theta, table):
    along = (theta - START_DEG) * AREA_PER_DEG
    k = min(max(int(along), 0), table.size - 2)
    return table[k] + (along - k) * (table[k + 1] - table[k])


@_compiled
def volume_of(theta, s):
    """Volume [m3] and its change per degree."""
    a = theta * pi / 180
    across = s.crank * sin(a)
    along = sqrt(s.rod * s.rod - across * across)
    travel = s.crank + s.rod - s.crank * cos(a) - along
    slope = s.piston_area * across * (1 + s.crank * cos(a) / along) * pi / 180
    return s.clearance + s.piston_area * travel, slope


class Place(NamedTuple):
    """What the crank angle alone decides."""

    volume: float
    slope: float  # of the volume, per degree
    area_in: float
    area_ex: float
    log_wall: float  # the logarithm of the wall coefficient's part that is known


@_compiled
def place(theta, s):
    volume, slope = volume_of(theta, s)
    log_wall = log(130 * (s.piston_speed + 1.4) ** 0.8) - 0.06 * log(volume)
    areas = area_at(theta, s.area_in), area_at(theta, s.area_ex)
    return Place(volume, slope, areas[0], areas[1], log_wall)


@_compiled
def burned_fraction(theta, s):
    """Wiebe's law, made to end at exactly all."""
    u = (theta - s.burn_start) / s.burn_deg
    if u <= 0:
        return 0.0
    return (1 - exp(-WIEBE_A * min(u, 1.0) ** (WIEBE_M + 1))) / (1 - exp(-WIEBE_A))


@_compiled
def wall_watts(p, t, at, s):
    """Heat to the walls by Hohenberg, SAE 790825 (1979); constants from memory."""
    h = exp(at.log_wall + 0.8 * log(p / 1e5) - 0.4 * log(t))
    area = s.head_area + 4 * (at.volume - s.clearance) / s.bore
    return s.wall_factor * h * area * (t - s.t_wall)


@_compiled
def intake_source(y, s):
    """What an inflow brings: the port's share of it, its air fraction and its enthalpy."""
    held = y[PORT_AIR] + y[PORT_BURNED]
    h_fresh = h_of(s.t_in, s.gas_air)
    if held < EMPTY * s.port_mixing_kg:
        return 0.0, 1.0, h_fresh
    share = held / (held + s.port_mixing_kg)
    air = 1 - share * y[PORT_BURNED] / held
    return share, air, share * y[PORT_H] / held + (1 - share) * h_fresh


@_compiled
def flow_of(area, p_up, p_down, t, air, s):
    """Flow of a mixture of air and burned gas."""
    r = air * s.r_air + (1 - air) * s.r_burned
    cp = air * cp_of(t, s.gas_air) + (1 - air) * cp_of(t, s.gas_burned)
    return valve_flow(area, p_up, p_down, t, cp / (cp - r), r)


@_compiled
def intake(area, p, air, h, y, s, dy):
    """The intake valve's part of `dy`; outflow fills the port, inflow empties it first."""
    if area <= 0:
        return
    share, flow = 0.0, 0.0
    if p < s.p_in:
        share, air, h = intake_source(y, s)
        t_up = t_of(h, air, s, s.t_in) if share > 0 else s.t_in
        flow = flow_of(area, s.p_in, p, t_up, air, s) * s.seconds_per_deg
        if share > 0:
            taken = flow * share / (y[PORT_AIR] + y[PORT_BURNED])
            dy[PORT_AIR] = -taken * y[PORT_AIR]
            dy[PORT_BURNED] = -taken * y[PORT_BURNED]
            dy[PORT_H] = -taken * y[PORT_H]
    else:
        flow = -flow_of(area, p, s.p_in, y[T], air, s) * s.seconds_per_deg
        dy[PORT_AIR], dy[PORT_BURNED], dy[PORT_H] = -flow * air, -flow * (1 - air), -flow * h
    dy[IN_AIR], dy[IN_BURNED], dy[IN_H] = flow * air, flow * (1 - air), flow * h


@_compiled
def exhaust(area, p, air, h, y, s, dy):
    """The exhaust valve's part of `dy`; what comes back is burned gas at its temperature."""
    if area <= 0:
        return
    if p > s.p_ex:
        flow = flow_of(area, p, s.p_ex, y[T], air, s) * s.seconds_per_deg
        dy[LEFT_KG], dy[LEFT_H] = flow, flow * h
    else:
        air, h = 0.0, h_of(y[T_EX], s.gas_burned)
        flow = -flow_of(area, s.p_ex, p, y[T_EX], air, s) * s.seconds_per_deg
    dy[OUT_AIR], dy[OUT_BURNED], dy[OUT_H] = flow * air, flow * (1 - air), flow * h


@_compiled
def rates(at, y, burning, s, dy):
    """The state's change per degree, into `dy`; `burning` is the air that burns per degree."""
    dy[:] = 0.0
    gas = y[AIR] * s.r_air + y[BURNED] * s.r_burned
    t, air = y[T], y[AIR] / (y[AIR] + y[BURNED])
    p = gas * t / at.volume
    h_air, h_burned = h_of(t, s.gas_air), h_of(t, s.gas_burned)
    h = air * h_air + (1 - air) * h_burned
    intake(at.area_in, p, air, h, y, s, dy)
    exhaust(at.area_ex, p, air, h, y, s, dy)
    # Burning turns air and fuel into burned gas; the fuel's own enthalpy is in its heat value.
    turned = burning if s.fuel_per_air > 0 else 0.0
    dy[AIR] = dy[IN_AIR] - dy[OUT_AIR] - turned
    dy[BURNED] = dy[IN_BURNED] - dy[OUT_BURNED] + turned * (1 + s.fuel_per_air)
    dy[FUEL_HEAT] = burning * s.heat_per_air
    dy[WORK] = p * at.slope
    dy[WALL_HEAT] = wall_watts(p, t, at, s) * s.seconds_per_deg
    gained = dy[IN_H] - dy[OUT_H] + dy[FUEL_HEAT] - dy[WALL_HEAT] - dy[WORK]
    taken = (h_air - s.r_air * t) * dy[AIR] + (h_burned - s.r_burned * t) * dy[BURNED]
    capacity = y[AIR] * cp_of(t, s.gas_air) + y[BURNED] * cp_of(t, s.gas_burned) - gas
    dy[T] = (gained - taken) / capacity


@_compiled
def pressure_of(at, y, s):
    return (y[AIR] * s.r_air + y[BURNED] * s.r_burned) * y[T] / at.volume


@_compiled
def fastest_rate(at, y, s):
    """How fast, per degree, the valves pull the pressure and an inflow empties the port."""
    if at.area_in <= 0 and at.area_ex <= 0:
        return 0.0
    p = pressure_of(at, y, s)
    drop_in, drop_ex = abs(1 - p / s.p_in), abs(1 - p / s.p_ex)
    # Half the drop: it shrinks within the step.
    pull = at.area_in * sqrt(2 / (drop_in / 2 + LAMINAR))
    pull += at.area_ex * sqrt(2 / (drop_ex / 2 + LAMINAR))
    rate = 1.4 * sqrt(s.r_air * y[T]) * pull / at.volume
    if p < s.p_in and y[PORT_AIR] + y[PORT_BURNED] > EMPTY * s.port_mixing_kg:
        inflow = at.area_in * s.p_in * sqrt(2 * min(drop_in, 0.3) / (s.r_air * s.t_in))
        rate = max(rate, inflow / s.port_mixing_kg)
    return rate * s.seconds_per_deg


@_compiled
def record(row, theta, at, y, s, dy):
    """What the trace keeps of this moment."""
    row[ANGLE], row[VOLUME] = theta, at.volume
    row[PRESSURE], row[TEMPERATURE] = pressure_of(at, y, s), y[T]
    row[INTAKE_FLOW] = (dy[IN_AIR] + dy[IN_BURNED]) / s.seconds_per_deg
    row[EXHAUST_FLOW] = (dy[OUT_AIR] + dy[OUT_BURNED]) / s.seconds_per_deg
    row[AIR_KG], row[BURNED_KG] = y[AIR], y[BURNED]


@_compiled
def advance(theta, step, y, trapped_air, s, work, row):
    """One stretch by the classical fourth-order Runge-Kutta method, in place.

    Steps are shortened where the valves act faster than the stretch is long. `row` keeps its
    beginning, where there is one.
    """
    k1, k2, k3, k4, z = work[0], work[1], work[2], work[3], work[4]
    start, burned, end_deg = place(theta, s), burned_fraction(theta, s), theta + step
    soon = place(theta + step / 4, s)
    while theta < end_deg:
        rate = max(fastest_rate(start, y, s), fastest_rate(soon, y, s))
        n = ceil((end_deg - theta) * max(rate / STIFFNESS, 1 / step))
        h = (end_deg - theta) / n
        middle, end = place(theta + h / 2, s), place(theta + h, s)
        theta_now, theta = theta, theta + h if n > 1 else end_deg
        # The mean rate over the step, so that exactly all of the air is burned at the end.
        before, burned = burned, burned_fraction(theta, s)
        burning = trapped_air * (burned - before) / h
        rates(start, y, burning, s, k1)
        if row.size:
            record(row, theta_now, start, y, s, k1)
            row = row[:0]
        for j in range(STATES):
            z[j] = y[j] + h / 2 * k1[j]
        rates(middle, z, burning, s, k2)
        for j in range(STATES):
            z[j] = y[j] + h / 2 * k2[j]
        rates(middle, z, burning, s, k3)
        for j in range(STATES):
            z[j] = y[j] + h * k3[j]
        rates(end, z, burning, s, k4)
        for j in range(STATES):
            y[j] += h / 6 * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j])
        start = end


@_compiled
def one_cycle(y, steps, s, work, trace):
    """Integrates 720 degrees in place; returns the trapped air, burned gas and gross work.

    `trace` has a row for each end of a step, or none.
    """
    step = 720.0 / steps
    trapped_air = trapped_burned = gross = 0.0
    y[IN_AIR:] = 0.0
    for i in range(steps):
        theta = START_DEG + i * step
        if theta <= s.burn_start:  # valves are shut, so this is what burns
            trapped_air, trapped_burned = y[AIR], y[BURNED]
        if 2 * i == steps:
            gross = y[WORK]
        row = trace[i] if trace.shape[0] else trace.ravel()
        advance(theta, step, y, trapped_air, s, work, row)
    if trace.shape[0]:
        at = place(START_DEG + 720.0, s)
        rates(at, y, 0.0, s, work[0])
        record(trace[steps], START_DEG + 720.0, at, y, s, work[0])
    return trapped_air, trapped_burned, gross


@_compiled
def _left_t(y, s):
    """Mean temperature of what left through the exhaust valve, by its enthalpy."""
    if y[LEFT_KG] <= 0:
        return y[T_EX]
    return t_of(y[LEFT_H] / y[LEFT_KG], y[OUT_AIR] / y[LEFT_KG], s, y[T_EX])


@_compiled
def _change(y, before):
    """How far the end of a cycle is from its start, as a fraction of the charge."""
    change = abs(y[T] / before[T] - 1)
    for j in (AIR, BURNED, PORT_AIR, PORT_BURNED):
        change = max(change, abs(y[j] - before[j]) / (before[AIR] + before[BURNED]))
    return change


@_compiled
def solve(s, y, steps, tolerance, most, own_t_ex, trace):
    """Cycles until one ends as it began, within `tolerance` of the charge; `y` in place.

    The first ones, far from repeating, take double steps; the others fill `trace`. Returns
    trapped air, trapped burned gas and gross work of the last cycle, the exhaust's mean
    temperature, the number of cycles, and the last change.
    """
    work = np.empty((5, STATES))
    before = np.empty(STATES)
    air = burned = gross = t_left = 0.0
    change, n, rough = np.inf, 0, True
    while (change > tolerance or rough) and n < most:
        if n and rough and change <= 1e-4:
            rough = False
        n += 1
        before[:] = y
        rows = trace[:0] if rough else trace
        air, burned, gross = one_cycle(y, steps // 2 if rough else steps, s, work, rows)
        change, t_left = _change(y, before), _left_t(y, s)
        if own_t_ex:
            change = max(change, 0.1 * abs(t_left / y[T_EX] - 1))
            y[T_EX] = t_left
    return air, burned, gross, t_left, n, change
