"""What each column of a reading is: channel, unit, gauge or absolute, each with its reason.

A decision in the review stands; what the file proves comes next; the rest is asked.
"""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.logs import barometer
from toolkit.logs import channels as names
from toolkit.logs import pressure_reference as reference
from toolkit.logs.channels import CHANNELS
from toolkit.logs.column_values import quantity
from toolkit.logs.question import LogError, Question
from toolkit.logs.remarks import Remark
from toolkit.logs.unit_inference import (
    CANDIDATES,
    MIXTURE_SCALES,
    possible_units,
    power_identity,
)
from toolkit.logs.unit_names import by_volume, inside, kind_fits, unit_of_text
from toolkit.physics.fuel import FUELS

NONE = "none"
ANSWERED = "answered"


@dataclass(frozen=True)
class Settled:
    """What one column is.

    channel: ours, or "" (kept under its own name). confidence: certain, likely, answered, ask or
    unknown. unit, reference: "" while not known. why: the reasons, in words.
    """

    column: str
    channel: str
    confidence: str
    unit: str = ""
    reference: str = ""
    why: str = ""

    @property
    def kind(self):
        """The kind of quantity, "" for a column without a channel."""
        return CHANNELS[self.channel].kind if self.channel else ""

    def because(self, why, **changes):
        """A copy with a further reason, if it is new, and other changes."""
        if why in self.why:
            return replace(self, **changes)
        return replace(self, why=f"{self.why}; {why}" if self.why else why, **changes)


def settle(reading, review):
    """All columns settled as far as the file and the review go, with what is still open.

    Returns (settled, questions, remarks), settled in the order of the columns.
    """
    columns = {c.name: _named(c, review) for c in reading.columns}
    questions, remarks = [], []
    _unique(columns, reading, questions, remarks)
    for name, settled in columns.items():
        columns[name] = _with_unit(settled, reading, review)
    _identity(columns, reading, remarks)
    for name, settled in columns.items():
        questions += _unit_question(settled, reading, columns)
        columns[name] = _with_reference(settled, columns, reading, review)
        questions += _reference_question(columns[name])
    return tuple(columns.values()), tuple(questions), tuple(remarks)


def _named(column, review):
    """The channel of a column, from the review or from its header."""
    decided = review.of_column(column.name, "channel")
    match = names.match(column.header, column.unit)
    stated = {"unit": match.unit, "reference": match.reference}
    if not decided:
        return Settled(column.name, match.channel, match.confidence, why=match.why, **stated)
    if decided not in (*CHANNELS, NONE):
        raise LogError(
            f"the review gives column '{column.name}' the channel '{decided}', which is not known: "
            f"choose one of {', '.join(CHANNELS)} or {NONE}"
        )
    why = review.of_column(column.name, "why") or "decided in the review"
    channel = "" if decided == NONE else decided
    if channel and match.unit and not kind_fits(match.unit, CHANNELS[channel].kind):
        stated["unit"] = ""
    sure = match.confidence if match.channel == decided else ANSWERED
    return Settled(column.name, channel, sure, why=why, **stated)


def _unique(columns, reading, questions, remarks):
    """One column per channel: the power identity, or the person, says which."""
    if _claims(columns, "torque_nm") > 1:
        _engine_torque(columns, reading, remarks)
    candidates = {c.name: names.match(c.header, c.unit).candidates for c in reading.columns}
    for name, settled in list(columns.items()):
        rivals = [s.column for s in columns.values() if s.channel and s.channel == settled.channel]
        if settled.confidence == names.ASK or (len(rivals) > 1 and settled.confidence != ANSWERED):
            header = reading.column(name).header
            repeated = header if header in reading.repeated else ""
            questions.append(_channel_question(name, candidates[name], rivals, repeated))
    asked = {q.key[1] for q in questions}
    for name in asked:
        columns[name] = replace(columns[name], channel="", confidence=names.ASK)


def _claims(columns, channel):
    return sum(s.channel == channel for s in columns.values())


def _channel_question(name, candidates, rivals, repeated):
    others = " and ".join(f"'{r}'" for r in rivals if r != name)
    evidence = f"{others} could be the same." if others else "The name is too general to tell."
    if repeated:
        evidence = f"The header '{repeated}' stands over more than one column."
    kind = CHANNELS[candidates[0]].kind
    alike = [c for c in CHANNELS if CHANNELS[c].kind == kind and c not in candidates]
    choices = tuple((c, CHANNELS[c].words) for c in (*candidates, *alike))
    return Question(
        ("columns", name, "channel"),
        f"What is in the column '{name}'?",
        (*choices, (NONE, "none of these: keep it under its own name")),
        evidence,
    )


def _engine_torque(columns, reading, remarks):
    """Of several torque columns, keep the one that torque x speed = power confirms."""
    torques = [s for s in columns.values() if s.channel == "torque_nm"]
    speed, power = (_only(columns, c) for c in ("speed_rpm", "power_w"))
    if not (len(torques) > 1 and speed and power):
        return
    found = [s for s in torques if _identity_of(s, speed, power, reading).holds]
    if len(found) != 1:
        return
    kept = found[0]
    columns[kept.column] = kept.because(
        "torque x speed gives the power column", confidence="certain"
    )
    for other in torques:
        if other is not kept:
            ratio = _ratio(reading.values(other.column), reading.values(kept.column))
            why = f"it is {ratio} '{kept.column}', whose torque x speed gives the power column"
            columns[other.column] = other.because(why, channel="", confidence=names.UNKNOWN)
            remarks.append(Remark(f"'{other.column}' is not the engine's torque: {why}."))


def _ratio(a, b):
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = a / b
    ratio = ratio[np.isfinite(ratio)]
    if ratio.size and np.ptp(ratio) < 0.02 * abs(np.median(ratio)):
        return f"{np.median(ratio):.3f} times"
    return "no fixed multiple of"


def _only(columns, channel):
    found = [s for s in columns.values() if s.channel == channel]
    return found[0] if len(found) == 1 else None


def _with_unit(settled, reading, review):
    """The unit from the review, the header, or because no other is possible."""
    column = reading.column(settled.column)
    if not settled.channel:
        return settled
    if column.clock and settled.kind != "time":
        why = f"it holds times, not {CHANNELS[settled.channel].words}"
        return settled.because(why, channel="", unit="", confidence=names.UNKNOWN)
    decided = review.of_column(settled.column, "unit")
    if decided:
        said = review.of_column(settled.column, "why")
        why = "" if said else f"unit {decided} decided in the review"
        return settled.because(why, unit=_checked_unit(settled, decided))
    if column.clock:
        return settled.because(f"written as {column.clock}", unit="s")
    if settled.unit == "AFR":
        return settled.because("an air-fuel ratio, on a scale not stated", unit="")
    if by_volume(settled.unit) and settled.kind == "fuel_flow":
        return settled.because(f"the file states {settled.unit}, by volume", unit="")
    if settled.unit:
        return settled.because(f"the file states {settled.unit}")
    fits = possible_units(reading.values(settled.column), settled.channel)
    if len(fits) == 1:
        return settled.because(f"its values are possible only in {fits[0]}", unit=fits[0])
    return settled


def _checked_unit(settled, decided):
    known = unit_of_text(decided)
    for unit in (decided, known[0] if known else ""):
        if unit and kind_fits(unit, settled.kind):
            return unit
    raise LogError(
        f"the review gives column '{settled.column}' the unit '{decided}', "
        f"which does not fit {CHANNELS[settled.channel].words}"
    )


def _identity_of(torque, speed, power, reading):
    rpm = inside(reading.values(speed.column), speed.unit or "rpm", "engine_speed")
    return power_identity(
        reading.values(torque.column),
        rpm,
        reading.values(power.column),
        (torque.unit,) if torque.unit else (),
        (power.unit,) if power.unit else (),
    )


def _identity(columns, reading, remarks):
    """Units of torque and power from torque x speed = power; a remark where it does not hold."""
    torque, speed, power = (_only(columns, c) for c in ("torque_nm", "speed_rpm", "power_w"))
    if not (torque and power and speed and speed.unit):
        return
    found = _identity_of(torque, speed, power, reading)
    pair = f"{found.torque_unit} and {found.power_unit}"
    if found.holds and found.torque_unit:
        why = f"torque x speed = power holds in {pair}"
        columns[torque.column] = torque.because(why, unit=found.torque_unit)
        columns[power.column] = power.because(why, unit=found.power_unit)
        remarks += _off_rows(found, reading, f"torque x speed is not the power (in {pair})")
    elif not found.holds and torque.unit and power.unit:
        remarks.append(_disagreement(found, torque, power))
        columns[power.column] = power.because(
            "torque x speed contradicts it", channel="", confidence=names.UNKNOWN
        )


def _off_rows(found, reading, sentence):
    off = np.flatnonzero(np.abs(found.share - 1) > 0.005)
    if not off.size:
        return []
    rows = tuple(int(r) for r in reading.frame.index[off])
    return [
        Remark(
            f"{sentence} in {off.size} rows, first in row {rows[0]}.",
            rows,
            ("torque_nm", "power_w"),
        )
    ]


def _disagreement(found, torque, power):
    low, high = 100 * np.nanmin(found.share), 100 * np.nanmax(found.share)
    sentence = f"'{torque.column}' x speed is {low:.0f} to {high:.0f} % of '{power.column}': they"
    sentence += " are not the torque and power of one shaft"
    if high - low < 1:
        sentence = f"'{torque.column}' x speed is {(low + high) / 2:.1f} % of '{power.column}'"
        sentence += " throughout: a unit or a scale of the two is wrong"
    sentence += f", so '{power.column}' is not used as power."
    return Remark(sentence, channels=("torque_nm", "power_w"))


def _unit_question(settled, reading, columns):
    settled = columns[settled.column]
    if not settled.channel or settled.unit:
        return []
    values = reading.values(settled.column)
    choices = tuple(
        (u, _meaning(values, u, settled)) for u in possible_units(values, settled.channel)
    )
    evidence = f"The file does not say; its largest value is {_peak(values):.6g}."
    header = names.match(reading.column(settled.column).header, reading.column(settled.column).unit)
    if header.unit and by_volume(header.unit):
        evidence = f"The file says {header.unit}, a volume: its mass depends on the fuel."
        choices = tuple(
            (f"{header.unit} of {fuel.density_kg_m3:.0f} kg/m3", fuel.name)
            for fuel in FUELS.values()
        )
    sentence = f"What is the unit of '{settled.column}' ({CHANNELS[settled.channel].words})?"
    example = CANDIDATES[settled.kind][0]
    return [
        Question(("columns", settled.column, "unit"), sentence, choices, evidence, example=example)
    ]


def _peak(values):
    return float(np.nanmax(values, initial=-np.inf))


def _meaning(values, unit, settled):
    if settled.kind == "lambda":
        return MIXTURE_SCALES[unit]
    return f"its largest value would be {_peak(values):.6g} {unit}"


def _with_reference(settled, columns, reading, review):
    """Gauge or absolute, for a pressure whose unit is known."""
    if settled.kind == "boost" and not settled.reference:
        return settled.because("taken as gauge, as the trade gives it", reference="gauge")
    if settled.kind != "pressure" or not settled.unit:
        return settled
    decided = review.of_column(settled.column, "reference")
    if decided:
        if decided not in ("gauge", "absolute"):
            raise LogError(
                f"the review calls '{settled.column}' '{decided}': write gauge or absolute"
            )
        said = review.of_column(settled.column, "why")
        why = "" if said else f"{decided}: decided in the review"
        return settled.because(why, reference=decided)
    pascal = quantity(settled, reading, review)
    pressure = barometer.stated(columns.values(), reading, review)[0]
    word = "boost" if "boost" in reading.column(settled.column).header.lower() else ""
    off = standing_rows(columns, reading)
    proven, why = reference.judge(pascal, off, pressure, settled.reference, word)
    return settled.because(f"{proven}: {why}" if proven else why, reference=proven)


def standing_rows(columns, reading):
    """Rows with the engine off; none where no speed is known. columns: Settled by name."""
    speed = _only(columns, "speed_rpm")
    if not (speed and speed.unit):
        return np.zeros(len(reading.frame), dtype=bool)
    rpm = inside(reading.values(speed.column), speed.unit, "engine_speed")
    return reference.standing(rpm)


def _reference_question(settled):
    if settled.kind != "pressure" or not settled.unit or settled.reference:
        return []
    choices = (("gauge", "zero is the air around"), ("absolute", "zero is a vacuum"))
    sentence = f"Is '{settled.column}' ({CHANNELS[settled.channel].words}) gauge or absolute?"
    return [
        Question(
            ("columns", settled.column, "reference"),
            sentence,
            choices,
            _sentence(settled.why.rsplit("; ", 1)[-1]),
        )
    ]


def _sentence(text):
    return text[:1].upper() + text[1:] + "."
