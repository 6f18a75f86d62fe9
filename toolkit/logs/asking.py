"""The questions about single columns: what it is, in which unit, gauge or absolute."""

import numpy as np

from toolkit.logs import channels as names
from toolkit.logs.channels import CHANNELS
from toolkit.logs.question import Question
from toolkit.logs.unit_inference import CANDIDATES, MIXTURE_SCALES, possible_units
from toolkit.logs.unit_names import by_volume
from toolkit.physics.fuel import FUELS

NONE = "none"


def about_channel(column, repeated, candidates, rivals):
    """What a column is, where its name fits several channels or several columns one."""
    others = " and ".join(f"'{r}'" for r in rivals if r != column.name)
    evidence = f"{others} could be the same." if others else "The name is too general to tell."
    if column.header in repeated:
        evidence = f"The header '{column.header}' stands over more than one column."
    kind = CHANNELS[candidates[0]].kind
    alike = [c for c in CHANNELS if CHANNELS[c].kind == kind and c not in candidates]
    choices = [(c, CHANNELS[c].words) for c in (*candidates, *alike)]
    choices.append((NONE, "none of these: keep it under its own name"))
    sentence = f"What is in the column '{column.name}'?"
    return Question(("columns", column.name, "channel"), sentence, tuple(choices), evidence)


def about_unit(settled, column, values):
    """The unit of a column, with the common ones that its numbers allow."""
    stated = names.match(column.header, column.unit).unit
    if stated and by_volume(stated):
        evidence = f"The file says {stated}, a volume: its mass depends on the fuel."
        choices = [(f"{stated} of {f.density_kg_m3:.0f} kg/m3", f.name) for f in FUELS.values()]
    elif stated == "lambda":
        evidence = f"The file says lambda; its largest value is {_peak(values):.6g}."
        fits = [u for u in possible_units(values, settled.channel) if u != stated]
        choices = [(u, _meaning(values, u, settled.kind)) for u in (*fits, stated)]
    else:
        evidence = f"The file does not say; its largest value is {_peak(values):.6g}."
        fits = possible_units(values, settled.channel) or CANDIDATES[settled.kind]
        choices = [(u, _meaning(values, u, settled.kind)) for u in fits]
    sentence = f"What is the unit of '{column.name}' ({CHANNELS[settled.channel].words})?"
    example = CANDIDATES[settled.kind][0]
    key = ("columns", column.name, "unit")
    return Question(key, sentence, tuple(choices), evidence, example=example)


def _peak(values):
    return float(np.nanmax(values, initial=-np.inf))


def _meaning(values, unit, kind):
    if kind == "lambda":
        return MIXTURE_SCALES[unit]
    return f"its largest value would be {_peak(values):.6g} {unit}"


def about_reference(settled, why):
    """Whether a pressure is gauge or absolute; why: what the file does say."""
    sentence = f"Is '{settled.column}' ({CHANNELS[settled.channel].words}) gauge or absolute?"
    choices = (("gauge", "zero is the air around"), ("absolute", "zero is a vacuum"))
    return Question(("columns", settled.column, "reference"), sentence, choices, as_sentence(why))


def about_zero(settled, at_rest_pa, barometer_pa):
    """How far a pressure sensor's zero is off, where it reads neither zero nor the barometer
    with the engine off [Pa]."""
    sentence = f"What does '{settled.column}' ({CHANNELS[settled.channel].words}) read wrongly?"
    choices = tuple(
        (f"{offset / 1000:.2f} kPa", f"it is {word}; {offset / 1000:+.2f} kPa puts its zero right")
        for word, offset in (("absolute", barometer_pa - at_rest_pa), ("gauge", -at_rest_pa))
    )
    evidence = f"With the engine off it reads {at_rest_pa / 1000:.2f} kPa, the barometer "
    evidence += f"{barometer_pa / 1000:.2f} kPa."
    return Question(("columns", settled.column, "offset"), sentence, choices, evidence)


def as_sentence(text):
    """The text with a capital and a full stop.

    >>> as_sentence("it reads 2 kPa")
    'It reads 2 kPa.'
    """
    return text[:1].upper() + text[1:] + "."
