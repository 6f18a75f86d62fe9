"""One panel of a picture drawn on a sheet: axes, areas, curves, marks and their words."""

import numpy as np
from matplotlib.ticker import MaxNLocator

from toolkit.charts import style
from toolkit.charts.picture import Line
from toolkit.explain.lettering import (
    LINE,
    MARGIN,
    PANEL,
    SMALL,
    clean,
    shortened,
    width_em,
    wrapped,
)


class DrawnPanel:
    """One panel of a sheet: measured when made, drawn once its place is known."""

    def __init__(self, sheet, panel, height, axis):
        self.sheet, self.panel, self.height, self.axis = sheet, panel, height, axis
        self._boxes = []  # of words: left, top, right, bottom in px
        count = min(8, max(2, round(height / sheet.unit / 3.8)))
        self.y_ticks = [] if panel.bare else _ticks(*panel.y_limits, count)
        px = SMALL * sheet.unit
        names = [_number(v) for v in self.y_ticks]
        self.gutter = max((width_em(n) * px for n in names), default=0) + sheet.unit

    def draw(self, left, right, top, bottom):
        sheet, panel = self.sheet, self.panel
        width, height = sheet.size
        self.box = left, right, top, bottom
        self.ax = ax = sheet.fig.add_axes(
            [left / width, 1 - bottom / height, (right - left) / width, (bottom - top) / height]
        )
        ax.set_facecolor("none")
        ax.set_axis_off()
        x_limits, y_limits = self._x_limits(), panel.y_limits
        if panel.equal_scale:
            x_limits, y_limits = _equal_scale(x_limits, y_limits, (right - left), (bottom - top))
        ax.set(xlim=x_limits, ylim=y_limits)
        if panel.title:
            edge = MARGIN * sheet.unit
            above = top - 1.7 * sheet.unit
            words = "\n".join(sheet.heading_lines(panel))
            sheet.write(edge, above, words, PANEL, weight="bold", va="bottom")
        if not panel.bare:
            self._frame()
        self._areas()
        self._curves()
        self._marks()
        self._labels()

    def _x_limits(self):
        return self.panel.x_limits if self.panel.x_label else self.sheet.picture.x_limits

    def px(self, x, y):
        """A place of the axes in px of the sheet, from the top left."""
        across, up = self.ax.transData.transform((x, y))
        return across, self.sheet.size[1] - up

    def _frame(self):
        sheet, look = self.sheet, self.sheet.look
        left, right, _top, bottom = self.box
        for value in self.y_ticks:
            wide = sheet.scale * (2 if value == 0 else 1)
            self.ax.axhline(value, color=look.grid, lw=sheet.points(wide), zorder=0.6)
            _x, y = self.px(0, value)
            at = left - 0.8 * sheet.unit
            sheet.write(at, y, _number(value), colour=style.QUIET, ha="right", va="center")
        if not self.axis:
            return
        low, high = self._x_limits()
        count = max(2, int((right - left) / sheet.unit / 14))
        y = bottom + 0.9 * sheet.unit
        for value in _ticks(low, high, count):
            x, _y = self.px(value, 0)
            sheet.write(x, y, _number(value), colour=style.QUIET, ha="center")
        label = self.panel.x_label or sheet.picture.x_label
        middle, y = (left + right) / 2, y + SMALL * LINE * sheet.unit
        sheet.write(middle, y, label, colour=style.QUIET, ha="center")

    def _areas(self):
        ax, sheet = self.ax, self.sheet
        drawn, top = sheet.curves, self.box[2] + 0.4 * sheet.unit
        for zone in self.panel.zones:
            colour = sheet.look.stroke(zone.colour)
            drawn.append(
                ax.axvspan(zone.start, zone.stop, color=colour, alpha=zone.alpha, lw=0, zorder=0.5)
            )
            self._word(zone.start, top, zone.text, zone.colour, shift=0.6, va="top")
        for band in self.panel.bands:
            known = np.isfinite(band.low) & np.isfinite(band.high)
            colour = sheet.look.stroke(band.colour)
            how = {"where": known, "alpha": band.alpha, "color": colour, "lw": 0, "zorder": 1}
            drawn.append(ax.fill_between(band.x, band.low, band.high, **how))
        for shape in self.panel.shapes:
            colour = sheet.look.stroke(shape.colour)
            drawn += ax.fill(shape.x, shape.y, color=colour, alpha=shape.alpha, lw=0, zorder=1)
            if shape.outline:
                drawn += self._stroke(_outline(shape), zorder=1.2)
        for upright in self.panel.uprights:
            colour = sheet.look.stroke(upright.colour)
            drawn.append(
                ax.axvline(upright.x, color=colour, lw=sheet.points(sheet.scale), zorder=1.5)
            )
            self._word(upright.x, top, upright.text, upright.colour, shift=0.6, va="top")

    def _stroke(self, line, zorder=1.8):
        sheet = self.sheet
        wide = line.width * sheet.scale
        dashes = tuple(length / line.width for length in style.DASHES[line.evidence])
        halo = [] if sheet.look.ground else [sheet.edge(wide + 2.5 * sheet.scale)]
        return self.ax.plot(
            line.x,
            line.y,
            color=sheet.look.stroke(line.colour),
            lw=sheet.points(wide),
            ls=(0, dashes) if dashes else "-",
            solid_capstyle="round",
            solid_joinstyle="round",
            path_effects=halo,
            zorder=zorder,
        )

    def _curves(self):
        for line in self.panel.lines:
            if line.joined:
                self.sheet.curves += self._stroke(line, zorder=2)
            if line.points:
                self.sheet.curves += self._dots(line.x, line.y, line.width + 3, line.colour)

    def _dots(self, x, y, px, colour):
        sheet = self.sheet
        return self.ax.plot(
            x,
            y,
            "o",
            ms=sheet.points(px * sheet.scale),
            color=sheet.look.stroke(colour),
            mec=sheet.look.behind,
            mew=sheet.points(0.6 * sheet.scale),
            zorder=3,
        )

    def _marks(self):
        sheet = self.sheet
        for mark in self.panel.marks:
            if mark.dot:
                dots = self._dots([mark.x], [mark.y], 9, mark.colour)
                self._belongs(mark.x, *dots)
            if mark.at:
                x, y = mark.at
                leader = self._stroke(Line([mark.x, x], [mark.y, y], "", mark.colour, width=1))
                self._belongs(mark.x, *leader)
                _x, y_px = self.px(x, y)
                self._word(x, y_px, mark.text, mark.colour, mark.align, 0.6, "center", mark.x)
            else:
                _x, y_px = self.px(mark.x, mark.y)
                lift = 0.5 * sheet.unit if mark.dot else 0
                va = "bottom" if mark.dot else "center"
                shift = 1.3 if mark.dot else 0
                self._word(mark.x, y_px - lift, mark.text, mark.colour, mark.align, shift, va=va)

    def _belongs(self, x, *artists):
        """Keep the artists with their place on the shared axis; other panels' are always there."""
        own = self.panel.x_label or self.panel.bare
        self.sheet.words += [(-np.inf if own else x, artist) for artist in artists]

    def _word(self, x, y_px, text, colour, align="left", shift=0.0, va="top", from_x=None):
        """Words that belong to a place on the axis, kept inside the panel's two edges."""
        if not clean(text):
            return
        sheet, px = self.sheet, SMALL * self.sheet.unit
        x_px, _y = self.px(x, 0)
        shift *= sheet.unit
        lines = clean(text).split("\n")
        wide = max(width_em(line) for line in lines) * px + shift
        left, right = x_px - MARGIN * sheet.unit, self.box[1] - x_px
        if align != "center" and wide > (right if align == "left" else left):
            align = "left" if right > left else "right"
            lines = wrapped(text, max(left, right) - shift, px)
        x_px += {"left": shift, "right": -shift, "center": 0}[align]
        tall, wide = len(lines) * LINE * px, max(width_em(line) for line in lines) * px
        y_px = self._clear_place(x_px, y_px, wide, tall, align, va)
        words = "\n".join(lines)
        artist = sheet.write(x_px, y_px, words, colour=colour, ha=align, va=va, edge=True)
        self._belongs(x if from_x is None else from_x, artist)

    def _clear_place(self, x, y, wide, tall, align, va):
        """Where words of this size meet none before them: at y, or as near to it as there is room.

        Words put at the panel's top may go down, those beside a point below it; words that a
        person placed stay.
        """
        start = x - {"left": 0, "center": wide / 2, "right": wide}[align]
        step, under = self.sheet.unit * SMALL * LINE, tall + self.sheet.unit
        moves = {
            "top": [n * step for n in range(4)],
            "bottom": [0, under, -step, under + step],
            "center": [0],
        }[va]
        rise = {"top": 0, "center": tall / 2, "bottom": tall}[va]
        boxes = [(start, y + m - rise, start + wide, y + m - rise + tall) for m in moves]
        clear = [n for n, box in enumerate(boxes) if not any(_meet(box, b) for b in self._boxes)]
        chosen = clear[0] if clear else 0
        self._boxes.append(boxes[chosen])
        return y + moves[chosen]

    def _labels(self):
        for x, y, words, colour in self.label_places(self.panel):
            artist = self.sheet.write(x, y, words, colour=colour, va="center", edge=True)
            self.sheet.labels.append(artist)

    def label_places(self, panel):
        """(x, y, words, colour) of the curves' names, in px, for this panel or one like it."""
        if panel.bare:
            return
        sheet = self.sheet
        left, right, top, bottom = self.box
        px = SMALL * sheet.unit
        line_px = LINE * px * panel.height / (bottom - top)
        room = sheet.size[0] - MARGIN * sheet.unit - right - sheet.unit
        for x, _y, place, words, colour in panel.end_labels(line_px):
            x_px, y_px = self.px(x, place)
            yield max(x_px, left) + sheet.unit, y_px, shortened(words, room, px), colour


def _meet(one, other):
    """Whether two boxes (left, top, right, bottom) overlap."""
    across = one[0] < other[2] and other[0] < one[2]
    return across and one[1] < other[3] and other[1] < one[3]


def _equal_scale(x_limits, y_limits, width, height):
    """The limits widened about their middle until a unit is as long across as it is up."""
    spans = np.diff(x_limits)[0] / width, np.diff(y_limits)[0] / height
    unit = max(spans)
    return tuple(
        (np.mean(limits) - unit * px / 2, np.mean(limits) + unit * px / 2)
        for limits, px in ((x_limits, width), (y_limits, height))
    )


def _outline(shape):
    """The outline of a shape as a closed curve."""
    x, y = np.append(shape.x, shape.x[:1]), np.append(shape.y, shape.y[:1])
    return Line(x, y, colour=shape.outline, evidence=shape.evidence, width=1.5)


def _ticks(low, high, count):
    """Round values inside the limits."""
    found = MaxNLocator(nbins=count, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    slack = 1e-9 * (high - low)
    return [float(v) for v in found if low - slack <= v <= high + slack]


def _number(value):
    """A tick's value as printed, with a true minus sign."""
    return f"{0.0 if abs(value) < 1e-12 else value:.6g}".replace("-", "−")
