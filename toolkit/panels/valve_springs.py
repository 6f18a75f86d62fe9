"""Valve springs: what pressure takes off the seat, and what the cam asks at speed."""

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.analysis.typed_rows import as_lines
from toolkit.analysis.valve_check import Clearances, ClosedValve, Train
from toolkit.charts import valve_picture
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Shown,
    Slide,
    TypedRows,
    Workpanel,
    group,
    paragraph,
    table,
    verdict,
)
from toolkit.physics import valvetrain
from toolkit.physics.cam import Lobe

_TABLE = ("angle", "length")
_WORST, _STROKES = "worst", "strokes"
_PSI = 6894.757293168361


def example_table(system):
    """An invented lobe's lift table to type over: 132 degrees of the cam, 9.6 mm at the valve."""
    angle = np.arange(-66.0, 67, 2)
    return as_lines((angle, Lobe(334, 598, 0.0096).at(466 + 2 * angle)), _TABLE, system)


def _text(value, kind, **more):
    return units.text(float(value), kind, UNITS.system, **more)


class ValveSpringPanel(Workpanel):
    """Springs, pressures and a cam in; seat load, contact at speed, clearances and surge out."""

    def __init__(self):
        super().__init__()
        self._make_springs()
        self._make_pressures()
        self._make_cam()
        self.speed = Slide("Engine speed", "engine_speed", 6700, 2000, 10000, 80)
        self.closed = self.contact = None
        self.closed, self.contact = Shown(), Shown()
        self.sheet, self.words = w.HTML(), w.HTML()
        self.table.control.observe(self._changed, "value")
        self.watch(
            self.seat, self.rate, self.height, self.solid, self.gap, self.surge, self.inner,
            self.inner_rate, self.bore, self.inner_outer, self.boost, self.back, self.cylinder,
            self.intake, self.exhaust, self.angles, self.ratio, self.written, self.mass,
            self.nose, self.speed,
        )  # fmt: skip
        self.compose(
            [
                group("Pressures", self.boost, self.back, self.cylinder, self.intake, self.exhaust),
                group("Spring, valve closed", self.seat, self.rate, self.height, self.solid,
                      self.gap, self.surge),
                group("Inner spring", self.inner, self.inner_rate, self.bore, self.inner_outer),
                group("Cam", self.table, self.angles, self.ratio, self.written, self.mass,
                      self.nose),
            ],
            [self.closed, self.speed, self.contact, self.sheet, self.words],
        )  # fmt: skip

    def _make_springs(self):
        self.seat = Quantity("Load installed", "force", 250.0, low=1, high=5e3)
        self.rate = Quantity("Rate", "spring_rate", 34e3, low=100, high=1e6)
        self.height = Quantity("Height installed", "length", 40.5e-3, low=5e-3, high=0.2)
        self.solid = Quantity("Solid height", "length", 24.4e-3, low=2e-3, high=0.2)
        self.gap = Quantity(
            "Retainer to seal", "length", 11.2e-3, low=0, high=0.1, optional=True,
            hint="valve closed; empty: not measured",
        )  # fmt: skip
        self.surge = Quantity(
            "Own frequency", "frequency", 509.0, low=10, high=5e3, optional=True,
            hint="from its wire, below; empty: not known",
        )  # fmt: skip
        self.inner = Quantity("Load installed", "force", None, low=0, high=5e3, optional=True)
        self.inner_rate = Quantity("Rate", "spring_rate", None, low=100, high=1e6, optional=True)
        self.bore = Quantity("Bore of the outer", "length", None, low=1e-3, high=0.1, optional=True)
        self.inner_outer = Quantity(
            "Outside of the inner", "length", None, low=1e-3, high=0.1, optional=True
        )

    def _make_pressures(self):
        self.boost = Quantity("Boost", "boost", 20 * _PSI, low=0, high=1e6)
        self.back = Quantity("Back pressure", "boost", 26.5 * _PSI, low=0, high=1e6)
        self.cylinder = Choice(
            "Cylinder side", [("worst: cell pressure", _WORST), ("as the strokes go", _STROKES)]
        )
        self.cylinder.layout.width, self.cylinder.control.layout.width = "330px", "172px"
        self.intake = Quantity("Intake head", "length", 0.033, low=5e-3, high=0.1)
        self.exhaust = Quantity("Exhaust head", "length", 0.0285, low=5e-3, high=0.1)

    def _make_cam(self):
        self.table = TypedRows(
            "Lift table", example_table(UNITS.system), lambda: _TABLE, "angle; lift, one a line"
        )
        self.table.layout.width, self.table.control.layout.width = "390px", "232px"
        self.angles = Choice("Angles are of the", [("cam", 1.0), ("crank", 0.5)])
        self.ratio = Quantity(
            "Rocker ratio", "ratio", 1.0, low=0.5, high=3, hint="1: the table is at the valve"
        )
        self.written = Quantity(
            "Lift written to", "length", None, low=0, high=1e-3, optional=True,
            hint="empty: the smallest step in the table",
        )  # fmt: skip
        self.mass = Quantity(
            "Moving mass",
            "small_mass",
            0.130,
            low=1e-3,
            high=3,
            hint="at the valve; spring a third",
        )
        self.nose = Quantity(
            "Nose acceleration", "acceleration", None, low=0, high=1e5, optional=True,
            hint="cam maker's, at this speed; beside the table",
        )  # fmt: skip

    # ---- what the fields say ----

    @property
    def springs(self):
        """Load on the seat [N] and rate [N/m] of both springs together."""
        if (self.inner.value is None) != (self.inner_rate.value is None):
            raise ValueError("the inner spring needs load and rate: type both, or neither")
        return (
            self.seat.value + (self.inner.value or 0.0),
            self.rate.value + (self.inner_rate.value or 0.0),
        )

    @property
    def valves(self):
        """Both closed valves under pressure."""
        seat, _ = self.springs
        worst = self.cylinder.value == _WORST
        inside = (0.0, 0.0) if worst else (self.back.value, self.boost.value)
        when = ("at cell pressure: the worst",) * 2
        if not worst:
            when = ("exhaust stroke: back pressure", "intake stroke: boost")
        return (
            ClosedValve("intake", self.intake.value, self.boost.value, inside[0], seat, when[0]),
            ClosedValve("exhaust", self.exhaust.value, self.back.value, inside[1], seat, when[1]),
        )

    @property
    def train(self):
        """The valve on its cam."""
        angle, lift = self.table.columns
        lift = lift * self.ratio.value
        steps = np.diff(np.unique(lift))
        written = self.written.value
        if written is None:
            written = steps.min() if steps.size else 0.0
        seat, rate = self.springs
        surge = np.nan if self.surge.value is None else self.surge.value
        return Train(
            angle * self.angles.value, lift, written, seat, rate, self.mass.value, surge_hz=surge
        )

    # ---- what is shown ----

    def redraw(self):
        """Work the sheet out again."""
        valves, train = self.valves, self.train
        self.closed.show(valve_picture.closed_valves(valves, UNITS.system))
        self.contact.show(valve_picture.contact(train, self.speed.value, UNITS.system))
        self.sheet.value = table(self._rows(valves, train), ("", "closed", "open", ""), (0, 3))
        self.words.value = "".join(self._sentences(valves, train))

    def _rows(self, valves, train):
        lift = float(train.lift_m.max())
        gap = np.nan if self.gap.value is None else self.gap.value
        room = Clearances(self.height.value, lift, self.solid.value, gap)
        opened = train.seat_load_n + train.rate_n_m * lift
        return [
            ("spring load", _text(train.seat_load_n, "force"), _text(opened, "force"), ""),
            (
                "spring height",
                _text(self.height.value, "length"),
                _text(self.height.value - lift, "length"),
                "",
            ),
            (
                "left to coil bind",
                _text(self.height.value - self.solid.value, "length"),
                _text(room.coil_bind_m, "length"),
                _room(room.coil_bind_m),
            ),
            (
                "retainer to seal",
                _text(room.retainer_gap_m, "length"),
                _text(room.retainer_m, "length"),
                _room(room.retainer_m),
            ),
            *(
                (f"seat load left, {v.name}", _text(v.left_n, "force"), "",
                 "pushed off its seat" if v.left_n < 0 else "")
                for v in valves
            ),
        ]  # fmt: skip

    def _sentences(self, valves, train):
        limit = float(train.limit_rpm)
        yield verdict(
            f"A stiff valve train stays on this cam to {_text(limit, 'engine_speed')}"
            if np.isfinite(limit)
            else "Nothing throws this valve off its cam",
            "worked out; bending and surge, which lower it, are not in it",
        )
        if np.isfinite(train.surge_hz):
            order = float(valvetrain.surge_order(train.surge_hz, self.speed.value))
            yield paragraph(
                f"At {_text(self.speed.value, 'engine_speed')} the spring's own frequency is "
                f"{order:.1f} times the cam's; above 13 is common practice."
            )
        if self.nose.value is not None:
            need = self.mass.value * self.nose.value
            have = train.seat_load_n + train.rate_n_m * float(train.lift_m.max())
            yield paragraph(
                f"The typed nose acceleration asks for {_text(need, 'force')} of the "
                f"{_text(have, 'force')} the spring has open."
            )
        if self.bore.value is not None and self.inner_outer.value is not None:
            yield paragraph(self._fit())
        yield paragraph(
            "Signs of a valve that does not follow: ragged torque at steady boost, high in the "
            "speed range. It looks like a turbo at its end and is not."
        )

    def _fit(self):
        gap = (self.bore.value - self.inner_outer.value) / 2
        if gap < 0:
            return (
                f"The inner spring is tight in the outer by {_text(-gap, 'length')} on each side: "
                "the rubbing damps surge, adds to the load pressing and takes from it returning, "
                "and wears; it is not in these sums."
            )
        return f"The inner spring has {_text(gap, 'length')} of room on each side in the outer."


def _room(clearance_m):
    if not np.isfinite(clearance_m):
        return "not measured"
    if clearance_m <= 0:
        return "they touch"
    return "less than 1 mm, common practice" if clearance_m < 1e-3 else ""
