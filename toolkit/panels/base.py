"""What every panel is made of: fields with their message, groups, a chart, a verdict, a frame.

A panel is built in one place, closes the one it replaces, redraws when the unit system changes,
and shows an error of its own handlers where the person looks, keeping the last good picture.
"""

import html
from contextlib import contextmanager
from functools import wraps

import ipywidgets as w
import traitlets as t
from bokeh.core.json_encoder import serialize_json
from bokeh.core.serialization import Serializer
from bokeh.protocol.messages.patch_doc import patch_doc
from jupyter_bokeh import BokehModel

from toolkit import preferences, units
from toolkit.analysis.typed_rows import typed_rows, with_units
from toolkit.bench import short_name
from toolkit.charts import style
from toolkit.charts.live import LiveChart

_LABEL = "150px"
_FIELD = "290px"
_CSS = f"""<style>
.dp-panel, .dp-panel .widget-label, .dp-panel .widget-html-content {{
  font-family: {style.FONT}; color: {style.INK}; }}
.dp-panel .widget-html-content {{ line-height: 1.45; }}
.dp-words textarea {{ font-family: {style.FONT}; line-height: 1.35; }}
.dp-finding {{ font-size: {style.FINDING_PX}px; font-weight: 700; line-height: 1.3; }}
.dp-method {{ font-size: 13px; color: {style.QUIET}; }}
.dp-group {{ font-size: 14px; font-weight: 700; margin-top: 8px;
  border-bottom: 1px solid {style.GRID}; padding-bottom: 2px; }}
.dp-message {{ font-size: 12px; color: {style.QUIET}; line-height: 1.35; }}
.dp-wrong {{ font-size: 13px; color: {style.WARN}; line-height: 1.35; }}
.dp-verdict {{ border: 1px solid {style.QUIET}; padding: 10px 14px; font-size: 15px;
  max-width: 860px; }}
.dp-evidence {{ color: {style.QUIET}; font-size: 13px; }}
.dp-panel table {{ border-collapse: collapse; font-size: 13px; }}
.dp-panel th, .dp-panel td {{ padding: 3px 12px 3px 0; text-align: right; vertical-align: top;
  border-bottom: 1px solid {style.GRID}; }}
.dp-panel th:first-child, .dp-panel td:first-child {{ text-align: left; }}
.dp-panel td.words, .dp-panel th.words {{ text-align: left; }}
.dp-panel td.words:first-child {{ white-space: nowrap; vertical-align: top; }}
.dp-panel input:focus, .dp-panel select:focus, .dp-panel button:focus {{
  outline: 2px solid {style.RUN_COLOURS[0]}; }}
</style>"""


class Figure(BokehModel):
    """A Bokeh layout on the page; shows current data after a reload and prints the same always."""

    _held = None  # changes that wait for the end of `at_once`

    @contextmanager
    def at_once(self):
        """Changes made inside reach the page together: one by one, each is a round of messages."""
        if self._held is not None:
            yield
            return
        self._held = []
        try:
            yield
        finally:
            events, self._held = self._held, None
            if events:
                self._send_patch(events)

    def _document_patched(self, event):
        if event.setter is self:
            return
        if self._held is None:
            self._send_patch([event])
        else:
            self._held.append(event)

    def _send_patch(self, events):
        """One patch in three messages; arrays travel inside, for each beside it costs two more."""
        models = self._document.models
        serializer = Serializer(references=models.synced_references, deferred=False)
        content = {"events": serializer.encode(events)}
        models.flush_synced(lambda model: not serializer.has_ref(model))
        for part in (patch_doc.create_header(), {}, content):
            self.send({"msg": "patch", "payload": serialize_json(part)})

    def get_state(self, key=None, drop_defaults=False):
        """The widget's state; a page that reloads asks for all of it and must get what is now."""
        if key is None and getattr(self, "_model", None) is not None:
            self._trait_values["render_bundle"] = self._model_to_traits(self._model)
        return super().get_state(key, drop_defaults)

    def refresh(self):
        """Give the page the figure as it is now: what changes while it is off the page is lost."""
        self.render_bundle = self._model_to_traits(self._model)

    def close(self):
        """Close once; a widget is closed again when it is forgotten."""
        if self.comm is not None:
            super().close()

    def __repr__(self):
        return "Figure()"


class UnitSystem(t.HasTraits):
    """The unit system in force; every panel of the kernel follows it."""

    system = t.Enum(units.SYSTEMS)

    @t.default("system")
    def _saved(self):
        return preferences.load().units


UNITS = UnitSystem()


def said(text, css="dp-message"):
    """A line of words; whatever is in it, it is words and never markup."""
    return w.HTML(paragraph(text, css), layout=w.Layout(margin="0"))


def named(files):
    """Files of the bench as options of a list: (what a person reads, name)."""
    return [(short_name(name), name) for name in files]


def paragraph(text, css="dp-message"):
    """Escaped words in a paragraph of a style class; "" for no words."""
    return f'<div class="{css}">{html.escape(str(text))}</div>' if text else ""


def verdict(sentence, evidence=""):
    """The HTML of a verdict: a sentence in a plain box with its evidence word under it."""
    inner = html.escape(sentence) + (paragraph(evidence, "dp-evidence") if evidence else "")
    return f'<div class="dp-verdict">{inner}</div>'


def table(rows, header, words=(0,)):
    """The HTML of a table; every cell is escaped. words: columns that hold words, set left."""

    def line(cells, tag):
        made = "".join(
            f"<{tag}{' class=words' if i in words else ''}>{html.escape(str(c))}</{tag}>"
            for i, c in enumerate(cells)
        )
        return f"<tr>{made}</tr>"

    return f"<table>{line(header, 'th')}{''.join(line(r, 'td') for r in rows)}</table>"


class Field(w.VBox):
    """A control with its label on the left and its message under it.

    `value` is what the panel computes with; a subclass keeps it good at all times.
    """

    def __init__(self, label, control, hint=""):
        self.label, self.hint, self.control = label, hint, control
        control.layout.width = "132px"
        self.message = w.HTML(paragraph(hint, "dp-message"))
        self.message.layout.margin = f"0 0 0 {_LABEL}"
        self.message.layout.display = None if hint else "none"
        row = w.HBox([w.Label(label, layout=w.Layout(width=_LABEL)), control])
        super().__init__([row, self.message], layout=w.Layout(width=_FIELD))

    def say(self, text="", wrong=False):
        """Put a message under the field: what is wrong and what to do, or what was used."""
        self.message.value = paragraph(text or self.hint, "dp-wrong" if wrong else "dp-message")
        self.message.layout.display = None if text or self.hint else "none"

    @property
    def words(self):
        """The message as a person reads it."""
        return html.unescape(self.message.value.split(">", 1)[-1].rsplit("<", 1)[0])


class Quantity(Field):
    """A typed quantity with its unit: "14 psi", "0.97 bar".

    value: in the inside unit of its kind. low, high: the possible range in the inside unit; what
    lies outside is refused in words and the last good value stays, never moved to the limit.
    """

    value = t.Float(allow_none=True)

    def __init__(self, label, kind, value, low=None, high=None, hint="", optional=False):
        self.kind, self.low, self.high, self.optional = kind, low, high, optional
        super().__init__(label, w.Text(continuous_update=False), hint)
        self.value = None if value is None else float(value)
        self._print()
        self.control.observe(self._read, "value")
        self.observe(lambda _: self._print(), "value")
        UNITS.observe(self._follow, "system")

    def type(self, text):
        """Write into the field as a person would."""
        self.control.value = str(text)

    def _read(self, change):
        if change.new == self._shown():
            self.say()
            return
        try:
            new = self._parsed(change.new)
        except units.UnitError as error:
            kept = f" Still used: {self._shown()}." if self._shown() else ""
            self.say(f"{error}.{kept}", wrong=True)
            return
        self.say()
        self.value = new
        self._print()

    def _parsed(self, text):
        if self.optional and not text.strip():
            return None
        unit = units.unit_of(self.kind, UNITS.system)
        new = units.parse(text, self.kind, default_unit=unit or None)
        if (self.low is not None and new < self.low) or (self.high is not None and new > self.high):
            low, high = (
                None if v is None else units.text(v, self.kind, UNITS.system)
                for v in (self.low, self.high)
            )
            allowed = (
                f"between {low} and {high}"
                if low and high
                else f"at least {low}"
                if low
                else f"at most {high}"
            )
            raise units.UnitError(f"'{text.strip()}' is not possible here: it must be {allowed}")
        return new

    def _shown(self):
        return "" if self.value is None else units.text(self.value, self.kind, UNITS.system)

    def _print(self):
        self.control.value = self._shown()

    def _follow(self, _change):
        self.say()
        self._print()

    def close(self):
        """Stop following the unit system; the panel closes its fields when it is replaced."""
        if self.comm is not None:  # a widget is closed again when it is forgotten
            UNITS.unobserve(self._follow, "system")
        super().close()


class Choice(Field):
    """One of several words. options: list of words or of (words, value)."""

    value = t.Any()

    def __init__(self, label, options, value=None, hint=""):
        super().__init__(label, w.Dropdown(options=options), hint)
        if value is not None:
            self.control.value = value
        self.value = self.control.value
        self.control.observe(self._read, "value")
        self.observe(self._write, "value")

    def _read(self, change):
        self.value = change.new

    def _write(self, change):
        self.control.value = change.new


def offer(choice, options):
    """New options for a Choice, keeping what was chosen where it is still there."""
    if list(choice.control.options) == options:
        return
    values = [v for _, v in options]
    kept = choice.value if choice.value in values else (values[0] if values else None)
    choice.control.options = options
    choice.control.value = kept


class TypedRows(Field):
    """Numbers typed as lines. A cell without a unit gets the one that was in force when the units
    are switched, so that it stays the same quantity.

    kinds(): the kind of each column, as analysis.typed_rows takes them.
    """

    def __init__(self, label, text, kinds, hint="", rows=6):
        super().__init__(label, w.Textarea(text, rows=rows, continuous_update=False), hint)
        self.kinds = kinds
        UNITS.observe(self._follow, "system")

    @property
    def columns(self):
        """The typed columns, in inside units."""
        return typed_rows(self.control.value, self.kinds(), UNITS.system)

    def _follow(self, change):
        self.control.value = with_units(self.control.value, self.kinds(), change.old)

    def close(self):
        """Stop following the unit system."""
        if self.comm is not None:
            UNITS.unobserve(self._follow, "system")
        super().close()


class RunList(w.VBox):
    """Several logs from a list; the chosen stand below it as well, where the list hides them.

    value: the chosen logs, relative to the bench.
    """

    value = t.Tuple()

    def __init__(self, title, logs, chosen=(), rows=7):
        self.pick = w.SelectMultiple(
            options=named(logs),
            value=tuple(name for name in chosen if name in logs),
            rows=rows,
            layout=w.Layout(width="280px"),
        )
        self.told = w.HTML(layout=w.Layout(width="280px"))
        super().__init__([said(f"{title}; Ctrl-click for several"), self.pick, self.told])
        self.pick.observe(self._read, "value")
        self._read()

    def _read(self, _change=None):
        self.value = self.pick.value
        names = ", ".join(short_name(name).removesuffix(".csv") for name in self.value)
        self.told.value = paragraph(f"chosen: {names or 'none'}", "dp-message")


class Slide(w.HBox):
    """A slider for trying things out; the number beside it is in the person's unit.

    value: inside unit. low, high: the range that is tried; a value from elsewhere that lies
    outside widens it, for it is shown as it is and never moved to the end.
    """

    value = t.Float()

    def __init__(self, label, kind, value, low, high, steps=40):
        self.kind, self._range, self._steps = kind, (low, high), steps
        self.slider = w.FloatSlider(
            readout=False,
            continuous_update=True,
            min=0,
            max=steps,
            step=1,
            layout=w.Layout(width="150px"),
        )
        self.number = w.Label(layout=w.Layout(width="90px"))
        super().__init__([w.Label(label, layout=w.Layout(width=_LABEL)), self.slider, self.number])
        self.value = float(value)
        self._print()
        self.slider.observe(self._read, "value")
        self.observe(lambda _: self._print(), "value")
        UNITS.observe(self._follow, "system")

    def _read(self, change):
        low, high = self._range
        self.value = low + (high - low) * change.new / self._steps

    def _print(self):
        low, high = self._range
        if not low <= self.value <= high:
            low, high = self._range = min(low, self.value), max(high, self.value)
        place = (self.value - low) / (high - low) * self._steps
        if abs(self.slider.value - place) > 1e-9:
            self.slider.unobserve(self._read, "value")
            self.slider.value = place
            self.slider.observe(self._read, "value")
        self.number.value = units.text(self.value, self.kind, UNITS.system)

    def _follow(self, _change):
        self._print()

    def close(self):
        """Stop following the unit system."""
        if self.comm is not None:
            UNITS.unobserve(self._follow, "system")
        super().close()


def group(title, *fields):
    """Related fields under a short heading."""
    return w.VBox([said(title, "dp-group"), *fields], layout=w.Layout(margin="0 16px 8px 0"))


class Chart(w.VBox):
    """A live picture with its finding above it and its table one click away.

    on_tap(index of the panel, x, y): called when a person taps the chart; on_sweep(index, x0, x1)
    when a range is dragged over.
    """

    def __init__(self, picture, width=style.CHART_PX, on_tap=None, on_sweep=None):
        self.live = LiveChart(picture, width)
        if on_tap:  # before the figure is on a page: a later wish to hear is not passed on
            self.live.on_tap(on_tap)
        if on_sweep:
            self.live.on_sweep(on_sweep)
        self._head = w.HTML()
        self._figure = Figure(self.live.root)
        self._table = w.HTML()
        self._more = w.Accordion(
            [self._table],
            titles=("The numbers, and the picture in words",),
            selected_index=None,
            layout=w.Layout(max_width=f"{width}px"),
        )
        self._more.observe(lambda _: self._fill_table(), "selected_index")
        super().__init__(
            [self._head, self._figure, self._more],
            layout=w.Layout(width=f"{width}px", overflow="visible"),
        )
        self.show(picture)

    def show(self, picture):
        """Draw this picture in place of the last."""
        self.picture = picture
        with self._figure.at_once():
            self.live.show(picture)
        self._head.value = paragraph(picture.finding, "dp-finding") + paragraph(
            picture.method, "dp-method"
        )
        self._fill_table()

    def refresh(self):
        """Draw anew from the picture in force, after it changed off the page."""
        self._figure.refresh()

    def _fill_table(self):
        """The table is made when it is opened: making it at every move would be felt."""
        if self._more.selected_index is None:
            return
        frame = self.picture.table()
        step = max(1, len(frame) // 60)
        rows = [
            [f"{x:g}", *(f"{v:.4g}" if v == v else "not known" for v in row)]
            for x, row in zip(frame.index[::step], frame.to_numpy()[::step], strict=True)
        ]
        every = f"Every {step}th row." if step > 1 else ""
        self._table.value = (
            paragraph(self.picture.description, "dp-message")
            + table(rows, [frame.index.name or "", *frame.columns])
            + paragraph(every, "dp-message")
        )


class Shown(w.VBox):
    """A chart that is made with its first picture, and anew where the number of panels changes;
    nothing stands there before."""

    def __init__(self, title=""):
        super().__init__()
        self.title, self.chart = title, None

    def show(self, picture):
        """Draw this picture in place of the last."""
        if self.chart is not None and len(self.picture.panels) == len(picture.panels):
            self.chart.show(picture)
            return
        self.chart = Chart(picture)
        swap(self, [said(self.title, "dp-group"), self.chart] if self.title else [self.chart])

    def clear(self, words=""):
        """Take the chart away, for what it showed no longer holds; words: what stands there."""
        self.chart = None
        swap(self, [said(words)] if words else ())

    @property
    def picture(self):
        """What is shown; None before anything is."""
        return self.chart and self.chart.picture


class Waiting(w.VBox):
    """What stands in a panel's place while it cannot open: the sentence that says what it needs."""

    def __init__(self, sentence):
        self.sentence = sentence
        super().__init__(
            [w.HTML(_CSS, layout=w.Layout(display="none")), said(sentence, "dp-wrong")]
        )
        self.add_class("dp-panel")


class _Opening(type(w.VBox)):
    """Opens a panel, or a Waiting with the reason: a page shows a sentence, never a traceback."""

    def __call__(cls, *args, **kwargs):
        try:
            return super().__call__(*args, **kwargs)
        except (ValueError, OSError) as reason:
            half = Workpanel._open.pop(cls.__name__, None)
            if half is not None:
                Workpanel.close(half)  # its own may need what it did not come to make
            return Waiting(_sentence(reason))


class Workpanel(w.VBox, metaclass=_Opening):
    """The frame of a panel: unit switch on top, inputs beside results, trouble where it is seen.

    A subclass builds its fields, then calls `compose` once with inputs and results, and writes
    `redraw`, which computes and draws. `watch` makes fields call it.
    """

    _open = {}  # noqa: RUF012 - one panel of each class may be open in a kernel

    def __init_subclass__(cls, **more):
        super().__init_subclass__(**more)
        if "redraw" in vars(cls):
            cls.redraw = _remembering(cls.redraw)

    def __init__(self):
        previous = Workpanel._open.pop(type(self).__name__, None)
        if previous is not None:
            previous.close()
        # One switch of units stands on a page, on its first panel; every panel follows it.
        self._leads = not any(panel._leads for panel in Workpanel._open.values())
        Workpanel._open[type(self).__name__] = self
        self.trouble = w.HTML(layout=w.Layout(margin="0"))
        self._guards = 0  # how many stand inside each other
        self._told = False  # whether one of them had something to say
        self._standing = ""  # why the last redraw failed: it stands until one ends well
        self._switch = w.ToggleButtons(
            options=units.SYSTEMS, value=UNITS.system, style={"button_width": "48px"}
        )
        self._switch.observe(self._choose_system, "value")
        UNITS.observe(self._follow, "system")
        super().__init__()
        self.add_class("dp-panel")

    def compose(self, inputs, results):
        """Lay the panel out: inputs on the left where there is room, results beside or below."""
        # Beside the results where both fit; above them, groups side by side, where they do not.
        left = w.Box(
            inputs,
            layout=w.Layout(flex_flow="row wrap", flex="1 1 300px", align_content="flex-start"),
        )
        left.layout.display = "flex" if inputs else "none"
        right = w.VBox([self.trouble, *results], layout=w.Layout(flex=f"0 0 {style.CHART_PX}px"))
        switch = w.HBox([w.Label("Units"), self._switch])
        switch.layout.display = None if self._leads else "none"
        body = w.Box([left, right], layout=w.Layout(display="flex", flex_flow="row wrap"))
        self.children = [w.HTML(_CSS, layout=w.Layout(display="none")), switch, body]
        with self.guarded():
            self.redraw()

    def redraw(self):
        """Compute from the fields and draw; a subclass writes it."""
        raise NotImplementedError

    def watch(self, *fields, names="value"):
        """Redraw when any of these changes."""
        for field in fields:
            field.observe(self._changed, names)

    def _changed(self, _change):
        with self.guarded():
            self.redraw()

    @contextmanager
    def guarded(self):
        """Show what goes wrong inside, in words; the last good picture stays.

        Where one runs inside another, the inner one's words stand when the outer one ends well.
        """
        self._told = self._told and self._guards > 0
        self._guards += 1
        try:
            yield
        except Exception as error:
            self.trouble.value = paragraph(_sentence(error), "dp-wrong")
            self._told = True
        else:
            if not self._told:
                self.trouble.value = self._standing
        finally:
            self._guards -= 1

    def handler(self, function):
        """A function to hand to on_click and the like, whose errors are seen."""

        @wraps(function)
        def run(*args, **kwargs):
            with self.guarded():
                return function(*args, **kwargs)

        return run

    def _choose_system(self, change):
        UNITS.system = change.new
        with self.guarded():
            preferences.save(units=change.new)

    def _follow(self, change):
        self._switch.value = change.new
        with self.guarded():
            self.redraw()

    def close(self):
        """Leave nothing behind: a panel built again must not answer twice."""
        if self.comm is None:
            return
        UNITS.unobserve(self._follow, "system")
        for child in _below(self):
            _forget(child)
        self.layout.close()
        super().close()


def _remembering(redraw):
    """A redraw that leaves word of how it ended, whoever calls it."""

    @wraps(redraw)
    def run(self):
        try:
            redraw(self)
        except Exception as error:
            self._standing = paragraph(_sentence(error), "dp-wrong")
            raise
        self._standing = ""

    return run


def _sentence(error):
    """The words for an error: our own sentence, or the fact of one that we did not foresee."""
    text = str(error).strip() or type(error).__name__
    if isinstance(error, ValueError):
        return text if text.endswith((".", "?")) else f"{text}."
    return f"Something went wrong here ({type(error).__name__}: {text}). Your inputs are kept."


def swap(box, children):
    """Other children for a box; the old ones are closed, or the kernel keeps them for ever."""
    old, box.children = box.children, tuple(children)
    kept = {id(part) for child in box.children for part in (child, *_below(child))}
    for part in [p for child in old for p in (*_below(child), child) if id(p) not in kept]:
        _forget(part)


def _forget(widget):
    """Close a widget with its style and layout, which a closed one leaves behind."""
    for part in (widget, getattr(widget, "style", None), widget.layout):
        if part is not None:
            part.close()


def _below(widget):
    for child in getattr(widget, "children", ()):
        yield from _below(child)
        yield child
