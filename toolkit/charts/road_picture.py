"""Picture of pulls in one gear: boost, who is ahead and engine speed, along time."""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.analysis.road import IN_BETWEEN, LEVEL_M, race
from toolkit.analysis.trade import SHARE
from toolkit.charts import style
from toolkit.charts.picture import Line, Mark, Panel, Picture
from toolkit.charts.what_if import PREDICTED, stretches

X_LABEL = "Time after opening the throttle [s]"


def road_picture(made, gear, asked, system):
    """The Picture of an analysis.road.Road. gear, asked: the gear and what the engine is asked
    for, in words, such as "4th gear (1.18)" and "20.0 psi"."""
    last = np.isfinite(made.speed_rpm).any(axis=1)
    panels = [_boost(made, system), _ahead(made, system), _speed(made)]
    return Picture(
        finding(made, gear, system),
        _method(made, gear, asked, system),
        tuple(panel for panel in panels if panel),
        X_LABEL,
        (0.0, float(made.time_s[last][-1])),
    )


def finding(made, gear, system):
    """The headline: how much later, and how far behind."""
    start = f"In {gear}, from {made.from_rpm:.0f} rpm"
    first, name = made.names[0], made.names[-1]
    if not np.isfinite(made.boost_s[[0, -1]]).all():
        never = " and ".join(
            n for n, s in zip(made.names, made.boost_s, strict=True) if not np.isfinite(s)
        )
        has = "have" if " and " in never else "has"
        return f"{start}: {never} never {has} {SHARE:.0%} of the boost"
    if len(made.names) == 1:
        return f"{start}: {first} has its boost after {made.boost_s[0]:.2f} s"
    wait, r = made.boost_s[-1] - made.boost_s[0], race(made, len(made.names) - 1)
    later = f"{name} has its boost {abs(wait):.2f} s {'later' if wait > 0 else 'sooner'}"
    side = "behind" if r.end_m < 0 else "ahead"
    gap = f"{units.text(abs(r.end_m), 'distance', system)} {side}"
    place = gap if abs(r.end_m) >= LEVEL_M else "level"
    return f"{start}: {later} than {first} and is {place} after {r.end_s:.1f} s"


def _method(made, gear, asked, system):
    """What a reader must know: which car, from what, what is left out."""
    between = [f"{s:.0%} of the way from {made.names[0]} to {made.names[-1]}"
               for s in made.sizes if 0 < s < 1]  # fmt: skip
    v = made.vehicle
    way = "up" if v.grade > 0 else "down"
    road = f", {way} a slope of {abs(v.grade):.1%}" if v.grade else ""
    parts = [
        f"{units.text(v.mass_kg, 'vehicle_mass', system)} in {gear}{road}, from light cruise at "
        f"{made.from_rpm:.0f} rpm, {asked}",
        f"dots: {SHARE:.0%} of the boost is there",
        *(f"{IN_BETWEEN}: {words}" for words in between),
        "worked out with the fitted engine; dotted: the compressor is outside its map",
        "tyres do not slip",
    ]
    return " · ".join(parts)


def colours(made):
    """Of each turbo: the first two run colours, ink for one in between."""
    ends = {0.0: style.run_colour(0), 1.0: style.run_colour(1)}
    return [ends.get(size, PREDICTED) for size in made.sizes]


def _lines(made, values, **look):
    drawn = []
    for j, (name, colour) in enumerate(zip(made.names, colours(made), strict=True)):
        known, beyond = stretches(made.time_s, values[:, j], ~made.on_map[:, j])
        for y, evidence, label in ((beyond, "extrapolated", ""), (known, "worked out", name)):
            if np.isfinite(y).any():
                drawn.append(Line(made.time_s, y, label, colour, evidence, **look))
    return tuple(drawn)


def _boost(made, system):
    boost = units.shown(made.boost_gauge_pa, "boost", system)
    title = f"Boost, gauge [{units.unit_of('boost', system)}]"
    panel = Panel(title, _lines(made, boost, decimals=1), height=260)
    return replace(panel, marks=tuple(_arrivals(made, boost, panel.y_limits)))


def _arrivals(made, boost, limits):
    """A dot where each boost is there; words that would run into the last stand a line lower."""
    span, line = np.ptp(made.time_s[np.isfinite(made.speed_rpm).any(axis=1)]), 0.14 * np.ptp(limits)
    last, lower = -np.inf, 0
    for j in np.argsort(made.boost_s):
        at, colour = float(made.boost_s[j]), colours(made)[j]
        if not np.isfinite(at) or at <= 0:
            continue
        lower = lower + 1 if at - last < 0.08 * span else 0
        y = float(np.interp(at, made.time_s, boost[:, j]))
        beside = (at + 0.02 * span, y - lower * line) if lower else None
        yield Mark(at, y, f"{at:.2f} s", colour, beside)
        last = at


def _ahead(made, system):
    if len(made.names) == 1:
        return None
    gap = units.shown(made.ahead_m, "distance", system)
    unit = units.unit_of("distance", system)
    title = f"Ahead of {made.names[0]} (below zero: behind) [{unit}]"
    lines = tuple(
        Line(made.time_s, gap[:, j], name, colour, "worked out", decimals=1)
        for j, (name, colour) in enumerate(zip(made.names, colours(made), strict=True))
    )
    return Panel(title, lines, height=200, decimals=1)


def _speed(made):
    return Panel("Engine speed [rpm]", _lines(made, made.speed_rpm, decimals=0), height=180,
                 from_zero=False)  # fmt: skip


def rows(made, system):
    """Per turbo: when its boost is there, at which engine and road speed, when it is through."""
    speeds = zip(made.boost_rpm, made.road_speed_m_s, strict=True)
    there = [
        [
            units.text(wait, "time", system),
            units.text(rpm, "engine_speed", system),
            units.text(road, "vehicle_speed", system),
        ]
        if np.isfinite(wait)
        else ["never in this pull", "", ""]
        for wait, (rpm, road) in zip(made.boost_s, speeds, strict=True)
    ]
    return [
        [
            name,
            *there[j],
            units.text(made.top_s[j], "time", system)
            if np.isfinite(made.top_s[j])
            else f"after more than {made.time_s[-1]:.0f} s",
        ]
        for j, name in enumerate(made.names)
    ]
