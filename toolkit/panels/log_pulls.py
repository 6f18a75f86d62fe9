"""The log against time: which stretches are pulls, and which of them are used."""

from dataclasses import replace

import ipywidgets as w

from toolkit.charts.log_axes import choices
from toolkit.charts.trace_picture import trace_picture
from toolkit.logs.channels import CHANNELS
from toolkit.logs.decided_pulls import candidates
from toolkit.panels.base import UNITS, Chart, Choice, Workpanel, group, paragraph, said, swap
from toolkit.panels.log_notes import NoteForm

NO_MORE = [("nothing more", "")]


class Slot(w.VBox):
    """A place for a picture of any number of panels: one chart for each number, made once."""

    def __init__(self, on_tap=None, on_sweep=None):
        self.charts, self.drawn = {}, None
        self._hears = {"on_tap": on_tap, "on_sweep": on_sweep}
        super().__init__()

    @property
    def chart(self):
        """The chart that stands here now."""
        return self.children[0]

    def show(self, drawn):
        """Draw a picture (log_axes.Drawn) here."""
        self.drawn = drawn
        count = len(drawn.picture.panels)
        if count not in self.charts:
            self.charts[count] = Chart(drawn.picture, **self._hears)
        chart = self.charts[count]
        chart.show(drawn.picture)
        if self.children != (chart,):
            chart.refresh()
            self.children = [chart]


class PullsPanel(Workpanel):
    """See where the pulls are; use or refuse each."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self.boxes, self._places = desk, {}, None
        self.list = w.VBox()
        self.other = Choice("Use also", [("no other stretch", "")])
        self.extra = Choice("Show also", NO_MORE)
        self.form = NoteForm(desk, self.handler, "time_s")
        self.slot = Slot(self.handler(self._tap), self.handler(self._sweep))
        self.other.observe(self.handler(self._use_other), "value")
        self.watch(self.extra)
        desk.observe(self._changed, "state")
        self.compose(
            [
                group("Pulls found", self.list, self.other),
                group("On the chart", self.extra),
                group("A note on the trace", self.form),
            ],
            [self.slot],
        )

    def redraw(self):
        """Show the pulls of the log on the desk."""
        state = self.desk.state
        if state is None:
            return
        offer(self.extra, state.run.frame)
        self._list_pulls(state)
        marked = marked_signs(self.desk, UNITS.system)
        extra = self.extra.value or (marked[0].channel if state.marked and marked else "")
        notes = state.notes.items
        self.slot.show(
            trace_picture(state.run, state.stretches, UNITS.system, extra, notes, marked)
        )
        frame = state.run.frame
        timed = "time_s" in frame and frame["time_s"].notna().any()
        self.form.layout.display = None if timed else "none"
        if timed:
            self.form.show({c for c in frame if c in CHANNELS and frame[c].notna().any()})
        if state.no_pulls:
            raise ValueError(state.no_pulls)

    def _tap(self, panel, x, y):
        self.form.tap(self.slot.drawn.curves[panel], x, y)

    def _sweep(self, panel, x0, x1):
        self.form.sweep(self.slot.drawn.curves[panel], x0, x1)

    def _list_pulls(self, state):
        found = candidates(state.stretches)
        # All that the list says but the ticks: other speeds make other boxes of the same places.
        listed = [replace(s, accepted=False) for s in state.stretches]
        places = repr((state.run.name, found, listed, state.lost))
        if places != self._places:
            self._places = places
            self.boxes = {n: self._box(n, place) for n, place in found}
            words = [said(state.stretches[place].reason) for _, place in found]
            for line in words:
                line.layout.margin = "0 0 6px 24px"
            rows = [x for pair in zip(self.boxes.values(), words, strict=True) for x in pair]
            lost = [w.HTML(paragraph(text, "dp-wrong")) for text in state.lost]
            swap(self.list, [*rows, *lost] or [said("None in this log.")])
            self._offer_others(state, [place for _, place in found])
        for number, place in found:
            box, accepted = self.boxes[number], state.stretches[place].accepted
            if box.value != accepted:
                box.value = accepted

    def _box(self, number, place):
        s = self.desk.state.stretches[place]
        box = w.Checkbox(
            value=s.accepted,
            description=f"{s.label} {number}: {s.low_rpm:.0f} to {s.high_rpm:.0f} rpm",
            indent=False,
            layout=w.Layout(width="280px"),
        )
        box.observe(self.handler(lambda change: self._accept(place, change.new)), "value")
        return box

    def _accept(self, place, accepted):
        if self.desk.state.stretches[place].accepted != accepted:
            self.desk.accept(place, accepted)

    def _offer_others(self, state, taken):
        others = [
            (f"{s.label}, {s.low_rpm:.0f} to {s.high_rpm:.0f} rpm", place)
            for place, s in enumerate(state.stretches)
            if place not in taken and s.stop - s.start > 2
        ]
        self.other.control.options = [("no other stretch", ""), *others]

    def _use_other(self, change):
        if change.new != "":
            self.desk.accept(change.new, True)


def marked_signs(desk, system):
    """The signs whose rows the trace marks: the chosen one, or all that touch a verdict."""
    found = [s for s in desk.signs(system) if s.told and len(s.rows)]
    chosen = desk.state.marked
    return [s for s in found if (s.name == chosen if chosen else s.severity != "note")]


def offer(choice, frame):
    """Let a choice offer what the frame holds, keeping what was chosen where it is there."""
    options = NO_MORE + choices(frame)
    if list(choice.control.options) != options:
        kept = choice.value if choice.value in [v for _, v in options] else ""
        choice.control.options = options
        choice.control.value = kept
