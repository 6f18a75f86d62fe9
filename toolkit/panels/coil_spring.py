"""A coil spring from its wire, wire for a wanted rate, and a rate measured on a stand."""

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.analysis.typed_rows import as_lines
from toolkit.charts import coil_picture
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Shown,
    TypedRows,
    Workpanel,
    group,
    paragraph,
    table,
    verdict,
)
from toolkit.physics import springs
from toolkit.physics.springs import ENDS, CoilSpring, fit_rate
from toolkit.physics.wire import METRIC_WIRE_M, MUSIC_WIRE_M, WIRES

_SEATS = [
    ("two flat seats", 0.5),
    ("one on a pivot", 0.707),
    ("two pivots", 1.0),
    ("one end free", 2.0),
]


def _text(value, kind, **more):
    return units.text(float(value), kind, UNITS.system, **more)


def _widen(*choices):
    """Room for long words in a list."""
    for choice in choices:
        choice.layout.width, choice.control.layout.width = "330px", "172px"


class CoilPanel(Workpanel):
    """Wire, coil, turns and heights in; rate, loads, stress, surge and buckling out."""

    def __init__(self):
        super().__init__()
        self.wire = Quantity("Wire diameter", "length", 4.0e-3, low=1e-4, high=0.03)
        self.outer = Quantity("Outside diameter", "length", 30e-3, low=1e-3, high=0.3)
        self.turns = Quantity("Turns in all", "number", 6.1, low=1, high=60)
        self.free = Quantity("Free length", "length", 47.8e-3, low=2e-3, high=1.0)
        self.ends = Choice("Ends", list(ENDS), "squared and ground")
        self.material = Choice("Wire", list(WIRES), "chrome-silicon")
        self.modulus = Quantity(
            "Shear modulus", "modulus", None, low=1e10, high=1.2e11, optional=True,
            hint="empty: the table's for this wire",
        )  # fmt: skip
        self.closed = Quantity("Height installed", "length", 40.5e-3, low=1e-3, high=1.0)
        self.open = Quantity("Height pressed", "length", 30.9e-3, low=1e-3, high=1.0)
        self.seats = Choice("Standing on", _SEATS, 0.5)
        self.endurance = Quantity(
            "Pulsating endurance", "stress", None, low=1e7, high=2e9, optional=True,
            hint="shear, 0 to a maximum; empty: tested wire data",
        )  # fmt: skip
        _widen(self.ends, self.material, self.seats)
        self.heights, self.words = w.HTML(), w.HTML()
        self.chart = self.cut = None
        self.chart, self.cut = Shown(), Shown()
        self.watch(
            self.wire, self.outer, self.turns, self.free, self.ends, self.material, self.modulus,
            self.closed, self.open, self.seats, self.endurance,
        )  # fmt: skip
        self.compose(
            [
                group("Spring", self.wire, self.outer, self.turns, self.free, self.ends),
                group("Wire", self.material, self.modulus, self.endurance),
                group("In use", self.closed, self.open, self.seats),
            ],
            [self.cut, self.chart, self.heights, self.words],
        )

    @property
    def spring(self):
        """The spring that the fields describe."""
        mean = self.outer.value - self.wire.value
        if mean <= self.wire.value:
            raise ValueError("the outside diameter must be more than two wires: mend one of them")
        return CoilSpring(
            self.wire.value, mean, self.turns.value, self.free.value, self.ends.value,
            WIRES[self.material.value], self.modulus.value,
        )  # fmt: skip

    def redraw(self):
        """Work the spring out again."""
        spring = self.spring
        if not self.free.value > self.closed.value >= self.open.value:
            raise ValueError(
                "heights must fall from free to installed to pressed: mend one of them"
            )
        if spring.solid_m >= self.free.value:
            raise ValueError(
                f"this spring cannot be wound: pressed solid its coils are "
                f"{_text(float(spring.solid_m), 'length')} high, and free it is "
                f"{_text(self.free.value, 'length')}: take fewer turns, thinner wire or more height"
            )
        heights = {"installed": self.closed.value, "pressed": self.open.value}
        cut = {"free": self.free.value, **heights, "solid": float(spring.solid_m)}
        sketch = coil_picture.coil_sketch(spring, cut, UNITS.system)
        self.chart.show(coil_picture.coil(spring, heights, UNITS.system))
        self.cut.show(sketch)
        self.heights.value = table(
            [self._height_row(spring, words, h) for words, h in cut.items()],
            ("height", "", "load", "stress (Bergsträsser)", "stress (Wahl)", "of set limit",
             "clash"),
        )  # fmt: skip
        self.words.value = "".join(self._sentences(spring))

    def _height_row(self, spring, words, height):
        berg, wahl = (spring.stress_pa(height, f) for f in (springs.bergstrasser, springs.wahl))
        share = berg / spring.material.shear_yield_pa(spring.wire_m)
        clash = spring.clash(height) if height < spring.free_m else np.nan
        return (
            words, _text(height, "length"), _text(spring.force_n(height), "force"),
            _text(berg, "stress"), _text(wahl, "stress"), _text(share, "fraction", decimals=0),
            _text(clash, "fraction", decimals=0) if np.isfinite(clash) else "–",
        )  # fmt: skip

    def _sentences(self, spring):
        opened = self.open.value
        if opened < spring.solid_m:
            yield verdict("Pressed beyond solid: the coils bind before that height.", "worked out")
        bend, press = float(spring.buckling_m(self.seats.value)), self.free.value - opened
        yield paragraph(self._buckling(bend, press))
        yield paragraph(self._fatigue(spring))
        yield paragraph(
            f"Index {float(spring.index):.1f} (4 to 12 is usual); {spring.active_turns:g} working "
            f"turns; they weigh {_text(spring.active_mass_kg, 'small_mass')}; pressed solid the "
            f"coil is {_text(spring.solid_outer_m, 'length')} wide. Clash is what is left to "
            "solid over what is pressed: 15 % is usual."
        )

    def _buckling(self, bend, press):
        if np.isinf(bend):
            return "It does not buckle, standing free."
        what = "buckles" if press >= bend else "would buckle only"
        return (
            f"Standing free it {what} once pressed by {_text(bend, 'length')}; it is pressed by "
            f"{_text(press, 'length')}. A rod or a bore guides it."
        )

    def _fatigue(self, spring):
        low, high = (float(spring.stress_pa(h)) for h in (self.closed.value, self.open.value))
        tensile = float(spring.material.strength_pa(spring.wire_m))
        if not np.isfinite([low, high, tensile]).all():
            return "Fatigue: not known for this wire diameter or beyond solid."
        if self.endurance.value is not None:
            limit = spring.material.yield_share * tensile
            n = springs.soderberg_factor(low, high, limit, self.endurance.value)
            return f"Fatigue: factor {float(n):.2f} by yield and the endurance typed."
        n = springs.goodman_factor(low, high, 0.67 * tensile)
        peened = springs.goodman_factor(low, high, 0.67 * tensile, (398e6, 534e6))
        return (
            f"Fatigue for endless life: factor {float(n):.2f} as wound, {float(peened):.2f} shot "
            "peened (Goodman on Zimmerli's spring data, strength from the wire's table: estimated)."
        )


_COLUMNS = (
    "wire", "turns", "index", "free", "solid", "left to solid", "of set limit", "surge", "",
)  # fmt: skip


class WirePanel(Workpanel):
    """A wanted rate in a given space: which standard wires do it."""

    def __init__(self):
        super().__init__()
        self.rate = Quantity("Wanted rate", "spring_rate", 34e3, low=10, high=1e7)
        self.load = Quantity("Load installed", "force", 250.0, low=0, high=1e5)
        self.closed = Quantity("Height installed", "length", 40.5e-3, low=2e-3, high=1.0)
        self.stroke = Quantity("Pressed further by", "length", 9.6e-3, low=0, high=0.5)
        self.outer = Quantity("Outside diameter", "length", 30e-3, low=2e-3, high=0.3)
        self.ends = Choice("Ends", list(ENDS), "squared and ground")
        self.material = Choice("Wire", list(WIRES), "chrome-silicon")
        self.sizes = Choice("Sizes", [("metric", "metric"), ("music wire numbers", "inch")])
        _widen(self.ends, self.material, self.sizes)
        self.found = w.HTML()
        self.watch(
            self.rate, self.load, self.closed, self.stroke, self.outer, self.ends, self.material,
            self.sizes,
        )  # fmt: skip
        self.compose(
            [
                group("Wanted", self.rate, self.load, self.closed, self.stroke),
                group("Space and wire", self.outer, self.ends, self.material, self.sizes),
            ],
            [self.found],
        )

    @property
    def candidates(self):
        """Every standard wire that leaves a coil, as one CoilSpring of arrays."""
        sizes = METRIC_WIRE_M if self.sizes.value == "metric" else MUSIC_WIRE_M
        sizes = sizes[sizes < self.outer.value / 4]
        free = self.closed.value + self.load.value / self.rate.value
        return CoilSpring.for_rate(
            self.rate.value, sizes, self.outer.value - sizes, np.full(sizes.size, free),
            ends=self.ends.value, material=WIRES[self.material.value],
        )  # fmt: skip

    def redraw(self):
        """List the wires again, those that fit first."""
        made = self.candidates
        pressed = self.closed.value - self.stroke.value
        stress = made.stress_pa(np.maximum(pressed, made.solid_m))
        share = stress / made.material.shear_yield_pa(made.wire_m)
        room = pressed - made.solid_m
        fits = (room > 0) & (share < 1) & (made.active_turns >= 2)
        near = np.flatnonzero((made.active_turns >= 1) & (room > -self.closed.value))
        rows = [
            (
                _text(made.wire_m[i], "length"), f"{made.total_turns[i]:.2f}",
                f"{made.index[i]:.1f}", _text(made.free_m[i], "length"),
                _text(made.solid_m[i], "length"), _text(room[i], "length"),
                _text(share[i], "fraction", decimals=0) if room[i] > 0 else "–",
                _text(made.surge_hz[i], "frequency"),
                _why(room[i], share[i], made.active_turns[i]),
            )
            for i in near
        ]  # fmt: skip
        head = verdict(
            f"{int(fits.sum())} of {fits.size} standard wires give "
            f"{_text(self.rate.value, 'spring_rate')} in this space.",
            "worked out",
        )
        columns = (
            "wire",
            "turns",
            "index",
            "free",
            "solid",
            "left to solid",
            "of set limit",
            "surge",
        )
        self.found.value = head + table(rows, (*columns, ""), (8,))


def _why(room_m, share, turns):
    if room_m <= 0:
        return "binds"
    if not np.isfinite(share):
        return "no strength data"
    if share >= 1:
        return "takes a set"
    return "fits" if turns >= 2 else "too few turns"


_READINGS = {
    "force": (
        (np.array([0, 2, 4, 6, 8]) * 1e-3, np.array([162.0, 173, 181, 193, 201])),
        ("length", "force"),
        "travel; force, one a line",
    ),
    "crack": (
        (np.array([0, 1.25, 2.5]) * 1e-3, np.array([42.0e3, 43.6e3, 45.3e3])),
        ("length", "boost"),
        "rod shortened by; crack pressure",
    ),
}


class StandPanel(Workpanel):
    """Readings of a test stand in, spring rate and preload with their errors out."""

    def __init__(self):
        super().__init__()
        self.way = Choice(
            "Read on the stand",
            [("force against lift", "force"), ("crack pressure, preloads", "crack")],
        )
        example, kinds, hint = _READINGS["force"]
        self.readings = TypedRows(
            "Readings", as_lines(example, kinds, UNITS.system),
            lambda: _READINGS[self.way.value][1], hint, rows=7,
        )  # fmt: skip
        _widen(self.way)
        self.readings.layout.width, self.readings.control.layout.width = "390px", "232px"
        self.diaphragm = Quantity(
            "Diaphragm diameter", "length", 0.070, low=5e-3, high=0.3, hint="for crack pressures"
        )
        self.error = Quantity(
            "Error of a reading", "force", None, low=0.001, high=1e4, optional=True,
            hint="one standard deviation; empty: from the scatter",
        )  # fmt: skip
        self.chart, self.words = Shown(), w.HTML()
        self.readings.control.observe(self._changed, "value")
        self.way.observe(self._new_way, "value")
        self.watch(self.diaphragm, self.error)
        self.compose(
            [group("Test stand", self.way, self.readings, self.diaphragm, self.error)],
            [self.chart, self.words],
        )

    @property
    def rows(self):
        """Travel [m] and force [N] as typed."""
        travel, reading = self.readings.columns
        area = np.pi / 4 * self.diaphragm.value**2
        return travel, reading if self.way.value == "force" else reading * area

    def redraw(self):
        """Fit the line again."""
        travel, force = self.rows
        self.fit = fit_rate(travel, force, self.error.value)
        self.chart.show(coil_picture.stand(travel, force, self.fit, UNITS.system))
        rating = self.fit.preload_n / (np.pi / 4 * self.diaphragm.value**2)
        preload = _text(self.fit.preload_n, "force")
        error = _text(self.fit.preload_error_n, "force")
        self.words.value = verdict(
            f"Preload {preload} ± {error} at zero travel: under this diaphragm a rating of "
            f"{_text(rating, 'boost')}.",
            "measured, and a straight line worked out",
        )

    def _new_way(self, change):
        """Another kind of reading: an example of it to type over."""
        (travel, reading), kinds, hint = _READINGS[change.new]
        self.readings.hint = hint
        self.readings.say()
        self.readings.control.value = as_lines((travel, reading), kinds, UNITS.system)
