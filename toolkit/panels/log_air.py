"""The air of a run, and what every correction makes of its power."""

from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.logs.corrected import INSIDE, OUTSIDE, caveats, corrections
from toolkit.logs.review import OBSERVED
from toolkit.logs.weather import KINDS, MEASURED_AT, Weather
from toolkit.panels.base import UNITS, Choice, Quantity, Workpanel, group, paragraph, table, verdict
from toolkit.panels.log_desk import COMPRESSION, IGNITION
from toolkit.physics.correction import STANDARDS

_BAROMETERS = [
    ("on the spot", "barometer"),
    ("at sea level", "barometer_sea_level"),
]
_READ_AS = {
    "barometer": "as the instrument beside the engine shows it",
    "barometer_sea_level": "a weather report's figure is what the barometer would read at the "
    "sea; with the altitude of the dyno it becomes the air the engine breathes",
}
_MOISTURES = [("humidity", "humidity"), ("dew point", "dew_point"), ("wet bulb", "wet_bulb")]
_DECIMALS = {"barometer": 3, "barometer_sea_level": 3}


class AirPanel(Workpanel):
    """State the air; see the observed power first, then what each standard makes of it."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self._quiet = desk, False
        self.barometer_is = Choice("Barometer read", _BAROMETERS)
        self.moisture_is = Choice("Moisture as", _MOISTURES)
        self.fields = {
            "barometer": Quantity("Barometer", "barometer", None, low=0, optional=True),
            "altitude": Quantity("Altitude", "altitude", None, optional=True),
            "temperature": Quantity("Air temperature", "temperature", None, low=0, optional=True),
            "humidity": Quantity("Humidity", "fraction", None, low=0, high=1, optional=True),
            "dew_point": Quantity("Dew point", "temperature", None, low=0, optional=True),
            "wet_bulb": Quantity("Wet bulb", "temperature", None, low=0, optional=True),
        }
        self.where = w.Text(placeholder="where it was measured", continuous_update=False,
                            layout=w.Layout(width="284px"))  # fmt: skip
        self.reference = Choice("Power in the log", [OBSERVED, *STANDARDS])
        self.diesel = Choice("Ignition by", [("spark", False), ("compression", True)])
        self.air, self.list, self.caveats = w.HTML(), w.HTML(), w.HTML()
        for field in (self.barometer_is, self.moisture_is, *self.fields.values()):
            field.observe(self.handler(lambda _: self._state_air()), "value")
        self.where.observe(self.handler(lambda _: self._state_air()), "value")
        self.reference.observe(self.handler(lambda _: self._refer()), "value")
        self.diesel.observe(self.handler(lambda _: self._refer()), "value")
        desk.observe(self._changed, "state")
        self.compose(
            [
                group(
                    "Air of the cell, where you know better than the log",
                    self.barometer_is, *list(self.fields.values())[:3],
                    self.moisture_is, *list(self.fields.values())[3:], self.where,
                ),
                group("Power and engine", self.reference, self.diesel),
            ],
            [self.air, self.list, self.caveats],
        )  # fmt: skip

    # ---- from the fields to the review ----

    def _state_air(self):
        self._show_moisture()
        if self._quiet or self.desk.state is None:
            return
        strings = {}
        for key, field in self.fields.items():
            if field.value is None or (
                key in dict(_MOISTURES).values() and key != self.moisture_is.value
            ):
                continue
            name = self.barometer_is.value if key == "barometer" else key
            strings[name] = units.text(
                field.value, KINDS[name], UNITS.system, _DECIMALS.get(name, 2)
            )
        if self.where.value.strip():
            strings[MEASURED_AT] = self.where.value.strip()
        Weather.from_strings(strings)  # says what is wrong before anything is decided
        self.desk.decide(replace(self.desk.state.run.review, weather=strings))

    def _refer(self):
        state = self.desk.state
        if self._quiet or state is None:
            return
        review = state.run.review
        test = {k: v for k, v in review.test.items() if k != IGNITION}
        if self.diesel.value:
            test[IGNITION] = COMPRESSION
        reference = self.reference.value
        self.desk.decide(replace(review, test=test, power_reference=reference))

    def _show_moisture(self):
        for key in dict(_MOISTURES).values():
            self.fields[key].layout.display = None if key == self.moisture_is.value else "none"
        self.barometer_is.say(_READ_AS[self.barometer_is.value])
        sea_level = self.barometer_is.value == "barometer_sea_level"
        self.fields["altitude"].layout.display = None if sea_level else "none"

    # ---- from the review to the fields ----

    def _fill(self, state):
        self._quiet = True
        try:
            self._fill_fields(state)
        finally:
            self._quiet = False
        self._show_moisture()

    def _fill_fields(self, state):
        stated = state.run.review.weather
        for words in (self.barometer_is, self.moisture_is):
            kinds = [v for _, v in words.control.options]
            words.value = next((k for k in kinds if k in stated), words.value)
        for key, field in self.fields.items():
            text = stated.get(self.barometer_is.value if key == "barometer" else key)
            new = units.parse(text, KINDS[key]) if text else None
            if not _same(field.value, new):
                field.value = new
        self.where.value = stated.get(MEASURED_AT, "")
        self.reference.value = state.run.review.power_reference
        self.diesel.value = state.tested.compression_ignition

    def redraw(self):
        """Show the air in force, and the list of corrections."""
        state = self.desk.state
        if state is None:
            return
        self._fill(state)
        weather = Weather.of(state.run)
        self.air.value = _air(weather, UNITS.system)
        self.list.value, self.caveats.value = _corrected(state, weather, UNITS.system)


def _same(old, new):
    """The review keeps rounded text: a field that says the same is left as it was typed."""
    if old is None or new is None:
        return old is new
    return abs(old - new) <= 1e-4 * max(abs(old), abs(new), 1.0)


def _air(weather, system):
    """The state of the air with where each part of it comes from."""
    rows = [
        (words, units.text(getattr(weather, name), kind, system), _source(weather, name))
        for words, name, kind in (
            ("barometer", "p_cell_pa", "barometer"),
            ("air temperature", "t_cell_k", "temperature"),
            ("relative humidity", "humidity", "fraction"),
        )
    ]
    rows += [
        ("dry pressure", units.text(weather.dry_pressure_pa, "barometer", system), "worked out"),
        ("density", units.text(weather.density_kg_m3, "density", system), "worked out"),
        (
            "density altitude",
            units.text(weather.density_altitude_m, "altitude", system),
            "worked out",
        ),
    ]
    told = [paragraph(s, "dp-message") for s in (*weather.remarks, *weather.unknown)]
    head = paragraph("The air of this run", "dp-group")
    return head + table(rows, ["", "", ""], words=(0, 2)) + "".join(told)


def _source(weather, name):
    found = weather.evidence.get(name)
    return found.evidence if found else "not stated"


def _corrected(state, weather, system):
    """(the list of corrections, the caveats) as HTML."""
    head = paragraph("Observed, and by each standard", "dp-group")
    if state.no_pulls or not any(s.accepted for s in state.stretches):
        return head + paragraph(
            "No pull is used, so there is no power to correct.", "dp-message"
        ), ""
    pulls = state.pulls
    channel = next((c for c in ("power_w", "torque_nm") if c in pulls.has), "")
    if not channel:
        return head + paragraph("This log has neither power nor torque.", "dp-message"), ""
    reference = state.run.review.power_reference
    if reference != OBSERVED:
        said = f"The log's power is already corrected to {reference}: it is not corrected again."
        return head + verdict(said, "decided in the review"), ""
    tested = _tested(state, pulls)
    kind = "power" if channel == "power_w" else "torque"
    lines = corrections(float(np.nanmax(pulls.mean(channel))), weather, tested, system)
    rows = [
        (c.name, f"{c.factor:.3f}" if c.factor == c.factor else "cannot tell",
         units.text(c.value, kind, system), c.reference, _trust(c))
        for c in lines
    ]  # fmt: skip
    heads = ["", "factor", f"highest {kind}", "reference", "how far to trust it"]
    told = "".join(paragraph(text, "dp-message") for text in caveats(weather, tested, system))
    return head + table(rows, heads, words=(0, 3, 4)), told


def _tested(state, pulls):
    """The engine as the log shows it: the boost its pulls hold, not known where not logged."""
    boost = np.nan
    if "p_manifold_pa" in pulls.has:
        boost = float(np.nanmedian(pulls.mean("p_manifold_pa"))) - pulls.barometer_pa
    return replace(state.tested, boost_gauge_pa=boost)


def _trust(line):
    if line.name == "observed":
        return "measured"
    words = {INSIDE: "inside its range", OUTSIDE: "OUTSIDE its range"}
    mark = f"{words.get(line.verdict, line.verdict)}. "
    return mark[:1].upper() + mark[1:] + " ".join(line.reasons)
