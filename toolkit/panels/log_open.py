"""Choose a log; see what the reader decided about it and answer what it asks."""

import ipywidgets as w

from toolkit.logs.question import LogError
from toolkit.panels.base import (
    Choice,
    Workpanel,
    group,
    named,
    paragraph,
    table,
    verdict,
)
from toolkit.panels.log_questions import Questions

_MOST_ROWS = 60


class OpenPanel(Workpanel):
    """Choose a log of the bench, and answer what it leaves open."""

    def __init__(self, desk, log=None):
        super().__init__()
        self.desk, self._why = desk, ""
        logs = desk.bench.logs()
        offered = named(logs) or [("no log in this bench", "")]
        self.chosen = Choice("Log", offered, log if log in logs else None)
        self.chosen.layout.width = "640px"
        self.chosen.control.layout.width = "460px"
        self.again = w.Button(
            description="Read it again", tooltip="Forget what was decided and not saved"
        )
        self.again.on_click(self.handler(lambda _: self._open(afresh=True)))
        self.summary = w.HTML()
        self.questions = Questions(self.handler(desk.answer))
        self.how = w.HTML()
        self.folded = w.Accordion(
            [self.how],
            titles=("How the file was read: every decision, and every cell left out",),
            selected_index=None,
        )
        self.chosen.observe(self.handler(lambda _: self._open()), "value")
        desk.observe(self._changed, ["state", "asked"])
        self.compose(
            [],
            [
                group("Which log", w.HBox([self.chosen, self.again])),
                self.summary,
                self.questions,
                self.folded,
            ],
        )
        with self.guarded():
            self._open()

    def _open(self, afresh=False):
        self._why = ""
        try:
            self.desk.open(self.chosen.value, afresh)
        except ValueError as error:
            self._why = str(error)
        self.redraw()

    def redraw(self):
        """Show what is known about the log that was asked for."""
        state = self.desk.state
        self.questions.show(self.desk.asked)
        self.summary.value = self.how.value = ""
        if state is not None and state.run.name == self.chosen.value:
            self.summary.value = verdict(*_summary(state))
            self.how.value = _how(state.run)
        elif state is not None:
            stale = f"Shown below is still {state.run.name}."
            self.summary.value = paragraph(stale, "dp-wrong")
        if self._why:
            raise LogError(self._why)


def _summary(state):
    run = state.run
    frame = run.frame
    parts = [f"{len(frame)} rows, {len(run.reading.columns)} columns", *_rate(frame)]
    if len(run.reading.rejected):
        parts.append(f"{len(run.reading.rejected)} cells are no numbers and are left out")
    asked = len(run.questions)
    parts.append(f"{asked} left to you to say" if asked else "nothing left to ask")
    value, why = run.barometer
    known = f"barometer {why.evidence}" if value == value else "barometer not known"
    return "; ".join(parts) + ".", known


def _rate(frame):
    if "time_s" not in frame:
        return ["no time column"]
    time = frame["time_s"].dropna().to_numpy()
    if len(time) < 2:
        return []
    span = time[-1] - time[0]
    return [f"{span:.1f} s", f"{(len(time) - 1) / span:.3g} rows a second"] if span > 0 else []


def _how(run):
    """What the reader decided about the file, in tables."""
    reading = run.reading
    rows = [(k, d.value, d.evidence) for k, d in reading.decisions.items()]
    value = table(rows, ["the file's", "is", "because"], words=(0, 1, 2)) if rows else ""
    for remark in run.remarks:
        value += paragraph(remark.sentence, "dp-message")
    if reading.notes:
        value += paragraph("Lines kept as notes", "dp-group")
        value += table([(n.line, n.text) for n in reading.notes], ["line", "text"], words=(1,))
    return value + _rejected(reading.rejected)


def _rejected(rejected):
    if rejected.empty:
        return paragraph("No cell was left out.", "dp-message")
    rows = rejected[["row", "column", "text"]].head(_MOST_ROWS).itertuples(index=False)
    more = len(rejected) - _MOST_ROWS
    return (
        paragraph("Cells left out: they are no numbers", "dp-group")
        + table(rows, ["row of the file", "column", "what stands there"], words=(1, 2))
        + paragraph(f"and {more} more." if more > 0 else "", "dp-message")
    )
