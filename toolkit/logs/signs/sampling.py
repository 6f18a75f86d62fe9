"""Can the log answer at all? Rate, gaps, jitter, and speed that does not rise."""

import numpy as np

from toolkit.logs.signs.sign import Sign, cannot_tell, rows_of

_NO_CLOCK = ("the log has no clock", "log time")


def slow(trace, limits):
    """Too few samples a second for what happens in tenths of one."""
    if not np.isfinite(trace.rate_hz):
        return [cannot_tell("slow log", *_NO_CLOCK)]
    if trace.rate_hz >= limits.rate_hz:
        return []
    return [Sign("slow log", "weakens",
                 f"The log has {trace.rate_hz:.1f} samples a second: spikes and flutter between "
                 "them are not seen.", f"wanted: {limits.rate_hz:.0f} Hz or more",
                 "log full-throttle pulls at 50 to 100 Hz",
                 forbids=("transients",), channel="time_s")]  # fmt: skip


def gaps(trace, limits):
    """The logger paused inside a pull."""
    if not np.isfinite(trace.rate_hz):
        return [cannot_tell("gap", *_NO_CLOCK)]
    steps = np.diff(trace["time_s"], prepend=trace["time_s"][:1])
    # A clock with its digits cut off stands for several rows and then jumps: that is no pause.
    printed = np.median(steps[steps > 0])
    wide = (steps > max(limits.gap_steps / trace.rate_hz, 1.5 * printed)) & trace.loaded
    if not wide.any():
        return []
    return [Sign("gap", "weakens", f"The logger paused {int(wide.sum())} times inside a pull, at "
                 f"most for {steps[wide].max():.2f} s; nothing is drawn across.",
                 f"usual step {1 / trace.rate_hz:.3f} s", "check the logger's memory and bus load",
                 rows_of(wide), ("transients",), "time_s")]  # fmt: skip


def jitter(trace, limits):
    """Uneven or backward time stamps."""
    if not np.isfinite(trace.rate_hz):
        return [cannot_tell("uneven clock", *_NO_CLOCK)]
    steps = np.diff(trace["time_s"])
    usual = steps[(steps > 0) & (steps < limits.gap_steps / trace.rate_hz)]
    scatter = float(np.std(usual)) * trace.rate_hz if len(usual) else 0.0
    backward = rows_of(np.concatenate([[False], steps < 0]))
    if scatter <= limits.jitter and not len(backward):
        return []
    return [Sign("uneven clock", "weakens",
                 f"The sampling step scatters by {scatter:.0%}"
                 + (f" and time runs backward in {len(backward)} rows" if len(backward) else "")
                 + ": rates of change are blurred.", f"median step {1 / trace.rate_hz:.4f} s",
                 "use the logger's own clock rather than the time of arrival", backward,
                 ("transients",), "time_s")]  # fmt: skip


def folded(trace, limits):
    """Speed falls back inside a pull, by more than its noise."""
    found = []
    for number, pull in trace.numbered:
        speed = trace["speed_rpm"][pull.rows]
        below = np.fmax.accumulate(speed) - speed
        fall = below > limits.fold_rpm
        if fall.any():
            found.append(Sign(
                "speed falls back", "weakens",
                f"In pull {number} speed falls back by up to {np.nanmax(below):.0f} rpm: the dyno "
                "hunts, or a tyre or clutch slips.", f"{int(fall.sum())} of {len(fall)} rows",
                "bins average over it; for rates of change repeat the pull",
                pull.start + rows_of(fall), ("transients",), "speed_rpm"))  # fmt: skip
    return found


SAMPLING_DETECTORS = (slow, gaps, jitter, folded)
