"""Two loggers of the same pulls laid on one clock, as a picture."""

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Line, Panel, Picture
from toolkit.logs.channels import CHANNELS
from toolkit.logs.clocks import resampled


def clock_picture(reference, other, fit, names, system, channel=""):
    """Both engine speeds on the reference clock, their difference, and one channel of both.

    reference, other: frames with time_s and speed_rpm; names: of the two logs, in that order.
    Where nothing was fitted the other log stands on its own clock.
    """
    times = reference["time_s"].to_numpy(), _on_reference(other["time_s"].to_numpy(), fit)
    panels = [_both("speed_rpm", reference, other, times, names, system, 220)]
    panels.append(_difference(reference, other, times, names))
    if channel in reference or channel in other:
        panels.append(_both(channel, reference, other, times, names, system, 180))
    finding, label = _finding(fit, names), f"Time on the clock of '{names[0]}' [s]"
    return Picture(finding, _method(fit), tuple(panels), label)


def _on_reference(time_s, fit):
    return fit.onto(time_s) if np.isfinite(fit.offset_s) else time_s


def _both(channel, reference, other, times, names, system, height):
    spec = CHANNELS[channel]
    lines = [
        Line(
            t, units.shown(frame[channel], spec.kind, system), name, style.run_colour(i),
            width=style.THIN_PX if i else 2.4,
        )
        for i, (t, frame, name) in enumerate(zip(times, (reference, other), names, strict=True))
        if channel in frame
    ]  # fmt: skip
    unit = units.unit_of(spec.kind, system)
    title = f"{spec.words.capitalize()} [{unit}]" if unit else spec.words.capitalize()
    zero = spec.kind not in ("temperature", "barometer", "lambda", "pressure")
    return Panel(
        title, tuple(lines), height=height, from_zero=zero,
        decimals=units.decimals_of(spec.kind, system),
    )  # fmt: skip


def _difference(reference, other, times, names):
    """Second log's speed less the first's, at the first's rows."""
    known = np.isfinite(times[1])
    t, first = np.unique(times[1][known], return_index=True)
    speed = resampled(t, other["speed_rpm"].to_numpy()[known][first], times[0])
    gap = speed - reference["speed_rpm"].to_numpy()
    high = max(float(np.nanquantile(np.abs(gap), 0.995)) if np.isfinite(gap).any() else 0.0, 20.0)
    dots = Line(times[0], gap, "difference", style.INK, "worked out", 0, points=True, joined=False)
    title = f"Speed, '{names[1]}' less '{names[0]}' [rpm]"
    return Panel(title, (dots,), height=140, y_range=(-1.2 * high, 1.2 * high))


def _finding(fit, names):
    if not np.isfinite(fit.offset_s):
        return "The two logs cannot be laid on one clock"
    order = "after" if fit.offset_s > 0 else "before"
    return (
        f"The clock of '{names[1]}' starts {abs(fit.offset_s):.3f} s {order} that of '{names[0]}'"
    )


def _method(fit):
    said = [fit.why]
    if np.isfinite(fit.offset_error_s):
        said.append(f"offset ± {fit.offset_error_s:.4f} s")
    if np.isfinite(fit.rate_error):
        said.append(f"rate {fit.rate:.6f} ± {fit.rate_error:.6f}")
    elif np.isfinite(fit.offset_s):
        said.append("equal clock rates: the data show no other")
    if np.isfinite(fit.misfit_rpm):
        said.append(f"misfit {fit.misfit_rpm:.0f} rpm")
    return " · ".join(said)
