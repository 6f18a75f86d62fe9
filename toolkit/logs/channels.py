"""From a header to one of our channels: which quantity a column holds, and how sure that is."""

import re
import unicodedata
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from toolkit.logs import spellings
from toolkit.logs.unit_names import kind_fits, unit_of_text


@dataclass(frozen=True)
class Channel:
    """A channel of ours: its kind in toolkit.units, what it is in words, and the range [inside
    unit] in which the largest value of a usable log lies (from memory, generous)."""

    kind: str
    words: str
    low: float
    high: float


def _pressure(words, low=40e3, high=900e3):
    return Channel("pressure", words, low, high)


def _temperature(words, low=243.0, high=600.0):
    return Channel("temperature", words, low, high)


CHANNELS = {
    "time_s": Channel("time", "time", 1.0, 2e5),
    "speed_rpm": Channel("engine_speed", "engine speed", 500, 20e3),
    "torque_nm": Channel("torque", "torque", 5, 5000),
    "power_w": Channel("power", "power", 1e3, 3e6),
    "throttle": Channel("fraction", "throttle opening", 0.02, 1.1),
    "p_cell_pa": Channel("barometer", "barometer", 55e3, 110e3),
    "t_cell_k": _temperature("cell air temperature", 243.0, 330.0),
    "humidity": Channel("fraction", "relative humidity", 0.02, 1.0),
    "p_compressor_in_pa": _pressure("compressor inlet pressure", 40e3, 115e3),
    "t_compressor_in_k": _temperature("compressor inlet temperature", 243.0, 360.0),
    "p_compressor_out_pa": _pressure("compressor outlet pressure"),
    "t_compressor_out_k": _temperature("compressor outlet temperature", 270.0, 550.0),
    "p_manifold_pa": _pressure("intake manifold pressure"),
    "t_charge_k": _temperature("charge temperature", 250.0, 420.0),
    "p_exhaust_pa": _pressure("exhaust manifold pressure"),
    "t_exhaust_k": _temperature("exhaust manifold temperature", 400.0, 1450.0),
    "p_turbine_out_pa": _pressure("turbine outlet pressure", 40e3, 250e3),
    "t_turbine_out_k": _temperature("turbine outlet temperature", 350.0, 1350.0),
    "t_coolant_k": _temperature("coolant temperature", 313.0, 410.0),
    "t_oil_k": _temperature("oil temperature", 313.0, 440.0),
    "p_oil_gauge_pa": Channel("boost", "oil pressure", 50e3, 1.2e6),
    "t_cooler_water_k": _temperature("charge cooler water temperature", 268.0, 380.0),
    "lam": Channel("lambda", "lambda", 0.5, 10.0),
    "spark_deg": Channel("angle", "spark advance", -20, 70),
    "injector_time_s": Channel("short_time", "injector pulse width", 5e-4, 0.1),
    "injector_duty": Channel("fraction", "injector duty", 0.02, 1.2),
    "p_rail_gauge_pa": Channel("boost", "fuel rail pressure", 50e3, 50e6),
    "air_flow_kg_s": Channel("air_flow", "air flow", 0.005, 3.0),
    "fuel_flow_kg_s": Channel("fuel_flow", "fuel flow", 1e-4, 0.4),
    "gate_duty": Channel("fraction", "boost control duty", 0.02, 1.0),
    "p_gate_top_gauge_pa": Channel("boost", "gate top port pressure", 5e3, 900e3),
    "gate_lift_m": Channel("length", "gate lift", 1e-4, 0.05),
    "shaft_speed_rpm": Channel("shaft_speed", "turbo shaft speed", 10e3, 350e3),
    "vehicle_speed_m_s": Channel("vehicle_speed", "vehicle speed", 2.0, 130.0),
}


def channel_of(name):
    """The Channel of a name in a run's frame; a gauge pressure of unknown barometer is "boost".

    >>> channel_of("p_manifold_gauge_pa").words
    'intake manifold pressure (gauge)'
    """
    if name in CHANNELS:
        return CHANNELS[name]
    of = CHANNELS[pressure_of(name)]
    return replace(of, kind="boost", words=f"{of.words} (gauge)")


def gauge_name(channel):
    """The name of an absolute pressure channel while nobody knows the barometer.

    >>> gauge_name("p_manifold_pa")
    'p_manifold_gauge_pa'
    """
    return channel.removesuffix("_pa") + "_gauge_pa"


def pressure_of(name):
    """The channel of ours behind a name in a run's frame, `gauge_name` undone.

    >>> pressure_of("p_manifold_gauge_pa"), pressure_of("p_oil_gauge_pa"), pressure_of("lam")
    ('p_manifold_pa', 'p_oil_gauge_pa', 'lam')
    """
    return name if name in CHANNELS else name.replace("_gauge_pa", "_pa")


CERTAIN, LIKELY, ASK, UNKNOWN = "certain", "likely", "ask", "unknown"


@dataclass(frozen=True)
class Match:
    """What a header says.

    channel: ours, or "" where it is none or not known. confidence: "certain" (a known spelling),
    "likely" (one after leaving out words that do not matter), "ask" (fits several, in
    `candidates`), "unknown". unit: as `toolkit.units` reads it, "" if not stated. reference:
    "gauge", "absolute" or "". why: one sentence.
    """

    channel: str
    confidence: str
    unit: str = ""
    reference: str = ""
    why: str = ""
    candidates: tuple[str, ...] = ()


def match(header, unit_row=""):
    """What the column under this header is, from its words and its unit.

    >>> match("Motordrehzahl [1/min]").channel, match("manifold_abs_kPa").reference
    ('speed_rpm', 'absolute')
    >>> match("Boost target (psi)").confidence
    'unknown'
    """
    for name, written in _with_unit(header, unit_row):
        name = header if header in CHANNELS else name
        unit, reference = unit_of_text(written) if written else ("", "")
        found = _by_words(name, unit)
        if found:
            channels, confidence, spelled = found
            return _settled(header, channels, confidence, spelled, unit, reference, name)
    return Match(
        "",
        UNKNOWN,
        *(unit_of_text(_stated_unit(header, unit_row)) or ("", "")),
        why=f"'{header}' is no name known here: kept under its own name",
    )


def _settled(header, channels, confidence, spelled, unit, reference, name):
    words = set(_tokens(name))
    reference = reference or _reference(words, name)
    unit = unit or _unit_in_words(words, channels)
    if len(channels) > 1:
        return Match("", ASK, unit, reference, f"'{header}' could be several things", channels)
    how = "is a known spelling of" if confidence == CERTAIN else "contains a known spelling of"
    why = f"'{spelled}' {how} {CHANNELS[channels[0]].words}"
    return Match(channels[0], confidence, unit, reference, why, channels)


def _reference(words, name):
    ours = name in CHANNELS and CHANNELS[name].kind == "pressure"  # absolute by our own rule
    if ours or words & spellings.ABSOLUTE:
        return "absolute"
    return "gauge" if words & spellings.GAUGE else ""


def _unit_in_words(words, channels):
    """A unit that is a word of the name itself: "engine rpm", "hp", "AFR gas"."""
    if "afr" in words:
        return next((f"AFR {s}" for s, fuels in _SCALES.items() if words & set(fuels)), "AFR")
    for word in sorted(words):
        found = unit_of_text(word) if len(word) > 1 else None
        if found and all(kind_fits(found[0], CHANNELS[c].kind) for c in channels):
            return found[0]
    return ""


def no_lambda(values):
    """Whether these are air-fuel ratios under the name of lambda.

    No engine runs at a lambda of 3; a sensor in free air may show more for a while.

    >>> no_lambda([12.4, 12.6]), no_lambda([0.8, 0.9, 7.99])
    (True, False)
    """
    return bool(np.nanmedian(values) > 3 or np.nanmax(values) > CHANNELS["lam"].high)


# The air-fuel ratio at lambda 1 that an instrument's scale for a fuel takes. Common practice.
_SCALES = {
    "14.7": ("gas", "gasoline", "petrol", "benzin", "essence"),
    "9.765": ("e85",),
    "9": ("ethanol",),
    "6.4": ("methanol",),
}
_BRACKETS = re.compile(r"^(.*\S)\s*[\[({<]\s*([^\[\](){}<>]*?)\s*[\])}>]\s*$", re.DOTALL)
_ENDINGS = (
    re.compile(r"^(.+?)(?:\s*,\s*|\s+in\s+)(\S.*)$", re.DOTALL),  # "Boost, psi abs"
    re.compile(r"^(.+)[\s_]+([^\s_]+[\s_]+[^\s_]+)$", re.DOTALL),  # "air_flow_kg_s"
    re.compile(r"^(.+)[\s_]+([^\s_]+)$", re.DOTALL),  # "boost_psi"
    re.compile(r"^(.+?)\s*/\s*(\S+)$", re.DOTALL),  # "Boost/psi"
)


def _stated_unit(header, unit_row):
    found = _BRACKETS.match(header)
    return unit_row or (found.group(2) if found else "")


def _with_unit(header, unit_row):
    """Ways to take a header apart into name and unit text, the surest first."""
    header = header.strip()
    if unit_row and unit_of_text(unit_row):
        yield header, unit_row
        return
    brackets = _BRACKETS.match(header)
    if brackets and unit_of_text(brackets.group(2)):
        yield brackets.groups()
    for ending in _ENDINGS:
        found = ending.match(header)
        if found:
            name, unit = found.groups()
            for text in (unit, unit.replace("_", "/")):
                if unit_of_text(text):
                    yield name, text
    if not (brackets and unit_of_text(brackets.group(2))):
        yield header, ""


def _tokens(name):
    """The words of a name, without accents, in small letters, camelCase taken apart."""
    name = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name)
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss").casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    words = []
    for word in re.findall(r"[a-z]+\d*|\d+", plain):
        words += spellings.ABBREVIATIONS.get(word, word).split()
    if len(words) > 1 and words[0] in ("p", "t"):  # p_exhaust, T_oil
        words = [*words[1:], "pressure" if words[0] == "p" else "temperature"]
    return [w for w in words if w not in spellings.ARTICLES or len(words) == 1]


def _key(words):
    return " ".join(sorted(words))


@cache
def _index():
    """From the words of a spelling to the channels it may mean."""
    index = {name: [name] for name in CHANNELS}
    for channel, listed in spellings.SPELLINGS.items():
        for spelling in listed.split(";"):
            words = _tokens(spelling)
            for key in {_key(words), "".join(words), _umlaut("".join(words))}:
                if channel not in index.setdefault(key, []):
                    index[key].append(channel)
    return index


def _umlaut(word):
    """German compounds as typed without umlauts: 'kuhlmittel' is also 'kuehlmittel'."""
    for plain, typed in (
        ("kuhl", "kuehl"),
        ("zund", "zuend"),
        ("oltemp", "oeltemp"),
        ("oldruck", "oeldruck"),
        ("krumm", "kruemm"),
        ("haltn", "haeltn"),
    ):
        word = word.replace(plain, typed)
    return word


def _by_words(name, unit):
    """The channels that a name and unit allow, how surely, and the spelling; None if none."""
    if name.strip() in CHANNELS:
        return (name.strip(),), CERTAIN, name.strip()
    words = _tokens(name)
    if set(words) & spellings.OTHER:
        return None
    kept = [w for w in words if w not in spellings.HARMLESS]
    for tried, confidence in ((words, CERTAIN), (kept, LIKELY), (_unnumbered(kept), LIKELY)):
        for noun in ("", *_nouns(unit)):
            fits = _fitting([*tried, noun] if noun else tried, unit)
            if fits:
                return fits, LIKELY if noun else confidence, " ".join(tried)
    return None


def _fitting(words, unit):
    if not words or (not unit and _key(words) in spellings.NEEDS_UNIT):
        return ()
    index = _index()
    channels = index.get(_key(words)) or index.get("".join(words)) or ()
    return tuple(c for c in channels if not unit or kind_fits(unit, CHANNELS[c].kind))


def _unnumbered(words):
    """Without a sensor's number: "lambda 1", "egt1"."""
    return [re.sub(r"^([a-z]{3,})\d+$", r"\1", w) for w in words if not w.isdigit()]


def _nouns(unit):
    """What the unit says besides the name: "intake" in psi is a pressure."""
    if unit and kind_fits(unit, "pressure"):
        return ("pressure",)
    return ("temperature",) if unit and kind_fits(unit, "temperature") else ()
