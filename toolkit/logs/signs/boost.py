"""Boost that falls, spikes, creeps or flutters; a gate that opens early; back pressure on top."""

import numpy as np

from toolkit.logs.pressure_reference import LEAST_BOOST_PA
from toolkit.logs.pulls import slope
from toolkit.logs.signs.sign import Sign, cannot_tell, rows_of, runs_of


def _each(trace, name):
    """(number, pull, speed, boost) of the pulls with boost, or the sign that says why not."""
    boost = trace.boost_pa
    if boost is None:
        what = trace.missing("p_manifold_pa") or "the barometer"
        return [], [cannot_tell(name, f"{what} is not known", "log it")]
    parts = []
    for number, pull in trace.numbered:
        here = boost[pull.rows]
        if np.isfinite(here).sum() > 5 and np.nanmax(here) > LEAST_BOOST_PA:
            parts.append((number, pull, trace["speed_rpm"][pull.rows], here))
    return parts, []


def _plateau(speed, boost):
    """The boost that the pull settles on: the median over the middle half of its boosted range."""
    arrived = np.flatnonzero(boost > 0.9 * np.nanmax(boost))[0]
    span = speed[-1] - speed[arrived]
    middle = (speed >= speed[arrived] + 0.25 * span) & (speed <= speed[arrived] + 0.75 * span)
    return float(np.nanmedian(boost[middle])) if middle.any() else float(np.nanmax(boost))


def falls(trace, limits):
    """Boost at the top of the pull below what it was."""
    parts, found = _each(trace, "boost falls")
    for number, pull, speed, boost in parts:
        level = _level_by_speed(speed, boost)
        if len(level) < 4:
            found.append(cannot_tell("boost falls", f"pull {number} is too short", "longer pulls"))
            continue
        best = int(np.nanargmax(level[:, 1]))
        drop = 1 - level[-1, 1] / level[best, 1]
        if drop > limits.boost_fall and level[-1, 0] - level[best, 0] > 300:
            found.append(Sign(
                "boost falls", "note",
                f"In pull {number} boost falls from {trace.text(level[best, 1], 'boost')} at "
                f"{level[best, 0]:.0f} rpm to {trace.text(level[-1, 1], 'boost')} at "
                f"{level[-1, 0]:.0f} rpm.",
                f"{drop:.0%} less; means of {len(level)} bins",
                "the spring check asks whether back pressure pushed the gate open",
                pull.start + rows_of(speed > level[best, 0]), channel="p_manifold_pa"))  # fmt: skip
    return found


def _level_by_speed(speed, boost, step=250.0):
    """(speed, mean boost) in bins, so that a spike of a few rows is not taken for a level."""
    place = np.floor(speed / step).astype(int)
    bins = [(float(speed[place == p].mean()), float(np.nanmean(boost[place == p])))
            for p in np.unique(place) if np.isfinite(boost[place == p]).sum() >= 2]  # fmt: skip
    return np.array(bins).reshape(-1, 2)


def spikes(trace, limits):
    """A short crest over the boost that follows it."""
    name = "boost spike"
    if not trace.rate_hz >= limits.rate_hz:
        return [cannot_tell(name, f"the log has {trace.rate_hz:.1f} samples a second",
                            "log at 50 Hz or more")]  # fmt: skip
    parts, found = _each(trace, name)
    for number, pull, speed, boost in parts:
        crest = int(np.nanargmax(boost))
        after = boost[crest + _samples(trace, 0.5 * limits.spike_s) :][: _samples(trace, 1.5)]
        if np.isfinite(after).sum() < 3:
            continue
        settled = float(np.nanmedian(after))
        before = boost[: max(crest - _samples(trace, 0.2), 0)][-_samples(trace, 0.6) :]
        if np.isfinite(before).any() and np.nanmedian(before) > settled * (1 + limits.spike / 2):
            continue  # boost was there already and falls from there
        over = next(((a, b) for a, b in runs_of(boost > settled * (1 + limits.spike))
                     if a <= crest < b), None)  # fmt: skip
        if over and over[1] - over[0] <= _samples(trace, limits.spike_s):
            word = "at least " if trace.rate_hz < 50 else ""
            found.append(Sign(
                name, "note",
                f"Boost in pull {number} spikes to {word}{trace.text(boost[crest], 'boost')} at "
                f"{speed[crest]:.0f} rpm, {boost[crest] / settled - 1:.0%} over what follows, for "
                f"{1000 * (over[1] - over[0]) / trace.rate_hz:.0f} ms.",
                f"then {trace.text(settled, 'boost')}",
                "never quote the crest as the run's boost; more feed-forward, less feedback",
                pull.start + np.arange(*over), channel="p_manifold_pa"))  # fmt: skip
    return found


def _samples(trace, seconds):
    return max(round(seconds * trace.rate_hz), 1)


def creeps(trace, limits):
    """Boost that climbs with speed though the controller is off: the gate cannot pass enough."""
    name = "boost creeps"
    parts, found = _each(trace, name)
    for number, pull, speed, boost in parts:
        top = speed > speed[0] + 0.5 * (speed[-1] - speed[0])
        rate = slope(speed[top], boost[top]) if top.sum() > 3 else 0.0
        if rate <= limits.creep_pa_per_rpm:
            continue
        if not trace.has("gate_duty"):
            found.append(cannot_tell(
                name, f"boost climbs by {trace.text(1000 * rate, 'boost')} per 1000 rpm in pull "
                f"{number}, and whether the controller asked for it was not logged",
                "log the gate's duty, or pull on the spring alone"))  # fmt: skip
        elif np.nanmax(trace["gate_duty"][pull.rows][top]) <= limits.duty_off:
            found.append(Sign(
                name, "stops",
                f"In pull {number} boost climbs by {trace.text(1000 * rate, 'boost')} per 1000 rpm "
                "with the controller off: the gate or its path is too small; a softer spring will "
                "not cure it.", f"straight line over {int(top.sum())} rows",
                "larger gate, better branch; lift off before the engine's limit",
                pull.start + rows_of(top), ("boost",), "p_manifold_pa"))  # fmt: skip
    return found


def flutters(trace, limits):
    """Boost that swings at a steady throttle, within what the rate lets be seen."""
    name = "boost flutters"
    if not trace.rate_hz >= 2.5 * limits.flutter_hz:
        return [cannot_tell(
            name, f"{trace.rate_hz:.0f} samples a second cannot show {limits.flutter_hz:.0f} Hz: "
            "it would appear as a slower swing", f"log at {2.5 * limits.flutter_hz:.0f} Hz or "
            "more, or type a lower suspected frequency")]  # fmt: skip
    parts, found = _each(trace, name)
    for number, pull, _speed, boost in parts:
        frequency, swing, rows = _swing(boost, trace.rate_hz, 8 / limits.flutter_hz)
        if swing > limits.flutter_pa:
            found.append(Sign(
                name, "stops",
                f"Boost in pull {number} swings by {trace.text(2 * swing, 'boost')} at "
                f"{frequency:.1f} Hz with the throttle open: surge, or a gate that hunts.",
                f"amplitude over {len(rows)} rows", "surge fades as speed rises and shaft speed "
                "swings with it: log shaft speed; lift off if it does not stop",
                pull.start + rows, ("boost",), "p_manifold_pa"))  # fmt: skip
    return found


def _swing(boost, rate_hz, seconds):
    """(frequency, amplitude, rows) of the strongest swing that lasts through two such times.

    The knee where boost arrives rings for a moment; a swing goes on at the same frequency.
    """
    n = max(int(seconds * rate_hz), 16)
    starts = range(0, len(boost) - n + 1, n // 2)
    parts = [_strongest(boost[start : start + n], rate_hz) for start in starts]
    best = (np.nan, 0.0, np.empty(0, dtype=int))
    for start, one, two in zip(starts, parts, parts[2:], strict=False):
        if abs(one[0] - two[0]) <= 1.5 * rate_hz / n and min(one[1], two[1]) > best[1]:
            best = (one[0], min(one[1], two[1]), np.arange(start, start + 2 * n))
    return best


def _strongest(part, rate_hz):
    """(frequency, amplitude) of what stands out of a stretch; (inf, 0) where nothing does.

    Fewer than four turns in it are the shape of the pull, not a swing.
    """
    if not np.isfinite(part).all():
        return np.inf, 0.0
    rows = np.linspace(-1, 1, len(part))
    rest = part - np.polyval(np.polyfit(rows, part, 3), rows)
    power = np.abs(np.fft.rfft(rest * np.hanning(len(part)))) ** 2
    peak = int(np.argmax(power[4:])) + 4
    # A swing has most of its power at one frequency; noise has it everywhere.
    if power[peak - 2 : peak + 3].sum() <= 0.6 * power.sum():
        return np.inf, 0.0
    return peak * rate_hz / len(part), float(np.sqrt(2) * np.std(rest))


def opens_early(trace, limits):
    """The gate leaves its seat long before the boost it should hold."""
    name = "gate opens early"
    if not trace.has("gate_lift_m"):
        return [cannot_tell(name, "gate lift is not logged",
                            "log it, or compare with a pull with the gate held shut")]  # fmt: skip
    parts, found = _each(trace, name)
    for number, pull, speed, boost in parts:
        lift = trace["gate_lift_m"][pull.rows]
        settled = _plateau(speed, boost)
        moving = np.flatnonzero(lift > 0.02 * np.nanmax(lift)) if np.nanmax(lift) > 0 else []
        if len(moving) and boost[moving[0]] < limits.early * settled:
            at = moving[0]
            found.append(Sign(
                name, "weakens",
                f"In pull {number} the gate opens at {trace.text(boost[at], 'boost')}, though the "
                f"pull settles on {trace.text(settled, 'boost')}: boost comes later than it could.",
                f"{speed[at]:.0f} rpm, {boost[at] / settled:.0%} of the settled boost",
                "more preload, or a controller that holds it shut until the target",
                pull.start + np.arange(at, len(boost)), channel="gate_lift_m"))  # fmt: skip
    return found


def back_pressure(trace, limits):
    """Where back pressure is above boost."""
    if not trace.has("p_exhaust_pa", "p_manifold_pa"):
        return [cannot_tell("back pressure over boost",
                            f"{trace.missing('p_exhaust_pa', 'p_manifold_pa')} not logged",
                            "log both")]  # fmt: skip
    mask = (trace["p_exhaust_pa"] > trace["p_manifold_pa"]) & trace.loaded
    boost = trace.boost_pa
    mask &= boost > LEAST_BOOST_PA if boost is not None else True
    if not mask.any():
        return []
    ratio = trace["p_exhaust_pa"][mask] / trace["p_manifold_pa"][mask]
    return [Sign("back pressure over boost", "note",
                 f"Back pressure is above boost in {int(mask.sum())} rows, up to "
                 f"{ratio.max():.2f} times the manifold's absolute pressure.",
                 f"from {trace['speed_rpm'][mask].min():.0f} rpm; sources differ on what is too "
                 "much", "compare with a larger turbine", rows_of(mask),
                 channel="p_exhaust_pa")]  # fmt: skip


def duty_shift(trace_a, trace_b, limits):
    """Between two runs: more duty for the same boost, as a leak or a weak gate would need."""
    name = "duty for the same boost"
    for trace in (trace_a, trace_b):
        if not trace.has("gate_duty") or trace.boost_pa is None:
            return cannot_tell(name, "gate duty or boost is not known in both runs", "log both")
    medians = []
    for trace in (trace_a, trace_b):
        held = trace.loaded & (trace.boost_pa > 0.95 * np.nanmax(trace.boost_pa[trace.loaded]))
        medians.append((np.nanmedian(trace.boost_pa[held]), np.nanmedian(trace["gate_duty"][held])))
    (boost_a, duty_a), (boost_b, duty_b) = medians
    if abs(boost_b - boost_a) > 0.03 * boost_a:
        return cannot_tell(name, "the runs hold different boost", "compare runs at one boost")
    if abs(duty_b - duty_a) <= limits.duty_shift:
        return None
    more = "second" if duty_b > duty_a else "first"
    return Sign(name, "weakens",
                f"The {more} run needs {100 * abs(duty_b - duty_a):.0f} points more duty for the "
                "same boost: a leak after the compressor, a tired gate, or a smaller turbine flow.",
                f"{duty_a:.0%} and {duty_b:.0%} at {trace_a.text(boost_a, 'boost')}",
                "pressure-test the intake side; log shaft speed",
                channel="gate_duty")  # fmt: skip


BOOST_DETECTORS = (falls, spikes, creeps, flutters, opens_early, back_pressure)
