"""The pulls of a day in order: power by set-up, and what warmed up meanwhile, as a picture."""

import numpy as np

from toolkit import units
from toolkit.analysis.day import shortened
from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.session import LEAST_S, LIKENESS
from toolkit.charts import style
from toolkit.charts.picture import Line, Panel, Picture


def session_picture(day, system, least_s=LEAST_S):
    """A Session against the hour of the day; its place in the day where hours are not known.

    least_s: time [s] that a set-up's pulls must span before a drift is told.
    """
    known = all(p.hour is not None for p in day.pulls)
    x = np.array([p.hour if known else i for i, p in enumerate(day.pulls, start=1)], dtype=float)
    label = "Time of day [h]" if known else "Pull of the day"
    low, high = day.range_rpm
    observed = day.reference == OBSERVED
    state = OBSERVED if observed else f"{day.reference}:"
    method = (
        f"{state} mean power over {low:.0f} to {high:.0f} rpm · one dot per pull · "
        f"{len(day.pulls)} pulls · {'measured' if observed else 'worked out'}"
    )
    panels = (_power(day, x, system), _levels(day, x, system))
    return Picture(_finding(day, system, least_s), method, panels, label)


def _power(day, x, system):
    setups = day.setups
    names = dict(zip(setups, shortened(setups), strict=True))
    power = units.shown([p.power_w for p in day.pulls], "power", system)
    lines = []
    for place, setup in enumerate(setups):
        mine = np.array([p.setup == setup for p in day.pulls])
        lines.append(Line(x[mine], power[mine], names[setup], style.run_colour(place), points=True))
    unit = units.unit_of("power", system)
    return Panel(f"Mean power [{unit}]", tuple(lines), height=240, from_zero=False)


def _levels(day, x, system):
    """Oil, charge and cell air in one panel; each a stroke of its own."""
    lines = []
    temperatures = [c for c in LIKENESS if c.startswith("t_")]
    for place, channel in enumerate(temperatures):
        values = np.array([p.levels.get(channel, np.nan) for p in day.pulls])
        if np.isfinite(values).any():
            shown = units.shown(values, "temperature", system)
            colour = (style.INK, style.WARN, style.QUIET, style.RUN_COLOURS[4])[place]
            lines.append(
                Line(x, shown, LIKENESS[channel][1], colour, width=style.THIN_PX, points=True)
            )
    unit = units.unit_of("temperature", system)
    return Panel(
        f"Oil, charge, cell and coolant temperature [{unit}]",
        tuple(lines),
        height=180,
        from_zero=False,
    )


def _finding(day, system, least_s):
    """The largest drift that stands out of its band; that none does, otherwise."""
    drifts = {s: day.drift(s, least_s) for s in day.setups}
    drifts = {s: told for s, told in drifts.items() if np.isfinite(told[0])}
    if not drifts:
        return "The drift of the day cannot be told: run the first set-up again at the end"
    setup, (drift, half) = max(drifts.items(), key=lambda item: abs(item[1][0]))
    unit = units.unit_of("power", system)
    scale = float(units.shown(1.0, "power", system))
    rate = f"{drift * scale:+.1f} ± {half * scale:.1f} {unit} an hour"
    if abs(drift) <= half:
        return f"No drift stands out of the scatter (largest: {setup}, {rate})"
    return f"{setup} drifts by {rate}"
