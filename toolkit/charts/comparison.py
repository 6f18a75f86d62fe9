"""A comparison as a picture: curves, difference with its band, boost against back pressure."""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.analysis.verdict import headline
from toolkit.charts import style
from toolkit.charts.log_axes import PRESSURES
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Upright, Zone
from toolkit.logs.channels import CHANNELS, pressure_of
from toolkit.logs.grid import moving_mean, smoothing_text

X_LABEL = "Engine speed [rpm]"
QUANTITIES = {"torque_nm": ("Torque", "torque"), "power_w": ("Power", "power")}
_COLOURS = style.run_colour(0), style.run_colour(1)


def picture(comparison, system, quantity="torque_nm", notes=()):
    """The Picture of a Comparison, in the units of the system.

    quantity: "torque_nm" or "power_w". Smoothing of comparison.settings is for drawing only.
    notes: PlacedNotes to show; those whose curve is not drawn are the picture's notes, in words.
    """
    c = comparison
    panels = {
        "level": _level(c, system, quantity),
        "difference": _difference(c, system, quantity),
        "pressures": _pressures(c, system),
    }
    in_words = []
    for placed in notes:
        where, mark = _note_mark(placed, c, quantity, system, panels)
        if mark is None:
            in_words.append(_note_words(placed, c, system))
        else:
            panels[where] = replace(panels[where], marks=(*panels[where].marks, mark))
    return Picture(
        headline(c, system),
        method(c),
        tuple(panels.values()),
        X_LABEL,
        (float(c.speed_rpm[0]), float(c.speed_rpm[-1])),
        notes=tuple(in_words),
    )


def method(comparison):
    """Pulls, reference, smoothing and band: what a reader must know to trust the picture."""
    c = comparison
    step = float(c.speed_rpm[1] - c.speed_rpm[0])
    counts = " and ".join(f"{side.n} pull{'s' * (side.n != 1)} {side.name}" for side in (c.a, c.b))
    known = np.isfinite(next(iter(c.gains.values())).half_width).any()
    band = f"{c.settings.confidence:.0%} band of the difference" if known else "scatter unknown"
    drift = "drift corrected, " if c.drift_corrected else ""
    state = c.reference if c.reference == "observed" else f"corrected to {c.reference}"
    smoothing = smoothing_text(c.settings.smoothing, step)
    return f"{counts} · {state} · {smoothing} · {drift}{band}"


def _drawn(c, values):
    return moving_mean(values, c.settings.smoothing)


def _level(c, system, quantity):
    words, kind = QUANTITIES[quantity]
    if quantity not in c.gains:
        return Panel(f"{words}: not logged on both sides", height=280)
    gain = c.gains[quantity]
    evidence = "measured" if c.reference == "observed" else "worked out"
    lines, bands = [], []
    sides = zip(
        (c.a, c.b), (gain.level_a, gain.level_b), (gain.sd_a, gain.sd_b), _COLOURS, strict=True
    )
    for side, level, sd, colour in sides:
        y = units.shown(_drawn(c, level), kind, system)
        spread = units.shown(sd, kind, system)
        lines.append(Line(c.speed_rpm, y, side.name, colour, evidence, decimals=0))
        bands.append(Band(c.speed_rpm, y - spread, y + spread, colour))
    title = f"{words} [{units.unit_of(kind, system)}], band: one standard deviation of the pulls"
    return Panel(title, tuple(lines), tuple(bands), height=280)


def _difference(c, system, quantity):
    words, kind = QUANTITIES[quantity]
    if quantity not in c.gains:
        return Panel("", height=150)
    gain = c.gains[quantity]
    y, low, high = (
        units.shown(_drawn(c, v), kind, system) for v in (gain.difference, gain.low, gain.high)
    )
    zero = Line(c.speed_rpm, np.zeros_like(c.speed_rpm), colour=style.QUIET, width=1, readout=False)
    line = Line(c.speed_rpm, y, f"{c.b.name} − {c.a.name}", style.INK, "worked out", decimals=1)
    uprights = tuple(
        Upright(x, f"equal at {x:.0f} rpm")
        for x in (f.speed_rpm for f in c.crossovers.get(quantity, ()))
        if np.isfinite(x)
    )
    title = f"Difference in {words.lower()} [{units.unit_of(kind, system)}]"
    return Panel(
        title,
        (zero, line),
        (Band(c.speed_rpm, low, high, style.INK),),
        uprights=uprights,
        height=190,
    )


def _pressures(c, system):
    lines, bands, uprights, zones = [], [], [], []
    sides = zip((c.a, c.b), (c.pressures_a, c.pressures_b), _COLOURS, strict=True)
    for side, p, colour in sides:
        if p is None or not np.isfinite(p.boost_gauge_pa).any():
            continue
        boost, back = (
            units.shown(_drawn(c, v), "boost", system) for v in (p.boost_gauge_pa, p.back_gauge_pa)
        )
        lines += [
            Line(c.speed_rpm, boost, f"{side.name} boost", colour, decimals=1),
            Line(
                c.speed_rpm,
                back,
                f"{side.name} back pressure",
                colour,
                width=style.THIN_PX,
                decimals=1,
            ),
        ]
        zones += _ends(side, colour)
        above = np.where(back > boost, boost, np.nan)
        bands.append(Band(c.speed_rpm, above, back, colour, 0.10))
        uprights += [
            Upright(f.speed_rpm, f"{side.name} crosses at {f.speed_rpm:.0f}", colour)
            for f in p.crossings
            if np.isfinite(f.speed_rpm)
        ]
    if not lines:
        return Panel("Boost and back pressure: not logged, or the barometer is unknown", height=220)
    title = (
        f"Boost (thick) and back pressure (thin), gauge [{units.unit_of('boost', system)}]; "
        "shaded where back pressure is above boost"
    )
    return Panel(
        title, tuple(lines), tuple(bands), uprights=tuple(uprights), zones=tuple(zones), height=250
    )


def _ends(side, colour):
    """A zone for each pressure of a side that is left out because its sensor was at its end."""
    return [
        Zone(g.low_rpm, g.high_rpm, f"{side.name} {PRESSURES[channel]} sensor at its end", colour)
        for g in side.left_out
        if (channel := pressure_of(g.channel)) in PRESSURES
    ]


def _note_mark(placed, c, quantity, system, panels):
    """(panel, Mark) of a review note at its curve, or ("", None) where that is not drawn."""
    note, pressures = placed.note, c.pressures_a if placed.side == "a" else c.pressures_b
    if note.axis != "speed_rpm":
        return "", None
    if note.channel == quantity and quantity in c.gains:
        gain = c.gains[quantity]
        values = gain.level_a if placed.side == "a" else gain.level_b
        where, kind = "level", CHANNELS[quantity].kind
    elif note.channel in PRESSURES and pressures is not None:
        boost = note.channel == "p_manifold_pa"
        values = pressures.boost_gauge_pa if boost else pressures.back_gauge_pa
        where, kind = "pressures", "boost"
    else:
        return "", None
    x, y = note.middle, units.shown(_drawn(c, values), kind, system)
    y = float(np.interp(x, c.speed_rpm, y, np.nan, np.nan))
    if not np.isfinite(y):
        return "", None
    at = panels[where].beside(x, y)
    if placed.stands:
        low, high = panels[where].y_limits
        at = placed.stands[0], low + placed.stands[1] * (high - low)
    return where, Mark(x, y, note.words, _COLOURS["ab".index(placed.side)], at)


def _note_words(placed, c, system):
    """A note whose curve is not drawn: its words, the side, the channel and the place."""
    note, side = placed.note, c.a if placed.side == "a" else c.b
    kind = CHANNELS[note.axis].kind
    place = units.text(note.start, kind, system)
    if note.is_range:
        place = units.span(note.start, note.stop, kind, system)
    return f"{note.words} ({side.name}, {CHANNELS[note.channel].words} at {place})"
