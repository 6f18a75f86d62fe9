"""On the road: the turbos of the fit above in one gear, who has the boost and who is ahead."""

import ipywidgets as w

from toolkit.analysis.road import grip_sentence, own_sweeps, road, sentence, sweeps_sentence
from toolkit.build import VehicleParts
from toolkit.charts.road_picture import road_picture, rows
from toolkit.explain.keepable import of_road
from toolkit.explain.kept import save_kept
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Shown,
    Waiting,
    Workpanel,
    group,
    paragraph,
    table,
    verdict,
)
from toolkit.panels.keep import KeepBox
from toolkit.physics.air import density_kg_m3

# Where a build names no vehicle: a usual car of the trade, from memory.
USUAL = VehicleParts(1400.0, (3.5, 2.1, 1.4, 1.1, 0.9), 4.0, 0.31)
OTHER = "another"
ORDINALS = ("1st", "2nd", "3rd", *(f"{n}th" for n in range(4, 21)))
HEAD = ("turbo", "boost there after", "at", "road speed then", "top of the range after")


class RoadPanel(Workpanel):
    """Open the throttle in one gear of a vehicle, with the fit and the change of a WhatIfPanel."""

    def __init__(self, what_if, gear=4, from_rpm=3000.0):
        """gear: its number, from 1; the last one where the vehicle has fewer."""
        if isinstance(what_if, Waiting):
            raise ValueError("This needs the panel above: " + what_if.sentence)
        super().__init__()
        self.what_if, self.road, self._asked, self._checked = what_if, None, None, (None, "")
        self._make_fields(gear, from_rpm)
        self.take = w.Button(
            description="Use what is set above", button_style="primary",
            layout=w.Layout(width="280px"),
        )  # fmt: skip
        self.take.on_click(self.handler(lambda _: self.use()))
        self.state, self.answer, self.numbers, self.notes = w.HTML(), w.HTML(), w.HTML(), w.HTML()
        self.chart, self.keep = Shown(), KeepBox(self, self._keep)
        self.gear.observe(self.handler(self._to_ratio), "value")
        self.ratio.observe(self.handler(self._to_gear), "value")
        self.watch(*self._fields)
        self._heard = self.handler(lambda _: self._say_what_is_set())
        what_if.observe(self._heard, "redrawn")
        self._take()
        self.compose(
            [
                group("Set above", self.state, self.take),
                group("Vehicle", self.mass, self.gear, self.ratio, self.final, self.tyre,
                      self.drag),
                group("Road", self.start, self.slope),
            ],
            [self.answer, self.chart, self.numbers, self.notes, self.keep],
        )  # fmt: skip

    def _make_fields(self, gear, from_rpm):
        fitted = self.what_if.fitted
        known = fitted and next((b.vehicle for b in fitted.builds if b.vehicle), None)
        v = self.vehicle = known or USUAL
        source = "" if known else "a usual car's; yours: [vehicle] in the build's file"
        self.mass = Quantity("Mass with driver", "vehicle_mass", v.mass_kg, 50, 60000, source)
        gears = [(ORDINALS[k], ratio) for k, ratio in enumerate(v.gear_ratios)]
        first = gears[min(gear, len(gears)) - 1][1]
        self.gear = Choice("Gear", [*gears, (OTHER, None)], first)
        self.ratio = Quantity("Gear ratio", "ratio", first, 0.1, 20)
        self.final = Quantity("Final drive", "ratio", v.final_drive, 0.3, 20)
        self.tyre = Quantity("Tyre radius", "length", v.tyre_radius_m, 0.1, 1.2,
                             hint="rolling, under load")  # fmt: skip
        self.drag = Quantity("Drag area", "drag_area", v.drag_area_m2, 0, 20,
                             hint="drag coefficient times frontal area")  # fmt: skip
        self.start = Quantity("Pull from", "engine_speed", from_rpm, 500, 15000,
                              hint="from light cruise")  # fmt: skip
        self.slope = Quantity("Slope", "grade", 0.0, -0.3, 0.3, hint="uphill above zero")
        # A gear moves its ratio, and that draws.
        self._fields = (self.mass, self.ratio, self.final, self.tyre, self.drag, self.start,
                        self.slope)  # fmt: skip

    def _to_ratio(self, change):
        if change.new is not None:
            self.ratio.value = change.new

    def _to_gear(self, change):
        self.gear.value = change.new if change.new in self.vehicle.gear_ratios else None

    def use(self):
        """Take the change that is set above, and draw."""
        self._take()
        self.redraw()

    def _take(self):
        above = self.what_if
        self._asked = None
        if above.prediction is not None:
            asked = ", ".join(above.asked()) or "boost as the build states it"
            self._asked = above.fitted, above.change(), above.what(), asked
        self._say_what_is_set()

    def _say_what_is_set(self):
        """What the page above has set, and whether that is what is drawn here."""
        above = self.what_if
        if above.prediction is None:
            self.state.value = paragraph("Nothing is fitted yet: choose runs above and press Fit.")
            return
        fitted, change, words, _ = self._asked or (None, None, "nothing", "")
        same = fitted is above.fitted and change == above.change()
        used = "" if same else f" Still used here: {words}."
        self.state.value = paragraph(f"{above.what()}.{used}")
        self.take.disabled = same

    def redraw(self):
        """Pull and draw; a failure leaves the last picture and says why."""
        if self._asked is None:
            return
        fitted, change, _, asked = self._asked
        self.road = road(fitted, change, self._in_gear(change.weather), self.start.value)
        self.answer.value = verdict(sentence(self.road, UNITS.system), EVIDENCE)
        self.chart.show(road_picture(self.road, self._gear_words(), asked, UNITS.system))
        self.numbers.value = table(rows(self.road, UNITS.system), HEAD, words=(0,))
        said = (grip_sentence(self.road), self._check(fitted), *self.road.notes)
        self.notes.value = "".join(paragraph(text) for text in said if text)

    def _in_gear(self, weather):
        """The physics.response.Vehicle that the fields describe, in this weather."""
        asked = {
            "mass_kg": self.mass.value, "final_drive": self.final.value,
            "tyre_radius_m": self.tyre.value, "drag_area_m2": self.drag.value,
        }  # fmt: skip
        air = density_kg_m3(weather.p_cell_pa, weather.t_cell_k, weather.humidity)
        parts = VehicleParts(**vars(self.vehicle) | asked)
        return parts.in_gear(self.ratio.value, air_density_kg_m3=float(air), grade=self.slope.value)

    def _gear_words(self):
        ratio = f"{self.ratio.value:.2f}"
        gears = self.vehicle.gear_ratios
        if self.ratio.value in gears:
            return f"{ORDINALS[gears.index(self.ratio.value)]} gear ({ratio})"
        return f"a gear of {ratio}"

    def _check(self, fitted):
        """The model against the runs' own sweeps, worked out once for a fit."""
        if self._checked[0] is not fitted:
            self._checked = fitted, sweeps_sentence(own_sweeps(fitted, self.what_if.swept))
        return self._checked[1]

    def _keep(self, title):
        """Save the pull, with the runs and builds that its engine was fitted to."""
        if self.road is None:
            raise ValueError("fit runs first: there is no pull to save yet")
        kept = of_road(
            self.road, self._gear_words(), self._asked[3], self._checked[1], UNITS.system,
            self.what_if.sources(),
        )  # fmt: skip
        return save_kept(self.what_if.bench, kept, title)

    def close(self):
        """Stop listening to the panel above."""
        if self.comm is not None:
            self.what_if.unobserve(self._heard, "redrawn")
        super().close()


EVIDENCE = (
    "worked out: the engine as fitted, rotors and volumes from the build. The exhaust manifold's "
    "iron takes no heat here, so a real car waits somewhat longer"
)
