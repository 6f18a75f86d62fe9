"""What if: fit the model to runs, see what they told, change one thing, read what would follow."""

import threading
from dataclasses import dataclass, replace

import ipywidgets as w
import numpy as np
import traitlets as t

from toolkit import preferences, units
from toolkit.analysis.fit import Stopped, error_sentence, fit, rows
from toolkit.analysis.fit_points import points_of_side
from toolkit.analysis.sides import opened, side
from toolkit.analysis.trade import trade
from toolkit.analysis.whatif import Change, evidence, predict, sentence
from toolkit.bench import Bench, short_name
from toolkit.build import Weather, read_build
from toolkit.charts.what_if import picture, trade_picture
from toolkit.explain.keepable import of_what_if
from toolkit.explain.kept import save_kept, sources_of
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    RunList,
    Shown,
    Slide,
    Workpanel,
    group,
    named,
    paragraph,
    said,
    table,
    verdict,
)
from toolkit.panels.keep import KeepBox
from toolkit.physics.atmosphere import standard_pressure_pa
from toolkit.physics.fuel import FUELS

STEP_RPM = 100.0
_PRESS_FIT = "Press Fit to use the new choice."


class TurboRuns(RunList):
    """A turbo's build and the runs that were made with it."""

    def __init__(self, title, builds, logs, build, chosen, optional=False):
        names = named(builds)
        options = [("none", ""), *names] if optional else names
        super().__init__(title, logs, chosen)
        self.build = Choice("Build", options, build)
        self.children = (self.build, *self.children)


@dataclass(frozen=True, eq=False)
class Runs:
    """What a fit was made to: builds, FitPoints, (name, speed, torque) to draw, how each run was
    swept, the files, and remarks about them."""

    builds: tuple
    points: list
    drawn: tuple
    swept: tuple
    files: tuple
    remarks: tuple


@dataclass(frozen=True, eq=False)
class Asked:
    """A fit and what is changed about it, with what there is to say of both.

    turbo: its name. beside: (words before it, value, kind) of each other change that is a number.
    of: the Fit's runs.
    """

    fitted: object
    change: Change
    turbo: str
    beside: tuple
    of: object

    @property
    def swept(self):
        """The runs as analysis.road.own_sweeps takes them."""
        return self.of.swept

    @property
    def files(self):
        """What the fit came from."""
        return self.of.files

    def changes(self, system):
        """What is changed beside the size, in a few words; "" where nothing is."""
        said = [f"{w} {units.text(v, kind, system)}".strip() for w, v, kind in self.beside]
        return ", ".join([*said, *([self.change.fuel] if self.change.fuel else [])])

    def words(self, system):
        """The turbo and what is changed, for a headline."""
        changes = self.changes(system)
        return f"{self.turbo}, {changes}" if changes else self.turbo

    def same(self, other):
        """Whether both are one change of one fit."""
        return self.fitted is other.fitted and self.change == other.change


class WhatIfPanel(Workpanel):
    """Fit the engine to runs, then change one thing and see what it would do.

    redrawn: counts the predictions, for what is worked out from them below it.
    """

    redrawn = t.Int()

    def __init__(self, bench=None, first=(), second=(), builds=("", ""), boost_gauge_pa=None):
        """first, second: runs of each turbo; builds: the files of both; "" for no second."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self._known, self._stop, self.worker = {}, threading.Event(), None
        self.fitted = self.prediction = self.trade = self._traded = None
        self._runs = self._asked = None
        self._make_runs(first, second, builds)
        self._make_changes(boost_gauge_pa)
        self.chart, self.trade_chart = Shown(), Shown("The trade between the two")
        self.answer, self.unknowns, self.notes = w.HTML(), w.HTML(), w.HTML()
        self.keep = KeepBox(self, self._keep)
        with self.guarded():
            self.fit_now()
        trouble = self.trouble.value
        self.watch(*self._changes)
        self.compose(
            [
                group("First turbo", self.first),
                group("Second turbo, same engine", self.second),
                group("Fit", w.HBox([self.start, self.stop]), self.bar, self.state),
                group("What if", self.size, self.boost, self.spring, self.cooler, self.fuel,
                      self.altitude, self.t_cell, self.quantity),
                group("Small to large", self.held, self.show),
            ],
            [
                self.answer, self.chart, self.trade_chart,
                said("What the runs told", "dp-group"), self.unknowns, self.notes, self.keep,
            ],
        )  # fmt: skip
        self.trouble.value = trouble or self.trouble.value

    def _make_runs(self, first, second, builds):
        names, logs = self.bench.builds(), self.bench.logs()
        first, second = (tuple(n for n in some if n in logs) for some in (first, second))
        known = [b if b in names else "" for b in builds]
        self.first = TurboRuns("Its runs", names, logs, known[0] or (names or [None])[0], first)
        self.second = TurboRuns("Its runs", names, logs, known[1], second, optional=True)
        wide = w.Layout(width="135px")
        self.start = w.Button(description="Fit", button_style="primary", layout=wide)
        self.stop = w.Button(description="Stop", disabled=True, layout=wide)
        self.bar = w.FloatProgress(min=0, max=1, layout=w.Layout(width="280px", height="14px"))
        self.state = w.HTML()
        self.start.on_click(self.handler(lambda _: self._begin()))
        self.stop.on_click(self.handler(lambda _: self._stop.set()))
        for field in (self.first, self.second):
            field.observe(lambda _: self._say(_PRESS_FIT), "value")
            field.build.observe(lambda _: self._say(_PRESS_FIT), "value")

    def _make_changes(self, boost_gauge_pa):
        self.size = Slide("Size, first to second", "fraction", 0.0, 0.0, 1.0)
        self.boost = Quantity("Target boost", "boost", boost_gauge_pa, 5e3, 4e5, optional=True,
                              hint="gauge; empty: the build's own")  # fmt: skip
        self.spring = Quantity("Gate spring", "boost", None, 0, 3e5, optional=True,
                               hint="its rating; empty: as fitted")  # fmt: skip
        self.cooler = Quantity("Cooler effectiveness", "fraction", None, 0, 1, optional=True,
                               hint="empty: as fitted")  # fmt: skip
        fuels = [("as run", ""), *[(name, name) for name in FUELS]]
        self.fuel = Choice("Fuel", fuels, hint="spark and exhaust temperature stay as run")
        self.altitude = Quantity("Altitude", "altitude", None, -400, 5000, optional=True,
                                 hint="empty: the build's barometer")  # fmt: skip
        self.t_cell = Quantity("Air temperature", "temperature", None, 230, 325, optional=True,
                               hint="empty: the build's")  # fmt: skip
        self.quantity = Choice("Show", [("torque", "torque_nm"), ("power", "power_w")])
        self.held = Quantity("Throttle opened at", "engine_speed", 3500.0, low=500, high=15000)
        self.show = w.Button(description="Work out the trade", layout=w.Layout(width="280px"))
        self.show.on_click(self.handler(lambda _: self.show_trade()))
        self.held.observe(lambda _: self._drop_trade(), "value")
        self._changes = (self.size, self.boost, self.spring, self.cooler, self.fuel,
                         self.altitude, self.t_cell, self.quantity)  # fmt: skip

    def _begin(self):
        """Fit beside the page, so that it can be stopped."""
        if self.worker is not None and self.worker.is_alive():
            return
        self.worker = threading.Thread(target=self._work, daemon=True)
        self.worker.start()

    def _work(self):
        with self.guarded():
            self.fit_now()
            self.redraw()

    def fit_now(self):
        """Read the chosen runs and fit them; a stop or an error leaves the last fit."""
        self._stop.clear()
        self.start.disabled, self.stop.disabled = True, False
        try:
            chosen = self._chosen()
            runs = self._read(chosen)
            self.fitted = fit(runs.points, runs.builds, progress=self._progress)
            self._runs, self.trade = runs, None
            self.trade_chart.clear()
            self._say("" if chosen == self._chosen() else _PRESS_FIT)
        except Stopped:
            self._say("Stopped; the last fit stays.")
        finally:
            self.start.disabled, self.stop.disabled = False, True
            self.bar.value = 0.0

    def _progress(self, share):
        self.bar.value = 0.3 + 0.7 * share
        if self._stop.is_set():
            raise Stopped

    def _chosen(self):
        """(build, runs) of each turbo that has both."""
        sides = ((s.build.value, s.value) for s in (self.first, self.second))
        return tuple((build, runs) for build, runs in sides if build and runs)

    def _read(self, chosen):
        """The Runs of what is chosen."""
        if not (self.first.build.value and self.first.value):
            raise ValueError("First turbo: choose its build and at least one run to fit")
        builds, parts, drawn, swept = [], [], [], []
        runs = [(number, log) for number, (_, logs) in enumerate(chosen) for log in logs]
        for name, _ in chosen:
            builds.append(read_build(self.bench, name))
        for done, (number, log) in enumerate(runs):
            self._progress((done / len(runs) - 1) * 0.3 / 0.7)
            name, tested = self._tested(log)
            pulls = side(name, [tested], step_rpm=STEP_RPM)
            points = points_of_side(pulls, builds[number], number)
            parts.append(points)
            drawn.append((name, points.speed_rpm, points.torque_nm))
            rate = float(np.mean([r.sweep_rpm_s for r in pulls.repeats]))
            swept.append((name, number, points, rate))
        files = tuple(n for name, logs in chosen for n in (name, *logs))
        remarks = tuple(self._other_turbo(log, builds[n]) for n, log in runs)
        return Runs(
            tuple(builds), parts, tuple(drawn), tuple(swept), files, tuple(filter(None, remarks))
        )

    def _other_turbo(self, log, build):
        """A remark where the log names another turbo than the build that it is fitted with."""
        setup = self._known[log].setup.lower().split(",")[0].split()
        others = {short_name(n).removesuffix(".toml").lower() for n in self.bench.builds()}
        own = build.turbo.name.lower()
        if own in setup or not (named_there := others.intersection(setup) - {own}):
            return ""
        return (
            f"{short_name(log)} says '{named_there.pop()}', and its build is of "
            f"{build.turbo.name}: is it the right build?"
        )

    def _tested(self, log):
        """A run's short name and its opened log, read once."""
        if log not in self._known:
            self._known[log] = opened(self.bench, log)
        one = self._known[log]
        words = [part.split(maxsplit=1)[-1] for part in one.setup.split(", ")]
        return " ".join(words) or short_name(log), one

    def redraw(self):
        """Predict and draw; a failure leaves the last picture and says why."""
        if self.fitted is None:
            self._say("Choose runs that have back pressure and charge temperature, then press Fit.")
            return
        change = self.change()
        self.prediction = predict(self.fitted, change)
        self._asked, drawn = self._as_asked(change), self._runs.drawn
        self.answer.value = verdict(
            sentence(self.prediction, drawn, UNITS.system), evidence(self.prediction)
        )
        self.chart.show(
            picture(self.fitted, self.prediction, drawn, self._asked.words(UNITS.system),
                    UNITS.system, self.quantity.value)
        )  # fmt: skip
        head = ("unknown", "fitted", "95 % band", "prior", "told by")
        self.unknowns.value = table(rows(self.fitted, UNITS.system), head, words=(0, 4))
        remarks = (
            *self._runs.remarks, error_sentence(self.fitted, UNITS.system),
            *self.fitted.points.notes,
        )  # fmt: skip
        self.notes.value = "".join(paragraph(text) for text in remarks)
        if self.trade is not None and self._traded != replace(change, size=0.0):
            self._drop_trade()  # it was worked out for another change
        if self.trade is not None:
            self.trade_chart.show(trade_picture(self.trade, self.size.value, UNITS.system))
        self.redrawn += 1

    def change(self):
        """The Change that the fields ask for."""
        own = self.fitted.builds[0].weather
        altitude, t_cell = self.altitude.value, self.t_cell.value
        weather = Weather(
            own.p_cell_pa if altitude is None else float(standard_pressure_pa(altitude)),
            own.t_cell_k if t_cell is None else t_cell,
            own.humidity,
        )
        return Change(
            self.size.value, self.boost.value, self.spring.value, weather, self.cooler.value,
            self.fuel.value or None,
        )  # fmt: skip

    def asked(self):
        """What is predicted and drawn, as an Asked; None before anything is."""
        return self._asked

    def _as_asked(self, change):
        turbo = self.prediction.build.turbo.name
        named = (self.boost, self.spring, self.cooler, self.altitude, self.t_cell)
        beside = [("" if f is self.boost else f.label.lower(), f.value, f.kind)
                  for f in named if f.value is not None]  # fmt: skip
        return Asked(self.fitted, change, turbo[:1].upper() + turbo[1:], tuple(beside), self._runs)

    def _drop_trade(self):
        self.trade = None
        self.trade_chart.clear()

    def show_trade(self):
        """Work out the whole way from the first turbo to the second, and draw it."""
        if self.fitted is None:
            raise ValueError("fit runs of two turbos first: the trade lies between them")
        change = self.change()
        self.trade = trade(self.fitted, change, self.held.value)
        self._traded = replace(change, size=0.0)
        self.trade_chart.show(trade_picture(self.trade, self.size.value, UNITS.system))

    def _keep(self, title):
        """Save what is predicted, with the runs and builds that it was fitted to."""
        if self.prediction is None:
            raise ValueError("fit runs first: there is no prediction to save yet")
        asked = self._asked
        kept = of_what_if(
            asked.fitted, self.prediction, asked.of.drawn, asked.words(UNITS.system),
            asked.change, UNITS.system, self.quantity.value, sources_of(self.bench, asked.files),
        )  # fmt: skip
        return save_kept(self.bench, kept, title)

    def _say(self, text):
        self.state.value = paragraph(text) if text else ""

    def close(self):
        """Stop a fit that is still running."""
        self._stop.set()
        super().close()
