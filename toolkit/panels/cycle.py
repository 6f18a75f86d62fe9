"""What back pressure costs: move a cam angle and watch the overlap, the flow and the price."""

import ipywidgets as w

from toolkit import preferences
from toolkit.analysis import breathing
from toolkit.analysis.sides import opened, short_names, side
from toolkit.bench import Bench, short_name
from toolkit.build import read_build
from toolkit.charts.cycle_picture import picture
from toolkit.panels.base import (
    UNITS,
    Chart,
    Choice,
    Quantity,
    RunList,
    Slide,
    Workpanel,
    group,
    named,
    paragraph,
    swap,
    verdict,
)
from toolkit.physics.cam import CAMS, Cam, exhaust_lobe, intake_lobe

TYPED, UNKNOWN = "angles below", "not known"
_TIMING = [("the seat", 0.0), ("1 mm lift", 1e-3), ("0.050 in lift", 1.27e-3)]
_ANGLES = {
    "intake_opens": ("Intake opens BTDC", -40, 80),
    "intake_closes": ("Intake closes ABDC", -20, 100),
    "exhaust_opens": ("Exhaust opens BBDC", -20, 100),
    "exhaust_closes": ("Exhaust closes ATDC", -40, 80),
}


class CyclePanel(Workpanel):
    """An engine and its cam at one speed: lifts, flow both ways, pumping loop and the price."""

    def __init__(self, bench=None, build=None, logs=()):
        """build: a build file of the bench, else its first; logs: runs to place on the curve."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self._builds, self._levels, self._taking = {}, {}, False
        self._make_engine(build, logs)
        self._make_cam()
        self._make_state()
        self.story, self.notes = w.HTML(), w.HTML()
        self._take_cam()
        self.breath = self._computed()
        self.chart = Chart(picture(self.breath, UNITS.system))
        self.build.observe(self._new_build, "value")
        self.shape.observe(self._new_shape, "value")
        lifts = self.intake_lift, self.exhaust_lift
        for field in (*self.angles.values(), *lifts, self.timing, self.ramp):
            field.observe(self._moved, "value")
        self.watch(self.runs, self.speed, self.boost, self.ratio, self.t_charge)
        self._drawn_at = group("Drawn at", self.speed, self.boost, self.ratio, self.t_charge)
        self.compose(
            [
                group("Engine", self.build, self.runs),
                group("Cam", self.shape, self.timing, self.ramp, *self.angles.values(),
                      self.intake_lift, self.exhaust_lift),
                self._drawn_at,
            ],
            [self.chart, self.story, self.notes],
        )  # fmt: skip

    # ---- fields ----

    def _make_engine(self, build, logs):
        names = self.bench.builds()
        if not names:
            raise ValueError("this bench has no build: save one in the sizing worksheet first")
        short = named(names)
        self.build = Choice("Build", short, build if build in names else names[0])
        there = self.bench.logs()
        self.runs = RunList("Runs on the curve", there, logs, rows=5)

    def _make_cam(self):
        options = [TYPED, *CAMS, UNKNOWN]
        self.shape = Choice(
            "Cam", options, TYPED, hint="named shapes are invented; angles in crank degrees"
        )
        self.timing = Choice("Timing stated at", _TIMING, 0.0)
        self.ramp = Quantity(
            "Ramp up to that lift", "angle", None, low=1, high=120, optional=True,
            hint="from the seat; empty: a plain lobe's",
        )  # fmt: skip
        self.angles = {
            name: Slide(label, "angle", 0.0, low, high, high - low)
            for name, (label, low, high) in _ANGLES.items()
        }
        self.intake_lift = Quantity("Intake lift", "length", 0.010, low=2e-3, high=0.03)
        self.exhaust_lift = Quantity("Exhaust lift", "length", 0.010, low=2e-3, high=0.03)

    def _make_state(self):
        self.speed = self._speed_slide()
        psi = 6894.757293168361
        self.boost = Slide("Boost", "boost", 14 * psi, 0, 40 * psi)
        self.ratio = Slide("Back pressure / boost", "ratio", 1.2, 0.6, 2.0, 70)
        self.t_charge = Quantity("Charge temperature", "temperature", 318.15, low=240, high=450)

    def _speed_slide(self):
        """Over the speeds of the build, at the middle or where the last one stood."""
        low, high = self._engine().speed_range_rpm
        steps = max(1, round((high - low) / 100))
        last = getattr(self, "speed", None)
        start = low + (high - low) / steps * (steps // 2)
        if last is not None and low <= last.value <= high:
            start = last.value
        return Slide("Engine speed", "engine_speed", start, low, high, steps)

    # ---- what the fields say ----

    def _read(self):
        name = self.build.value
        if name not in self._builds:
            self._builds[name] = read_build(self.bench, name, load_maps=False)
        return self._builds[name]

    def _engine(self):
        return self._read().engine

    @property
    def cam(self):
        """The cam that the fields describe; None where it is said not to be known."""
        if self.shape.value == UNKNOWN:
            return None
        if self.shape.value in CAMS:
            return CAMS[self.shape.value]
        at = (self.timing.value, self.ramp.value)
        opens, closes, ex_opens, ex_closes = (self.angles[n].value for n in _ANGLES)
        return Cam(
            intake_lobe(opens, closes, self.intake_lift.value, *at),
            exhaust_lobe(ex_opens, ex_closes, self.exhaust_lift.value, *at),
        )

    def _computed(self):
        build = self._read()
        p_in = self.boost.value + build.weather.p_cell_pa
        point = breathing.operating_of(
            build, self.speed.value, p_in, p_in * self.ratio.value, self.t_charge.value
        )
        return breathing.breath(build, self.cam, point, self._placed())

    def _placed(self):
        """(name, levels) of the chosen runs."""
        for log in self.runs.value:
            if log not in self._levels:
                tested = opened(self.bench, log)
                name = tested.setup or short_name(log)
                self._levels[log] = (name, breathing.levels(side(name, [tested], step_rpm=100.0)))
        found = [self._levels[log] for log in self.runs.value]
        if len(found) == 2:
            names = short_names(found[0][0], found[1][0])
            return tuple((n, level) for n, (_, level) in zip(names, found, strict=True))
        return tuple(found)

    # ---- what is shown ----

    def redraw(self):
        """Run the cycles again and draw; a failure leaves the last picture and says why."""
        if self._taking:
            return
        self.breath = self._computed()
        self.chart.show(picture(self.breath, UNITS.system))
        self.story.value = verdict(
            breathing.story(self.breath, UNITS.system), "estimated, from the cycle model"
        )
        _, guessed = breathing.cylinder_of(self._engine())
        missing = " and ".join(guessed)
        words = f"The build does not give its {missing}: estimated from bore and stroke."
        self.notes.value = paragraph(words) if guessed else ""

    # ---- what a person does ----

    def _new_build(self, change):
        with self.guarded():
            self._take_cam()
            self.speed = self._speed_slide()
            heading, _, *others = self._drawn_at.children
            swap(self._drawn_at, [heading, self.speed, *others])
            self.watch(self.speed)
        self._changed(change)

    def _moved(self, change):
        """A hand on an angle, a lift or what they are stated at makes the cam a typed one."""
        if not self._taking and self.shape.value != TYPED:
            self._taking = True
            self.shape.value = TYPED
            self._taking = False
        self._changed(change)

    def _new_shape(self, change):
        """A described shape moves the angles to where it has them."""
        if self._taking:
            return
        if self.shape.value in CAMS:
            self._show_cam(self.shape.value)
        self._changed(change)

    def _take_cam(self):
        """The angles of the build's own cam; without one the cam is not known."""
        v = self._engine().valves
        if v is None:
            self.shape.value = UNKNOWN
            return
        angles = (
            v.intake_opens_deg,
            v.intake_closes_deg,
            v.exhaust_opens_deg,
            v.exhaust_closes_deg,
        )
        self._set(TYPED, v.timing_lift_m, angles, (v.intake_lift_m, v.exhaust_lift_m))

    def _show_cam(self, name):
        """The angles and lifts of a described shape."""
        cam = CAMS[name]
        top, bottom = 360.0, 180.0
        angles = (
            top - cam.intake.opens_deg,
            cam.intake.closes_deg - top - bottom,
            bottom - cam.exhaust.opens_deg,
            cam.exhaust.closes_deg - top,
        )
        self._set(name, 0.0, angles, (cam.intake.lift_m, cam.exhaust.lift_m))

    def _set(self, shape, timing, angles, lifts):
        """Fill the cam's fields without a redraw at each."""
        self._taking = True
        # A lift that is not listed joins the list: the angles hold there and nowhere else.
        near = [lift for _, lift in _TIMING if abs(lift - timing) < 1e-6]
        timing = near[0] if near else timing
        own = [] if near else [(f"{timing * 1e3:.3g} mm lift", timing)]
        try:
            self.timing.control.options = [*_TIMING, *own]
            self.shape.value, self.timing.value, self.ramp.value = shape, timing, None
            for slide, angle in zip(self.angles.values(), angles, strict=True):
                slide.value = angle
            self.intake_lift.value, self.exhaust_lift.value = lifts
        finally:
            self._taking = False
