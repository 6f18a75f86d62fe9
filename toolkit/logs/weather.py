"""The air of a run: what the person or the log says, as the state that corrections need.

In a review it stands as strings with units: one barometer (`barometer` as read on the spot, or
`barometer_sea_level` as a weather report gives it, with `altitude`), `temperature`, one measure
of moisture (`humidity`, `dew_point` or `wet_bulb`) and `measured_at`, in words.
"""

from dataclasses import dataclass, field

import numpy as np

from toolkit import units
from toolkit.logs.channels import CHANNELS
from toolkit.logs.question import Decided, LogError
from toolkit.physics import air, atmosphere

KINDS = {
    "barometer": "barometer",
    "barometer_sea_level": "barometer",
    "altitude": "altitude",
    "temperature": "temperature",
    "humidity": "fraction",
    "dew_point": "temperature",
    "wet_bulb": "temperature",
}
MEASURED_AT = "measured_at"
_ONE_OF = (("barometer", "barometer_sea_level"), ("humidity", "dew_point", "wet_bulb"))
_STATE = ("p_cell_pa", "t_cell_k", "humidity")
# A station barometer further from the standard atmosphere at its altitude than any weather
# brings is most likely one that was corrected to sea level.
_WEATHER_SWING_PA = 6e3


@dataclass(frozen=True)
class Weather:
    """Cell air: pressure as a barometer there reads [Pa], temperature [K], humidity 0 to 1.

    NaN is not known. evidence: per quantity, the text it comes from and how. remarks: what to
    mind, in sentences. measured_at: where, in the person's words.
    """

    p_cell_pa: float = np.nan
    t_cell_k: float = np.nan
    humidity: float = np.nan
    measured_at: str = ""
    evidence: dict[str, Decided] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @classmethod
    def from_strings(cls, strings):
        """The weather of a review's strings. Raises LogError with one sentence for the first
        that is wrong; what is absent is NaN, and said in `unknown`.

        >>> day = {"barometer": "29.10 inHg", "temperature": "92 °F", "humidity": "60 %"}
        >>> round(Weather.from_strings(day).dry_pressure_pa)
        95466
        """
        values = _parsed(strings)
        found = {"p_cell_pa": _station(values, strings), "t_cell_k": _temperature(values, strings)}
        found["humidity"] = _humidity(values, strings, found["p_cell_pa"][0])
        return cls(
            **{name: value for name, (value, _) in found.items()},
            measured_at=strings.get(MEASURED_AT, "").strip(),
            evidence={name: why for name, (_, why) in found.items() if why},
            remarks=_remarks(values, strings),
        )

    @classmethod
    def of(cls, run):
        """The weather of a run: its review's strings, and the log where they are silent.

        From a log: the barometer as the run settles it, and the means of the cell temperature
        and humidity columns. Raises LogError as from_strings.
        """
        stated = cls.from_strings(run.review.weather)
        state = {name: getattr(stated, name) for name in _STATE}
        evidence = dict(stated.evidence)
        for name, logged in _logged(run).items():
            if np.isnan(state[name]) and np.isfinite(logged[0]):
                state[name], evidence[name] = logged
        return cls(
            **state, measured_at=stated.measured_at, evidence=evidence, remarks=stated.remarks
        )

    def to_strings(self, system):
        """The state as strings with units that from_strings reads; what is not known is left out.

        >>> Weather(99e3, 298.15, 0.4).to_strings("SI")
        {'barometer': '99.000 kPa', 'temperature': '25.00 °C', 'humidity': '40.00 %'}
        """
        items = zip(("barometer", "temperature", "humidity"), _STATE, strict=True)
        strings = {
            key: units.text(getattr(self, name), KINDS[key], system, 3 if key == "barometer" else 2)
            for key, name in items
            if np.isfinite(getattr(self, name))
        }
        return strings | ({MEASURED_AT: self.measured_at} if self.measured_at else {})

    @property
    def unknown(self):
        """A sentence for each thing that is not known, with what to write down."""
        sentences = {
            "p_cell_pa": "The barometer is not known: read it beside the engine, or take a"
            " weather report's sea-level figure with the altitude.",
            "t_cell_k": "The temperature of the cell air is not known: log it at the compressor"
            " inlet.",
            "humidity": "The moisture of the air is not known: write down the humidity, the dew"
            " point or the wet bulb.",
        }
        missing = [text for name, text in sentences.items() if np.isnan(getattr(self, name))]
        if not self.measured_at:
            missing.append(
                "Where the air was measured is not said: the compressor inlet counts, and the"
                " rest of the cell may be cooler."
            )
        return tuple(missing)

    @property
    def dry_pressure_pa(self):
        """Pressure of the air without its vapour [Pa]; NaN where anything it needs is unknown."""
        return float(air.dry_pressure_pa(self.p_cell_pa, self.t_cell_k, self.humidity))

    @property
    def density_kg_m3(self):
        """Density of the cell air [kg/m3]."""
        return float(air.density_kg_m3(self.p_cell_pa, self.t_cell_k, self.humidity))

    @property
    def density_altitude_m(self):
        """Altitude at which the standard atmosphere is as thin [m]."""
        return float(atmosphere.density_altitude_m(self.density_kg_m3))


def _parsed(strings):
    """The values of the strings in SI; refuses an unknown key, a bad value and two of a kind."""
    unknown = set(strings) - set(KINDS) - {MEASURED_AT}
    if unknown:
        raise LogError(
            f"weather has no '{min(unknown)}': write one of {', '.join(KINDS)} or {MEASURED_AT}"
        )
    given = {key: text for key, text in strings.items() if key in KINDS and text.strip()}
    for group in _ONE_OF:
        both = [key for key in group if key in given]
        if len(both) > 1:
            raise LogError(f"weather gives {' and '.join(both)}: keep the one that was measured")
    return {key: _value(key, text) for key, text in given.items()}


def _value(key, text):
    try:
        return units.parse(text, KINDS[key])
    except units.UnitError as error:
        raise LogError(f"weather {key}: {error}") from None


def _station(values, strings):
    """The pressure a barometer at the engine reads."""
    if "barometer" in values:
        p = _plausible("p_cell_pa", values["barometer"], strings["barometer"])
        return p, Decided(strings["barometer"], "measured, as read on the spot")
    if "barometer_sea_level" not in values:
        return np.nan, None
    text = strings["barometer_sea_level"]
    if "altitude" not in values:
        raise LogError(
            f"weather barometer_sea_level '{text}' needs the altitude of the place:"
            " write it like '1000 ft'"
        )
    try:
        p = atmosphere.station_pressure_pa(values["barometer_sea_level"], values["altitude"])
    except ValueError as error:
        raise LogError(f"weather barometer_sea_level '{text}': {error}") from None
    why = f"worked out from sea level to {strings['altitude']} by the standard atmosphere"
    return _plausible("p_cell_pa", float(p), text), Decided(text, why)


def _temperature(values, strings):
    if "temperature" not in values:
        return np.nan, None
    text = strings["temperature"]
    return _plausible("t_cell_k", values["temperature"], text), Decided(text, "measured")


def _humidity(values, strings, p_pa):
    """Relative humidity, as measured or worked out from a dew point or a wet bulb."""
    key = next((k for k in _ONE_OF[1] if k in values), None)
    if key is None:
        return np.nan, None
    text, t = strings[key], values.get("temperature", np.nan)
    if key == "humidity":
        return _plausible("humidity", values[key], text), Decided(text, "measured")
    try:
        if key == "dew_point":
            humidity = air.humidity_from_dew_point(t, values[key])
        else:
            humidity = air.humidity_from_wet_bulb(t, values[key], p_pa)
    except ValueError as error:
        raise LogError(f"weather {key} '{text}' cannot go with the rest: {error}") from None
    why = f"worked out from the {key.replace('_', ' ')}"
    return float(humidity), Decided(text, why) if np.isfinite(humidity) else None


def _plausible(channel, value, text):
    known = CHANNELS[channel]
    low = 0.0 if channel == "humidity" else known.low
    if low <= value <= known.high:
        return value
    raise LogError(
        f"weather: {text} is no {known.words} of a test cell: check the number and its unit"
    )


def _remarks(values, strings):
    remarks = []
    if "barometer_sea_level" in values:
        remarks.append(
            "The barometer was corrected to sea level; a report reduced with the day's own"
            " temperature can differ from this by 0.3 %."
        )
    if "barometer" in values and "altitude" in values:
        standard = float(atmosphere.standard_pressure_pa(values["altitude"]))
        away = values["barometer"] - standard
        if abs(away) > _WEATHER_SWING_PA:
            remarks.append(
                f"A barometer of {strings['barometer']} does not belong to {strings['altitude']}:"
                " it may be corrected to sea level; then write it as barometer_sea_level."
            )
    missing = {"dew_point": ["temperature"], "wet_bulb": ["temperature", "barometer"]}
    for key in ("dew_point", "wet_bulb"):
        lacks = [k for k in missing[key] if k not in values and f"{k}_sea_level" not in values]
        if key in values and lacks:
            remarks.append(
                f"The {key.replace('_', ' ')} tells the humidity only together with the"
                f" {' and the '.join(lacks)}."
            )
    return tuple(remarks)


def _logged(run):
    """What the log itself says, per quantity: value and where from."""
    logged = {"p_cell_pa": run.barometer}
    for name in ("t_cell_k", "humidity"):
        if name in run.frame and run.frame[name].notna().any():
            column = run.source(name).column
            mean = float(run.frame[name].mean())
            logged[name] = mean, Decided(column, f"measured: the mean of column '{column}'")
    return logged
