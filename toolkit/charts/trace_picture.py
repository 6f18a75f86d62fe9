"""A log against time with its pulls and the signs of trouble marked."""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.log_axes import Drawn, axes_of, chosen_axes, noted, pressure_axes
from toolkit.charts.picture import Line, Panel, Picture, Zone
from toolkit.logs.channels import CHANNELS
from toolkit.logs.decided_pulls import candidates
from toolkit.logs.notes import Curve
from toolkit.logs.pulls import ABORTED

# More points than the chart has pixels tell nothing; of each block its lowest and highest stay.
_MOST_POINTS = 1600
_ROWS_APART = 5  # rows of a sign that lie closer are one stretch on the chart


def trace_picture(run, stretches, system, extra="", notes=(), signs=()):
    """The log against time with its pulls shaded: accepted in colour, others in grey.

    signs: of `logs.signs`, whose rows are marked on the channel that shows them.
    """
    frame = run.frame
    x, x_label, along = _along(frame)
    has = {c for c in frame if frame[c].dtype.kind in "fiu" and frame[c].notna().any()}
    axes = axes_of("Engine speed", {"speed_rpm": "speed"}, has, system, 190)
    load = "torque_nm" if "torque_nm" in has else "power_w"
    axes += axes_of(
        CHANNELS[load].words.capitalize(), {load: CHANNELS[load].words}, has, system, 140
    )
    axes += pressure_axes(has, run.barometer[0], system, 160)
    axes += chosen_axes(extra, has, system, axes)
    curves = tuple(tuple(Curve(c, 0, x, a.shown(frame[c], system)) for c in a.words) for a in axes)
    zones = _pull_zones(stretches, x)
    panels = tuple(
        noted(
            Panel(
                a.title,
                lines=tuple(_trace(c, a.words[c.channel], i) for i, c in enumerate(drawn)),
                zones=(
                    *(zones if k == 0 else (replace(z, text="") for z in zones)),
                    *_sign_zones(a, signs, x),
                ),
                height=a.height,
                from_zero=a.from_zero,
                decimals=units.decimals_of(a.kind, system),
            ),
            a, [n for n in notes if n.axis == along], system,
        )
        for k, (a, drawn) in enumerate(zip(axes, curves, strict=True))
    )  # fmt: skip
    method = f"{run.name} · {len(frame)} rows as logged, nothing smoothed{_thinning(len(frame))}"
    method = " · ".join([method, *mended(run)])
    return Drawn(Picture(_pulls_found(stretches), method, panels, x_label), curves)


def mended(run):
    """What a review does to the numbers of a channel, for the line under a picture's title."""
    words = {"delay": "put back by its delay of", "offset": "with an offset of"}
    return tuple(
        f"{CHANNELS[s.channel].words} {how} {text}"
        for s in run.settled
        if s.channel
        for item, how in words.items()
        if (text := run.review.of_column(s.column, item))
    )


def _along(frame):
    if "time_s" in frame and frame["time_s"].notna().any():
        return frame["time_s"].to_numpy(dtype=float), "Time [s]", "time_s"
    return np.arange(len(frame), dtype=float), "Row of the log", ""


def _pulls_found(stretches):
    found = [stretches[place] for _, place in candidates(stretches)]
    taken = sum(s.accepted for s in found)
    if not found:
        return "No pull was found in this log"
    aborted = sum(s.label == ABORTED for s in found)
    pulls = "pull" if len(found) == 1 else "pulls"
    words = f"{taken} of {len(found)} {pulls} {'is' if taken == 1 else 'are'} used"
    return words + (f"; {aborted} cut short" if aborted else "")


def _pull_zones(stretches, x):
    zones = []
    for number, place in candidates(stretches):
        s = stretches[place]
        inside = x[s.rows][np.isfinite(x[s.rows])]
        if not inside.size:
            continue
        words = f"pull {number}" if s.accepted else _refused(number, s)
        colour = style.run_colour(number - 1) if s.accepted else style.QUIET
        zones.append(
            Zone(
                float(inside.min()), float(inside.max()), words, colour, 0.16 if s.accepted else 0.1
            )
        )
    return tuple(zones)


def _refused(number, stretch):
    return f"{number} aborted" if stretch.label == ABORTED else f"{number} refused"


def _sign_zones(axes, signs, x):
    """The rows of the signs on a channel of these axes, each stretch named once."""
    zones = []
    for sign in signs:
        if sign.channel not in axes.words or not len(sign.rows):
            continue
        breaks = np.flatnonzero(np.diff(sign.rows) > _ROWS_APART) + 1
        for place, rows in enumerate(np.split(sign.rows, breaks)):
            start, stop = float(np.nanmin(x[rows])), float(np.nanmax(x[rows]))
            zones.append(Zone(start, stop, sign.name if place == 0 else "", style.WARN, 0.14))
    return tuple(zones)


def _trace(curve, words, place):
    x, y = thinned(curve.x, curve.y)
    return Line(x, y, words, style.INK if place == 0 else style.QUIET, width=style.THIN_PX)


def thinned(x, y):
    """The curve with at most _MOST_POINTS points: the lowest and the highest of each block."""
    n = len(x)
    if n <= _MOST_POINTS:
        return x, y
    edges = np.linspace(0, n, _MOST_POINTS // 2 + 1).astype(int)
    keep = []
    for a, b in pairwise(edges):
        known = a + np.flatnonzero(np.isfinite(y[a:b]))
        ends = (known[np.argmin(y[known])], known[np.argmax(y[known])]) if known.size else (a, a)
        keep += sorted(ends)
    return x[keep], y[keep]


def _thinning(rows):
    if rows <= _MOST_POINTS:
        return ""
    return f" (drawn: the lowest and highest of every {2 * rows // _MOST_POINTS} rows)"
