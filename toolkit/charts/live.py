"""A picture drawn by Bokeh: built once, then only its data is replaced.

Each panel has one renderer per kind of thing (all curves are one glyph, all words another), so
a picture may gain or lose curves without a renderer being added.
"""

import numpy as np
from bokeh.core.properties import value
from bokeh.events import SelectionGeometry, Tap
from bokeh.layouts import column
from bokeh.models import BoxSelectTool, ColumnDataSource, HoverTool, Range1d
from bokeh.plotting import figure

from toolkit.charts import style

# What an ordinary hover shows is escaped by Bokeh; "pre" keeps our line breaks.
_READOUT = '<div style="white-space:pre;font:13px Helvetica,Arial,sans-serif">@readout</div>'
_WORDS_PX, _LETTER_PX = 16, 7


class LiveChart:
    """A Bokeh layout that follows a picture.

    `root` is the Bokeh model to show. All pictures shown by one chart have as many panels as
    the first; their heights and titles may change.
    """

    def __init__(self, picture, width=style.CHART_PX, tools=""):
        self._panels = [_LivePanel(p, width, tools) for p in picture.panels]
        last_shared = None
        for drawn, panel in zip(self._panels, picture.panels, strict=True):
            if not panel.x_label:
                last_shared = drawn
        self._last_shared = last_shared
        shared = self._panels[0].fig.x_range if self._panels else None
        for drawn, panel in zip(self._panels, picture.panels, strict=True):
            if not panel.x_label:
                drawn.fig.x_range = shared = shared if shared is not None else drawn.fig.x_range
            else:
                drawn.fig.x_range = Range1d(0, 1)
        self.root = column([p.fig for p in self._panels], width=width, spacing=2)
        self.show(picture)

    @property
    def figures(self):
        """The Bokeh figures, top to bottom."""
        return [p.fig for p in self._panels]

    def sources(self, *names):
        """The data sources of these kinds ("lines", "words", ...), all without names."""
        every = [p.sources for p in self._panels]
        return [s for kinds in every for name, s in kinds.items() if not names or name in names]

    def show(self, picture):
        """Draw this picture in place of the last."""
        for drawn, panel in zip(self._panels, picture.panels, strict=True):
            drawn.show(panel, picture, axis=panel.x_label or drawn is self._last_shared)

    def on_sweep(self, handler):
        """Call handler(index of the panel, x0, x1) when a person drags over a range of x."""
        for index, drawn in enumerate(self._panels):
            tool = BoxSelectTool(dimensions="width", renderers=[])
            drawn.fig.add_tools(tool)
            drawn.fig.toolbar.active_drag = tool
            drawn.fig.on_event(SelectionGeometry, lambda event, i=index: _swept(event, i, handler))

    def on_tap(self, handler):
        """Call handler(index of the panel, x, y) when a person taps a curve or an empty place."""
        for index, drawn in enumerate(self._panels):
            drawn.fig.on_event(Tap, lambda event, i=index: handler(i, event.x, event.y))


class _LivePanel:
    def __init__(self, panel, width, tools):
        self.fig = fig = figure(
            width=width,
            height=panel.height,
            tools=tools,
            toolbar_location=None,
            x_range=Range1d(0, 1),
            y_range=Range1d(0, 1),
            min_border_left=58,
            min_border_right=12,
            match_aspect=False,
            background_fill_color=style.PAPER,
            border_fill_color=style.PAPER,
        )
        self.sources, self._drawn = {}, {}
        self._draw_frame(fig, panel)
        self._add(
            "zones",
            fig.quad,
            left="x0",
            right="x1",
            bottom="y0",
            top="y1",
            fill_color="colour",
            fill_alpha="alpha",
            line_color=None,
        )
        self._add(
            "bands",
            fig.patches,
            xs="xs",
            ys="ys",
            fill_color="colour",
            fill_alpha="alpha",
            line_color="outline",
            line_dash="dash",
            line_width=1.5,
        )
        self._add(
            "uprights",
            fig.segment,
            x0="x0",
            y0="y0",
            x1="x1",
            y1="y1",
            line_color="colour",
            line_width=1,
        )
        self._add(
            "lines",
            fig.multi_line,
            xs="xs",
            ys="ys",
            line_color="colour",
            line_width="width",
            line_dash="dash",
        )
        self._add(
            "dots",
            fig.scatter,
            x="x",
            y="y",
            size="size",
            fill_color="colour",
            line_color=value(style.PAPER),
            line_width=0.6,
        )
        self._add(
            "leaders",
            fig.segment,
            x0="x0",
            y0="y0",
            x1="x1",
            y1="y1",
            line_color="colour",
            line_width=1,
        )
        self._add(
            "words",
            fig.text,
            x="x",
            y="y",
            text="text",
            text_color="colour",
            text_align="align",
            text_baseline="baseline",
            x_offset="dx",
            y_offset="dy",
            text_font=value(style.FONT),
            text_font_size=value(f"{style.NUMBER_PX}px"),
        )
        # A bar from midway to midway, so that exactly one lies under the pointer.
        probe = self._add(
            "probe",
            fig.quad,
            left="left",
            right="right",
            bottom="bottom",
            top="top",
            fill_color=value(style.QUIET),
            fill_alpha=0,
            line_color=None,
            hover_fill_alpha=0.25,
        )
        fig.add_tools(
            HoverTool(
                renderers=[probe],
                mode="vline",
                tooltips=_READOUT,
                show_arrow=False,
                line_policy="nearest",
            )
        )

    def _add(self, name, glyph, **columns):
        fields = {v: [] for v in columns.values() if isinstance(v, str)}
        if name == "probe":
            fields["readout"] = []
        self.sources[name] = source = ColumnDataSource(fields)
        return glyph(source=source, **columns)

    def _put(self, name, columns):
        """Only what changed goes to the page."""
        if not _same(self._drawn.get(name), columns):
            self.sources[name].data = columns
            self._drawn[name] = columns

    def _draw_frame(self, fig, panel):
        fig.outline_line_color = None
        fig.title.text_font = style.FONT
        fig.title.text_font_size = f"{style.TITLE_PX}px"
        fig.title.text_color = style.INK
        fig.xgrid.grid_line_color = None
        fig.ygrid.grid_line_color = None if panel.bare else style.GRID
        for axis in (fig.xaxis, fig.yaxis):
            axis.axis_line_color = None
            axis.major_tick_line_color = None
            axis.minor_tick_line_color = None
            axis.major_label_text_color = style.QUIET
            axis.major_label_text_font_size = f"{style.NUMBER_PX}px"
            axis.axis_label_text_color = style.QUIET
            axis.axis_label_text_font_style = "normal"
            axis.axis_label_text_font_size = f"{style.NUMBER_PX}px"
            axis.visible = not panel.bare

    def show(self, panel, picture, axis):
        fig = self.fig
        fig.height = panel.height + (34 if axis and not panel.bare else 0)
        fig.title.text = panel.heading
        fig.xaxis.visible = bool(axis) and not panel.bare
        fig.xaxis.axis_label = panel.x_label or picture.x_label
        low, high = panel.y_limits
        left, right = panel.x_limits if panel.x_label else picture.x_limits
        fig.y_range.update(start=low, end=high)
        fig.xaxis.bounds = (left, right)  # no numbers in the room kept for the curves' names
        names = [thing.label for p in picture.panels for thing in (*p.lines, *p.bands)]
        longest, plot = max(map(len, names), default=0), fig.width - 70
        room = max(style.LABEL_ROOM_PX, 12 + _LETTER_PX * longest) if longest else 0
        room = min(room, plot / 3)
        fig.x_range.update(start=left, end=right + (right - left) * room / (plot - room))
        self._show_areas(panel, low, high)
        self._show_lines(panel)
        self._show_words(panel, low, high)
        self._show_readout(panel, picture)

    def _show_areas(self, panel, low, high):
        zones, bands = panel.zones, [p for b in panel.bands for p in _patches(b)]
        self._put(
            "zones",
            {
                "x0": [z.start for z in zones],
                "x1": [z.stop for z in zones],
                "y0": [low] * len(zones),
                "y1": [high] * len(zones),
                "colour": [z.colour for z in zones],
                "alpha": [z.alpha for z in zones],
            },
        )
        bands += [
            (s.x, s.y, s.colour, s.alpha, s.outline or None, list(style.DASHES[s.evidence]))
            for s in panel.shapes
        ]
        self._put(
            "bands",
            dict(
                zip(
                    ("xs", "ys", "colour", "alpha", "outline", "dash"),
                    [list(c) for c in zip(*bands, strict=True)] or [[]] * 6,
                    strict=True,
                )
            ),
        )
        ups = panel.uprights
        self._put(
            "uprights",
            {
                "x0": [u.x for u in ups],
                "x1": [u.x for u in ups],
                "y0": [low] * len(ups),
                "y1": [high] * len(ups),
                "colour": [u.colour for u in ups],
            },
        )

    def _show_lines(self, panel):
        lines = [ln for ln in panel.lines if ln.joined]
        self._put(
            "lines",
            {
                "xs": [ln.x for ln in lines],
                "ys": [ln.y for ln in lines],
                "colour": [ln.colour for ln in lines],
                "width": [ln.width for ln in lines],
                "dash": [list(style.DASHES[ln.evidence]) for ln in lines],
            },
        )
        dotted = [ln for ln in panel.lines if ln.points]
        marks = [m for m in panel.marks if m.dot]
        self._put(
            "dots",
            {
                "x": np.concatenate([ln.x for ln in dotted] + [[m.x for m in marks]]),
                "y": np.concatenate([ln.y for ln in dotted] + [[m.y for m in marks]]),
                "size": [ln.width + 3 for ln in dotted for _ in ln.x] + [9] * len(marks),
                "colour": [ln.colour for ln in dotted for _ in ln.x] + [m.colour for m in marks],
            },
        )

    def _show_words(self, panel, low, high):
        words = [
            (x, p, text, colour, "left", "middle", 8, 0)
            for x, _y, p, text, colour in panel.end_labels(_WORDS_PX)
        ]
        for m in panel.marks:
            x, y = m.at or (m.x, m.y)
            shift = 0 if m.at else {"left": 8, "right": -8, "center": 0}[m.align]
            words.append(
                (
                    x,
                    y,
                    m.text,
                    m.colour,
                    m.align,
                    "bottom" if not m.at else "middle",
                    shift,
                    0 if m.at else -4,
                )
            )
        words += [(u.x, high, u.text, u.colour, "left", "top", 5, 1) for u in panel.uprights]
        words += [(z.start, high, z.text, z.colour, "left", "top", 5, 1) for z in panel.zones]
        words = [(*w[:3], style.readable(w[3]), *w[4:]) for w in words]
        names = ("x", "y", "text", "colour", "align", "baseline", "dx", "dy")
        columns = [list(c) for c in zip(*words, strict=True)] or [[]] * len(names)
        self._put("words", dict(zip(names, columns, strict=True)))
        leaders = [m for m in panel.marks if m.at]
        self._put(
            "leaders",
            {
                "x0": [m.x for m in leaders],
                "y0": [m.y for m in leaders],
                "x1": [m.at[0] for m in leaders],
                "y1": [m.at[1] for m in leaders],
                "colour": [m.colour for m in leaders],
            },
        )

    def _show_readout(self, panel, picture):
        """One line of words per x of the longest curve: every quantity of the panel there."""
        lines = [ln for ln in panel.lines if ln.readout and ln.label and len(ln.x) > 1]
        if not lines:
            self._put("probe", {k: [] for k in self.sources["probe"].data})
            return
        grid = max((ln.x for ln in lines), key=len)
        grid = np.unique(grid[np.isfinite(grid)])
        rows = [[f"{picture.x_label or panel.x_label}: {x:g}"] for x in grid]
        for line in lines:
            places = panel.decimals if line.decimals is None else line.decimals
            for row, y in zip(rows, _at(grid, line), strict=True):
                known = f"{y:.{places}f}" if np.isfinite(y) else "not known"
                row.append(f"{line.label}: {known}")
        edges = np.concatenate([grid[:1], (grid[:-1] + grid[1:]) / 2, grid[-1:]])
        low, high = panel.y_limits
        self._put(
            "probe",
            {
                "left": edges[:-1],
                "right": edges[1:],
                "bottom": np.full(len(grid), low),
                "top": np.full(len(grid), high),
                "readout": ["\n".join(r) for r in rows],
            },
        )


def _same(a, b):
    """Whether two columns, or tables of columns, or lists of arrays, hold the same."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(a[k], b[k]) for k in a)
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        floats = a.dtype.kind == b.dtype.kind == "f"
        return np.array_equal(a, b, equal_nan=floats)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(_same, a, b))
    return type(a) is type(b) and a == b


def _swept(event, index, handler):
    ends = event.geometry.get("x0"), event.geometry.get("x1")
    if event.final and None not in ends:
        handler(index, min(ends), max(ends))


def _at(grid, line):
    """The curve at each x of the grid, where it has a value there; NaN elsewhere."""
    x, y = line.x, line.y
    if len(x) == len(grid) and np.array_equal(x, grid, equal_nan=True):
        return y
    order = np.argsort(x, kind="stable")
    return np.interp(grid, x[order], y[order], left=np.nan, right=np.nan)


def _patches(band):
    """The outline of the band over each stretch where both edges are known."""
    x, low, high = band.x, band.low, band.high
    known = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(int), [0]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        part = slice(start, stop)
        yield (
            np.concatenate([x[part], x[part][::-1]]),
            np.concatenate([low[part], high[part][::-1]]),
            band.colour,
            band.alpha,
            None,
            [],
        )
