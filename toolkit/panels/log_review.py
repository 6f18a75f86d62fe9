"""Log review: one log on the desk, and a panel for each step of believing it."""

import ipywidgets as w

from toolkit.logs.review import review_name
from toolkit.panels.base import UNITS, Workpanel, paragraph, verdict
from toolkit.panels.log_air import AirPanel
from toolkit.panels.log_channels import ChannelsPanel
from toolkit.panels.log_clocks import ClocksPanel
from toolkit.panels.log_curves import CurvesPanel
from toolkit.panels.log_desk import Desk
from toolkit.panels.log_open import OpenPanel
from toolkit.panels.log_pulls import PullsPanel
from toolkit.panels.log_session import SessionPanel
from toolkit.panels.log_signs import AnswersPanel, SignsPanel


class LogReview:
    """The panels of a review around one desk; a workbook shows each where its lesson stands."""

    def __init__(self, log=None, bench=None):
        self.desk = Desk(bench)
        self.open = OpenPanel(self.desk, log)
        self.channels = ChannelsPanel(self.desk)
        self.pulls = PullsPanel(self.desk)
        self.signs = SignsPanel(self.desk)
        self.answers = AnswersPanel(self.desk)
        self.clocks = ClocksPanel(self.desk)
        self.session = SessionPanel(self.desk)
        self.curves = CurvesPanel(self.desk)
        self.air = AirPanel(self.desk)
        self.save = SavePanel(self.desk)


class SavePanel(Workpanel):
    """Write the decisions beside the log; nothing is written before."""

    def __init__(self, desk):
        super().__init__()
        self.desk = desk
        self.button = w.Button(
            description="Save the review", button_style="primary", layout=w.Layout(width="190px")
        )
        self.button.on_click(self.handler(lambda _: desk.save(UNITS.system)))
        self.status = w.HTML()
        desk.observe(self._changed, "state")
        self.compose([], [self.button, self.status])

    def redraw(self):
        """Say whether something is not saved yet."""
        state = self.desk.state
        if state is None:
            self.status.value = paragraph("No log is open.")
            return
        name = review_name(state.run.name)
        there = self.desk.bench.file(name).exists()
        if self.desk.unsaved:
            words = f"There are decisions that are not saved yet. They will go to {name}."
        elif there:
            words = f"Everything that was decided is in {name}."
        else:
            words = f"Nothing was decided beyond the proposals. Saving writes them to {name}."
        self.status.value = verdict(words, "the log itself is never changed")
