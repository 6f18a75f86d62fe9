"""The accepted pulls of a log against engine speed, observed first."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit import units
from toolkit.analysis.crossing import crossings
from toolkit.charts import style
from toolkit.charts.log_axes import (
    BACK,
    BOOST,
    Drawn,
    axes_of,
    chosen_axes,
    noted,
    pressure_axes,
)
from toolkit.charts.picture import Band, Line, Panel, Picture, Upright
from toolkit.logs.channels import CHANNELS
from toolkit.logs.grid import smoothing_text
from toolkit.logs.notes import Curve, value_under

_CHARGE = {"t_compressor_out_k": "compressor outlet", "t_charge_k": "charge"}


@dataclass(frozen=True)
class Pulls:
    """The accepted pulls of a run on the grid, each with its number in the log.

    mended: what the review does to channels, in words; name: of the log.
    """

    numbers: tuple[int, ...]
    grids: tuple
    barometer_pa: float
    mended: tuple[str, ...] = ()
    name: str = ""

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
        noted(_speed_panel(a, drawn, pulls, system, beside), a, along, system)
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
    axes = axes_of("Torque", {"torque_nm": ""}, has, system, 240)
    axes += axes_of("Power", {"power_w": ""}, has, system, 180)
    axes += pressure_axes(has, pulls.barometer_pa, system)
    axes += axes_of("Lambda", {"lam": ""}, has, system, 130, from_zero=False)
    charge = " and ".join(w for c, w in _CHARGE.items() if c in has).capitalize()
    axes += axes_of(f"{charge} temperature", _CHARGE, has, system, 150, from_zero=False)
    axes += axes_of("Exhaust temperature", {"t_exhaust_k": ""}, has, system, 150, from_zero=False)
    return axes + chosen_axes(extra, has, system, axes)


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
    said = [pulls.name] if pulls.name else []
    said += ["observed" + (f", dashed: {beside.name} x {beside.factor:.3f}" if beside else "")]
    said.append(smoothing_text(grid.smoothing, grid.step_rpm))
    if np.isfinite(pulls.barometer_pa):
        said.append(f"barometer {units.text(pulls.barometer_pa, 'barometer', system)}")
    return " · ".join([*said, *pulls.mended])


def valued(note, pulls):
    """The note with the value of the mean curve under it, where it was written without one."""
    if np.isfinite(note.value) or note.axis != "speed_rpm" or note.channel not in pulls.has:
        return note
    value = value_under(pulls.mean_curve(note.channel), note.start, note.stop)
    return replace(note, value=value)
