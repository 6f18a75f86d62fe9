"""The first panel: which bench, which units, what is in it."""

from pathlib import Path

import ipywidgets as w

from toolkit import preferences
from toolkit.bench import Bench, BenchError
from toolkit.panels.base import Field, Workpanel, group, paragraph, table

PARTS = ("runs", "builds", "maps")


class StartPanel(Workpanel):
    """Choose the bench folder and the units; see what the bench holds."""

    def __init__(self):
        super().__init__()
        self.folder = Field(
            "Bench folder", w.Text(preferences.load().bench, continuous_update=False)
        )
        self.folder.layout.width = "760px"
        self.folder.control.layout.width = "560px"
        self.use = w.Button(description="Use this folder", button_style="primary")
        self.make = w.Button(description="Make a new bench here")
        self.demo = w.Button(description="Back to the demo bench")
        for button in (self.use, self.make, self.demo):
            button.layout.width = "190px"
        self.use.on_click(self.handler(lambda _: self._choose(self.folder.control.value)))
        self.make.on_click(self.handler(lambda _: self._make(self.folder.control.value)))
        self.demo.on_click(self.handler(lambda _: self._choose(preferences.DEMO_BENCH)))
        self.holds = w.HTML()
        buttons = w.HBox([self.use, self.make, self.demo])
        self.compose(
            [],
            [
                group("Where your files are", self.folder, buttons),
                group("What is in it"),
                self.holds,
            ],
        )

    def _choose(self, folder):
        bench = Bench(folder)
        preferences.save(bench=str(bench.folder))
        self.folder.control.value = str(bench.folder)
        self.redraw()

    def _make(self, folder):
        path = Path(folder).expanduser()
        if path.is_file():
            raise BenchError(f"'{path}' is a file: type the name of a folder")
        if path.exists() and any(path.iterdir()):
            raise BenchError(
                f"'{path}' exists and is not empty: choose 'Use this folder' to use "
                "it as it is, or type a new name"
            )
        try:
            for part in PARTS:
                (path / part).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BenchError(
                f"'{path}' cannot be made ({error.strerror.lower()}): type another place"
            ) from None
        self._choose(path)

    def redraw(self):
        """Show what the bench in force holds."""
        bench = Bench(preferences.load().bench)
        logs = bench.logs()
        reviewed = [
            n
            for n in logs
            if bench.file(n + ".review.toml").exists()
            or bench.file(str(Path(n).with_suffix(".review.toml"))).exists()
        ]
        rows = [
            ("Logs, as the bench wrote them", "runs/", len(logs)),
            ("of which reviewed", "runs/*.review.toml", len(reviewed)),
            ("Engine builds", "builds/", len(bench.builds())),
            ("Compressor maps and turbine curves", "maps/", len(bench.maps())),
            ("Findings to publish", "explain/", len(bench.findings())),
        ]
        # The file browser shows what lies under the folder that is served, and nothing else.
        seen = bench.folder.is_relative_to(preferences.DEMO_BENCH.parent)
        how = (
            "open the file browser at the left edge and drag them in."
            if seen
            else "copy them there as you copy any file."
        )
        hint = f"Drop your log files into its runs/ folder: {how}"
        kind = (
            "This is the demo bench: an invented college team's engine, made for these "
            "workbooks. No number in it is a real engine's."
            if bench.folder == preferences.DEMO_BENCH
            else f"Bench: {bench.folder}"
        )
        self.holds.value = paragraph(kind) + table(rows, ["", "in", "files"], words=(0, 1))
        if not logs:
            self.holds.value += "<br>" + paragraph(hint)
