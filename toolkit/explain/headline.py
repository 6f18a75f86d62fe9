"""A headline checked against the numbers that it cites.

A person may write what they like; what contradicts the finding is said, with the reason.
"""

import re
from dataclasses import dataclass

import numpy as np

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
_COMPARING = re.compile(r"\s*(?:more|less|fewer|higher|lower|ahead|behind|up|down)\b", re.I)
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


def contradictions(text, cited, system="US", names=()):
    """What in the text contradicts the numbers it cites: a list of sentences, empty if nothing.

    names: of runs and turbos; a number inside one, such as "62 mm wheel", is no claim.

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
    every = [*cited, *_speeds(cited)]
    found = [
        sentence
        for number in _numbers(text)
        if not _inside(number, text, names)
        for sentence in _wrong_quantity(text, number, _of_its_kind(number, every), system)
    ]
    return list(dict.fromkeys([*found, *_wrong_counts(text, cited, system)]))


def cited_in(text, cited):
    """The cited values that the text speaks of and that belong to an engine speed, in its order.

    >>> gain = Cited("torque difference", 62.4, "torque", 6000.0, "Large", "Small")
    >>> [c.at_rpm for c in cited_in("Large makes 46 lb-ft more at 6000 rpm", [gain])]
    [6000.0]
    """
    placed = [c for c in cited if c.at_rpm is not None]
    spoken = []
    for number in _numbers(text):
        speed = number.speed if number.speed is not None else np.nan
        known = [k for k in _of_its_kind(number, placed) if k.agrees]
        spoken += [k.cited for k in known if abs(k.cited.at_rpm - speed) <= 0.5][:1]
    return list(dict.fromkeys(spoken))


def first_number(text):
    """The first number with its unit in a text, "" if there is none.

    >>> first_number("From 4000 to 6500 rpm Large makes 12 hp more.")
    '4000 to 6500 rpm'
    """
    found = _CITED.search(text)
    return found.group().strip() if found else ""


@dataclass(frozen=True)
class _Number:
    """A number with its unit as written; speed: the "at 6000 rpm" of the same clause, or None."""

    digits: str
    unit: str
    loose: bool
    start: int
    stop: int
    speed: float | None

    @property
    def written(self):
        return f"{self.digits} {self.unit}"


@dataclass(frozen=True)
class _Known:
    """A cited value of the number's kind; off: how far from what was written, 0 if it agrees."""

    cited: Cited
    off: float

    @property
    def agrees(self):
        return self.off == 0


def _numbers(text):
    for match in _CITED.finditer(text):
        loose = bool(_LOOSE.search(text[: match.start()]))
        clause = re.split(r"[,;:.]\s", text[match.end() :])[0]
        at = _AT_SPEED.search(clause)
        beside = at and not _CITED.search(clause[: at.start()])
        speed = float(_readings(at["number"])[-1]) if beside else None
        for digits in filter(None, (match["number"], match["second"])):
            yield _Number(digits, match["unit"], loose, match.start(), match.end(), speed)


def _inside(number, text, names):
    """Whether the number stands inside one of the names."""
    for name in filter(None, names):
        found = re.finditer(re.escape(name), text, re.IGNORECASE)
        if any(m.start() <= number.start and number.stop <= m.end() for m in found):
            return True
    return False


def _of_its_kind(number, cited):
    """Each cited value that the number's unit fits, with how far off it is."""
    spans = {kind: _spans(number, kind) for kind in {c.kind for c in cited}}
    return [
        _Known(c, min(max(low - abs(c.value), abs(c.value) - high, 0) for low, high in span))
        for c in cited
        if (span := spans[c.kind]) and np.isfinite(c.value)  # the unknown agrees with nothing
    ]


def _wrong_quantity(text, number, known, system):
    if not known:
        return [f"{number.written}: this finding has no such number; take it out"]
    if _COMPARING.match(text[number.stop :]):  # "46 hp more" speaks of a difference, not a level
        known = [k for k in known if k.cited.than] or known
    there = [k for k in known if _at(k.cited, number.speed)]
    nearest = min(there or known, key=lambda k: k.off)
    if not nearest.agrees:
        return [f"{number.written}: the {nearest.cited.words} is {nearest.cited.shown(system)}"]
    agreeing = [k.cited for k in (there or known) if k.agrees]
    if number.speed is not None and all(c.at_rpm is not None for c in agreeing) and not there:
        right = f"it is so at {agreeing[0].at_rpm:.0f} rpm"
        return [f"{number.written} at {number.speed:.0f} rpm: {right}"]
    return _wrong_way(text, number, agreeing)


def _at(cited, speed):
    """Whether the value belongs to this engine speed."""
    return speed is not None and cited.at_rpm is not None and abs(cited.at_rpm - speed) <= 0.5


def _speeds(cited):
    """The engine speeds that cited values belong to may be cited themselves."""
    known = dict.fromkeys(c.at_rpm for c in cited if c.at_rpm is not None)
    return [Cited("engine speed", speed, "engine_speed") for speed in known]


def _spans(number, kind):
    """The inside values that the number may stand for: [(low, high)], [] if of another kind.

    A comma before three digits is read both ways.
    """
    plain = {"percent": "%", "per cent": "%", "degrees": "°"}
    unit = plain.get(number.unit.lower(), number.unit)
    out = []
    for digits in _readings(number.digits):
        half = _last_digit(digits, number.loose) / 2 * (1 + 1e-9)
        ends = [f"{abs(float(digits)) + d:.12g} {unit}" for d in (-half, half)]
        try:
            out.append(tuple(units.parse(end, kind) for end in ends))
        except units.UnitError:
            continue
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


def _wrong_way(text, number, agreeing):
    """The number is right, but the text gives it to the wrong side."""
    differences = [c for c in agreeing if c.of and c.than]
    if len(differences) != len(agreeing):
        return []
    verb = _verb(text, number)
    places = {n: text.lower().find(n.lower()) for c in differences for n in (c.of, c.than)}
    named = [n for n in sorted(places, key=places.get) if places[n] >= 0]
    if verb is None or not named:
        return []
    more, subject = bool(_MORE.fullmatch(verb)), named[0]
    if any((c.value > 0) == (more == (subject == c.of)) for c in differences):
        return []
    c = differences[0]
    other = c.than if subject == c.of else c.of
    right, wrong = ("less", "more") if more else ("more", "less")
    return [f"{number.written} {wrong}: {subject} has {right} than {other} there, not {wrong}"]


def _verb(text, number):
    """The word that says which way: just after the number, else the last one before it."""
    after = text[number.stop : number.stop + 24]
    found = _MORE.search(after) or _LESS.search(after)
    if found:
        return found.group()
    before = text[: number.start]
    found = [*_MORE.finditer(before), *_LESS.finditer(before)]
    return max(found, key=lambda m: m.start()).group() if found else None


def _wrong_counts(text, cited, system):
    counted = [c for c in cited if c.noun]
    out = []
    for match in _COUNTED.finditer(text):
        noun = match["unit"].lower()
        same = [c for c in counted if noun in (c.noun, f"{c.noun}s")]
        if same and all(c.value != float(match["number"]) for c in same):
            out.append(f"{match.group()}: the {same[0].words} is {same[0].shown(system)}")
    return out
