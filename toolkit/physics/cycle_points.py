"""From a cylinder, a cam and operating points to the compiled cycle and back; use `cycle.py`."""

import os
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import numpy as np

from toolkit.physics import gas, knock
from toolkit.physics.guard import checked

MOST_CYCLES = 60
THROAT = 0.87  # port diameter under a valve over its head diameter (common practice)
COMBUSTION_EFFICIENCY = 0.97  # of the heat that the air can burn (from memory)
# The end gas is followed from this long before combustion to this burned fraction.
COMPRESSION_DEG, KNOCK_UNTIL = 60.0, 0.9
# Columns of the trace, in the kernel's order.
COLUMNS = (
    "angle_deg",
    "volume_m3",
    "p_pa",
    "t_k",
    "intake_flow_kg_s",
    "exhaust_flow_kg_s",
    "air_kg",
    "burned_kg",
)
_SOLVED = 6  # what kernel.solve returns, before the state


def solve_points(cylinder, cam, operating, step_deg, tolerance):
    """Results by name, flat, and the traces [point, degree, column] of all points."""
    from toolkit.physics import cycle_kernel as kernel  # loads the compiler: late

    steps = 2 * round(360 / float(checked("step_deg", step_deg, 0.1, 4, "deg")))
    tolerance = float(checked("tolerance", tolerance, 1e-9, 1e-3))
    at = {name: a.ravel() for name, a in operating.checked_arrays().items()}
    setups = _setups(kernel, cylinder, cam, operating, at)
    rows = np.full((len(setups), steps + 1, len(COLUMNS)), np.nan)
    own = operating.t_exhaust_k is None

    def solve(i):
        if setups[i] is None:
            return np.full(_SOLVED + kernel.STATES, np.nan)
        y = _first_guess(kernel, setups[i], at["t_exhaust_k"][i])
        done = kernel.solve(setups[i], y, steps, tolerance, MOST_CYCLES, own, rows[i])
        return np.concatenate([done, y])

    done = np.reshape(_each(solve, len(setups)), (len(setups), -1)).T
    results = _results(kernel, cylinder, operating, at, done, rows)
    return results | {"converged": done[_SOLVED - 1] <= tolerance}, rows


def _each(function, n):
    """function(0) ... function(n - 1) on all cores; the compiled code lets go of the lock."""
    if n < 2:
        return [function(i) for i in range(n)]
    return list(_pool().map(function, range(n)))


@cache
def _pool():
    """The threads, kept: starting them takes as long as a few points."""
    return ThreadPoolExecutor(os.cpu_count())


def _first_guess(kernel, s, t_exhaust_k):
    """A cylinder full of charge with a little residual gas, at bottom dead centre."""
    y = np.zeros(kernel.STATES)
    mass = s.p_in * kernel.volume_of(kernel.START_DEG, s)[0] / (s.r_air * s.t_in)
    y[kernel.AIR], y[kernel.BURNED], y[kernel.T] = 0.95 * mass, 0.05 * mass, s.t_in
    y[kernel.T_EX] = t_exhaust_k
    return y


def _setups(kernel, cylinder, cam, operating, at):
    """One kernel.Setup a point, None where a quantity is not known."""
    known = np.isfinite(np.array(list(at.values()))).all(axis=0)
    start, length = burning(kernel, at["half_burned_deg"], at["burn_deg"])
    if operating.fired:
        _refuse_open_valves(cam, start[known], (start + length)[known])
    piston = np.pi / 4 * cylinder.bore_m**2
    clearance = cylinder.displacement_m3 / (cylinder.compression_ratio - 1)
    charge = cylinder.displacement_m3 * at["p_manifold_pa"] / (gas.R_AIR_J_KGK * at["t_charge_k"])
    fixed = {
        "crank": cylinder.stroke_m / 2,
        "rod": float(cylinder.rod_m),
        "piston_area": piston,
        "clearance": clearance,
        "head_area": 2 * piston + 4 * clearance / cylinder.bore_m,  # crown, head, wall above top
        "bore": float(cylinder.bore_m),
        "t_wall": float(cylinder.t_wall_k),
        "wall_factor": float(cylinder.wall_factor),
        "r_air": gas.R_AIR_J_KGK,
        "area_in": valve_area_m2(cylinder, cam.intake, "intake"),
        "area_ex": valve_area_m2(cylinder, cam.exhaust, "exhaust"),
    }
    gases = {lam: working_gas(operating, lam) for lam in set(at["lam"][known].tolist())}
    for found in gases.values():
        for name in ("gas_air", "gas_burned"):  # plain numbers: an array is counted at every use
            found[name] = tuple(map(tuple, np.asarray(found[name]).tolist()))

    def setup(i):
        return kernel.Setup(
            seconds_per_deg=float(1 / (6 * at["speed_rpm"][i])),
            p_in=float(at["p_manifold_pa"][i]),
            p_ex=float(at["p_exhaust_pa"][i]),
            t_in=float(at["t_charge_k"][i]),
            piston_speed=float(cylinder.stroke_m * at["speed_rpm"][i] / 30),
            burn_start=float(start[i]),
            burn_deg=float(length[i]),
            port_mixing_kg=float(kernel.PORT_MIXING * charge[i]),
            **fixed,
            **gases[float(at["lam"][i])],
        )

    return [setup(i) if known[i] else None for i in range(known.size)]


def working_gas(operating, lam):
    """Air and burned gas, and the heat that a kilogram of air burns."""
    fuel = operating.fuel
    atoms = fuel.h_to_c, fuel.o_to_c
    heat = COMBUSTION_EFFICIENCY * fuel.lhv_j_kg / fuel.afr_stoich * min(1.0, 1 / lam)
    return {
        "gas_air": gas.coefficients(),
        "gas_burned": gas.coefficients(lam, *atoms),
        "r_burned": float(gas.r_burned_j_kgk(lam, *atoms)),
        "heat_per_air": heat if operating.fired else 0.0,
        "fuel_per_air": float(_fuel_per_air(operating, lam)),
    }


def _fuel_per_air(operating, lam):
    return 1 / (lam * operating.fuel.afr_stoich) if operating.fired else 0.0 * lam


def burning(kernel, half_burned_deg, burn_deg):
    """Where Wiebe's law starts and how long it lasts, from 50 % and 10 to 90 % burned."""
    length = burn_deg / (_burned_at(kernel, 0.9) - _burned_at(kernel, 0.1))
    return half_burned_deg - _burned_at(kernel, 0.5) * length, length


def _burned_at(kernel, fraction):
    """Share of the burning time after which this fraction is burned: Wiebe's law, inverted."""
    to_end = 1 - np.exp(-kernel.WIEBE_A)
    return (-np.log(1 - fraction * to_end) / kernel.WIEBE_A) ** (1 / (kernel.WIEBE_M + 1))


def _refuse_open_valves(cam, start, end):
    shut = cam.intake.closes_deg - 720
    if np.any(start < shut):
        raise ValueError(
            f"combustion would start at {start.min():.0f} deg, before the intake valve shuts at "
            f"{shut:.0f}: burn later or faster, or close the intake earlier"
        )
    if np.any(end > cam.exhaust.opens_deg):
        raise ValueError(
            f"combustion would end at {end.max():.0f} deg, after the exhaust valve opens at "
            f"{cam.exhaust.opens_deg:.0f}: burn earlier or faster, or open the exhaust later"
        )


def valve_area_m2(cylinder, lobe, side):
    """Effective area of one side's valves over the cycle, every quarter degree. [m2]

    Curtain pi D L up to the port's area, times the discharge coefficient.
    Source: Heywood (1988), sec. 6.3.2, its first and last stages.
    """
    from toolkit.physics import cycle_kernel as kernel

    diameter = getattr(cylinder, f"{side}_valve_m")
    angle = kernel.START_DEG + np.arange(720 * kernel.AREA_PER_DEG + 1) / kernel.AREA_PER_DEG
    lift = lobe.at(angle)
    coefficient = getattr(cylinder, f"discharge_{side}")
    if np.ndim(coefficient):
        coefficient = np.interp(lift / diameter, *np.transpose(coefficient))
    ideal = np.minimum(np.pi * diameter * lift, np.pi / 4 * (THROAT * diameter) ** 2)
    return getattr(cylinder, f"{side}_valves") * coefficient * ideal


def _results(kernel, cylinder, operating, at, done, rows):
    """The fields of cycle.Cycles by name, flat, but for `converged`."""
    air, burned, gross, t_exhaust, cycles, _ = done[:_SOLVED]
    y = done[_SOLVED:]
    swept = cylinder.displacement_m3
    delivered = y[kernel.IN_AIR]
    full = at["p_manifold_pa"] * swept / (gas.R_AIR_J_KGK * at["t_charge_k"])
    gained = delivered + y[kernel.IN_BURNED] + _fuel_per_air(operating, at["lam"]) * air
    lost = y[kernel.OUT_AIR] + y[kernel.OUT_BURNED]
    heat_in = y[kernel.IN_H] + y[kernel.FUEL_HEAT]
    heat_out = y[kernel.OUT_H] + y[kernel.WALL_HEAT] + y[kernel.WORK]
    scale = y[kernel.FUEL_HEAT] + swept * at["p_manifold_pa"]
    return {
        "trapped_air_kg": air,
        "short_air_kg": delivered - air if operating.fired else np.full_like(air, np.nan),
        "ve": delivered / full,
        "residual_fraction": burned / (air + burned),
        "imep_gross_pa": gross / swept,
        "pmep_pa": (gross - y[kernel.WORK]) / swept,
        "p_max_pa": rows[:, :, kernel.PRESSURE].max(axis=1),
        "t_exhaust_k": t_exhaust,
        "wall_heat_j": y[kernel.WALL_HEAT],
        "knock_integral": _knock(kernel, operating, at, rows),
        "mass_error": (gained - lost) / (air + burned),
        "energy_error": (heat_in - heat_out) / scale,
        "cycles": cycles,
    }


def _knock(kernel, operating, at, rows):
    """The knock integral of each point, from where combustion starts until little is left."""
    if not operating.fired:
        return np.full(len(rows), np.nan)
    start, length = burning(kernel, at["half_burned_deg"], at["burn_deg"])
    last = start + length * _burned_at(kernel, KNOCK_UNTIL)
    return np.array(
        [
            _end_gas(kernel, trace, start[i], last[i], at["speed_rpm"][i], at["octane"][i])
            for i, trace in enumerate(rows)
        ]
    )


def _end_gas(kernel, trace, start_deg, last_deg, speed_rpm, octane):
    """Knock integral of one trace; before combustion the end gas is the whole charge."""
    if not np.isfinite(trace).all():
        return np.nan
    turned = trace[:, kernel.ANGLE]
    angle = np.linspace(start_deg - COMPRESSION_DEG, last_deg, 400)
    p = np.interp(angle, turned, trace[:, kernel.PRESSURE])
    t = np.interp(angle, turned, trace[:, kernel.TEMPERATURE])
    p0, t0 = (np.interp(start_deg, angle, a) for a in (p, t))
    history = np.where(angle < start_deg, t, knock.unburned_t_k(t0, p0, p))
    return knock.knock_integral(angle / (6 * speed_rpm), p, history, octane)
