"""What the log says about itself: signs of trouble, what they forbid, and what it can answer."""

from dataclasses import replace

import ipywidgets as w

from toolkit import units
from toolkit.analysis.questions import answerable
from toolkit.logs.signs import LIMITS
from toolkit.panels.base import (
    UNITS,
    Choice,
    Field,
    Workpanel,
    group,
    paragraph,
    table,
    verdict,
)

_SEVERITY = {"stops": "stops a verdict", "weakens": "weakens it", "note": "worth knowing"}
_ALL = [("all that matter", "")]


class SignsPanel(Workpanel):
    """Signs of trouble with their evidence; the limits are yours to set."""

    def __init__(self, desk):
        super().__init__()
        self.desk = desk
        self.limit = Choice("What counts", [(words, name) for name, words, _, _ in LIMITS])
        self.limit.layout.width, self.limit.control.layout.width = "360px", "200px"
        self.value = Field("Its limit", w.Text(continuous_update=False))
        self.mark = Choice("Mark on the trace", _ALL)
        self.finding, self.list, self.untold = w.HTML(), w.HTML(), w.HTML()
        folded = w.Accordion(
            [self.untold],
            titles=("Looked for, and this log cannot tell: what to log next time",),
            selected_index=None,
        )
        self.limit.observe(self.handler(lambda _: self._show_limit()), "value")
        self.value.control.observe(self.handler(self._set_limit), "value")
        self.mark.observe(self.handler(self._mark), "value")
        desk.observe(self._changed, "state")
        self.compose(
            [
                group("Where they show", self.mark),
                group("Limits, which are yours to set", self.limit, self.value),
            ],
            [self.finding, self.list, folded],
        )

    def redraw(self):
        """List the signs of the log on the desk."""
        if self.desk.state is None:
            return
        self._show_limit()
        found = self.desk.signs(UNITS.system)
        told = [s for s in found if s.told]
        self._offer(told)
        where = "the pulls that are used" if self._pulls() else "the whole log, as no pull is used"
        self.finding.value = verdict(
            _counted(found, where), "measured, against limits of common practice"
        )
        rows = [
            (_SEVERITY[s.severity], s.name, _what(s), ", ".join(s.forbids) or "none", s.todo)
            for s in told
        ]
        heads = ["", "sign", "what is seen", "no verdict on", "what to do"]
        self.list.value = table(rows, heads, words=range(5)) if rows else ""
        untold = {(s.name, s.sentence, s.todo): None for s in found if not s.told}
        heads = ["sign", "why not", "to be able to tell"]
        self.untold.value = table(untold, heads, words=range(3)) if untold else "Nothing."

    def _pulls(self):
        return any(s.accepted for s in self.desk.state.stretches)

    def _offer(self, told):
        names = sorted({s.name for s in told if len(s.rows)})
        options = _ALL + [(n, n) for n in names]
        if list(self.mark.control.options) != options:
            kept = self.desk.state.marked
            self.mark.control.options = options
            self.mark.control.value = kept if kept in names else ""

    def _mark(self, change):
        if self.desk.state is not None and self.desk.state.marked != change.new:
            self.desk.change(replace(self.desk.state, marked=change.new))

    def _spec(self):
        return next(spec for spec in LIMITS if spec[0] == self.limit.value)

    def _show_limit(self):
        name, _, kind, source = self._spec()
        if self.desk.state is not None:
            value = getattr(self.desk.state.limits, name)
            self.value.control.value = _written(value, kind)
        self.value.say(f"Source: {source}.")

    def _set_limit(self, change):
        name, _, kind, _ = self._spec()
        state = self.desk.state
        if state is None or change.new == _written(getattr(state.limits, name), kind):
            return
        unit = units.unit_of(kind, UNITS.system) or None
        try:
            value = units.parse(change.new, kind, default_unit=unit)
            limits = replace(state.limits, **{name: value})
        except ValueError:
            self._show_limit()  # the field shows what is in force, the panel says what was wrong
            raise
        self.desk.change(replace(state, limits=limits))


def _written(value, kind):
    """A limit with as many digits as it has, at least the usual ones."""
    exact = float(units.shown(value, kind, UNITS.system))
    places = units.decimals_of(kind, UNITS.system)
    while places < 9 and abs(round(exact, places) - exact) > 1e-4 * abs(exact):
        places += 1
    return units.text(value, kind, UNITS.system, places)


def _counted(found, where):
    """How many of each, in one sentence."""
    counts = {k: sum(s.told and s.severity == k for s in found) for k in _SEVERITY}
    if not any(counts.values()):
        return f"No sign of trouble was found in {where}."
    parts = [f"{n} {_SEVERITY[k]}" for k, n in counts.items() if n]
    return f"Signs in {where}: {'; '.join(parts)}."


def _what(sign):
    return f"{sign.sentence} ({sign.evidence})" if sign.evidence else sign.sentence


class AnswersPanel(Workpanel):
    """Which questions this log can answer, and what to log next time."""

    def __init__(self, desk):
        super().__init__()
        self.desk = desk
        self.table = w.HTML()
        desk.observe(self._changed, "state")
        self.compose([], [self.table])

    def redraw(self):
        """Set every question against the channels of the log on the desk."""
        if self.desk.state is None:
            return
        frame = self.desk.state.run.frame
        has = [c for c in frame if frame[c].notna().any()]
        rows = [
            (a.question, _answer(a), ", ".join(a.missing) or "nothing", a.advice or "nothing more")
            for a in answerable(has)
        ]
        heads = ["question", "this log", "is missing", "next time"]
        self.table.value = paragraph("What this log can answer", "dp-group") + table(
            rows, heads, words=range(4)
        )


def _answer(answer):
    if not answer.can:
        return "cannot tell"
    return "can tell" if not answer.helpful else "can tell, but less firmly"
