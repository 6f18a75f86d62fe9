"""What each column of a reading is: channel, unit, gauge or absolute, each with its reason.

A decision in the review stands; what the file proves comes next; the rest is asked.
"""

from dataclasses import replace

import numpy as np

from toolkit.logs import asking, barometer, power_check
from toolkit.logs import channels as names
from toolkit.logs import pressure_reference as reference
from toolkit.logs.asking import NONE
from toolkit.logs.channels import CHANNELS
from toolkit.logs.column_values import quantity
from toolkit.logs.question import LogError
from toolkit.logs.settled import Settled, only
from toolkit.logs.unit_inference import possible_units
from toolkit.logs.unit_names import by_volume, inside, kind_fits, unit_of_text

ANSWERED = "answered"


def settle(reading, review):
    """All columns settled as far as the file and the review go, with what is still open.

    Returns (settled, questions, remarks), settled in the order of the columns.
    """
    columns = {c.name: _named(c, review) for c in reading.columns}
    remarks = power_check.engine_torque(columns, reading)
    questions = _unique(columns, reading, review)
    for name in columns:
        columns[name] = _with_unit(columns[name], reading, review)
    remarks += power_check.settle_units(columns, reading)
    for name in columns:
        if columns[name].channel and not columns[name].unit:
            column, values = reading.column(name), reading.values(name)
            questions.append(asking.about_unit(columns[name], column, values))
        columns[name], asked = _with_reference(columns[name], columns, reading, review)
        questions += asked
    return tuple(columns.values()), tuple(questions), tuple(remarks)


def standing_rows(columns, reading):
    """Rows with the engine off; none where no speed is known. columns: Settled, in any order."""
    speed = only(columns, "speed_rpm")
    if not (speed and speed.unit):
        return np.zeros(len(reading.frame), dtype=bool)
    rpm = inside(reading.values(speed.column), speed.unit, "engine_speed")
    return reference.standing(rpm)


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


def _unique(columns, reading, review):
    """Questions about columns of which several could be one channel, or whose name says little.

    Such columns lose their channel until the answer. Raises LogError where the review itself
    gives one channel to two columns.
    """
    questions = []
    for column in reading.columns:
        settled = columns[column.name]
        rivals = [s.column for s in columns.values() if s.channel and s.channel == settled.channel]
        decided = [r for r in rivals if review.of_column(r, "channel")]
        if len(decided) > 1:
            raise LogError(
                f"the review gives '{decided[0]}' and '{decided[1]}' the same channel, "
                f"{settled.channel}: change one of them, or set it to {NONE}"
            )
        open_rivals = len(rivals) > 1 and column.name not in decided
        if settled.confidence == names.ASK or open_rivals:
            candidates = names.match(column.header, column.unit).candidates
            questions.append(asking.about_channel(column, reading.repeated, candidates, rivals))
    for question in questions:
        name = question.key[1]
        columns[name] = replace(columns[name], channel="", confidence=names.ASK)
    return questions


def _with_unit(settled, reading, review):
    """The unit from the review, the header, or because no other is possible."""
    column = reading.column(settled.column)
    if not settled.channel:
        return settled
    if column.clock and settled.kind != "time":
        why = f"it holds times, not {CHANNELS[settled.channel].words}"
        return settled.because(why, channel="", unit="", confidence=names.UNKNOWN)
    if np.isnan(reading.values(settled.column)).all():
        return settled.because("it holds no number", channel="", unit="", confidence=names.UNKNOWN)
    decided = review.of_column(settled.column, "unit")
    if decided:
        said = review.of_column(settled.column, "why")
        why = "" if said else f"unit {decided} decided in the review"
        return settled.because(why, unit=_checked_unit(settled, decided))
    if column.clock:
        return settled.because(f"written as {column.clock}", unit="s")
    if settled.unit == "AFR":
        return settled.because("an air-fuel ratio, on a scale not stated", unit="")
    if settled.unit == "lambda" and names.no_lambda(reading.values(settled.column)):
        return settled.because("its values are too large for lambda", unit="")
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


def _with_reference(settled, columns, reading, review):
    """(gauge or absolute, for a pressure whose unit is known; questions about it)."""
    if settled.kind == "boost" and not settled.reference:
        return settled.because("taken as gauge, as the trade gives it", reference="gauge"), []
    if settled.kind != "pressure" or not settled.unit:
        return settled, []
    decided = review.of_column(settled.column, "reference")
    if decided:
        return _told(settled, decided, review), []
    pascal, off = quantity(settled, reading, review), standing_rows(columns.values(), reading)
    pressure = barometer.stated(columns.values(), reading, review)[0]
    word = "boost" if "boost" in reading.column(settled.column).header.lower() else ""
    proven, why = reference.judge(pascal, off, pressure, settled.reference, word)
    if proven:
        return settled.because(f"{proven}: {why}", reference=proven), []
    rest = reference.at_rest(pascal, off)
    if np.isfinite([rest, pressure]).all() and not review.of_column(settled.column, "offset"):
        question = asking.about_zero(settled, rest, pressure)
    else:
        question = asking.about_reference(settled, why)
    return settled.because(why, reference=""), [question]


def _told(settled, decided, review):
    if decided not in ("gauge", "absolute"):
        raise LogError(f"the review calls '{settled.column}' '{decided}': write gauge or absolute")
    said = review.of_column(settled.column, "why")
    return settled.because("" if said else f"{decided}: decided in the review", reference=decided)
