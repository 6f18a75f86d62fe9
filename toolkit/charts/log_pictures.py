"""Pictures of one log: against time with its pulls marked, and its pulls against speed.

Numbers come in inside units and are drawn in the person's; pressures stand as gauge wherever
the barometer is known.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from toolkit import units
from toolkit.analysis.crossing import crossings
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Upright, Zone
from toolkit.logs.channels import CHANNELS
from toolkit.logs.decided_pulls import candidates
from toolkit.logs.grid import smoothing_text
from toolkit.logs.notes import Curve, value_under
from toolkit.logs.pulls import ABORTED

BOOST, BACK = "boost", "back pressure"
_PRESSURES = {"p_manifold_pa": BOOST, "p_exhaust_pa": BACK}
_CHARGE = {"t_compressor_out_k": "compressor outlet", "t_charge_k": "charge"}
# More points than the chart has pixels tell nothing; of each block its lowest and highest stay.
_MOST_POINTS = 1600
_WORDS_OF_A_NOTE = 44
_ROWS_APART = 5  # rows of a sign that lie closer are one stretch on the chart


@dataclass(frozen=True)
class Drawn:
    """A picture and, per panel, the curves in it as (channel, pull, x, y) in shown units."""

    picture: Picture
    curves: tuple[tuple[Curve, ...], ...]


@dataclass(frozen=True)
class _Axes:
    """What one panel shows: channels of a kind with the word for each, less a base."""

    title: str
    kind: str
    words: dict
    base: float = 0.0
    height: int = 180
    from_zero: bool = True

    def shown(self, values, system):
        return units.shown(np.asarray(values, dtype=float) - self.base, self.kind, system)


# ---- what there is to draw ------------------------------------------------------------------


def _axes(title, channels, has, system, height=180, from_zero=True):
    """Axes for those of the channels that there are; a list of one or none."""
    words = {c: w for c, w in channels.items() if c in has}
    if not words:
        return []
    kind = CHANNELS[next(iter(words))].kind
    unit = units.unit_of(kind, system)
    heading = f"{title} [{unit}]" if unit else title
    return [_Axes(heading, kind, words, 0.0, height, from_zero)]


def _pressure_axes(has, barometer_pa, system, height=200):
    """Gauge where the barometer is known, so that zero is the air around; absolute where not."""
    words = {c: w for c, w in _PRESSURES.items() if c in has}
    unit = units.unit_of("boost", system)
    title = " and ".join(words.values()).capitalize()
    found = []
    if words and np.isfinite(barometer_pa):
        found = [_Axes(f"{title}, gauge [{unit}]", "boost", words, barometer_pa, height)]
    elif words:
        found = [_Axes(f"{title}, absolute [{unit}]", "pressure", words, 0.0, height)]
    gauge = {c.replace("_pa", "_gauge_pa"): w for c, w in _PRESSURES.items()}
    gauge = {c: w for c, w in gauge.items() if c in has}
    if gauge:
        title = " and ".join(gauge.values()).capitalize()
        found.append(_Axes(f"{title}, gauge [{unit}]", "boost", gauge, 0.0, height))
    return found


def _chosen_axes(channel, has, system, shown):
    """Axes for a channel the person asked for, unless it is drawn already."""
    if channel not in has or channel not in CHANNELS or any(channel in a.words for a in shown):
        return []
    words = CHANNELS[channel].words
    zero = CHANNELS[channel].kind not in ("temperature", "barometer", "lambda")
    return _axes(words.capitalize(), {channel: words}, has, system, 150, zero)


def choices(frame):
    """(words, channel) of what can be drawn besides: channels of ours that hold numbers."""
    skip = ("time_s", "speed_rpm")
    held = [c for c in frame if c in CHANNELS and c not in skip and frame[c].notna().any()]
    return [(CHANNELS[c].words, c) for c in held]


# ---- against time ---------------------------------------------------------------------------


def trace_picture(run, stretches, system, extra="", notes=(), signs=()):
    """The log against time with its pulls shaded: accepted in colour, others in grey.

    signs: of `logs.signs`, whose rows are marked on the channel that shows them.
    """
    frame = run.frame
    x, x_label, along = _along(frame)
    has = {c for c in frame if frame[c].dtype.kind in "fiu" and frame[c].notna().any()}
    axes = _axes("Engine speed", {"speed_rpm": "speed"}, has, system, 190)
    load = "torque_nm" if "torque_nm" in has else "power_w"
    axes += _axes(CHANNELS[load].words.capitalize(), {load: CHANNELS[load].words}, has, system, 140)
    axes += _pressure_axes(has, run.barometer[0], system, 160)
    axes += _chosen_axes(extra, has, system, axes)
    curves = tuple(tuple(Curve(c, 0, x, a.shown(frame[c], system)) for c in a.words) for a in axes)
    zones = _pull_zones(stretches, x)
    panels = tuple(
        _noted(
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
    words = f"{taken} of {len(found)} pulls {'is' if taken == 1 else 'are'} used"
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
    x, y = _thinned(curve.x, curve.y)
    return Line(x, y, words, style.INK if place == 0 else style.QUIET, width=style.THIN_PX)


def _thinned(x, y):
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


# ---- against speed --------------------------------------------------------------------------


@dataclass(frozen=True)
class Pulls:
    """The accepted pulls of a run on the grid, each with its number in the log."""

    numbers: tuple[int, ...]
    grids: tuple
    barometer_pa: float
    mended: tuple[str, ...] = ()

    def curves(self, channel):
        """The curves of a channel along speed, in inside units."""
        return [
            Curve(channel, n, g.speed_rpm, g.mean[channel])
            for n, g in zip(self.numbers, self.grids, strict=True)
            if channel in g.mean
        ]

    def mean(self, channel):
        """The mean of the pulls per bin, over those with rows there; NaN where none has."""
        values = np.array([c.y for c in self.curves(channel)])
        n = np.isfinite(values).sum(axis=0)
        return np.nansum(values, axis=0) / np.where(n > 0, n, np.nan)

    def mean_curve(self, channel):
        """The mean of the pulls as a curve, of no pull."""
        return Curve(channel, 0, self.speed_rpm, self.mean(channel))

    @property
    def speed_rpm(self):
        """The centres of the bins."""
        return self.grids[0].speed_rpm

    @property
    def has(self):
        """The channels that hold numbers in a pull."""
        return {c for g in self.grids for c, v in g.mean.items() if np.isfinite(v).any()}


@dataclass(frozen=True)
class Beside:
    """A corrected curve beside the observed one: by which standard, and its factor."""

    name: str
    factor: float


def speed_picture(pulls, system, extra="", notes=(), beside=None):
    """The accepted pulls against speed, as observed, and beside them corrected if asked for."""
    axes = _speed_axes(pulls, system, extra)
    curves = tuple(
        tuple(
            replace(c, y=a.shown(c.y, system)) for channel in a.words for c in pulls.curves(channel)
        )
        for a in axes
    )
    along = [valued(n, pulls) for n in notes if n.axis == "speed_rpm"]
    panels = tuple(
        _noted(_speed_panel(a, drawn, pulls, system, beside), a, along, system)
        for a, drawn in zip(axes, curves, strict=True)
    )
    return Drawn(
        Picture(
            _peaks(pulls, system), _method(pulls, beside, system), panels, "Engine speed [rpm]"
        ),
        curves,
    )


def _speed_axes(pulls, system, extra):
    has = pulls.has
    axes = _axes("Torque", {"torque_nm": ""}, has, system, 240)
    axes += _axes("Power", {"power_w": ""}, has, system, 180)
    axes += _pressure_axes(has, pulls.barometer_pa, system)
    axes += _axes("Lambda", {"lam": ""}, has, system, 130, from_zero=False)
    charge = " and ".join(w for c, w in _CHARGE.items() if c in has).capitalize()
    axes += _axes(f"{charge} temperature", _CHARGE, has, system, 150, from_zero=False)
    axes += _axes("Exhaust temperature", {"t_exhaust_k": ""}, has, system, 150, from_zero=False)
    return axes + _chosen_axes(extra, has, system, axes)


def _speed_panel(axes, drawn, pulls, system, beside):
    lines = [_pull_line(c, axes.words[c.channel]) for c in drawn]
    if beside and {"torque_nm", "power_w"} & axes.words.keys():
        lines += [_corrected(c, beside) for c in drawn]
    bands, uprights = _gap(axes, pulls, system)
    return Panel(
        axes.title,
        tuple(lines),
        bands=bands,
        uprights=uprights,
        height=axes.height,
        from_zero=axes.from_zero,
        decimals=units.decimals_of(axes.kind, system),
    )


def _pull_line(curve, words):
    thin = words not in ("", BOOST, "charge")
    label = f"{curve.pull} {words}" if words else f"pull {curve.pull}"
    width = style.THIN_PX if thin else 2.2
    return Line(curve.x, curve.y, label, style.run_colour(curve.pull - 1), width=width)


def _corrected(curve, beside):
    colour = style.run_colour(curve.pull - 1)
    label = f"{curve.pull} {beside.name}"
    return Line(curve.x, curve.y * beside.factor, label, colour, "worked out", style.THIN_PX)


def _gap(axes, pulls, system):
    """Where back pressure is above boost: the gap shaded, and the speed at which it begins."""
    by_word = {w: c for c, w in axes.words.items()}
    if not {BOOST, BACK} <= by_word.keys():
        return (), ()
    boost, back = (pulls.mean(by_word[word]) for word in (BOOST, BACK))
    above = back > boost
    low, high = (np.where(above, axes.shown(v, system), np.nan) for v in (boost, back))
    band = Band(pulls.speed_rpm, low, high, style.QUIET, 0.16)
    found = crossings(pulls.speed_rpm, back - boost, np.full(len(boost), np.nan))
    marks = [
        Upright(c.speed_rpm, f"back pressure passes boost at {c.speed_rpm:.0f} rpm")
        for c in found
        if c.rising and np.isfinite(c.speed_rpm)
    ]
    return (band,), tuple(marks[-1:])


def _peaks(pulls, system):
    """The headline: the highest torque and power of the mean curve, or the highest boost."""
    said = []
    for channel in ("torque_nm", "power_w"):
        if channel in pulls.has:
            said.append(_peak(pulls, channel, CHANNELS[channel].kind, 0.0, system))
    if not said and "p_manifold_pa" in pulls.has and np.isfinite(pulls.barometer_pa):
        said = [f"boost {_peak(pulls, 'p_manifold_pa', 'boost', pulls.barometer_pa, system)}"]
    count = len(pulls.numbers)
    whose = "The pull" if count == 1 else f"The mean of {count} pulls"
    if not said:
        return f"{whose} covers {pulls.speed_rpm[0]:.0f} to {pulls.speed_rpm[-1]:.0f} rpm"
    return f"{whose} peaks at {' and '.join(said)}"


def _peak(pulls, channel, kind, base, system):
    mean = pulls.mean(channel)
    top = int(np.nanargmax(mean))
    value = units.text(float(mean[top]) - base, kind, system)
    return f"{value} at {pulls.speed_rpm[top]:.0f} rpm"


def _method(pulls, beside, system):
    grid = pulls.grids[0]
    said = ["observed" + (f", dashed: {beside.name} x {beside.factor:.3f}" if beside else "")]
    said.append(smoothing_text(grid.smoothing, grid.step_rpm))
    if np.isfinite(pulls.barometer_pa):
        said.append(f"barometer {units.text(pulls.barometer_pa, 'barometer', system)}")
    return " · ".join([*said, *pulls.mended])


# ---- notes ----------------------------------------------------------------------------------


def valued(note, pulls):
    """The note with the value of the mean curve under it, where it was written without one."""
    if np.isfinite(note.value) or note.axis != "speed_rpm" or note.channel not in pulls.has:
        return note
    value = value_under(pulls.mean_curve(note.channel), note.start, note.stop)
    return replace(note, value=value)


def _noted(panel, axes, notes, system):
    """The panel with a marker and a leader for each note on one of its channels."""
    low, high = panel.y_limits
    left, right = panel.x_limits
    marks, zones = [], []
    for note in (n for n in notes if n.channel in axes.words and np.isfinite(n.value)):
        y = float(axes.shown(note.value, system))
        below = y > (low + high) / 2
        at = (
            min(note.middle + 0.015 * (right - left), right - 0.2 * (right - left)),
            y + (-0.17 if below else 0.17) * (high - low),
        )
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
