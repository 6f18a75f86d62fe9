"""What the panels of a log's pictures show: which channels on which axes, and their notes.

Numbers come in inside units and are drawn in the person's; pressures stand as gauge wherever
the barometer is known.
"""

from dataclasses import dataclass, replace

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Mark, Picture, Zone
from toolkit.logs.channels import CHANNELS, gauge_name
from toolkit.logs.notes import Curve

BOOST, BACK = "boost", "back pressure"
PRESSURES = {"p_manifold_pa": BOOST, "p_exhaust_pa": BACK}
_WORDS_OF_A_NOTE = 44


@dataclass(frozen=True)
class Drawn:
    """A picture and, per panel, the curves in it as (channel, pull, x, y) in shown units."""

    picture: Picture
    curves: tuple[tuple[Curve, ...], ...]


@dataclass(frozen=True)
class Axes:
    """What one panel shows: channels of a kind with the word for each, less a base."""

    title: str
    kind: str
    words: dict
    base: float = 0.0
    height: int = 180
    from_zero: bool = True

    def shown(self, values, system):
        return units.shown(np.asarray(values, dtype=float) - self.base, self.kind, system)


def axes_of(title, channels, has, system, height=180, from_zero=True):
    """Axes for those of the channels that there are; a list of one or none."""
    words = {c: w for c, w in channels.items() if c in has}
    if not words:
        return []
    kind = CHANNELS[next(iter(words))].kind
    unit = units.unit_of(kind, system)
    heading = f"{title} [{unit}]" if unit else title
    return [Axes(heading, kind, words, 0.0, height, from_zero)]


def pressure_axes(has, barometer_pa, system, height=200):
    """Gauge where the barometer is known, so that zero is the air around; absolute where not."""
    words = {c: w for c, w in PRESSURES.items() if c in has}
    unit = units.unit_of("boost", system)
    title = " and ".join(words.values()).capitalize()
    found = []
    if words and np.isfinite(barometer_pa):
        found = [Axes(f"{title}, gauge [{unit}]", "boost", words, barometer_pa, height)]
    elif words:
        found = [Axes(f"{title}, absolute [{unit}]", "pressure", words, 0.0, height)]
    gauge = {gauge_name(c): w for c, w in PRESSURES.items()}
    gauge = {c: w for c, w in gauge.items() if c in has}
    if gauge:
        title = " and ".join(gauge.values()).capitalize()
        found.append(Axes(f"{title}, gauge [{unit}]", "boost", gauge, 0.0, height))
    return found


def chosen_axes(channel, has, system, shown):
    """Axes for a channel the person asked for, unless it is drawn already."""
    if channel not in has or channel not in CHANNELS or any(channel in a.words for a in shown):
        return []
    words = CHANNELS[channel].words
    zero = CHANNELS[channel].kind not in ("temperature", "barometer", "lambda")
    return axes_of(words.capitalize(), {channel: words}, has, system, 150, zero)


def choices(frame):
    """(words, channel) of what can be drawn besides: channels of ours that hold numbers."""
    skip = ("time_s", "speed_rpm")
    held = [c for c in frame if c in CHANNELS and c not in skip and frame[c].notna().any()]
    return [(CHANNELS[c].words, c) for c in held]


def noted(panel, axes, notes, system):
    """The panel with a marker and a leader for each note on one of its channels."""
    low, high = panel.y_limits
    marks, zones = [], []
    for note in (n for n in notes if n.channel in axes.words and np.isfinite(n.value)):
        y = float(axes.shown(note.value, system))
        at = panel.beside(note.middle, y)
        marks.append(Mark(note.middle, y, _short(note.words), style.INK, at))
        if note.is_range:
            zones.append(Zone(note.start, note.stop, "", style.QUIET, 0.14))
    if not marks:
        return panel
    return replace(
        panel,
        marks=(*panel.marks, *marks),
        zones=(*panel.zones, *zones),
        y_range=(low, high),
    )


def _short(words):
    return words if len(words) <= _WORDS_OF_A_NOTE else words[: _WORDS_OF_A_NOTE - 1] + "…"
