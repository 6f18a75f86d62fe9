"""On the road: the turbos of the fit above in one gear, who has the boost and who is ahead."""

import ipywidgets as w

from toolkit.analysis.road import cautions, own_sweeps, road, sentence, sweeps_sentence
from toolkit.build import VehicleParts
from toolkit.charts.road_picture import road_picture, rows
from toolkit.explain.keepable import of_road
from toolkit.explain.kept import save_kept, sources_of
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Shown,
    Waiting,
    Workpanel,
    group,
    offer,
    paragraph,
    table,
    verdict,
)
from toolkit.panels.keep import KeepBox
from toolkit.physics.air import density_kg_m3

# Where a build names no vehicle: a usual car of the trade, from memory.
USUAL = VehicleParts(1400.0, (3.5, 2.1, 1.4, 1.1, 0.9), 4.0, 0.31)
OTHER = "another"
HEAD = ("turbo", "boost there after", "at", "road speed then", "top of the range after")


class RoadPanel(Workpanel):
    """Open the throttle in one gear of a vehicle, with the fit and the change of a WhatIfPanel.

    road: what is drawn. What is set above is used when a person says so, for a pull takes a
    moment; until then, and where a pull cannot be worked out, the last one stands and is named.
    """

    def __init__(self, what_if, gear=4, from_rpm=3000.0):
        """gear: its number, from 1; the last one where the vehicle has fewer."""
        if isinstance(what_if, Waiting):
            raise ValueError("This needs the panel above: " + what_if.sentence)
        super().__init__()
        self.what_if, self.road = what_if, None
        self._wanted, self._drawn = what_if.asked(), None  # Asked; with the gear in words
        self._checked, self._filling = (None, ""), False
        self._heard = lambda _: self._say_what_is_set()  # not guarded: a message mends nothing
        self._make_fields(gear, from_rpm)
        self.take = w.Button(
            description="Use what is set above", button_style="primary",
            layout=w.Layout(width="284px"),
        )  # fmt: skip
        self.take.on_click(self.handler(lambda _: self.use()))
        self.state, self.answer, self.numbers, self.notes = w.HTML(), w.HTML(), w.HTML(), w.HTML()
        self.chart, self.keep = Shown(), KeepBox(self, self._keep)
        self.gear.observe(self.handler(self._to_ratio), "value")
        self.ratio.observe(self.handler(self._to_gear), "value")
        self.watch(*self._fields)
        what_if.observe(self._heard, "redrawn")
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
        v = self.vehicle = self._vehicle()
        gears = self._gears()
        first = gears[min(gear, len(v.gear_ratios)) - 1][1]
        self.mass = Quantity("Mass with driver", "vehicle_mass", v.mass_kg, 50, 60000)
        self.gear = Choice("Gear", gears, first)
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
        self._say_whose()

    def _vehicle(self):
        """The vehicle of the fit's builds, or a usual one."""
        fitted = self._wanted and self._wanted.fitted
        known = fitted and next((b.vehicle for b in fitted.builds if b.vehicle), None)
        return known or USUAL

    def _gears(self):
        return [*((_nth(k), r) for k, r in enumerate(self.vehicle.gear_ratios, 1)), (OTHER, None)]

    def _say_whose(self):
        usual = "a usual car's; yours: [vehicle] in the build's file"
        self.mass.hint = usual if self.vehicle is USUAL else ""
        self.mass.say()

    def _refill(self):
        """The fields of another build's vehicle; what a person typed stays."""
        old, self.vehicle = self.vehicle, self._vehicle()
        if old == self.vehicle:
            return
        place = old.gear_ratios.index(self.ratio.value) if self.ratio.value in old.gear_ratios \
            else None  # fmt: skip
        pairs = {self.mass: "mass_kg", self.final: "final_drive", self.tyre: "tyre_radius_m",
                 self.drag: "drag_area_m2"}  # fmt: skip
        self._filling = True
        try:
            for field, name in pairs.items():
                if field.value == getattr(old, name):
                    field.value = getattr(self.vehicle, name)
            offer(self.gear, self._gears())
            if place is not None:
                ratios = self.vehicle.gear_ratios
                self.ratio.value = ratios[min(place, len(ratios) - 1)]
            self._to_gear(None)
        finally:
            self._filling = False
        self._say_whose()

    def _changed(self, change):
        if not self._filling:
            super()._changed(change)

    def _to_ratio(self, change):
        if change.new is not None:
            self.ratio.value = change.new
        elif self.ratio.value in self.vehicle.gear_ratios:
            self._to_gear(None)
            self.ratio.say("type the ratio of the other gear here")

    def _to_gear(self, _change):
        ratio = self.ratio.value
        self.gear.value = ratio if ratio in self.vehicle.gear_ratios else None

    def use(self):
        """Take the change that is set above, and draw."""
        self._wanted = self.what_if.asked()
        self._refill()
        self.redraw()

    def _say_what_is_set(self):
        """What the page above has set, and whether that is what is drawn here."""
        above, drawn = self.what_if.asked(), self._drawn and self._drawn[0]
        self.take.disabled = above is None or (drawn is not None and drawn.same(above))
        if above is None:
            said = "Nothing is fitted yet: choose runs above and press Fit."
        elif drawn is None or drawn.same(above):
            said = f"{above.words(UNITS.system)}."
        elif drawn.change == above.change:
            said = f"{above.words(UNITS.system)}. The fit is new; drawn here is still the last one."
        else:
            words = (asked.words(UNITS.system) for asked in (above, drawn))
            said = "{}. Still drawn here: {}.".format(*words)
        self.state.value = paragraph(said)

    def redraw(self):
        """Pull and draw; a failure leaves the last picture and says why."""
        asked, gear = self._wanted, self._gear_words()
        self._say_what_is_set()
        if asked is None:
            return
        vehicle = self._in_gear(asked.change.weather)
        made = road(asked.fitted, asked.change, vehicle, self.start.value)
        self.chart.show(road_picture(made, gear, _asked_for(asked), UNITS.system))
        self.road, self._drawn = made, (asked, gear)
        self.answer.value = verdict(sentence(made, UNITS.system), EVIDENCE)
        self.numbers.value = table(rows(made, UNITS.system), HEAD, words=(0,))
        said = "".join(paragraph(text, "dp-wrong") for text in cautions(made))
        self.notes.value = said + "".join(map(paragraph, (self._check(asked), *made.notes)))
        self._say_what_is_set()

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
        ratio, gears = self.ratio.value, self.vehicle.gear_ratios
        if ratio in gears:
            return f"{_nth(gears.index(ratio) + 1)} gear ({ratio:.2f})"
        return f"a gear of {ratio:.2f}"

    def _check(self, asked):
        """The model against the runs' own sweeps, worked out once for a fit."""
        if self._checked[0] is not asked.fitted:
            found = own_sweeps(asked.fitted, asked.swept)
            self._checked = asked.fitted, sweeps_sentence(found)
        return self._checked[1]

    def _keep(self, title):
        """Save the pull that is drawn, with the files that its engine was fitted to."""
        if self.road is None:
            raise ValueError("fit runs first: there is no pull to save yet")
        asked, gear = self._drawn
        kept = of_road(
            self.road, gear, _asked_for(asked), self._check(asked), UNITS.system,
            sources_of(self.what_if.bench, asked.files),
        )  # fmt: skip
        return save_kept(self.what_if.bench, kept, title)

    def close(self):
        """Stop listening to the panel above."""
        if self.comm is not None:
            self.what_if.unobserve(self._heard, "redrawn")
        super().close()


def _nth(number):
    """A gear's number in words.

    >>> _nth(1), _nth(4), _nth(22)
    ('1st', '4th', '22nd')
    """
    last = 0 if 10 <= number % 100 < 20 else number % 10
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(last, 'th') }"


def _asked_for(asked):
    return asked.changes(UNITS.system) or "boost as the build states it"


EVIDENCE = (
    "worked out: the engine as fitted, rotors and volumes from the build. The exhaust manifold's "
    "iron takes no heat here, so a real car waits somewhat longer"
)
