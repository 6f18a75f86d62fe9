"""A split in plain sentences, one a cause, each with its evidence word; and what to log next."""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.analysis.split import UNEXPLAINED
from toolkit.analysis.verdict import CANNOT_TELL, ESTIMATED, WORKED_OUT, Verdict

_WORDS = {
    "boost": "manifold pressure",
    "pumping": "back pressure, through pumping",
    "breathing": "back pressure, through breathing",
    "charge temperature": "charge temperature",
    "mixture": "the mixture",
    "spark": "spark",
    "weather": "moisture in the air",
    UNEXPLAINED: "what these channels do not explain",
}
_EVIDENCE = {"mixture": ESTIMATED, "spark": ESTIMATED, UNEXPLAINED: WORKED_OUT}
_LOG = {
    "pumping": "exhaust manifold pressure",
    "charge temperature": "charge temperature in the manifold",
    "mixture": "lambda",
    "spark": "spark",
    "weather": "barometer, temperature and humidity of the cell",
}


def sentences(split, system, low_rpm, high_rpm):
    """One Verdict a cause for the average over a range, the largest share first."""
    share, half = split.average(low_rpm, high_rpm)
    order = sorted(range(len(split.causes)), key=lambda k: -abs(share[k]))
    return tuple(_sentence(split, k, share[k], half[k], system) for k in order)


def evidence_of(split, cause):
    """The evidence word of a share whose band does not reach zero."""
    if cause == "breathing":
        return split.slope.evidence
    return _EVIDENCE.get(cause, WORKED_OUT)


def _sentence(split, k, share, half, system):
    cause, unit = split.causes[k], units.unit_of("torque", system)
    if not np.isfinite(share):
        return Verdict(cause, f"{_title(cause)}: not known over this range.", CANNOT_TELL)
    amount, band = (float(units.shown(v, "torque", system)) for v in (abs(share), half))
    if not np.isfinite(band):
        text = f"{_title(cause)}: {amount:.1f} {unit}, but the scatter is unknown: repeat the pull."
        return Verdict(cause, text, CANNOT_TELL)
    if amount <= band:
        text = f"{_title(cause)}: cannot tell, {_signed(share, amount)} ± {band:.1f} {unit}."
        return Verdict(cause, text, CANNOT_TELL)
    text = (
        f"{_title(cause)} {_way(share)} {split.name_b} {amount:.1f} ± {band:.1f} {unit} against "
        f"{split.name_a}."
    )
    return Verdict(cause, text, evidence_of(split, cause))


def words_of(cause):
    """A cause as it is called within a sentence."""
    return _WORDS[cause]


def gap(split, system, low_rpm, high_rpm):
    """(words, clear): the measured difference, with a leader only where it is beyond its band.

    The band is that of torque itself: what is wrong in a cause only moves its share to another.
    """
    low, high = low_rpm, high_rpm
    whole = replace(
        split, share=split.share.sum(axis=0, keepdims=True),
        errors=split.errors.sum(axis=1, keepdims=True),
    )  # fmt: skip
    (total,), (half,) = whole.average(low, high)
    size = units.text(abs(float(total)), "torque", system)
    way = "more" if total >= 0 else "less"
    over = f"from {low:.0f} to {high:.0f} rpm"
    if abs(total) > half:
        first, other = split.name_b, split.name_a
        if total < 0:
            first, other = other, first
        return f"{first} makes {size} more than {other} {over}", True
    text = f"{split.name_b} reads {size} {way} than {split.name_a} {over}"
    if not np.isfinite(half):
        return f"{text}: scatter unknown, so no claim", False
    return f"{text}, within ± {units.text(float(half), 'torque', system)}: cannot tell", False


def _title(cause):
    words = _WORDS[cause]
    return words[0].upper() + words[1:]


def _way(share):
    return "gives" if share > 0 else "takes"


def _signed(share, amount):
    return f"{'+' if share >= 0 else '−'}{amount:.1f}"


def to_log(split):
    """What cannot be separated for want of a channel, and what to log, in sentences."""
    out = []
    for cause in split.not_logged:
        if cause == "breathing":
            continue  # the same channel as pumping
        words = "back pressure" if cause == "pumping" else _WORDS[cause].removeprefix("the ")
        out.append(
            f"The part of {words} cannot be split off: it is in the unexplained share. "
            f"Log {_LOG[cause]} on both runs."
        )
    if "breathing" in split.causes and "air flow" not in split.slope.source:
        out.append(
            f"How far back pressure costs breathing is estimated ({split.slope.source}): "
            "log air flow to sharpen it."
        )
    return tuple(out)


def headline(split, system, low_rpm, high_rpm):
    """The split in one line: the measured gap and its largest clear cause."""
    share, half = split.average(low_rpm, high_rpm)
    said, led = gap(split, system, low_rpm, high_rpm)
    clear = [k for k in range(len(share)) if abs(share[k]) > half[k]]
    if not clear:
        return f"{said}; no single cause is clear"
    most = max(clear, key=lambda k: abs(share[k]))
    amount = units.text(abs(share[most]), "torque", system)
    cause = _WORDS[split.causes[most]]
    if not led:
        return f"{said}; {cause} {_way(share[most])} {split.name_b} {amount}"
    way = "for" if share[most] * share.sum() > 0 else "against"
    return f"{said}; {cause} counts {amount} {way} it"
