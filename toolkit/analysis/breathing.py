"""What back pressure costs an engine: its cylinder and cam from the build, and where runs lie."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from toolkit import units
from toolkit.analysis.repeats import common_speeds, stacked
from toolkit.physics import engine
from toolkit.physics.cam import CAMS, Cam, exhaust_lobe, intake_lobe
from toolkit.physics.cycle import (
    Cylinder,
    Operating,
    TorqueCost,
    Trace,
    cycle,
    torque_cost_nm_per_pa,
    trace,
)

NEEDED = {"p_manifold_pa": "manifold pressure", "p_exhaust_pa": "exhaust manifold pressure"}
# Where a build does not say: valve diameters over the bore of a four-valve head, rod over
# stroke, and the angle of 50 % burned at best spark (common practice).
INTAKE_OVER_BORE, EXHAUST_OVER_BORE, ROD_OVER_STROKE, BEST_HALF_BURNED_DEG = 0.39, 0.33, 1.65, 8.0
# For pictures that follow a hand: costs within 1 % of the usual precision's.
LIVE = {"step_deg": 2.0, "tolerance": 1e-5}
# Edges between which the cost is taken; it is steepest at 1, so they close up there.
EDGES = (0.55, 0.67, 0.79, 0.88, 0.95, 1.05, 1.12, 1.21, 1.32, 1.46, 1.64, 1.86, 2.14)


def cylinder_of(engine_build):
    """The cycle's cylinder of a build's engine, and the words for what was estimated. -> pair"""
    e, valves, guessed = engine_build, engine_build.valves, []
    rod = e.rod_length_m
    if rod is None:
        rod = ROD_OVER_STROKE * e.stroke_m
        guessed.append("rod length")
    if valves is None:
        guessed.append("valve sizes")
        heads = (INTAKE_OVER_BORE * e.bore_m, EXHAUST_OVER_BORE * e.bore_m, 2, 2)
    else:
        heads = (
            valves.intake_diameter_m,
            valves.exhaust_diameter_m,
            valves.intake_count,
            valves.exhaust_count,
        )
    return Cylinder(e.bore_m, e.stroke_m, rod, e.compression_ratio, *heads), tuple(guessed)


def cam_of(valves):
    """The cam of a build's valves; None where the build has none."""
    if valves is None:
        return None
    at = valves.timing_lift_m
    return Cam(
        intake_lobe(valves.intake_opens_deg, valves.intake_closes_deg, valves.intake_lift_m, at),
        exhaust_lobe(
            valves.exhaust_opens_deg, valves.exhaust_closes_deg, valves.exhaust_lift_m, at
        ),
    )


def operating_of(build, speed_rpm, p_manifold_pa, p_exhaust_pa, t_charge_k):
    """The cycle's operating points of a build at measured or chosen pressures. [Operating]"""
    e = build.engine
    lam, half_burned = e.lam(speed_rpm), BEST_HALF_BURNED_DEG + e.spark_retard_deg(speed_rpm)
    if np.ndim(speed_rpm) == 0:  # plain numbers, so that a cost curve can be kept for them
        lam, half_burned = float(lam), float(half_burned)
    return Operating(
        speed_rpm,
        p_manifold_pa,
        p_exhaust_pa,
        t_charge_k,
        lam=lam,
        half_burned_deg=half_burned,
        fuel=build.fuel.properties,
    )


@dataclass(frozen=True)
class CostCurve:
    """Torque lost per pascal of back pressure [N m/Pa] against exhaust over boost, absolute."""

    ratio: np.ndarray
    cost: TorqueCost

    def at(self, ratio):
        """Total cost at a ratio, straight between the points; NaN outside. [N m/Pa]"""
        return np.interp(ratio, self.ratio, self.cost.total, left=np.nan, right=np.nan)


@lru_cache(maxsize=256)
def cost_curve(cylinder, cam, point, displacement_m3, edges=EDGES):
    """The cost between neighbouring exhaust pressures at one speed and boost. [CostCurve]

    point: an Operating of plain numbers; its exhaust pressure is not used.
    """
    p_in, edge = point.p_manifold_pa, np.array(edges)
    at = Operating(
        point.speed_rpm,
        p_in,
        p_in * edge,
        point.t_charge_k,
        lam=point.lam,
        half_burned_deg=point.half_burned_deg,
        fuel=point.fuel,
    )
    done = cycle(cylinder, cam, at, **LIVE)
    step = np.diff(p_in * edge)
    pumping, lost = (
        engine.torque_nm(np.diff(mep), displacement_m3) / step
        for mep in (done.pmep_pa, -done.imep_gross_pa)
    )
    return CostCurve((edge[1:] + edge[:-1]) / 2, TorqueCost(pumping, lost))


@dataclass(frozen=True)
class RunPoints:
    """Where a run lies: speed [rpm], pressures [Pa], ratio [-], cost there [N m/Pa]."""

    speed_rpm: np.ndarray
    p_manifold_pa: np.ndarray
    p_exhaust_pa: np.ndarray
    cost: TorqueCost

    @property
    def ratio(self):
        """Exhaust over manifold pressure, absolute. [-]"""
        return self.p_exhaust_pa / self.p_manifold_pa


def levels(side, most=6):
    """Mean pressures and charge temperature of a side at a few speeds, as a dict of arrays.

    Raises ValueError where a pressure that the cost needs was not logged.
    """
    speed = common_speeds(side.repeats)
    tables = stacked(side, speed)
    missing = [words for name, words in NEEDED.items() if name not in tables]
    if missing:
        raise ValueError(
            f"{side.name} has no {' and no '.join(missing)}: log it to see where this run lies"
        )
    pick = np.unique(np.linspace(0, speed.size - 1, min(most, speed.size)).round().astype(int))
    means = {name: tables[name].mean(axis=0)[pick] for name in (*NEEDED, "t_charge_k")
             if name in tables}  # fmt: skip
    known = np.isfinite(np.array(list(means.values()))).all(axis=0)
    return {"speed_rpm": speed[pick][known]} | {n: v[known] for n, v in means.items()}


def run_points(build, cylinder, cam, level, t_charge_k):
    """The cost at each point of a run. [RunPoints] level: from `levels`.

    t_charge_k: charge temperature [K] where the run has none.
    """
    pressures = level["p_manifold_pa"], level["p_exhaust_pa"]
    t = level.get("t_charge_k", t_charge_k)
    at = operating_of(build, level["speed_rpm"], *pressures, t)
    cost = torque_cost_nm_per_pa(cylinder, cam, at, build.engine.displacement_m3, **LIVE)
    return RunPoints(level["speed_rpm"], *pressures, cost)


@dataclass(frozen=True)
class Breath:
    """Everything the cycle's picture shows, computed: one point's trace and the costs around it.

    curves: a CostCurve per cam that the engine may have, one where the cam is known. runs: name
    and RunPoints of each run with its pressures logged.
    """

    cam: Cam
    cam_known: bool
    displacement_m3: float
    cylinder: Cylinder
    point: Operating
    trace: Trace
    curves: dict
    runs: tuple = ()

    @property
    def curve(self):
        """The curve of the cam that is drawn."""
        return next(c for name, c in self.curves.items() if CAMS.get(name, self.cam) == self.cam)


def breath(build, cam, point, run_levels=()):
    """The Breath of a build at one Operating point. cam None: not known, the shapes span it.

    run_levels: (name, level) pairs, level from `levels`; their cost is taken with the cam drawn,
    the turbo shape where it is not known.
    """
    cylinder, _ = cylinder_of(build.engine)
    cams = {"": cam} if cam is not None else CAMS
    drawn = cam or CAMS["turbo"]
    swept = build.engine.displacement_m3
    path = trace(cylinder, drawn, point, tolerance=LIVE["tolerance"])
    curves = {name: cost_curve(cylinder, c, point, swept) for name, c in cams.items()}
    runs = tuple(
        (name, run_points(build, cylinder, drawn, level, point.t_charge_k))
        for name, level in run_levels
    )
    return Breath(drawn, cam is not None, swept, cylinder, point, path, curves, runs)


def cost_shown(cost_nm_pa, system):
    """A cost in N m per Pa in the person's units of torque per pressure."""
    torque, pressure = (float(units.shown(1.0, kind, system)) for kind in ("torque", "boost"))
    return np.asarray(cost_nm_pa) * torque / pressure


def cost_unit(system):
    """The label of that unit.

    >>> cost_unit("US"), cost_unit("SI")
    ('lb-ft per psi', 'N m per kPa')
    """
    return f"{units.unit_of('torque', system)} per {units.unit_of('boost', system)}"


def story(breath, system):
    """Why one-to-one is a special place, and whether it is for this cam, in plain sentences."""
    unit = cost_unit(system)

    def price(curve, ratio):
        return f"{float(cost_shown(curve.at(ratio), system)):.1f}"

    why = (
        "Where back pressure equals boost, nothing pushes gas through while both valves are open. "
        "Below that, boost sweeps burned gas out; above it, exhaust flows back through the "
        "cylinder and takes the place of fresh charge. Flow grows fastest with the first bit of "
        "pressure difference, so the price is steepest right at the crossing."
    )
    if not breath.cam_known:
        at = [f"{price(c, 1.0)} with a {name} cam" for name, c in breath.curves.items()]
        return (
            f"{why} How steep is up to the cam, and it is not known here: {', '.join(at)} ({unit})."
        )
    curve, overlap = breath.curve, breath.cam.overlap_deg
    below, at, above = (price(curve, r) for r in (0.8, 1.0, 1.3))
    steep = curve.at(1.0) > 1.25 * max(curve.at(0.8), curve.at(1.3))
    verdict = (
        "so the crossing is worth watching"
        if steep
        else "so little flows through it and the crossing is a place like any other"
    )
    return (
        f"{why} This cam has both valves open for {max(overlap, 0):.0f}°, {verdict}: back pressure "
        f"costs {below} at 0.8 times boost, {at} at the crossing and {above} at 1.3 times "
        f"({unit}, {units.text(breath.point.speed_rpm, 'engine_speed', system)})."
    )
