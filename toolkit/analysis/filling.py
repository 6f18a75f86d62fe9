"""Volumetric efficiency of an engine from a reviewed pull without boost."""

import numpy as np

from toolkit import units
from toolkit.analysis.sides import opened, side
from toolkit.analysis.sizing import air_needed_kg_s
from toolkit.build import Curve
from toolkit.physics import engine

BOOSTED = 1.05  # manifold over cell pressure above which a run is not unboosted
POINTS = 12


def filling_of_run(bench, log, build, system="US"):
    """(Curve of volumetric efficiency, how it was come by) from a log of the bench.

    From measured air flow where the log has it, else from power with the build's own indicated
    efficiency and friction: an estimate, and the words say so. Manifold pressure and charge
    temperature count where logged, else the cell's. The curve spans the build's speed range.

    Raises ValueError where the run is boosted, lacks torque and air flow, or does not reach over
    the range.
    """
    speed, mean = _mean_pull(bench, log)
    weather = build.weather

    def channel(name, otherwise):
        found = mean.get(name)
        return np.full(speed.shape, otherwise) if found is None else found

    p_cell = channel("p_cell_pa", weather.p_cell_pa)
    p_manifold = channel("p_manifold_pa", np.nan)
    boost = np.nanmax(p_manifold - p_cell) if np.isfinite(p_manifold).any() else 0.0
    if np.nanmax(p_manifold / p_cell, initial=1.0) > BOOSTED:
        words = units.text(boost, "boost", system)
        raise ValueError(f"{log} is a boosted run ({words}): choose one without boost")
    air, words = _air(mean, speed, build, log)
    p = np.where(np.isfinite(p_manifold), p_manifold, p_cell)
    t = channel("t_charge_k", weather.t_cell_k)
    ve = engine.volumetric_efficiency(air, build.engine.displacement_m3, speed, p, t)
    return _curve(speed, ve, build.engine.speed_range_rpm, log), words


def _mean_pull(bench, log):
    """Speeds and the mean over the accepted pulls of every channel."""
    grids = [r.grid for r in side(log, [opened(bench, log)]).repeats]
    speed = np.unique(np.concatenate([g.speed_rpm for g in grids]))
    mean = {}
    for name in set.intersection(*(set(g.mean) for g in grids)):
        on = [np.interp(speed, g.speed_rpm, g[name], np.nan, np.nan) for g in grids]
        known = np.isfinite(on).sum(axis=0)
        mean[name] = np.where(known, np.nansum(on, axis=0) / np.maximum(known, 1), np.nan)
    return speed, mean


def _air(mean, speed, build, log):
    if "air_flow_kg_s" in mean:
        return mean["air_flow_kg_s"], f"measured air flow of {log}"
    if "torque_nm" not in mean:
        raise ValueError(f"{log} has neither torque nor air flow: choose another run")
    power = engine.power_w(mean["torque_nm"], speed)
    words = f"estimated from the power of {log} and this build's indicated efficiency"
    return air_needed_kg_s(build, power, speed), words


def _curve(speed, ve, limits, log):
    """A few points over the range, each the mean of what lies nearest."""
    known = np.isfinite(ve)
    low, high = limits
    if not known.any() or speed[known].min() > low * 1.03 or speed[known].max() < high * 0.97:
        raise ValueError(
            f"{log} does not reach from {low:.0f} to {high:.0f} rpm: narrow the speed range"
        )
    points = np.linspace(low, high, POINTS)
    nearest = np.argmin(np.abs(speed[known][:, None] - points), axis=1)
    means = [ve[known][nearest == k].mean() for k in range(POINTS) if np.any(nearest == k)]
    used = [float(p) for k, p in enumerate(points) if np.any(nearest == k)]
    if used[0] > low or used[-1] < high:
        raise ValueError(f"{log} has too few rows at the ends of the speed range")
    return Curve(tuple(float(m) for m in means), tuple(used))
