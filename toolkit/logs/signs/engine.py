"""Mixture, spark, fuel, oil and heat in a pull."""

import numpy as np

from toolkit.logs.grid import gridded
from toolkit.logs.pressure_reference import LEAST_BOOST_PA
from toolkit.logs.signs.sign import Sign, cannot_tell, rows_of, runs_of


def mixture(trace, limits):
    """Leaner or richer than the band while under boost."""
    boosted = _boosted(trace)
    if not trace.has("lam") or boosted is None:
        what = trace.missing("lam", "p_manifold_pa") or "the barometer"
        return [cannot_tell("mixture out of band", f"{what} is not known", "log it")]
    lam = trace["lam"]
    return [
        Sign(f"{word} under boost", "stops" if word == "lean" else "note",
             f"Lambda is {word}er than {limit:.2f} in {int(mask.sum())} rows under boost.",
             f"{word}est {extreme:.3f}, from {trace['speed_rpm'][mask].min():.0f} to "
             f"{trace['speed_rpm'][mask].max():.0f} rpm", todo, rows_of(mask), forbids, "lam")
        for word, limit, mask, extreme, forbids, todo in (
            ("lean", limits.lean, boosted & (lam > limits.lean),
             np.nanmax(np.where(boosted, lam, -np.inf), initial=-np.inf), ("power",),
             "stop and find out why before the next pull"),
            ("rich", limits.rich, boosted & (lam < limits.rich),
             np.nanmin(np.where(boosted, lam, np.inf), initial=np.inf), (),
             "power may rise with less fuel; check the sensor first"),
        ) if mask.any()
    ]  # fmt: skip


def ragged(trace, limits):
    """A step towards lean with a dip of torque: maybe unburned air, not too little fuel."""
    if not trace.has("lam", "torque_nm"):
        return [cannot_tell("misfire or leak", f"{trace.missing('lam', 'torque_nm')} not logged",
                            "log both")]  # fmt: skip
    found = []
    for number, pull in trace.numbered:
        step = trace["lam"][pull.rows] - _around(trace["lam"][pull.rows])
        torque = trace["torque_nm"][pull.rows]
        dip = 1 - torque / _around(torque)
        mask = (step > limits.lambda_step) & (dip > limits.torque_dip)
        if mask.any():
            found.append(Sign(
                "misfire or leak", "stops",
                f"In pull {number} lambda jumps lean by {np.nanmax(step[mask]):.2f} where torque "
                f"dips by {np.nanmax(dip[mask]):.0%}: possibly a misfire or an air leak before the "
                "sensor; more fuel is no answer to either.",
                f"{int(mask.sum())} rows around {trace['speed_rpm'][pull.rows][mask].mean():.0f} "
                "rpm", "look at plugs, coils and gaskets; repeat the pull",
                pull.start + rows_of(mask), ("power", "mixture"), "lam"))  # fmt: skip
    return found


def _around(values, half=6):
    """The median of the neighbours on both sides, which a short dip does not move."""
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    known = np.isfinite(windows).any(axis=1)
    out = np.full(len(values), np.nan)
    out[known] = np.nanmedian(windows[known], axis=1)
    return out


def spark_between_pulls(trace, limits):
    """Pulls that were not fired alike are not repeats."""
    if not trace.has("spark_deg"):
        return [cannot_tell("spark differs", "spark is not logged", "log it")]
    if len(trace.pulls) < 2:
        return [cannot_tell("spark differs", "there is one pull", "repeat the pull")]
    grids = gridded(trace.frame, trace.pulls, 100.0, ["speed_rpm", "spark_deg"])
    stack = np.array([g["spark_deg"] for g in grids])
    all_there = np.isfinite(stack).all(axis=0)
    spread = np.ptp(stack[:, all_there], axis=0)
    beyond = spread > limits.spark_deg
    if not beyond.any():
        return []
    speeds = grids[0].speed_rpm[all_there][beyond]
    return [Sign("spark differs", "weakens",
                 f"Spark differs between the pulls by up to {spread.max():.1f}°: they are not "
                 "repeats of one test.", f"from {speeds.min():.0f} to {speeds.max():.0f} rpm",
                 "find what took the spark away (knock, heat), then repeat", forbids=("power",),
                 channel="spark_deg")]  # fmt: skip


def injectors(trace, limits):
    """Injectors open for so long that nothing is left."""
    duty = injector_duty(trace)
    if duty is None:
        return [cannot_tell("injectors at their end", "injector time or duty is not logged",
                            "log pulse width")]  # fmt: skip
    mask = (duty > limits.duty) & trace.loaded
    if not mask.any():
        return []
    return [Sign("injectors at their end", "stops",
                 f"Injectors are open for {np.nanmax(duty[mask]):.1%} of the time, beyond "
                 f"{limits.duty:.0%}: where power falls here, fuel may be why, not the turbo.",
                 f"{int(mask.sum())} rows from {trace['speed_rpm'][mask].min():.0f} rpm",
                 "larger injectors or more rail pressure before the next step of boost",
                 rows_of(mask), ("power",), "injector_duty")]  # fmt: skip


def injector_duty(trace):
    """Duty from the log, or pulse width times speed / 120 (once per two turns); None if neither."""
    if trace.has("injector_duty"):
        return trace["injector_duty"]
    if trace.has("injector_time_s", "speed_rpm"):
        return trace["injector_time_s"] * trace["speed_rpm"] / 120
    return None


def rail(trace, limits):
    """Rail pressure over boost, which is what drives the injector, falls in a pull."""
    if not trace.has("p_rail_gauge_pa") or trace.boost_pa is None:
        return [cannot_tell("rail pressure falls", "rail pressure or boost is not known",
                            "log both and the barometer")]  # fmt: skip
    across = trace["p_rail_gauge_pa"] - trace.boost_pa
    found = []
    for number, pull in trace.numbered:
        here = across[pull.rows]
        start = np.nanmedian(here[: max(len(here) // 10, 1)])
        low = here < start * (1 - limits.rail_loss)
        if start > 0 and low.any():
            worst = float(np.nanmin(here))
            flow = np.sqrt(max(worst, 0.0) / start)
            found.append(Sign(
                "rail pressure falls", "weakens",
                f"In pull {number} the pressure across the injectors falls from "
                f"{trace.text(start, 'boost')} to {trace.text(worst, 'boost')}: they flow "
                f"{flow:.1%} of what they did.",
                f"{int(low.sum())} rows; flow goes with the square root of pressure",
                "reference the regulator to the manifold; check pump, filter and voltage",
                pull.start + rows_of(low), ("mixture",), "p_rail_gauge_pa"))  # fmt: skip
    return found


def oil(trace, limits):
    """Oil pressure against speed."""
    if not trace.has("p_oil_gauge_pa"):
        return [cannot_tell("low oil pressure", "oil pressure is not logged", "log it")]
    below = (trace["p_oil_gauge_pa"] < limits.oil_pa_per_rpm * trace["speed_rpm"]) & trace.loaded
    least = 3 if np.isnan(trace.rate_hz) else max(limits.oil_s * trace.rate_hz, 1)
    low = np.zeros_like(below)
    for start, stop in runs_of(below):
        low[start:stop] = stop - start >= least  # a noisy row is no lack of oil
    if not low.any():
        return []
    at = rows_of(low)[np.argmin(trace["p_oil_gauge_pa"][low])]
    per = trace.text(limits.oil_pa_per_rpm * 1000, "boost")
    return [Sign("low oil pressure", "stops",
                 f"Oil pressure is below {per} per 1000 rpm in {int(low.sum())} rows.",
                 f"{trace.text(trace['p_oil_gauge_pa'][at], 'boost')} at "
                 f"{trace['speed_rpm'][at]:.0f} rpm; the rule is common practice",
                 "stop; the engine maker's figure decides", rows_of(low),
                 channel="p_oil_gauge_pa")]  # fmt: skip


def charge(trace, limits):
    """Charge that warms in a pull, or a sensor that never moves."""
    if not trace.has("t_charge_k"):
        return [cannot_tell("charge temperature", "charge temperature is not logged", "log it")]
    if not trace.pulls:
        return []
    found, moved = [], 0.0
    for number, pull in trace.numbered:
        t = trace["t_charge_k"][pull.rows]
        known = t[np.isfinite(t)]
        if len(known) < 2:
            continue
        moved = max(moved, float(np.ptp(known)))
        rise = float(known[-1] - known[0])
        if rise > limits.charge_rise_k:
            found.append(Sign(
                "charge warms", "weakens",
                f"Charge warms by {trace.text(rise, 'temperature_difference')} in pull {number}: "
                "the top of the pull has thinner air than the foot.",
                f"from {trace.text(known[0], 'temperature')} to "
                f"{trace.text(known[-1], 'temperature')}",
                "let the cooler settle; compare pulls that start alike",
                np.arange(pull.start, pull.stop), channel="t_charge_k"))  # fmt: skip
    if moved < limits.charge_still_k:
        found.append(Sign(
            "charge sensor still", "weakens",
            "Charge temperature does not move in any pull: a slow sensor, one soaked in the heat "
            "of its housing, or a value set by hand.",
            f"at most {trace.text(moved, 'temperature_difference')}",
            "use an open-tip sensor in the stream", forbids=("cooler",),
            channel="t_charge_k"))  # fmt: skip
    return found


def cooler(trace, limits):
    """Charge colder than the medium that cools it: not possible, so a sensor or place is wrong."""
    channels = ("t_compressor_out_k", "t_charge_k", "t_cooler_water_k")
    if not trace.has(*channels):
        return [cannot_tell("cooler beyond 100 %", f"{trace.missing(*channels)} not logged",
                            "log what cools the charge, on its way in")]  # fmt: skip
    hot, charge_k, cold = (trace[c] for c in channels)
    with np.errstate(divide="ignore", invalid="ignore"):
        effectiveness = np.where(hot - cold > 5, (hot - charge_k) / (hot - cold), np.nan)
    mask = (effectiveness > 1) & trace.loaded
    if not mask.any():
        return []
    return [Sign("cooler beyond 100 %", "stops",
                 f"The charge is colder than what cools it (effectiveness "
                 f"{np.nanmax(effectiveness[mask]):.0%}): a sensor, its place or the reference is "
                 "wrong.", f"{int(mask.sum())} rows", "check the three sensors against each other "
                 "with the engine cold", rows_of(mask), ("cooler",), "t_charge_k")]  # fmt: skip


def _boosted(trace):
    boost = trace.boost_pa
    return None if boost is None else (boost > LEAST_BOOST_PA) & trace.loaded


ENGINE_DETECTORS = (mixture, ragged, spark_between_pulls, injectors, rail, oil, charge, cooler)
