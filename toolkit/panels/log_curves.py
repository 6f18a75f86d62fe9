"""The accepted pulls against speed, and notes on their curves."""

from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.charts.pull_picture import Beside, speed_picture, valued
from toolkit.logs.channels import CHANNELS
from toolkit.logs.corrected import corrections
from toolkit.logs.question import LogError
from toolkit.logs.review import OBSERVED
from toolkit.logs.weather import Weather
from toolkit.panels.base import UNITS, Choice, Workpanel, group, paragraph, table
from toolkit.panels.log_desk import Grids
from toolkit.panels.log_notes import NoteForm
from toolkit.panels.log_pulls import NO_MORE, Slot, offer
from toolkit.physics.correction import STANDARDS

_STEPS = [
    ("automatic", 0.0),
    ("50 rpm", 50.0),
    ("100 rpm", 100.0),
    ("250 rpm", 250.0),
]
_SMOOTHING = [("none", 1), ("3 bins", 3), ("5 bins", 5), ("9 bins", 9)]


class CurvesPanel(Workpanel):
    """The pulls on one axis of engine speed, observed first; tap a curve to write on it."""

    def __init__(self, desk):
        super().__init__()
        self.desk = desk
        self.step = Choice("Bins of", _STEPS, hint="automatic: what the logging rate supports")
        self.smoothing = Choice("Smoothing", _SMOOTHING)
        self.beside = Choice(
            "Beside it, corrected", [("nothing", ""), *((n, n) for n in STANDARDS)]
        )
        self.extra = Choice("Show also", NO_MORE)
        self.form = NoteForm(desk, self.handler)
        self.slot = Slot(self.handler(self._tap), self.handler(self._sweep))
        self.notes = w.HTML()
        self.watch(self.extra, self.beside)
        for field in (self.step, self.smoothing):
            field.observe(self.handler(self._regrid), "value")
        desk.observe(self._changed, "state")
        self.compose(
            [
                group("On the chart", self.step, self.smoothing, self.beside, self.extra),
                group("A note on the curve", self.form),
            ],
            [self.slot, self.notes],
        )

    def redraw(self):
        """Draw the accepted pulls of the log on the desk."""
        state = self.desk.state
        if state is None:
            return
        if state.no_pulls:
            raise LogError(state.no_pulls)
        offer(self.extra, state.run.frame)
        pulls = state.pulls
        self.beside.say()
        drawn = speed_picture(
            pulls, UNITS.system, self.extra.value, state.notes.items, self._beside(state)
        )
        self.slot.show(drawn)
        self.form.show(pulls.has, pulls.numbers)
        self.notes.value = _listed([valued(n, pulls) for n in state.notes.items])

    def _regrid(self, _change):
        state = self.desk.state
        if state is not None:
            self.desk.change(replace(state, grids=Grids(self.step.value, self.smoothing.value)))

    def _beside(self, state):
        name = self.beside.value
        if not name:
            return None
        reference = state.run.review.power_reference
        if reference != OBSERVED:
            self.beside.say(f"The log is already corrected to {reference}.", wrong=True)
            return None
        lines = corrections(1.0, Weather.of(state.run), state.tested)
        line = next((c for c in lines if c.name == name), None)
        if line is None:
            said = f"{name} is not for this engine: choose another, or change its ignition."
            self.beside.say(said, wrong=True)
            return None
        if np.isnan(line.factor):
            self.beside.say(f"Cannot tell. {' '.join(line.reasons)}", wrong=True)
            return None
        return Beside(name, line.factor)

    def _tap(self, panel, x, y):
        self.form.tap(self.slot.drawn.curves[panel], x, y)

    def _sweep(self, panel, x0, x1):
        self.form.sweep(self.slot.drawn.curves[panel], x0, x1)


def _listed(notes):
    """The notes as a table."""
    if not notes:
        return paragraph("No notes on these curves yet.")
    system = UNITS.system
    rows = [(k, n.words, CHANNELS[n.channel].words, _place(n, system), _value(n, system))
            for k, n in enumerate(notes, start=1)]  # fmt: skip
    heads = ["note", "", "on", "at", "value there"]
    return paragraph("Notes on the curves", "dp-group") + table(rows, heads, words=(0, 1, 2))


def _place(note, system):
    kind = CHANNELS[note.axis].kind
    if note.is_range:
        return units.span(note.start, note.stop, kind, system)
    return units.text(note.start, kind, system)


def _value(note, system):
    words = units.text(note.value, CHANNELS[note.channel].kind, system)
    if not np.isfinite(note.value):
        return words
    words += " absolute" if CHANNELS[note.channel].kind == "pressure" else ""
    return f"{words} (mean)" if note.is_range else words
