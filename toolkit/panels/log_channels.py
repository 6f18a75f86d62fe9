"""Confirm what each column is: channel, unit, gauge or absolute, each with its evidence."""

import html
from dataclasses import replace

import ipywidgets as w
from ipywidgets.widgets.widget_string import HTMLStyle

from toolkit.logs.channels import ASK, CHANNELS
from toolkit.logs.settle import NONE
from toolkit.logs.unit_inference import CANDIDATES
from toolkit.panels.base import Choice, Field, Workpanel, group, paragraph, said

_COLUMNS = "150px 212px 88px 96px 310px"
_HEADS = ("in the file", "is", "unit", "measured as", "how sure, and why")
_CHANNELS = [("none of ours", NONE)] + [(c.words, name) for name, c in CHANNELS.items()]
_OPEN = ("?", "")
_ZEROS = [_OPEN, ("gauge", "gauge"), ("absolute", "absolute")]
_KNOWN = (
    ("delay", "It answers late by", "time or turns: 0.25 s, 5 rev"),
    ("offset", "Add to it", "a quantity: 0.5 psi, -3 °C"),
    ("sentinel", "Stands for no value", "numbers: 9999"),
)


class _Row:
    """One column of the file as a row of controls; it serves one column after another."""

    def __init__(self, decide, cell):
        self.column, self._decide, self._quiet = "", decide, True
        self.head, self.why = w.HTML(**cell), w.HTML(**cell)
        layout = cell["layout"]
        self.channel = w.Dropdown(options=_CHANNELS, layout=layout)
        self.unit = w.Dropdown(options=[_OPEN], layout=layout)
        self.zero = w.Dropdown(options=_ZEROS, layout=layout)
        for item, control in (
            ("channel", self.channel),
            ("unit", self.unit),
            ("reference", self.zero),
        ):
            control.observe(lambda change, item=item: self._changed(item, change.new), "value")
        self.cells = [self.head, self.channel, self.unit, self.zero, self.why]

    def show(self, settled):
        """Put what is settled into the controls without deciding anything."""
        self._quiet, self.column = True, settled.column
        self.head.value = f"<b>{html.escape(settled.column)}</b>"
        self.channel.value = settled.channel or NONE
        units = CANDIDATES.get(settled.kind, ())
        listed = units if settled.unit in (*units, "") else (settled.unit, *units)
        self.unit.options = [_OPEN, *((u, u) for u in listed)]
        self.unit.value = settled.unit
        self.unit.disabled = not settled.channel
        is_pressure = settled.kind == "pressure"
        self.zero.options = _ZEROS if is_pressure else [("\N{EN DASH}", "")]
        self.zero.value = settled.reference if is_pressure else ""
        self.zero.disabled = not is_pressure
        sure = "asked above" if settled.confidence == ASK else settled.confidence
        self.why.value = paragraph(f"{sure}: {settled.why}", "dp-message")
        self._quiet = False

    def _changed(self, item, value):
        if not self._quiet and value:
            self._decide(("columns", self.column, item), value)


class _Mend(w.VBox):
    """What is known about one sensor: it reads late, or off by so much, or marks no value."""

    def __init__(self, desk, handler):
        self.desk, self._quiet = desk, False
        self.column = Choice("Sensor", [("none", "")])
        self.column.layout.width, self.column.control.layout.width = "480px", "300px"
        self.items = {
            item: Field(words, w.Text(continuous_update=False), hint)
            for item, words, hint in _KNOWN
        }
        self.column.observe(handler(lambda _: self._fill()), "value")
        for item, field in self.items.items():
            field.control.observe(
                handler(lambda change, item=item: self._decide(item, change.new)), "value"
            )
        self.said = said("")
        fields = w.HBox(list(self.items.values()))
        super().__init__([group("Late, offset, or 9999", self.column, fields), self.said])

    def show(self, run):
        """Offer the columns of a run, and say what was decided about any."""
        options = [("none", ""), *((s.column, s.column) for s in run.settled if s.channel)]
        if list(self.column.control.options) != options:
            self.column.control.options = options
            self.column.control.value = ""
        known = [
            f"'{column}': {item} {items[item]}"
            for column, items in run.review.columns.items()
            for item, _, _ in _KNOWN
            if items.get(item)
        ]
        self.said.value = paragraph("; ".join(known), "dp-message")
        self._fill()

    def _fill(self):
        self._quiet = True
        for item, field in self.items.items():
            review = self.desk.state and self.desk.state.run.review
            field.control.value = review.of_column(self.column.value, item) if review else ""
            field.control.disabled = not self.column.value
        self._quiet = False

    def _decide(self, item, text):
        if self._quiet or not self.column.value:
            return
        review, column = self.desk.state.run.review, self.column.value
        try:
            if text.strip():
                self.desk.decide(review.with_column(column, **{item: text.strip()}))
            else:
                items = {k: v for k, v in review.columns.get(column, {}).items() if k != item}
                self.desk.decide(replace(review, columns={**review.columns, column: items}))
        finally:
            self._fill()


class ChannelsPanel(Workpanel):
    """Every column of the log with what it was taken for; each can be put right."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self._run = desk, None
        # All cells share one layout and one style: a page of separate ones is slow to open.
        self._cell = {"layout": w.Layout(width="auto", margin="0"), "style": HTMLStyle()}
        self._pool = []
        self._heads = [w.HTML(paragraph(h, "dp-message"), **self._cell) for h in _HEADS]
        self.table = w.GridBox(
            layout=w.Layout(
                grid_template_columns=_COLUMNS, grid_gap="4px 6px", align_items="center"
            )
        )
        self.others = Choice("Another column", [("none", "")])
        self.others.layout.width = "480px"
        self.others.control.layout.width = "300px"
        self.others.observe(self.handler(lambda _: self._fill()), "value")
        self.mend = _Mend(desk, self.handler)
        desk.observe(self._changed, "state")
        self.compose(
            [],
            [self.table, group("Columns kept under their own names", self.others), self.mend],
        )

    def redraw(self):
        """Show what each column of the log was settled as."""
        if self.desk.state is None or self.desk.state.run is self._run:
            return
        self._run = self.desk.state.run
        self._offer_others()
        self.mend.show(self._run)
        self._fill()

    @property
    def rows(self):
        """The rows that stand there, by the column that each shows."""
        return {row.column: row for row in self._pool[: len(self._listed())]}

    def _listed(self):
        chosen = self.others.value
        return [
            s for s in self._run.settled if s.channel or s.confidence == ASK or s.column == chosen
        ]

    def _offer_others(self):
        others = [s.column for s in self._run.settled if not (s.channel or s.confidence == ASK)]
        options = [(f"none of {len(others)}", ""), *((o, o) for o in others)]
        if list(self.others.control.options) != options:
            chosen = self.others.value if self.others.value in others else ""
            self.others.control.options = options
            self.others.control.value = chosen

    def _fill(self):
        listed = self._listed()
        while len(self._pool) < len(listed):
            self._pool.append(_Row(self.handler(self.desk.answer), self._cell))
        for row, settled in zip(self._pool, listed, strict=False):
            row.show(settled)
        cells = [cell for row in self._pool[: len(listed)] for cell in row.cells]
        self.table.children = [*self._heads, *cells]
