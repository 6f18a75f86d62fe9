"""A picture laid out for a place and drawn by matplotlib: the second renderer of charts.picture.

Everything is measured in hundredths of the short side, so that a 4K still is the same picture
as a small one and the words can be read on a phone.
"""

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from matplotlib.style import context as matplotlib_style

from toolkit.charts import style
from toolkit.explain.drawn_panel import DrawnPanel
from toolkit.explain.lettering import (
    FINDING,
    LINE,
    MARGIN,
    PANEL,
    SMALL,
    boxes_for_missing_letters,
    font,
    width_em,
    wrapped,
)
from toolkit.explain.looks import PublishError, checked_size, look_named

_GAP, _LEAST_PLOT = 1.0, 8.0
_DPI = 128  # a power of two: px / dpi * dpi gives the px back exactly
# Nothing of the person's own matplotlib settings may change what is published.
STYLE = ["default", {"svg.fonttype": "path", "svg.hashsalt": "toolkit"}]


class Sheet:
    """A picture laid out on a matplotlib figure of exactly this size.

    What moves in a clip is kept apart: `curves` are artists, `words` are (x, artist) pairs that
    belong to a place on the shared axis, `labels` are the curves' names at their ends. values
    keeps room beside the names for what they read.
    """

    def __init__(self, picture, size="video", look="light", card=(), values=False):
        self.picture, self.size, self.look = picture, checked_size(size), look_named(look)
        self.unit = min(self.size) / 100
        self.scale = SMALL * self.unit / style.NUMBER_PX  # px here for a px of the live chart
        self.curves, self.words, self.labels, self.panels = [], [], [], []
        self._values = values
        with matplotlib_style(STYLE):
            width, height = self.size
            self.fig = Figure(figsize=(width / _DPI, height / _DPI), dpi=_DPI)
            self.canvas = FigureCanvasAgg(self.fig)
            self.fig.patch.set_facecolor(self.look.ground or "none")
            top = self._head("" if card else picture.method)  # the card says the method too
            bottom = self._card(card)
            self._panels(top, bottom)

    def pixels(self):
        """The drawn sheet as an array (height, width, 4) of bytes, a copy."""
        with matplotlib_style(STYLE), boxes_for_missing_letters():
            self.canvas.draw()
        return np.asarray(self.canvas.buffer_rgba()).copy()

    def write(self, x, y, text, height=SMALL, colour=style.INK, **how):
        """Words at a place in px from the top left; returns the artist.

        how: weight, ha, va as in matplotlib, edge=True for an edge in the ground's colour.
        """
        px = height * self.unit
        weight = how.pop("weight", "normal")
        edge = [self.edge(px * 0.16)] if how.pop("edge", False) or not self.look.ground else []
        return self.fig.text(
            x / self.size[0],
            1 - y / self.size[1],
            text,
            color=self.look.words(colour),
            fontproperties=font(px, _DPI, weight),
            parse_math=False,
            path_effects=edge,
            **{"va": "top", **how},
        )

    def edge(self, px):
        return withStroke(linewidth=self.points(px), foreground=self.look.behind)

    def points(self, px):
        return px * 72 / _DPI

    def _lines(self, y, text, height, colour, weight="normal", width=None):
        """Wrapped words at the left margin; returns the y below them."""
        left = MARGIN * self.unit
        room = width or self.size[0] - 2 * left
        for line in wrapped(text, room, height * self.unit, weight):
            self.write(left, y, line, height, colour, weight=weight)
            y += LINE * height * self.unit
        return y

    def _head(self, method):
        y = MARGIN * self.unit
        room = self.size[0] - 2 * y
        if self.picture.finding:
            height = self._finding_height(room)
            y = self._lines(y, self.picture.finding, height, style.INK, "bold")
        if method:
            y = self._lines(y + 0.4 * self.unit, method, SMALL, style.QUIET)
        return y + self.unit

    def _finding_height(self, room):
        """The largest letters that need no more lines than somewhat smaller ones, three at most."""
        sizes = [share * FINDING for share in (1, 0.92, 0.85, 0.7, 0.6)]
        lines = [len(wrapped(self.picture.finding, room, s * self.unit, "bold")) for s in sizes]
        most = min(3, lines[2]) if lines[-1] <= 3 else lines[-1]
        return next(s for s, n in zip(sizes, lines, strict=True) if n <= most)

    def _card(self, card):
        """The method card in columns at the bottom; returns the y above it."""
        rows = [*card, *(("Note", n) for n in self.picture.notes)]
        width, height = self.size
        bottom, margin = height - MARGIN * self.unit, MARGIN * self.unit
        if not rows:
            return bottom
        px, gap = SMALL * self.unit, 4 * self.unit
        count = max(1, int(width / (50 * self.unit)))
        column = (width - 2 * margin - (count - 1) * gap) / count
        entries = [self._entry(word, text, column, px) for word, text in rows]
        stacks = _columns(entries, count)
        tallest = max(sum(len(lines) for *_, lines in stack) for stack in stacks)
        top = bottom - tallest * px * LINE
        for index, stack in enumerate(stacks):
            x, y = margin + index * (column + gap), top
            for word, indent, lines in stack:
                self.write(x, y, word, weight="bold")
                for number, line in enumerate(lines):
                    self.write(x + (0 if number else indent), y, line, colour=style.QUIET)
                    y += px * LINE
        rule = top - 1.2 * self.unit
        self._rule(margin, width - margin, rule)
        return rule - self.unit

    def _entry(self, word, text, column, px):
        word = f"{word}:"
        indent = (1.03 * width_em(word, "bold") + 0.4) * px  # small letters are drawn wider
        return word, indent, wrapped(text, column, px, indent=indent)

    def _rule(self, left, right, y):
        axes = self.fig.add_axes([0, 0, 1, 1], zorder=-1)
        axes.set_axis_off()
        axes.set(xlim=(0, self.size[0]), ylim=(self.size[1], 0))
        axes.plot([left, right], [y, y], color=self.look.grid, lw=self.points(self.scale))

    def _panels(self, top, bottom):
        panels, unit = self.picture.panels, self.unit
        shared = [i for i, p in enumerate(panels) if not p.x_label and not p.bare]
        below = [
            (4.2 if p.x_label or (shared and i == shared[-1]) else 0.6) * LINE * unit
            + (SMALL * unit if p.x_label or (shared and i == shared[-1]) else 0)
            for i, p in enumerate(panels)
        ]
        titles = [self.heading_lines(p) for p in panels]
        above = [(len(t) * PANEL * LINE + 1.4) * unit if t else 0 for t in titles]
        gaps = _GAP * unit * (len(panels) - 1)
        free = bottom - top - sum(below) - sum(above) - gaps
        heights = [free * p.height / sum(q.height for q in panels) for p in panels]
        if min(heights) < _LEAST_PLOT * unit:
            raise PublishError(
                f"{self.size[0]} x {self.size[1]} px cannot hold {len(panels)} panels with "
                "words that can be read: choose a taller size, fewer panels or no method card"
            )
        room = self._label_room(panels, heights)
        drawn = [
            DrawnPanel(self, panel, height, axis=below[i] > 2 * unit)
            for i, (panel, height) in enumerate(zip(panels, heights, strict=True))
        ]
        gutter = max(d.gutter for d in drawn)
        y = top
        self.panels = drawn
        for d, over, under in zip(drawn, above, below, strict=True):
            left = MARGIN * unit + (0 if d.panel.bare else gutter)
            right = self.size[0] - MARGIN * unit - (0 if d.panel.bare else room)
            d.draw(left, right, y + over, y + over + d.height)
            y += over + d.height + under + _GAP * unit

    def heading_lines(self, panel):
        room = self.size[0] - 2 * MARGIN * self.unit
        return wrapped(panel.heading, room, PANEL * self.unit, "bold") if panel.title else []

    def _label_room(self, panels, heights):
        """The width kept free at the right for the curves' names, in px."""
        names = [w for p in panels for *_, w, _ in p.end_labels(1) if not p.bare]
        value = " 0000.0" if self._values else ""
        widest = max((width_em(n + value) for n in names), default=0) * SMALL * self.unit
        return min(widest + 1.6 * self.unit, 0.3 * self.size[0]) if names else 2 * self.unit


def _columns(entries, count):
    """The entries in their order, spread over columns of about the same height."""
    total = sum(len(lines) for *_, lines in entries)
    stacks, height = [[]], 0
    for entry in entries:
        tall = len(entry[2])
        if stacks[-1] and height + tall / 2 > total / count and len(stacks) < count:
            stacks.append([])
            height = 0
        stacks[-1].append(entry)
        height += tall
    return stacks
