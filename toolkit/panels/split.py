"""Why the power changed: the difference of a comparison shared among its causes."""

from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.analysis.breathing import cam_of
from toolkit.analysis.split import mean_shares, split
from toolkit.analysis.split_model import Tolerances
from toolkit.analysis.split_words import evidence_of, sentences, to_log
from toolkit.build import read_build
from toolkit.charts.split_picture import picture
from toolkit.panels.base import (
    UNITS,
    Chart,
    Choice,
    Quantity,
    Waiting,
    Workpanel,
    group,
    named,
    paragraph,
    said,
    table,
)
from toolkit.physics.cam import CAMS

AS_BUILT, UNKNOWN = "as in the build", "not known"
_TOLERANCES = {
    "p_manifold_pa": ("Boost", "boost"),
    "p_exhaust_pa": ("Back pressure", "boost"),
    "t_charge_k": ("Charge temperature", "temperature_difference"),
    "lam": ("Lambda", "lambda"),
    "spark_deg": ("Spark", "angle"),
    "torque_nm": ("Torque", "fraction"),
    "air_flow_kg_s": ("Air flow", "fraction"),
}


class SplitPanel(Workpanel):
    """The split of the comparison in a BackToBackPanel; it follows that panel."""

    def __init__(self, compared, build=None):
        """compared: a BackToBackPanel; build: a build file of its bench, else its first."""
        super().__init__()
        if isinstance(compared, Waiting):
            raise ValueError("the split looks into the comparison above, which is not open yet")
        self.compared, self._kept, self._builds, self._cams_of = compared, {}, {}, None
        builds = compared.bench.builds()
        if not builds:
            raise ValueError("this bench has no build: save one in the sizing worksheet first")
        self.build = Choice("Build", named(builds), build if build in builds else builds[0],
                            hint="displacement, stroke and cam")  # fmt: skip
        self.cam = Choice("Cam", [AS_BUILT, *CAMS, UNKNOWN])
        self.air = Choice("Logged air flow", [("used", True), ("left aside", False)],
                          hint="sharpens the breathing slope")  # fmt: skip
        self.cause = Choice("Band of", [("the largest", "")])
        default = Tolerances()
        self.tolerances = {
            name: Quantity(words, kind, getattr(default, name), low=0)
            for name, (words, kind) in _TOLERANCES.items()
        }
        self.sentences, self.numbers, self.cams = w.HTML(), w.HTML(), w.HTML()
        self.at = w.SelectionSlider(options=[("", 0)], readout=False,
                                    layout=w.Layout(width="300px"))  # fmt: skip
        self.at.observe(self.handler(lambda _: self._show_numbers()), "value")
        self.split = self._split()
        self.chart = Chart(self._picture())
        self.watch(self.build, self.cam, self.air, self.cause, *self.tolerances.values())
        compared.observe(self._changed, "told")
        self.compose(
            [
                group("Engine", self.build, self.cam, self.air),
                group("On the chart", self.cause),
                group("Sensors may be wrong by (95 %)", *self.tolerances.values()),
            ],
            [
                self.chart,
                said("What it says", "dp-group"), self.sentences,
                said("At one speed", "dp-group"), self.at, self.numbers,
                said("With another cam", "dp-group"), self.cams,
            ],
        )  # fmt: skip

    def redraw(self):
        """Split again; a failure leaves the last picture and says why."""
        self.split = self._split()
        causes = [("the largest", ""), *((c, c) for c in self.split.causes)]
        if tuple(causes) != tuple(self.cause.control.options):
            self.cause.control.options = causes
        self.chart.show(self._picture())
        low, high = self._range
        found = sentences(self.split, UNITS.system, low, high)
        rows = [(v.evidence, v.text) for v in found]
        rows += [("", text) for text in to_log(self.split)]
        self.sentences.value = table(rows, ("evidence", "sentence"), words=(0, 1))
        self._offer_speeds()
        self._show_numbers()
        self._show_cams()

    @property
    def _range(self):
        return self.compared.comparison.range_rpm

    def _split(self):
        """The split, kept for the last few settings: the cycle model takes a moment."""
        c, chosen, use = self.compared.comparison, self.cam.value, self.air.value
        key = id(c.a), id(c.b), self.build.value, chosen, use, self._tolerances()
        if key not in self._kept:
            build = self._read(self.build.value)
            cams = {AS_BUILT: cam_of(build.engine.valves), UNKNOWN: None, **CAMS}
            # The comparison stands beside its split, so that its ids are not given to others.
            found = split(c, build, cams[chosen], key[-1], use)
            self._kept = {**dict(list(self._kept.items())[-7:]), key: (found, c)}
        return self._kept[key][0]

    def _read(self, name):
        if name not in self._builds:
            self._builds[name] = read_build(self.compared.bench, name)
        return self._builds[name]

    def _tolerances(self):
        typed = {name: field.value for name, field in self.tolerances.items()}
        return replace(Tolerances(), **typed)

    def _picture(self):
        return picture(self.split, UNITS.system, *self._range, self.cause.value)

    def _offer_speeds(self):
        known = np.isfinite(self.split.share).all(axis=0)
        speeds = [(f"{x:.0f} rpm", k) for k, x in enumerate(self.split.speed_rpm) if known[k]]
        if tuple(speeds) != tuple(self.at.options):
            self.at.options = speeds
            self.at.value = speeds[int(0.85 * (len(speeds) - 1))][1]

    def _show_numbers(self):
        s, k = self.split, self.at.value
        low, high = self._range
        mean, mean_half = s.average(low, high)
        rows = [
            (cause, *self._cells(s.share[i, k], s.half_width[i, k]),
             *self._cells(mean[i], mean_half[i]),
             evidence_of(s, cause) if abs(mean[i]) > mean_half[i] else "cannot tell")
            for i, cause in enumerate(s.causes)
        ]  # fmt: skip
        total = units.shown([s.difference[k], float(mean.sum())], "torque", UNITS.system)
        rows.append(("measured", f"{total[0]:+.1f}", "", f"{total[1]:+.1f}", "", "measured"))
        unit = units.unit_of("torque", UNITS.system)
        head = (f"share of torque [{unit}]", f"at {s.speed_rpm[k]:.0f} rpm", "± 95 %",
                f"{low:.0f} to {high:.0f} rpm", "± 95 %", "evidence, over the range")  # fmt: skip
        self.numbers.value = table(rows, head, words=(0, 5))

    def _cells(self, share, half):
        share, half = units.shown([share, half], "torque", UNITS.system)
        return f"{share:+.1f}", f"{half:.1f}" if np.isfinite(half) else "unknown"

    def _show_cams(self):
        """How much of the gap back pressure can carry on other cams, by the cycle model alone."""
        c = self.compared.comparison
        asked = id(c.a), id(c.b), self.build.value, UNITS.system, *self._range
        if asked == self._cams_of:
            return
        rows, build = [], self._read(self.build.value)
        for name, cam in CAMS.items():
            share = mean_shares(c, build, cam, *self._range)
            if "pumping" not in share:
                self.cams.value = paragraph("Log exhaust manifold pressure to see this.")
                self._cams_of = asked
                return
            parts = share["pumping"], share["breathing"]
            both = float(sum(parts))
            cells = [units.shown(part, "torque", UNITS.system) for part in parts]
            rest = float(sum(share.values())) - both
            rows.append((f"{name}, {cam.overlap_deg:.0f}° of overlap",
                         *(f"{v:+.1f}" for v in cells),
                         f"{units.shown(both, 'torque', UNITS.system):+.1f}",
                         f"{units.shown(rest, 'torque', UNITS.system):+.1f}"))  # fmt: skip
        unit = units.unit_of("torque", UNITS.system)
        head = (f"if the cam were [{unit}, estimated]", "pumping", "breathing",
                "back pressure in all", "needs another cause")  # fmt: skip
        self.cams.value = table(rows, head) + paragraph(
            "A gain at equal boost is often put down to back pressure alone. What the last "
            "column holds needs another cause: boost, heat, mixture, spark, or one not logged."
        )
        self._cams_of = asked

    def close(self):
        """Stop following the comparison."""
        if self.comm is not None:  # a widget is closed again when it is forgotten
            self.compared.unobserve(self._changed, "told")
        super().close()
