"""A comparison in plain sentences, each with its evidence word, in the person's units."""

from dataclasses import dataclass

import numpy as np

from toolkit import units
from toolkit.analysis.repeats import OBSERVED
from toolkit.logs.channels import pressure_of
from toolkit.logs.pressure_reference import LEAST_BOOST_PA

MEASURED, WORKED_OUT, ESTIMATED = "measured", "worked out", "estimated"
CANNOT_TELL = "cannot tell"
# A charge that has warmed by this much [K] has lost about 1 % of its density (common practice).
SOAK_K = 3.0
_KIND = {"torque_nm": "torque", "power_w": "power", "spark_deg": "angle", "lam": "lambda"}
_WORD = {"torque_nm": "torque", "power_w": "power", "spark_deg": "spark", "lam": "lambda"}


@dataclass(frozen=True)
class Verdict:
    """subject: a short key; text: one sentence; evidence: one of the evidence words."""

    subject: str
    text: str
    evidence: str


def verdicts(comparison, system):
    """What the comparison says, the most important first."""
    c = comparison
    out = [
        _average(c, channel, system) for channel in ("power_w", "torque_nm") if channel in c.gains
    ]
    out += [_peaks(c, channel, system) for channel in c.peaks]
    out += [v for channel in c.crossovers for v in _crossovers(c, channel)]
    out += [_pressures(c, side, system) for side in ("a", "b")]
    out += [_left_out(side, gone) for side in (c.a, c.b) for gone in side.left_out]
    out += [_unlike(c, unlike, system) for unlike in c.unlike]
    out += [_drift(c, system)] if c.drift_corrected else []
    out += [Verdict("warning", _sentence(w), MEASURED) for w in c.warnings]
    return tuple(out)


def headline(comparison, system):
    """The finding in one line, from power along speed.

    Says "scatter unknown" with one pull a side, and no clear difference where there is none.
    """
    c, a, b = comparison, comparison.a.name, comparison.b.name
    channel = "power_w"
    if channel not in c.gains:
        return f"{a} against {b}: torque was not logged on both sides"
    gain = c.gains[channel]
    inside = (c.speed_rpm >= c.range_rpm[0]) & (c.speed_rpm <= c.range_rpm[1])
    if not np.isfinite(gain.half_width[inside]).any():
        return f"{a} against {b}: too few pulls, scatter unknown"
    clear = np.flatnonzero(gain.clear & inside)
    if not len(clear):
        return f"{a} and {b}: no difference beyond the scatter"
    upper = clear[clear >= _upper(c, channel)]
    told = upper if len(upper) else clear  # the range may end below the crossover
    best = told[np.argmax(np.abs(gain.difference[told]))]
    d = gain.difference[best]
    more = units.text(abs(d), _KIND[channel], system)
    leader, other = (b, a) if d > 0 else (a, b)
    at = f"{leader} makes {more} more at {c.speed_rpm[best]:.0f} rpm"
    found = c.crossovers.get(channel, ())
    if len(found) != 1 or not found[0].known:
        return at
    below, above = _leads(found[0])
    return f"{at}; {other} leads {below if len(upper) else above} rpm"


def _leads(found):
    """Where each side leads: below and above the crossing, or as far as is seen over a hole."""
    if np.isfinite(found.speed_rpm):
        return f"below {found.speed_rpm:.0f}", f"above {found.speed_rpm:.0f}"
    return f"up to {found.low_rpm:.0f}", f"from {found.high_rpm:.0f}"


def evidence_of(c):
    """The evidence word of a power or torque of a comparison."""
    return WORKED_OUT if c.drift_corrected or c.reference != OBSERVED else MEASURED


def no_boost(c, p):
    """Whether Pressures of a comparison show no boost anywhere up to the end of its range."""
    boost = p.boost_gauge_pa[np.isfinite(p.boost_gauge_pa) & (c.speed_rpm <= c.range_rpm[1])]
    return bool(len(boost)) and bool((boost <= LEAST_BOOST_PA).all())


def _upper(c, channel):
    """Index above the only crossover, 0 where there is none or several."""
    found = c.crossovers.get(channel, ())
    return np.searchsorted(c.speed_rpm, found[0].high_rpm) if len(found) == 1 else 0


def gain_words(gain, name_a, name_b, kind, system):
    """(text, evidence) of one number's gain: which makes more, the band, the base, or why not.

    >>> from toolkit.analysis.scatter import welch
    >>> one = welch([500e3], [504e3])
    >>> gain_words(one, "Small", "Large", "power", "SI")[0]
    'Large reads 4 kW more than Small (1 and 1 pulls): scatter unknown, so no claim'
    """
    d, half = float(gain.difference), float(gain.half_width)
    if not np.isfinite(d):
        return f"{name_a} against {name_b}: not every pull covers the range", CANNOT_TELL
    sign = "more" if d >= 0 else "less"
    size = units.text(abs(d), kind, system)
    counts = f"{int(gain.n_a)} and {int(gain.n_b)} pulls"
    reads = f"{name_b} reads {size} {sign} than {name_a}"
    if not np.isfinite(half):
        return f"{reads} ({counts}): scatter unknown, so no claim", CANNOT_TELL
    if not gain.clear:
        band = f"within the 95 % band of ±{units.text(half, kind, system)}"
        return f"{reads}, {band} ({counts}): not distinguishable from scatter", CANNOT_TELL
    low, high = sorted(abs(v) for v in (float(gain.low), float(gain.high)))
    band = units.span(low, high, kind, system)
    percent = 100 * abs(d) / abs(float(gain.level_a))
    text = f"{name_b} makes {size} {sign} than {name_a} ({percent:.1f} % of {name_a})"
    evidence = WORKED_OUT if np.any(gain.drift) else MEASURED
    return f"{text}, 95 % band {band}, {counts}", evidence


def _average(c, channel, system):
    kind = _KIND[channel]
    text, evidence = gain_words(c.average[channel], c.a.name, c.b.name, kind, system)
    low, high = c.range_rpm
    text = f"Averaged by speed from {low:.0f} to {high:.0f} rpm, {text}."
    if c.reference != OBSERVED and evidence == MEASURED:
        evidence = WORKED_OUT
    return Verdict(f"average {kind}", text, evidence)


def _peaks(c, channel, system):
    kind = _KIND[channel]
    parts = [
        f"{side.name} {units.text(peak.value, kind, system)} at {peak.speed_rpm:.0f} rpm"
        for side, peak in zip((c.a, c.b), c.peaks[channel], strict=True)
    ]
    return Verdict(f"peak {kind}", f"Peak {kind}: {', '.join(parts)}.", evidence_of(c))


def _crossovers(c, channel):
    for found in c.crossovers[channel]:
        below, above = (c.a.name, c.b.name) if found.rising else (c.b.name, c.a.name)
        word = _WORD[channel]
        if np.isfinite(found.speed_rpm):
            where = f"{found.speed_rpm:.0f} rpm ({found.low_rpm:.0f} to {found.high_rpm:.0f})"
            text = f"In {word} {below} leads below {where} and {above} above it"
        else:
            low, high = _leads(found)
            text = f"In {word} {below} leads {low} rpm and {above} {high} rpm, with a hole between"
        if found.known:
            yield Verdict(f"crossover {word}", f"{text}.", evidence_of(c))
        else:
            yield Verdict(f"crossover {word}", f"{text}; scatter unknown.", CANNOT_TELL)


def _at(found):
    if np.isfinite(found.speed_rpm):
        return f"at {found.speed_rpm:.0f} rpm"
    return f"between {found.low_rpm:.0f} and {found.high_rpm:.0f} rpm"


def _pressures(c, which, system):
    side, p = (c.a, c.pressures_a) if which == "a" else (c.b, c.pressures_b)
    subject = f"back pressure {side.name}"
    if p is None:
        text = (
            f"Back pressure of {side.name} cannot be judged: log manifold and exhaust pressure, "
            "and say in Log review what each is measured from."
        )
        return Verdict(subject, text, CANNOT_TELL)
    known = np.isfinite(p.ratio_absolute) | np.isfinite(p.ratio_gauge)
    if not (known & (c.speed_rpm <= c.range_rpm[1])).any() or no_boost(c, p):
        text = f"Back pressure of {side.name} cannot be judged: there was no boost in the range."
        return Verdict(subject, text, CANNOT_TELL)
    top = np.flatnonzero(known & (c.speed_rpm <= c.range_rpm[1]))[-1]
    ends = {pressure_of(gone.channel) for gone in side.left_out} & {"p_manifold_pa", "p_exhaust_pa"}
    far = ", as far as the sensors reach" * bool(ends)
    text = f"On {side.name} back pressure {_passes(p)}{far}; at {c.speed_rpm[top]:.0f} rpm it is "
    if np.isfinite(p.ratio_gauge[top]):
        back = units.text(p.back_gauge_pa[top], "boost", system)
        boost = units.text(p.boost_gauge_pa[top], "boost", system)
        text += f"{back} against {boost} of boost, ratio {p.ratio_gauge[top]:.2f} gauge and "
    else:
        text += "(barometer or boost missing) ratio not known gauge and "
    if np.isfinite(p.ratio_absolute[top]):
        return Verdict(subject, f"{text}{p.ratio_absolute[top]:.2f} absolute.", MEASURED)
    text += "not known absolute: the barometer is missing."
    return Verdict(subject, text, MEASURED)


def _left_out(side, gone):
    return Verdict(f"sensor {side.name}", f"On {side.name} {gone.sentence}", CANNOT_TELL)


def _passes(p):
    if p.crossings:
        ways = [f"{'passes' if f.rising else 'falls below'} boost {_at(f)}" for f in p.crossings]
        if len(ways) > 3:
            return f"crosses boost {len(ways)} times and {ways[-1]}"
        return f"{', '.join(ways[:-1])} and {ways[-1]}" if len(ways) > 1 else ways[0]
    ratio = np.where(np.isfinite(p.ratio_absolute), p.ratio_absolute, p.ratio_gauge)
    over = ratio[np.isfinite(ratio)] > 1
    if over.all():
        return "is above boost throughout"
    most = f"is {'above' if over.mean() > 0.5 else 'below'} boost over most of the speeds"
    return most if over.any() else "stays below boost"


def _unlike(c, unlike, system):
    word = _WORD[unlike.channel]
    if not unlike.logged:
        text = f"Whether {word} was equal cannot be told: log it on both sides."
        return Verdict(f"equal {word}", text, CANNOT_TELL)
    kind = _KIND[unlike.channel]
    limit = units.text(unlike.limit, kind, system)
    if not unlike.ranges:
        return Verdict(f"equal {word}", f"{word.capitalize()} agrees within {limit}.", MEASURED)
    where = ", ".join(f"{low:.0f} to {high:.0f} rpm" for low, high in unlike.ranges)
    worst = units.text(unlike.worst, kind, system)
    text = f"Not a like-for-like test: {word} differs by more than {limit} at {where}"
    text += f" (by {worst} at {unlike.worst_rpm:.0f} rpm, {c.b.name} less {c.a.name})."
    return Verdict(f"equal {word}", text, MEASURED)


def _drift(c, system):
    text = "One side was run before and after the other; the difference is corrected for drift"
    power, charge = (_drifted(c, channel) for channel in ("power_w", "t_charge_k"))
    if np.isfinite(power):
        size = units.text(abs(power), "power", system)
        text += f": over {_span(c):.1f} h both {'rose' if power > 0 else 'fell'} by {size}"
    if power < 0 and charge > SOAK_K:
        warmer = units.text(charge, "temperature_difference", system)
        text += f" while the charge became {warmer} warmer, which is heat soak"
    return Verdict("drift", text + ".", WORKED_OUT)


def _drifted(c, channel):
    """What the session's drift changed an average by, from the first pull to the last; NaN."""
    return float(c.average[channel].drift) * _span(c) if channel in c.average else np.nan


def _span(c):
    """Hours from the first pull to the last."""
    hours = [r.hour for side in (c.a, c.b) for r in side.repeats]
    return max(hours) - min(hours)


def _sentence(text):
    return text[0].upper() + text[1:] + "."
