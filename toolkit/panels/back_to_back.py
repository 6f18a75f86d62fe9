"""Two set-ups back to back: choose runs, see the difference with its band, read what it means."""

from dataclasses import replace
from pathlib import PurePosixPath

import ipywidgets as w
import numpy as np
import traitlets as t

from toolkit import preferences, units
from toolkit.analysis.compare import Settings, compare
from toolkit.analysis.finding import save_finding
from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.review_notes import notes_of
from toolkit.analysis.sides import opened, partner, short_names, side
from toolkit.analysis.verdict import verdicts
from toolkit.bench import Bench, short_name
from toolkit.charts.comparison import picture
from toolkit.logs.channels import channel_of
from toolkit.logs.signs.sensors import CLIPPED
from toolkit.panels.base import (
    UNITS,
    Chart,
    Choice,
    Quantity,
    RunList,
    Workpanel,
    group,
    paragraph,
    said,
    table,
)
from toolkit.panels.keep import KeepBox
from toolkit.physics.correction import STANDARDS

STEP_RPM = 100.0


class Runs(RunList):
    """The logs of one side and its name."""

    def __init__(self, title, colour_word, logs, chosen):
        super().__init__(f"{title} ({colour_word})", logs, chosen)
        self.title = title
        self.name = w.Text(continuous_update=False, layout=w.Layout(width="155px"))
        name = w.HBox([w.Label("Name on the chart", layout=w.Layout(width="125px")), self.name])
        self.children = (*self.children, name)


class BackToBackPanel(Workpanel):
    """Choose the runs of two set-ups; the picture, the sentences and the numbers follow.

    comparison: the one on the screen. told: the same, set when all is drawn: what looks further
    into it may take a moment longer.
    """

    told = t.Any()

    def __init__(self, bench=None, a=(), b=(), low_rpm=None, high_rpm=None):
        """a, b: logs to open on, where the bench has them; else its first and the first of other
        pulls. low_rpm, high_rpm: the range of averages to open on."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        logs = self.bench.logs()
        if not logs:
            raise ValueError(
                "this bench has no log yet: drop files into its runs folder, review them, and run "
                "this page again"
            )
        a, b = (tuple(n for n in names if n in logs) for names in (a, b))
        if not (a and b):  # a range was meant for the logs that are not here
            beside = partner(logs[0], logs)  # the other logger of the same pulls is no other side
            others = [n for n in logs if n not in (logs[0], beside)]
            a, b, low_rpm, high_rpm = logs[:1], others[:1] or logs[:1], None, None
        self._opened, self._signs, self._sides, self.comparison = {}, {}, {}, None
        self._notes = None, None, ()
        self.a = Runs("Base of the comparison", "blue", logs, a)
        self.b = Runs("Compared with it", "orange", logs, b)
        self.quantity = Choice("Show", [("torque", "torque_nm"), ("power", "power_w")])
        self.reference = Choice("Power and torque", [OBSERVED, *STANDARDS])
        self.smoothing = Choice(
            "Smoothing",
            [("none", 1), ("3 bins", 3), ("5 bins", 5), ("9 bins", 9)],
            hint="on the chart only",
        )
        self.with_notes = Choice("Notes of the review", [("shown", True), ("hidden", False)])
        self.low = Quantity("Averages from", "engine_speed", low_rpm, low=0, optional=True)
        self.high = Quantity(
            "to",
            "engine_speed",
            high_rpm,
            low=0,
            optional=True,
            hint="empty: all that every pull covers",
        )
        self.spark = Quantity("Spark may differ by", "angle", 1.0, low=0)
        self.lam = Quantity("Lambda may differ by", "lambda", 0.02, low=0)
        self.at = w.IntSlider(
            description="", continuous_update=True, readout=False, layout=w.Layout(width="300px")
        )
        self.at.observe(self.handler(lambda _: self._show_numbers()), "value")
        self.keep = KeepBox(self, self._save)
        self.sentences, self.numbers, self.notes = w.HTML(), w.HTML(), w.HTML()
        self.comparison = self._compared()
        self.chart = Chart(self._picture())
        for runs in (self.a, self.b):
            runs.observe(self._renamed, "value")
            runs.name.observe(self._changed, "value")
        self.watch(
            self.quantity, self.reference, self.smoothing, self.with_notes,
            self.low, self.high, self.spark, self.lam,
        )  # fmt: skip
        self.compose(
            [
                group("Runs", self.a, self.b),
                group("Chart", self.quantity, self.reference, self.smoothing, self.with_notes),
                group("Average over", self.low, self.high),
                group("Still one test if", self.spark, self.lam),
            ],
            [
                self.chart,
                said("What it says", "dp-group"), self.sentences,
                said("At one speed", "dp-group"), self.at, self.numbers, self.notes, self.keep,
            ],
        )  # fmt: skip

    def redraw(self):
        """Compare again; a failure leaves the last picture and says why."""
        self.comparison = self._compared()
        self.chart.show(self._picture())
        self.sentences.value = table(
            [(v.evidence, v.text) for v in verdicts(self.comparison, UNITS.system)],
            ("evidence", "sentence"), words=(0, 1),
        )  # fmt: skip
        said = (*(f"Note: {text}" for text in self.chart.picture.notes), *self._remarks())
        self.notes.value = "".join(paragraph(text) for text in said)
        speeds = self.comparison.speed_rpm
        step = int(speeds[1] - speeds[0])
        if (self.at.min, self.at.max) != (int(speeds[0]), int(speeds[-1])):
            with self.at.hold_trait_notifications():
                self.at.min, self.at.max, self.at.step = int(speeds[0]), int(speeds[-1]), step
                self.at.value = self._at_largest()
        self._show_numbers()
        self.told = self.comparison

    def _save(self, title):
        return save_finding(self.bench, self.comparison, UNITS.system, title)

    def _at_largest(self):
        """The speed of the largest clear difference, where the numbers are of interest."""
        gain = self.comparison.gains.get(self.quantity.value)
        lead = np.where(gain.clear, np.abs(gain.difference), 0) if gain is not None else [0]
        return int(self.comparison.speed_rpm[int(np.argmax(lead))])

    def _picture(self):
        return picture(self.comparison, UNITS.system, self.quantity.value, self._noted())

    def _noted(self):
        """The reviews' notes to show, read anew only for other runs."""
        c = self.comparison
        if not self.with_notes.value:
            return ()
        a, b, notes = self._notes
        if not (a is c.a and b is c.b):
            notes = notes_of(self.bench, c)
            self._notes = c.a, c.b, notes
        return notes

    def _compared(self):
        settings = Settings(
            low_rpm=self.low.value, high_rpm=self.high.value, spark_limit_deg=self.spark.value,
            lam_limit=self.lam.value, smoothing=self.smoothing.value,
        )  # fmt: skip
        sides = [
            self._side(name, runs.value, self.reference.value)
            for runs, name in zip((self.a, self.b), self._names(), strict=True)
        ]
        last = self.comparison
        if last and last.a is sides[0] and last.b is sides[1]:
            if settings == last.settings:
                return last  # what changed is only how it is shown
            if settings == replace(last.settings, smoothing=settings.smoothing):
                return replace(last, settings=settings)
        return compare(*sides, settings)

    def _side(self, *asked):
        if asked not in self._sides:
            name, logs, reference = asked
            found = side(name, [self._tested(log) for log in logs], reference, STEP_RPM)
            self._sides = {**dict(list(self._sides.items())[-5:]), asked: found}
        return self._sides[asked]

    def _names(self):
        """The names typed, else what differs between the set-ups."""
        for runs in (self.a, self.b):
            if not runs.value:
                raise ValueError(f"{runs.title}: choose at least one run")
        logs = [runs.value[0] for runs in (self.a, self.b)]
        setups = [self._tested(log).setup or PurePosixPath(log).stem for log in logs]
        typed = [runs.name.value.strip() for runs in (self.a, self.b)]
        names = [t or s for t, s in zip(typed, short_names(*setups), strict=True)]
        return names if names[0] != names[1] else [f"{names[0]} (base)", names[1]]

    def _tested(self, name):
        if name not in self._opened:
            self._opened[name] = opened(self.bench, name)
        return self._opened[name]

    def _signs_of(self, name):
        """What a log's signs forbid, and whether a sensor may be at its end, in sentences."""
        asked = name, UNITS.system
        if asked not in self._signs:
            tested, other = self._tested(name), self._tested(name).partner
            found = list(tested.signs(UNITS.system))
            if other is not None and tested.clock is None:
                own = tested.run.frame  # what both have is not taken from the partner
                found += [s for s in other.signs(UNITS.system) if s.channel not in own]
            self._signs[asked] = [
                f"{s.sentence} {s.todo.capitalize()}."
                for s in found
                if (s.told and s.forbids) or (not s.told and s.name == CLIPPED)
            ]
        return self._signs[asked]

    def _renamed(self, change):
        """Other runs of a side carry another name."""
        change.owner.name.value = ""
        self._changed(change)

    def _remarks(self):
        for name in (*self.a.value, *self.b.value):
            tested = self._tested(name)
            said = [*tested.remarks, *self._signs_of(name), *_joining(tested)]
            said += [f"{q.sentence} Answer it in Log review." for q in tested.run.questions]
            yield from (f"{short_name(name)}: {text}" for text in said)

    def _show_numbers(self):
        c, system = self.comparison, UNITS.system
        at = int(np.argmin(np.abs(c.speed_rpm - self.at.value)))
        rows = []
        for channel, gain in c.gains.items():
            kind = _kind(channel)
            cells = [gain.level_a[at], gain.level_b[at]]
            shown = [units.text(v, kind, system) for v in cells]
            factor = units.shown(1.0, kind, system) - units.shown(0.0, kind, system)
            places = units.decimals_of(kind, system)
            difference, half = gain.difference[at] * factor, gain.half_width[at] * factor
            band = f"± {half:.{places}f}" if np.isfinite(half) else "scatter unknown"
            change = f"{difference:+.{places}f}"
            change = change if float(change) else change.replace("-", "+")
            rows.append((channel_of(channel).words, *shown, change, band))
        head = (f"{c.speed_rpm[at]:.0f} rpm", c.a.name, c.b.name, "difference", "95 % band")
        self.numbers.value = table(rows, head)


def _joining(tested):
    """Where the channels that a log lacks come from, and how they were joined to it."""
    if tested.partner is None:
        return []
    how = "by speed: no clock is saved" if tested.clock is None else "by its saved clock"
    return [f"channels it lacks come from {short_name(tested.partner.run.name)}, joined {how}."]


def _kind(channel):
    return channel_of(channel).kind
