"""Two loggers of the same pulls: their clocks matched, drawn, and moved by hand."""

from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit.analysis.sides import partner
from toolkit.bench import short_name
from toolkit.charts.clock_picture import clock_picture
from toolkit.charts.log_axes import Drawn
from toolkit.logs.asking import as_sentence
from toolkit.logs.channels import CHANNELS
from toolkit.logs.clocks import ClockFit, fit_clocks, misfit_rpm
from toolkit.logs.question import LogError
from toolkit.logs.run import Run
from toolkit.panels.base import UNITS, Choice, Quantity, Workpanel, group, named, paragraph, verdict
from toolkit.panels.log_desk import same
from toolkit.panels.log_pulls import Slot

_NONE = [("no other log", "")]


class ClocksPanel(Workpanel):
    """Lay a second log of the same pulls on this log's clock."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self._other, self._run, self._fitted = desk, None, None, ((), None)
        self.other = Choice("The other log", _NONE)
        self.other.control.layout.width = "290px"
        self.other.layout.width = "450px"
        self.by = Quantity("Move it by", "time", 0.0, hint="positive: later; 0 is the fit")
        self.channel = Choice("Show also", [("nothing more", "")])
        self.use = w.Button(description="Use this clock", layout=w.Layout(width="190px"))
        self.use.on_click(self.handler(lambda _: self._use()))
        self.slot, self.words, self.status = Slot(), w.HTML(), w.HTML()
        self.other.observe(self.handler(lambda _: self._choose()), "value")
        self.watch(self.by, self.channel)
        desk.observe(self._take, "state")
        self.compose(
            [group("By hand", self.by, self.channel, self.use)],
            [self.other, self.words, self.slot, self.status],
        )

    def _take(self, _change):
        """Another log, or other decisions about it; what else changes does not touch the clock."""
        state = self.desk.state
        if state is not None and state.run is not self._run:
            with self.guarded():
                self.redraw()

    def redraw(self):
        """Fit and draw, if another log is chosen."""
        state = self.desk.state
        if state is None:
            return
        if self._run is None or state.run.name != self._run.name:
            self._run = state.run
            self._offer()
        self._run = state.run
        self.slot.layout.display = None if self.other.value else "none"
        if not self.other.value:
            self.words.value = paragraph("Choose the log that another logger wrote of these pulls.")
            self.status.value = ""
            return
        self._draw(state)

    def _offer(self):
        names = [n for n in self.desk.bench.logs() if n != self._run.name]
        self.other.control.options = _NONE + named(names)
        kept = self.desk.state.run.review.clock.get("with", "")
        self.other.value = kept if kept in names else partner(self._run.name, names)

    def _choose(self):
        self.by.value = 0.0
        self.redraw()

    def _opened(self):
        if self._other is None or self._other.name != self.other.value:
            self._other = Run.open(self.desk.bench, self.other.value)
        return self._other

    @property
    def fit(self):
        """The clock of this log against the other's, as fitted and moved by the hand."""
        state = self.desk.state
        key = self._opened(), state.run
        if not same(self._fitted[0], key):
            self._fitted = key, _fitted(*key)
        fit = self._fitted[1]
        if not self.by.value:
            return fit
        if not np.isfinite(fit.offset_s):  # where nothing matches, the hand alone decides
            fit = ClockFit(0.0, why=fit.why)
        moved = fit.moved(self.by.value)
        return replace(moved, misfit_rpm=misfit_rpm(*_traces(*key), moved))

    def _draw(self, state):
        fit = self.fit
        other = self._opened()
        self._offer_channels(other.frame, state.run.frame)
        names = (_short(other.name), _short(state.run.name))
        picture = clock_picture(
            other.frame, state.run.frame, fit, names, UNITS.system, self.channel.value
        )
        self.slot.show(Drawn(picture, ()))
        self.words.value = paragraph(
            f"'{names[0]}': {short_name(other.name)}; '{names[1]}': this log."
        )
        kept = state.run.review.clock
        self.use.disabled = not np.isfinite(fit.offset_s)
        self.status.value = verdict(
            _kept(kept),
            kept.get("why", "press 'Use this clock' to keep what is drawn"),
        )

    def _offer_channels(self, one, two):
        both = [c for c in CHANNELS if (c in one or c in two) and c not in ("time_s", "speed_rpm")]
        options = [("nothing more", ""), *((CHANNELS[c].words, c) for c in both)]
        if list(self.channel.control.options) != options:
            kept = self.channel.value if self.channel.value in both else ""
            self.channel.control.options = options
            self.channel.control.value = kept

    def _use(self):
        state = self.desk.state
        clock = self.fit.to_strings(self.other.value)
        self.desk.change(state.rerun(state.run.reviewed(replace(state.run.review, clock=clock))))


def _fitted(one, two):
    for run in (one, two):
        if not {"time_s", "speed_rpm"} <= set(run.frame):
            raise LogError(f"{run.name} has no time or no engine speed: there is nothing to match")
    return fit_clocks(*_traces(one, two))


def _traces(one, two):
    return [r.frame[c].to_numpy() for r in (one, two) for c in ("time_s", "speed_rpm")]


def _kept(clock):
    """What the review has to say about the clock, in a sentence."""
    if not clock:
        return "The review does not hold a clock yet."
    try:
        ClockFit.from_strings(clock)
    except LogError as error:
        return as_sentence(f"{error}, or press 'Use this clock'")
    return f"In the review: offset {clock['offset']} against {clock.get('with', 'an unnamed log')}."


def _short(name):
    """What tells a log's name from its partner's: its last word."""
    return name.rsplit("/", 1)[-1].rsplit(".", 1)[0].rpartition("_")[2]
