"""Confirm what each column is: channel, unit, gauge or absolute, each with its evidence."""

import html

import ipywidgets as w

from toolkit.charts import style
from toolkit.logs.channels import ASK, CHANNELS
from toolkit.logs.settle import NONE
from toolkit.logs.unit_inference import CANDIDATES
from toolkit.panels.base import Choice, Workpanel, group, paragraph

_WIDTHS = ("150px", "208px", "84px", "92px", "66px", "252px")
_HEADS = ("in the file", "is", "unit", "measured as", "how sure", "because")
_CHANNELS = [("none of ours", NONE)] + [(c.words, name) for name, c in CHANNELS.items()]
_OPEN = ("?", "")
_ZEROS = [_OPEN, ("gauge", "gauge"), ("absolute", "absolute")]


class _Row:
    """One column of the file as a row of controls."""

    def __init__(self, name, decide):
        self.name, self._decide, self._quiet = name, decide, False
        self.head = w.HTML(f"<b>{html.escape(name)}</b>")
        self.channel = w.Dropdown(options=_CHANNELS)
        self.unit = w.Dropdown(options=[_OPEN])
        self.zero = w.Dropdown(options=_ZEROS)
        self.sure, self.why = w.HTML(), w.HTML()
        for item, control in (
            ("channel", self.channel),
            ("unit", self.unit),
            ("reference", self.zero),
        ):
            control.observe(lambda change, item=item: self._changed(item, change.new), "value")
        self.cells = [self.head, self.channel, self.unit, self.zero, self.sure, self.why]
        for cell, width in zip(self.cells, _WIDTHS, strict=True):
            cell.layout.width, cell.layout.margin = width, "0 4px 0 0"
        self.box = w.HBox(
            self.cells,
            layout=w.Layout(
                align_items="center", padding="3px 0", border_bottom=f"1px solid {style.GRID}"
            ),
        )

    def show(self, settled):
        """Put what is settled into the controls without deciding anything."""
        self._quiet = True
        self.channel.value = settled.channel or NONE
        units = CANDIDATES.get(settled.kind, ())
        listed = units if settled.unit in (*units, "") else (settled.unit, *units)
        self.unit.options = [_OPEN, *((u, u) for u in listed)]
        self.unit.value = settled.unit
        self.zero.value = settled.reference if settled.kind == "pressure" else ""
        self.zero.layout.visibility = "visible" if settled.kind == "pressure" else "hidden"
        self.unit.layout.visibility = "visible" if settled.channel else "hidden"
        self.sure.value = paragraph(
            "asked above" if settled.confidence == ASK else settled.confidence, "dp-message"
        )
        self.why.value = paragraph(settled.why, "dp-message")
        self._quiet = False

    def _changed(self, item, value):
        if not self._quiet and value:
            self._decide(("columns", self.name, item), value)


class ChannelsPanel(Workpanel):
    """Every column of the log with what it was taken for; each can be put right."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self.rows, self._shown = desk, {}, None
        self.table = w.VBox()
        self.others = Choice("Another column", [("none", "")])
        self.others.layout.width = "480px"
        self.others.control.layout.width = "300px"
        self.others.observe(self.handler(lambda _: self._fill()), "value")
        self.barometer = w.HTML()
        desk.observe(self._changed, "state")
        self.compose(
            [],
            [self.table, group("Columns kept under their own names", self.others), self.barometer],
        )

    def redraw(self):
        """Show what each column of the log was settled as."""
        if self.desk.state is None or self.desk.state.run is self._shown:
            return
        run = self.desk.state.run
        if self._shown is None or run.name != self._shown.name:
            self._close_rows()
        self._shown = run
        self._offer_others(run)
        self._fill()

    def _offer_others(self, run):
        others = [s.column for s in run.settled if not self._is_listed(s)]
        chosen = self.others.value if self.others.value in others else ""
        self.others.control.options = [(f"none of {len(others)}", ""), *((o, o) for o in others)]
        self.others.control.value = chosen

    def _is_listed(self, settled):
        return bool(settled.channel) or settled.confidence == ASK or settled.column in self.rows

    def _fill(self):
        run = self._shown
        for s in run.settled:
            if self._is_listed(s) or s.column == self.others.value:
                if s.column not in self.rows:
                    self.rows[s.column] = _Row(s.column, self.handler(self.desk.answer))
                self.rows[s.column].show(s)
        order = [s.column for s in run.settled if s.column in self.rows]
        head = w.HBox(
            [
                w.HTML(paragraph(h, "dp-message"), layout=w.Layout(width=x, margin="0 4px 0 0"))
                for h, x in zip(_HEADS, _WIDTHS, strict=True)
            ]
        )
        self.table.children = [head, *(self.rows[c].box for c in order)]

    def _close_rows(self):
        for row in self.rows.values():
            for cell in (*row.cells, row.box):
                cell.close()
        self.rows = {}
