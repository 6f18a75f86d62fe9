"""What a picture says, apart from how it is drawn.

A `Picture` holds plain arrays in the person's units with their words. `live.py` draws it with
Bokeh on the page, `explain.still` with matplotlib for publishing; neither decides anything
that the other would have to decide again.
"""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
import pandas as pd

from toolkit.charts import style


@dataclass(frozen=True)
class Line:
    """A curve. x, y: (n,) arrays, NaN leaves a gap. label: drawn at its end, "" for none.

    evidence sets the stroke; width in px at the size of the live chart; points draws each sample
    as a dot, and joined=False leaves the dots alone. readout=False keeps it out of the hover.
    """

    x: np.ndarray
    y: np.ndarray
    label: str = ""
    colour: str = style.INK
    evidence: str = "measured"
    width: float = style.LINE_PX
    points: bool = False
    joined: bool = True
    readout: bool = True
    decimals: int | None = None

    def __post_init__(self):
        _as_floats(self, "x", "y")


@dataclass(frozen=True)
class Band:
    """The area between two curves: a scatter band, a shaded gap, a share of a stack."""

    x: np.ndarray
    low: np.ndarray
    high: np.ndarray
    colour: str = style.INK
    alpha: float = 0.14
    label: str = ""

    def __post_init__(self):
        _as_floats(self, "x", "low", "high")


@dataclass(frozen=True)
class Shape:
    """A closed outline in the axes' units, for sketches; evidence is the outline's stroke."""

    x: np.ndarray
    y: np.ndarray
    colour: str = style.INK
    alpha: float = 0.2
    outline: str = ""
    evidence: str = "measured"

    def __post_init__(self):
        _as_floats(self, "x", "y")


@dataclass(frozen=True)
class Mark:
    """A point with its words; `at` is where the words stand (axes' units), with a leader."""

    x: float
    y: float
    text: str
    colour: str = style.INK
    at: tuple[float, float] | None = None
    dot: bool = True
    align: str = "left"


@dataclass(frozen=True)
class Upright:
    """A vertical hairline with its words at the top."""

    x: float
    text: str = ""
    colour: str = style.QUIET


@dataclass(frozen=True)
class Zone:
    """A shaded stretch of the x axis, such as rows that cannot be believed."""

    start: float
    stop: float
    text: str = ""
    colour: str = style.QUIET
    alpha: float = 0.12


@dataclass(frozen=True)
class Panel:
    """One set of axes.

    title names quantity and unit. y_range None: from zero to what fits all that is drawn, or,
    with from_zero=False, just what fits, and the title says where the axis starts.
    x_range and x_label: only where the panel does not share the picture's.
    """

    title: str
    lines: tuple[Line, ...] = ()
    bands: tuple[Band, ...] = ()
    shapes: tuple[Shape, ...] = ()
    marks: tuple[Mark, ...] = ()
    uprights: tuple[Upright, ...] = ()
    zones: tuple[Zone, ...] = ()
    height: int = 220
    y_range: tuple[float, float] | None = None
    from_zero: bool = True
    x_range: tuple[float, float] | None = None
    x_label: str = ""
    decimals: int = 0
    equal_scale: bool = False
    bare: bool = False  # a sketch: no axes, no grid

    @cached_property
    def y_limits(self):
        """(bottom, top) of the axis; a hidden default would let a drawn-off line scale it."""
        if self.y_range is not None:
            return self.y_range
        drawn = [ln.y for ln in self.lines] + [e for b in self.bands for e in (b.low, b.high)]
        drawn += [s.y for s in self.shapes] + [np.array([m.y]) for m in self.marks]
        low, high = limits(drawn, self.from_zero)
        named = any(thing.text for thing in (*self.uprights, *self.zones))
        # Words at the top of a hairline stand clear of the curves.
        return low, high + (0.14 * (high - low) if named else 0.0)

    @cached_property
    def x_limits(self):
        """(left, right) of everything drawn in this panel, without a margin."""
        if self.x_range is not None:
            return self.x_range
        drawn = [ln.x for ln in self.lines] + [b.x for b in self.bands]
        drawn += [s.x for s in self.shapes] + [np.array([m.x]) for m in self.marks]
        finite = _finite(drawn)
        return (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)

    def beside(self, x, y):
        """Where the words of a note at (x, y) stand: towards the panel's middle, off the curve."""
        (low, high), (left, right) = self.y_limits, self.x_limits
        up = -0.17 if y > (low + high) / 2 else 0.17
        return min(x + 0.015 * (right - left), right - 0.2 * (right - left)), y + up * (high - low)

    @property
    def heading(self):
        """The title, with the mark that the axis does not start at zero where it does not."""
        low, high = self.y_limits
        if self.bare or low <= 0 <= high:
            return self.title
        return f"{self.title} · axis from {low:g}"

    def end_labels(self, line_px):
        """(x, y, y of the words, words, colour) per labelled curve, the words kept apart.

        line_px: height of a line of words in px, at this panel's height.
        """
        ends = []
        for thing in (*self.lines, *self.bands):
            y = thing.y if isinstance(thing, Line) else (thing.low + thing.high) / 2
            known = np.flatnonzero(np.isfinite(y) & np.isfinite(thing.x))
            if thing.label and known.size:
                last = known[np.argmax(thing.x[known])]
                ends.append((float(thing.x[last]), float(y[last]), thing.label, thing.colour))
        low, high = self.y_limits
        step = line_px / self.height * (high - low)
        places = _kept_apart([e[1] for e in ends], step, low + step / 2, high - step / 2)
        return [
            (x, y, p, words, colour) for (x, y, words, colour), p in zip(ends, places, strict=True)
        ]


@dataclass(frozen=True)
class Picture:
    """Stacked panels under one finding.

    finding: the headline, made from the numbers. method: pulls, reference, smoothing.
    x_label names quantity and unit of the shared axis. description: for those who cannot see
    the picture; made from the curves where none is given.
    """

    finding: str
    method: str
    panels: tuple[Panel, ...]
    x_label: str = ""
    x_range: tuple[float, float] | None = None
    words: str = ""
    notes: tuple[str, ...] = field(default=())

    @cached_property
    def x_limits(self):
        """(left, right) of the shared axis."""
        if self.x_range is not None:
            return self.x_range
        ends = [p.x_limits for p in self.panels if not p.x_label]
        ends = ends or [p.x_limits for p in self.panels]
        return min(e[0] for e in ends), max(e[1] for e in ends)

    @property
    def description(self):
        """The picture in sentences."""
        if self.words:
            return self.words
        said = [f"{self.finding}. {self.method}." if self.method else f"{self.finding}."]
        for panel in self.panels:
            for line in panel.lines:
                known = np.isfinite(line.y)
                if not (line.label and known.any()):
                    continue
                top = int(np.nanargmax(line.y))
                said.append(
                    f"{panel.title}, {line.label}: from {line.y[known][0]:.4g} to "
                    f"{line.y[known][-1]:.4g}, highest {line.y[top]:.4g} at "
                    f"{line.x[top]:.4g}."
                )
        return " ".join(said)

    def table(self):
        """All labelled curves that share the axis as a frame, indexed by x."""
        columns = {}
        for panel in self.panels:
            for line in panel.lines:
                if line.label and not panel.x_label:
                    name = f"{line.label}: {panel.title}"
                    columns[name] = pd.Series(line.y, index=line.x).groupby(level=0).mean()
        frame = pd.DataFrame(columns)
        frame.index.name = self.x_label
        return frame


def limits(arrays, from_zero=True):
    """Axis limits that hold every finite value, with a little air.

    >>> limits([np.array([10.0, 20.0])])
    (0.0, 21.6)
    """
    finite = _finite(arrays)
    if not finite.size:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    if from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    span = (high - low) or abs(high) or 1.0
    air = 0.08 * span
    top = high + air if high > 0 or not from_zero else high
    if from_zero:
        return (low - air if low < 0 else low), top
    tidy = 10.0 ** np.floor(np.log10(span)) / 2
    return float(np.floor((low - air) / tidy) * tidy), top


def _as_floats(thing, *names):
    """Float arrays in place of what was given: a missing None must be NaN, never drawn as 0."""
    for name in names:
        object.__setattr__(thing, name, np.asarray(getattr(thing, name), dtype=float))


def _finite(arrays):
    flat = [np.ravel(a) for a in arrays]
    joined = np.concatenate(flat) if flat else np.empty(0)
    return joined[np.isfinite(joined)]


def _kept_apart(places, step, low, high):
    """The places moved as little as sorting allows so that neighbours are a step apart."""
    order = np.argsort(places, kind="stable")
    moved = np.array(places, dtype=float)
    for _ in range(50):
        for lower, upper in pairwise(order):
            overlap = step - (moved[upper] - moved[lower])
            if overlap > 1e-12:
                moved[lower] -= overlap / 2
                moved[upper] += overlap / 2
        if len(moved):
            moved += max(low - moved.min(), 0) if moved.min() < low else 0
            moved -= max(moved.max() - high, 0) if moved.max() > high else 0
    return moved.tolist()
