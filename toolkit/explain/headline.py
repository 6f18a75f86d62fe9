"""A headline checked against the numbers that it cites.

A person may write what they like; what contradicts the finding is said, with the reason.
"""

import re
from contextlib import suppress
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
# What says which way a difference goes: verbs that do, and words beside those that do not.
_GAINING = r"gain(?:s|ed)?|add(?:s|ed)?|wins?|won|beats?|leads?|tops|outpulls"
_LOSING = r"los(?:es|t|e)|lacks?|drop(?:s|ped)|trails?|lags?|gives? up|gave up"
_MAKING = r"makes?|made|has|have|had|gives?|gave|shows?|reads?|produces?|is|was|are|were|sits?"
_VERB = re.compile(
    rf"(?:\s+(?:still|also|only|now|then|there))*\s+"
    rf"(?:(?P<more>{_GAINING})|(?P<less>{_LOSING})|(?P<plain>{_MAKING}))\b(?!\s+up\s+for)", re.I
)  # fmt: skip
_MORE = re.compile(r"\b(?:more|higher|up|ahead)\b", re.I)
_LESS = re.compile(r"\b(?:less|lower|fewer|down|behind|short)\b", re.I)
_AFTER = re.compile(
    r"\s*(?:of\s+)?(?:power|torque|boost)?\s*(?P<way>more|less|fewer|higher|lower|ahead|behind|up"
    r"|down|short)\b(?:\s+(?:power|torque|boost))?", re.I
)  # fmt: skip
_NOT = re.compile(r"\b(?:not|never|no|without|nearly|hardly)\b|n't\b", re.I)
# A name after one of these is not the one that gains: "from Small", "swapping Small".
_GOVERNED = re.compile(
    r"(?:\b(?:from|to|for|with|by|over|than|against|of|on|in|and|or|versus|vs|unlike|behind|after"
    r"|like)|\w+ing|\bvs\.)\s+(?:the\s+)?$", re.I
)  # fmt: skip
_CLAUSE = re.compile(r"[,;:.]\s|\b(?:while|whereas|where|but|because|when|as)\b", re.I)
_LEADS = re.compile(
    r"\b(?:leads|is ahead|wins)\s+(?:everywhere\s+)?"
    r"(?P<side>below|under|up to|above|from|over|beyond)\s+(?:about\s+)?$", re.I
)  # fmt: skip
_COMPARING = re.compile(r"\s*(?:more|less|fewer|higher|lower|ahead|behind|up|down)\b", re.I)
_AT_SPEED = re.compile(rf"\bat\s+(?:about\s+)?(?P<number>{_NUMBER})\s*rpm", re.I)
# "At 5000 rpm Large makes ..": the clause begins with the speed, and names no other place.
_SPEED_FIRST = re.compile(
    rf"(?:^|[,;:.]\s+|\b(?:and|but|while)\s+)\s*{_AT_SPEED.pattern},?(?P<between>[^,;:.]*)$", re.I
)
_ELSEWHERE = re.compile(r"\b(?:by|at|to|from|over|between|above|below|until|average)\b", re.I)
_TURN = re.compile(r"\b(?:and|but|then|before|after|where|while|until)\b", re.I)


@dataclass(frozen=True)
class Cited:
    """A number that a finding stands on.

    words: what it is ("torque difference"); value: in the inside unit of its kind. at_rpm: the
    engine speed it belongs to, if one. of, than: for a difference, whose it is and against whom;
    for a crossover, who leads below it and who above.
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
    named = _mentions(text, {*names, *(n for c in cited for n in (c.of, c.than))})
    unsaid = _mentions(text, set(names))
    found = [
        sentence
        for number in _numbers(text)
        if not any(m.start() <= number.start and number.stop <= m.end() for m in unsaid)
        for sentence in _wrong_quantity(text, number, _of_its_kind(number, every), system, named)
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
        beside = at if at and not _CITED.search(clause[: at.start()]) else None
        if beside is None and match["unit"].lower() not in ("rpm", "r/min"):
            beside = _speed_before(text[: match.start()], clause)
        speed = float(_readings(beside["number"])[-1]) if beside else None
        for digits in filter(None, (match["number"], match["second"])):
            yield _Number(digits, match["unit"], loose, match.start(), match.end(), speed)


def _mentions(text, names):
    """Where the names stand in the text as whole words; each place counts for the longest."""
    longest = sorted(filter(None, names), key=len, reverse=True)
    # A single letter counts as it is written: "a" is a word and "A" may be a side.
    each = [re.escape(n) if len(n) == 1 else f"(?i:{re.escape(n)})" for n in longest]
    return list(re.finditer(rf"(?<!\w)(?:{'|'.join(each)})(?!\w)", text)) if each else []


def _of_its_kind(number, cited):
    """Each cited value that the number's unit fits, with how far off it is."""
    spans = {kind: _spans(number, kind) for kind in {c.kind for c in cited}}
    return [
        _Known(c, min(max(low - abs(c.value), abs(c.value) - high, 0) for low, high in span))
        for c in cited
        if (span := spans[c.kind]) and np.isfinite(c.value)  # the unknown agrees with nothing
    ]


def _speed_before(before, after):
    """The match of "At 5000 rpm" at the head of the number's clause, or None."""
    found = _SPEED_FIRST.search(before)
    if not found or _ELSEWHERE.search(re.split(r"\b(?:and|but|while)\b", after)[0]):
        return None
    between = found["between"]
    return None if _CITED.search(between) or _TURN.search(between) else found


def _wrong_quantity(text, number, known, system, named):
    if not known:
        return [f"{number.written}: this finding has no such number; take it out"]
    # "46 hp more" and "+46 hp" speak of a difference, not a level.
    if _COMPARING.match(text[number.stop :]) or number.digits[0] in "+-−":
        known = [k for k in known if k.cited.than] or known
    there = [k for k in known if _at(k.cited, number.speed)]
    nearest = min(there or known, key=lambda k: k.off)
    if not nearest.agrees:
        return [f"{number.written}: the {nearest.cited.words} is {nearest.cited.shown(system)}"]
    agreeing = [k.cited for k in (there or known) if k.agrees]
    if number.speed is not None and all(c.at_rpm is not None for c in agreeing) and not there:
        right = f"it is so at {agreeing[0].at_rpm:.0f} rpm"
        return [f"{number.written} at {number.speed:.0f} rpm: {right}"]
    if all(c.kind == "engine_speed" for c in agreeing):
        return _wrong_lead(text, number, [c for c in agreeing if c.than], named)
    return _wrong_way(text, number, agreeing, named)


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
    # As it is written; else as the one unit that differs in capitals only: 6000 RPM, 23 KW.
    same = [s for s in _SPELLINGS if s.lower() == unit.lower()]
    for spelling in (unit, *(same if len(same) == 1 else ())):
        out = []
        for digits in _readings(number.digits):
            half = _last_digit(digits, number.loose) / 2 * (1 + 1e-9)
            ends = [f"{abs(float(digits)) + d:.12g} {spelling}" for d in (-half, half)]
            with suppress(units.UnitError):
                out.append(tuple(units.parse(end, kind) for end in ends))
        if out:
            return out
    return []


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


def _wrong_lead(text, number, crossovers, named):
    """The speed is that of a crossover, but the text gives the lead to the wrong side."""
    leads = _LEADS.search(text[: number.start])
    if leads is None:
        return []
    before = [m for m in named if m.end() <= leads.start()]
    names = [m.group().lower() for m in before if not text[m.end() : leads.start()].strip()]
    below = leads["side"].lower() in ("below", "under", "up to")
    right = [c.of if below else c.than for c in crossovers]
    sides = {n.lower() for c in crossovers for n in (c.of, c.than)}
    if not names or names[0] not in sides or names[0] in [n.lower() for n in right]:
        return []
    return [f"{number.written}: {right[0]} leads {leads['side'].lower()} it"]


def _wrong_way(text, number, agreeing, named):
    """The number is right, but the text gives it to the wrong side.

    Said only where the text gives it to a side clearly: "Large makes 46 hp less".
    """
    claim = _claim(text, number, named)
    differences = [c for c in agreeing if c.of and c.than]
    if claim is None or len(differences) != len(agreeing):
        return []
    name, more = claim
    differences = [c for c in differences if name in (c.of.lower(), c.than.lower())]
    if any((c.value > 0) == (more == (name == c.of.lower())) for c in differences):
        return []
    right, wrong = ("less", "more") if more else ("more", "less")
    written = number.written if number.digits[0] in "+-−" else f"{number.written} {wrong}"
    return [
        f"{written}: {subject} has {right} than {other} there, not {wrong}"
        for c in differences[:1]
        for subject, other in [(c.of, c.than) if name == c.of.lower() else (c.than, c.of)]
    ]


def _claim(text, number, named):
    """(name in small letters, whether it has more) where the text says so clearly, else None."""
    inside = [m for m in _CLAUSE.finditer(text) if not any(_within(m, n) for n in named)]
    first = max((m.end() for m in inside if m.end() <= number.start), default=0)
    last = min((m.start() for m in inside if m.start() >= number.stop), default=len(text))
    after = _AFTER.match(text[number.stop : last])
    way = _way(after["way"]) if after else None
    for m in named:  # "46 hp more with Large"
        joined = text[number.stop + after.end() : m.start()] if after else ""
        if m.start() >= number.stop and re.fullmatch(r"\s+(?:for|from|with)\s+", joined):
            return m.group().lower(), way
    before = [m for m in named if first <= m.start() and m.end() <= number.start]
    if not before or _GOVERNED.search(text[first : before[0].start()]):
        return None
    verb = _VERB.match(text[before[0].end() : number.start])
    between = text[before[0].end() + verb.end() : number.start] if verb else ""
    if verb is None or _NOT.search(between) or re.search(r"\band\b", between):
        return None
    ways = {way, _way(between)}
    if not verb["plain"]:
        ways.add(verb["more"] is not None)
    elif number.digits[0] in "+-−" and ways == {None}:
        ways.add(number.digits[0] == "+")
    ways.discard(None)
    return (before[0].group().lower(), ways.pop()) if len(ways) == 1 else None


def _within(one, other):
    return other.start() <= one.start() and one.end() <= other.end()


def _way(words):
    """True for more, False for less, None where the words say neither."""
    if _MORE.search(words):
        return None if _LESS.search(words) else True
    return False if _LESS.search(words) else None


def _wrong_counts(text, cited, system):
    counted = [c for c in cited if c.noun]
    out = []
    for match in _COUNTED.finditer(text):
        noun = match["unit"].lower()
        same = [c for c in counted if noun in (c.noun, f"{c.noun}s")]
        if same and all(c.value != float(match["number"]) for c in same):
            out.append(f"{match.group()}: the {same[0].words} is {same[0].shown(system)}")
    return out
