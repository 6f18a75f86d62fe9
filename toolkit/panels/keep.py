"""The place in a panel where what it shows is saved as a finding, for the explainer to publish."""

import ipywidgets as w

from toolkit.panels.base import paragraph, said


class KeepBox(w.VBox):
    """A headline, a button, and what was saved.

    panel: whose `handler` shows what goes wrong. save(title): saves what the panel shows and
    returns it; it has a `slug`.
    """

    def __init__(self, panel, save):
        self._save = save
        self.title = w.Text(
            placeholder="headline; empty: the one above",
            continuous_update=False,
            layout=w.Layout(width="430px"),
        )
        self.save = w.Button(
            description="Save as a finding", button_style="primary", layout=w.Layout(width="190px")
        )
        self.save.on_click(panel.handler(lambda _: self._keep()))
        self.saved = w.HTML()
        super().__init__(
            [said("Worth telling?", "dp-group"), w.HBox([self.title, self.save]), self.saved]
        )

    def _keep(self):
        slug = self._save(self.title.value).slug
        self.saved.value = paragraph(
            f"Saved in explain/{slug}/: the numbers, and the files they come from. The explainer "
            "can publish it."
        )
