"""The sizing sheet: engine and target, the compressor map, candidates side by side.

Panels on one `Sheet`; each keeps its own pictures and writes into the same build.
"""

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.analysis import sizing
from toolkit.analysis.typed_rows import as_lines
from toolkit.build import Curve
from toolkit.charts import sizing_pictures as pictures
from toolkit.explain.keepable import of_match
from toolkit.explain.kept import save_kept, sources_of
from toolkit.panels.base import (
    UNITS,
    Chart,
    Choice,
    Field,
    Quantity,
    Slide,
    TypedRows,
    group,
    named,
    paragraph,
    said,
    table,
    verdict,
)
from toolkit.panels.keep import KeepBox
from toolkit.panels.sizing_sheet import SheetPanel
from toolkit.physics.atmosphere import standard_pressure_pa

_BUILT, _TYPED, _RUN = "the build's own points", "typed points", "a run without boost"
_POINTS = ("engine_speed", "fraction")
VE_RANGE = 0.2, 1.6  # as in the build's file


class EnginePanel(SheetPanel):
    """The engine, the air it stands in and the power wanted: how much air, at which pressure."""

    def __init__(self, sheet):
        super().__init__(sheet)
        names = named(sheet.source.builds())
        borrowed = (
            ""
            if sheet.source is sheet.bench
            else ("invented, from the demo: this bench has no build yet; saving puts yours in it")
        )
        self.start = Choice("Start from", names, sheet.name, hint=borrowed)
        self.start.observe(self.handler(lambda c: self._load(c.new)), "value")
        target = self._make_target()
        engine = self._make_engine()
        self.chart = Chart(pictures.air_picture(sheet.made, sheet.chosen, UNITS.system))
        self.words = w.HTML()
        self.compose([target, *engine], [self.chart, self.words])

    def _make_target(self):
        self.boost = self.bind("Target boost", "target", "boost_gauge_pa")
        self.power = self.bind("Power wanted", "target", "power_w")
        self.wheel = self.choose(
            "Measured at", [("the crank", False), ("the wheels", True)], "target", "at_wheel"
        )
        self.loss = self.bind(
            "Loss in between", "target", "drivetrain_loss", hint="wheel = crank less this"
        )
        return group("Target", self.start, self.boost, self.power, self.wheel, self.loss)

    def _make_engine(self):
        bind = self.bind
        self.displacement = bind("Displacement", "engine", "displacement_m3")
        shapes = [_BUILT, *sizing.SHAPES, _RUN, _TYPED]
        logs = named(self.sheet.bench.logs())
        self.shape = Choice("Filling (VE)", shapes, _BUILT)
        self.run = Choice("Run", [("choose one", ""), *logs], "")
        self.points = TypedRows("Points", "", lambda: _POINTS, "speed; VE")
        for field in (self.shape, self.run, self.points):
            field.layout.width, field.control.layout.width = "350px", "192px"
            field.control.observe(self.handler(lambda _: self._fill()), "value")
        self.low, self.high = (
            Quantity(label, "engine_speed", sizing.found_at(self.sheet.build, path), 500, 20000)
            for label, path in (
                ("Lowest speed", ("engine", "speed_range_rpm", 0)),
                ("Highest speed", ("engine", "speed_range_rpm", 1)),
            )
        )
        for field in (self.low, self.high):
            field.observe(self.handler(lambda _: self._new_range()), "value")
        self.altitude = Quantity(
            "Altitude", "altitude", None, -400, 5000, optional=True,
            hint="typed: sets the pressure of the standard atmosphere",
        )  # fmt: skip
        self.altitude.observe(self.handler(lambda c: self._climb(c.new)), "value")
        return (
            group(
                "Engine", self.displacement,
                bind("Bore", "engine", "bore_m"), bind("Stroke", "engine", "stroke_m"),
                bind("Compression ratio", "engine", "compression_ratio"), self.low, self.high,
                self.shape, self.run, self.points,
            ),
            group(
                "Tune under boost",
                bind("Lambda", "engine", "lam", hint="empty: along speed, as in the build"),
                bind("Spark behind best", "engine", "spark_retard_deg"),
                bind("Exhaust gas", "engine", "t_exhaust_k",
                     hint="before the turbine; empty: as in the build"),
                bind("Indicated eff.", "engine", "indicated_efficiency"),
                bind("Breathing slope", "engine", "breathing_slope",
                     hint="d ln VE / d(p3/pi); empty: ideal cycle, a lower bound"),
            ),
            group(
                "Air of the cell", self.altitude,
                bind("Barometer", "weather", "p_cell_pa"),
                bind("Air temperature", "weather", "t_cell_k"),
                bind("Humidity", "weather", "humidity"),
            ),
            group(
                "In the way",
                bind("Filter drop", "restrictions", "intake", "drop_pa"),
                bind("at air flow", "restrictions", "intake", "flow_kg_s"),
                bind("Exhaust drop", "restrictions", "exhaust", "drop_pa"),
                bind("at gas flow", "restrictions", "exhaust", "flow_kg_s"),
            ),
        )  # fmt: skip

    def _load(self, name):
        """Start from another build, with its own filling and range."""
        self.sheet.load(name)
        self._own = self.sheet.build.engine.volumetric_efficiency
        self.shape.value = _BUILT
        self.low.value, self.high.value = self.sheet.build.engine.speed_range_rpm

    def _fill(self):
        """Volumetric efficiency by shape, from a run, by typed points, or as the build had it."""
        build = self.sheet.build
        if self.shape.value == _BUILT:
            curve = self._own
        elif self.shape.value == _TYPED:
            curve = self._typed_curve(build.engine.speed_range_rpm)
        elif self.shape.value == _RUN:
            if not self.run.value:
                self.redraw()
                return
            from toolkit.analysis.filling import filling_of_run  # logs are read only for this

            curve, words = filling_of_run(self.sheet.bench, self.run.value, build, UNITS.system)
            self.run.say(words)
        else:
            curve = sizing.shaped(self.shape.value, build.engine.speed_range_rpm)
        self.sheet.put(("engine", "volumetric_efficiency"), curve)
        self.redraw()

    def _typed_curve(self, limits):
        if not self.points.control.value.strip():
            self._offer_points()
        speed, ve = self.points.columns
        least, most = VE_RANGE
        if np.any((ve < least) | (ve > most)):
            odd = ve[(ve < least) | (ve > most)][0]
            raise ValueError(
                f"a filling of {odd:.1%} is not possible: {least:.0%} to {most:.0%}, like 95 %"
            )
        if len(speed) < 2 or np.any(np.diff(speed) <= 0):
            raise ValueError("the points of the filling need two or more rising speeds")
        if speed[0] > limits[0] or speed[-1] < limits[1]:
            raise ValueError(
                f"the points of the filling must reach from {limits[0]:.0f} to {limits[1]:.0f} rpm"
            )
        return Curve(tuple(ve.tolist()), tuple(speed.tolist()))

    def _offer_points(self):
        """The curve in force, as lines to type over."""
        curve = self.sheet.build.engine.volumetric_efficiency
        speeds = np.array(curve.speeds_rpm or self.sheet.build.engine.speed_range_rpm)
        self.points.control.value = as_lines((speeds, curve(speeds)), _POINTS, UNITS.system)

    def _new_range(self):
        low, high = self.low.value, self.high.value
        if low >= high:
            kept = self.sheet.build.engine.speed_range_rpm
            self.low.value, self.high.value = kept
            words = f"the lowest must be below the highest. Still used: {kept[0]:.0f} rpm"
            self.low.say(words, wrong=True)
            return
        if self.shape.value in sizing.SHAPES:
            curve = sizing.shaped(self.shape.value, (low, high))
            self.sheet.put(("engine", "volumetric_efficiency"), curve)
        self.sheet.put(("engine", "speed_range_rpm"), (low, high))

    def _climb(self, altitude):
        if altitude is not None:
            self.sheet.put(("weather", "p_cell_pa"), float(standard_pressure_pa(altitude)))

    def redraw(self):
        """Draw the air and say what the geometry gives."""
        sheet, e = self.sheet, self.sheet.build.engine
        if self.shape.value == _BUILT:
            self._own = e.volumetric_efficiency
        if self.altitude.value is not None and not np.isclose(
            standard_pressure_pa(self.altitude.value), self.sheet.build.weather.p_cell_pa
        ):
            self.altitude.value = None  # another barometer was typed or loaded
        self.points.layout.display = None if self.shape.value == _TYPED else "none"
        self.run.layout.display = None if self.shape.value == _RUN else "none"
        swept = np.pi / 4 * e.bore_m**2 * e.stroke_m * e.cylinders
        if abs(swept / e.displacement_m3 - 1) > 0.005:
            words = units.text(swept, "displacement", UNITS.system)
            self.displacement.say(f"bore, stroke and {e.cylinders} cylinders give {words}")
        else:
            self.displacement.say()
        self.chart.show(pictures.air_picture(sheet.made, sheet.chosen, UNITS.system))
        self.words.value = self._power_words()

    def _power_words(self):
        goal = self.sheet.build.target
        if goal.power_w is None:
            return paragraph("Type the power wanted to see the air it needs.", "dp-message")
        if not goal.at_wheel:
            return ""
        if goal.drivetrain_loss is None:
            return paragraph(
                "A power at the wheels needs the loss in between: type it.", "dp-wrong"
            )
        at_wheel, crank = (
            units.text(v, "power", UNITS.system) for v in (goal.power_w, goal.crank_power_w)
        )
        return verdict(
            f"{at_wheel} at the wheels with a loss of {goal.drivetrain_loss:.0%} is {crank} at "
            "the crank.", "estimated: the loss is what you typed",
        )  # fmt: skip


class MapPanel(SheetPanel):
    """One candidate: its parts, and the engine's line on its compressor map."""

    def __init__(self, sheet):
        super().__init__(sheet)
        names = [(t.name, j) for j, t in enumerate(sheet.build.turbos)]
        self.candidate = Choice("Candidate", names, sheet.chosen)
        self.candidate.observe(self.handler(lambda c: self._choose(c.new)), "value")
        maps = named(sheet.source.maps())
        psi = 6894.757293168361
        # More or less than the target: so it stands still when the target changes.
        self.more = Slide("Boost above target", "boost", 0.0, -10 * psi, 20 * psi, 60)
        self.more.observe(self.handler(lambda _: self._draw()), "value")
        self.chart = Chart(pictures.map_picture(sheet.made, sheet.chosen, UNITS.system))
        bind = self.bind
        self.compose(
            [
                group(
                    "Candidate", self.candidate,
                    self.choose("Compressor map", maps, "turbo", "compressor_map"),
                    bind("Turbine area", "turbo", "turbine_area_m2", hint="a turbine curve wins"),
                    bind("Turbine eff.", "turbo", "turbine_efficiency"),
                    bind("Speed limit", "turbo", "speed_limit_rpm"),
                    bind("Inertia", "turbo", "inertia_kg_m2"),
                ),
                self._gate(),
            ],
            [self.more, self.chart],
        )  # fmt: skip

    def _gate(self):
        bind = self.bind
        self.no_gate = said("A candidate without a gate is matched with a perfect one.")
        self.gate_fields = w.VBox(
            [
                bind(
                    "Spring", "turbo", "gate", "spring_gauge_pa", hint="boost that cracks it alone"
                ),
                bind("Valve area", "turbo", "gate", "valve_area_m2"),
                bind("Diaphragm area", "turbo", "gate", "diaphragm_area_m2"),
                bind("Spring rate", "turbo", "gate", "rate_n_m"),
                bind("Lift at its stop", "turbo", "gate", "max_lift_m"),
            ]
        )
        return group("Gate", self.no_gate, self.gate_fields)

    def _choose(self, number):
        self.sheet.chosen = number

    def _draw(self):
        """The target's line, or another boost for this candidate alone; the build keeps its own."""
        made, j = self.sheet.made, self.sheet.chosen
        if self.more.value:
            made, j = self.sheet.tried(self.more.value), 0
        self.chart.show(pictures.map_picture(made, j, UNITS.system))

    def redraw(self):
        """Draw the chosen candidate's line."""
        names = [(t.name, j) for j, t in enumerate(self.sheet.build.turbos)]
        if list(self.candidate.control.options) != names:
            self.candidate.control.options = names
        self.candidate.value = self.sheet.chosen
        gated = self.sheet.build.turbos[self.sheet.chosen].gate is not None
        self.gate_fields.layout.display = None if gated else "none"
        self.no_gate.layout.display = "none" if gated else None
        self._draw()


class CandidatesPanel(SheetPanel):
    """All candidates side by side, what each gives and costs, and the build saved."""

    def __init__(self, sheet):
        super().__init__(sheet)
        self.chart = Chart(pictures.candidates_picture(sheet.made, UNITS.system))
        self.words, self.numbers = w.HTML(), w.HTML()
        where = w.Text("builds/my sizing.toml", continuous_update=False)
        self.name = Field("Save as", where, "a new name, or an old one")
        self.name.control.layout.width = "232px"
        self.name.layout.width = "400px"
        self.save = w.Button(description="Save the build", button_style="primary")
        self.save.on_click(self.handler(lambda _: self._save()))
        self.keep = KeepBox(self, self._keep)
        self.compose(
            [],
            [self.chart, self.words, self.numbers, w.HBox([self.name, self.save]), self.keep],
        )

    def _save(self):
        name = self.name.control.value.strip()
        if not (name.startswith("builds/") and name.endswith(".toml")):
            raise ValueError("a build is saved as 'builds/' and a name that ends in '.toml'")
        self.sheet.save(name, UNITS.system)
        self.name.say(f"Saved as {name} in the bench.")

    def _keep(self, title):
        sheet = self.sheet
        maps = [t.compressor_map for t in sheet.build.turbos] if sheet.source is sheet.bench else []
        kept = of_match(sheet.made, UNITS.system, sources_of(sheet.bench, maps))
        return save_kept(sheet.bench, kept, title)

    def redraw(self):
        """Draw, list and say."""
        made, system = self.sheet.made, UNITS.system
        self.chart.show(pictures.candidates_picture(made, system))
        found = sizing.candidates(made)
        self.words.value = _GAP.join(
            verdict(sizing.sentence(one, found, system), "worked out from the match")
            for one in found
        )
        self.numbers.value = table([_row(one, system) for one in found], _HEADS)


_GAP = '<div style="height:8px"></div>'
_HEADS = (
    "candidate", "most power", "on target from", "boost at the top", "back pressure there",
    "gauge ratio", "absolute ratio", "least surge margin", "least choke margin",
    "shaft speed of limit",
)  # fmt: skip


def _row(one, system):
    def shown(value, kind):
        return units.text(value, kind, system)

    return (
        one.name, shown(one.power_w, "power"),
        shown(one.threshold_rpm, "engine_speed"), shown(one.boost_gauge_pa, "boost"),
        shown(one.back_gauge_pa, "boost"), shown(one.ratio_gauge, "ratio"),
        shown(one.ratio_absolute, "ratio"), _percent(one.surge_margin),
        _percent(one.choke_margin), _percent(one.speed_share),
    )  # fmt: skip


def _percent(share):
    return f"{share:.0%}" if np.isfinite(share) else "not known"
