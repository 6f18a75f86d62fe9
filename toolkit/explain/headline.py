"""A headline checked against the numbers that it cites.

A person may write what they like; what contradicts the finding is said, with the reason.
"""

import re
from dataclasses import dataclass

from toolkit import units

# What a reader would take for a unit; longer spellings first.
_SPELLINGS = sorted(
    {label for k in units.KINDS.values() for label in (k.us_label, k.si_label) if label}
    | {"lb ft", "lbft", "ft-lb", "Nm", "N·m", "bhp", "PS", "bar", "mbar", "r/min"}
    | {"percent", "per cent", "deg F", "deg C", "degF", "degC", "degrees"},
    key=len,
    reverse=True,
)
_UNIT = "|".join(re.escape(s) for s in _SPELLINGS)
_NUMBER = r"(?<![\w.,])[+−-]?\d+(?:[ ,]\d{3})*(?:[.,]\d+)?"
_CITED = re.compile(
    rf"(?P<number>{_NUMBER})(?:\s*(?:to|and|–|-)\s*(?P<second>{_NUMBER}))?"
    rf"\s*(?P<unit>{_UNIT})(?![\w/])",
    re.IGNORECASE,
)
_COUNTED = re.compile(r"(?<![\w.,])(?P<number>\d+)\s+(?P<unit>[a-z]+)", re.IGNORECASE)
_LOOSE = re.compile(r"(?:about|around|nearly|almost|roughly|some|over|more than|~|≈)\s*$", re.I)
_MORE = re.compile(r"\b(?:more|higher|gains?|gained|adds?|above|up|ahead|wins?)\b", re.I)
_LESS = re.compile(r"\b(?:less|lower|fewer|los(?:es|t|e)|drops?|below|down|behind)\b", re.I)
_AT_SPEED = re.compile(rf"\bat\s+(?:about\s+)?(?P<number>{_NUMBER})\s*rpm", re.I)


@dataclass(frozen=True)
class Cited:
    """A number that a finding stands on.

    words: what it is ("torque difference"); value: in the inside unit of its kind. at_rpm: the
    engine speed it belongs to, if one. of, than: for a difference, whose it is and against whom.
    noun: what is counted, where kind is "number" ("pull").
    """

    words: str
    value: float
    kind: str
    at_rpm: float | None = None
    of: str = ""
    than: str = ""
    noun: str = ""

    def shown(self, system):
        """The number as a person reads it, with the engine speed it belongs to."""
        if self.noun:
            return f"{self.value:g} {self.noun}{'s' if self.value != 1 else ''}"
        at = f" at {self.at_rpm:.0f} rpm" if self.at_rpm is not None else ""
        return units.text(abs(self.value), self.kind, system) + at


def contradictions(text, cited, system="US"):
    """What in the text contradicts the numbers it cites: a list of sentences, empty if nothing.

    A number agrees where some cited value, in the unit written, rounds to it at its own last
    digit; after "about" also at its trailing zeros. Numbers written as words are not checked.

    >>> gain = Cited("torque difference", 62.4, "torque", 6000.0, "Large", "Small")
    >>> contradictions("Large makes 46 lb-ft more at 6000 rpm", [gain])
    []
    >>> contradictions("Large makes 50 lb-ft more at 6000 rpm", [gain])
    ['50 lb-ft: the torque difference is 46 lb-ft at 6000 rpm']
    >>> contradictions("Large makes 46 lb-ft less at 6000 rpm", [gain])
    ['46 lb-ft less: Large has more than Small there, not less']
    """
    found = []
    for match in _CITED.finditer(text):
        for number in filter(None, (match["number"], match["second"])):
            found += _wrong_quantity(text, match, number, cited, system)
    found += _wrong_counts(text, cited, system)
    return list(dict.fromkeys(found))


def _wrong_quantity(text, match, number, cited, system):
    written = f"{number} {match['unit']}"
    loose = bool(_LOOSE.search(text[: match.start()]))
    known = [
        (c, span) for c in (*cited, *_speeds(cited)) for span in _spans(number, match, c, loose)
    ]
    if not known:
        return [
            f"{written}: this finding has no such number; take it out or choose another finding"
        ]
    agreeing = [c for c, (low, high) in known if low <= abs(c.value) <= high]
    if not agreeing:
        nearest, _ = min(known, key=lambda k: abs(abs(k[0].value) - sum(k[1]) / 2))
        return [f"{written}: the {nearest.words} is {nearest.shown(system)}"]
    return _wrong_speed(text, match, written, agreeing) or _wrong_way(
        text, match, written, agreeing
    )


def _speeds(cited):
    """The engine speeds that cited values belong to may be cited themselves."""
    return [Cited("engine speed", c.at_rpm, "engine_speed") for c in cited if c.at_rpm is not None]


def _spans(number, match, cited, loose):
    """The inside values that the written number may stand for: [(low, high)], [] if another kind.

    A comma before three digits is read both ways.
    """
    unit = {"percent": "%", "per cent": "%", "degrees": "°"}.get(
        match["unit"].lower(), match["unit"]
    )
    out = []
    for digits in _readings(number):
        half = _last_digit(digits, loose) / 2 * (1 + 1e-9)
        try:
            ends = [
                units.parse(f"{abs(float(digits)) + d:.12g} {unit}", cited.kind)
                for d in (-half, half)
            ]
        except units.UnitError:
            continue
        out.append((min(ends), max(ends)))
    return out


def _readings(number):
    plain = number.replace("−", "-").lstrip("+").replace(" ", "")
    readings = {plain.replace(",", ".")} if plain.count(",") <= 1 else set()
    if re.fullmatch(r"-?\d{1,3}(,\d{3})+(\.\d+)?", plain):
        readings.add(plain.replace(",", ""))
    return sorted(r for r in readings if r.count(".") <= 1)


def _last_digit(digits, loose):
    """The place value of the last digit that means something."""
    if "." in digits:
        return 10.0 ** -len(digits.split(".")[1])
    zeros = len(digits) - len(digits.rstrip("0")) if loose else 0
    return 10.0 ** min(zeros, len(digits.lstrip("-")) - 1)


def _wrong_speed(text, match, written, agreeing):
    """The number is right, but at another engine speed than the text says."""
    if any(c.at_rpm is None for c in agreeing):
        return []
    clause = re.split(r"[,;:.]\s", text[match.end() :])[0]
    speed = _AT_SPEED.search(clause)
    if not speed or _CITED.search(clause[: speed.start()]):
        return []
    said = float(_readings(speed["number"])[-1])
    if any(abs(c.at_rpm - said) <= 0.5 for c in agreeing):
        return []
    return [f"{written} at {speed['number']} rpm: it is so at {agreeing[0].at_rpm:.0f} rpm"]


def _wrong_way(text, match, written, agreeing):
    """The number is right, but the text gives it to the wrong side."""
    differences = [c for c in agreeing if c.of and c.than]
    if len(differences) != len(agreeing):
        return []
    around = text[match.end() : match.end() + 24]
    before = text[: match.start()]
    verb = _MORE.search(around) or _LESS.search(around)
    verb = verb or next(iter([*_MORE.finditer(before), *_LESS.finditer(before)][-1:]), None)
    places = {n: text.lower().find(n.lower()) for c in differences for n in (c.of, c.than) if n}
    named = [n for n in sorted(places, key=places.get) if places[n] >= 0]
    if verb is None or not named:
        return []
    more = bool(_MORE.fullmatch(verb.group()))
    for c in differences:
        if (c.value > 0) == (more == (named[0] == c.of)):
            return []
    c, subject = differences[0], named[0]
    other = c.than if subject == c.of else c.of
    right, wrong = ("less", "more") if more else ("more", "less")
    return [f"{written} {wrong}: {subject} has {right} than {other} there, not {wrong}"]


def _wrong_counts(text, cited, system):
    counted = [c for c in cited if c.noun]
    out = []
    for match in _COUNTED.finditer(text):
        noun = match["unit"].lower()
        same = [c for c in counted if noun in (c.noun, f"{c.noun}s")]
        if same and all(c.value != float(match["number"]) for c in same):
            out.append(f"{match.group()}: the {same[0].words} is {same[0].shown(system)}")
    return out
