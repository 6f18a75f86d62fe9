"""From a saved finding to the story that is published about it."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit import units
from toolkit.analysis import split_words
from toolkit.analysis.split import UNEXPLAINED
from toolkit.analysis.verdict import evidence_of, headline, no_boost, verdicts
from toolkit.charts import comparison as charts
from toolkit.charts import split_picture, style
from toolkit.charts.picture import Mark
from toolkit.explain.headline import Cited, cited_in
from toolkit.explain.kept import Kept, story_of_kept
from toolkit.explain.method_card import method_card
from toolkit.explain.poster import circle_of
from toolkit.explain.story import CAUTIONS, Sentence, Story
from toolkit.logs.channels import CHANNELS, channel_of

_COLOURS = style.run_colour(0), style.run_colour(1)
_PLACE = re.compile(r"(?:at|below|boost at) (\d{3,5}) rpm")


def told(found, system, *, title="", demo=False, **of_comparison):
    """The Story of whatever was saved; of_comparison: what only `story_of` takes."""
    if isinstance(found, Kept):
        return story_of_kept(found, system, title, demo)
    return story_of(found, system, title=title, demo=demo, **of_comparison)


def story_of(finding, system, *, quantity="", title="", notes=(), split=None, demo=False):
    """The Story of a finding in the units of the system.

    quantity: "power_w" or "torque_nm", "" for what was logged. title: the person's headline, ""
    for the finding's own. notes: PlacedNotes to show. split: the Split of the same comparison,
    which says why. demo: the data are invented.
    """
    c = finding.comparison
    # Only the automatic headline is made anew in other units; a person's words are kept.
    anew = finding.system != system and finding.title == headline(c, finding.system)
    own = headline(c, system) if anew else finding.title
    said = title.strip() or own
    cited = (*cited_values(c), *_cited_shares(split, c.range_rpm))
    quantity = quantity or _quantity(said, cited, c)
    drawn = charts.picture(c, system, quantity, notes)
    marked = _marked(drawn, c, quantity, said, cited, system)
    note = (finding.note,) if finding.note else ()
    return Story(
        slug=finding.slug,
        headline=said,
        picture=marked,
        sentences=tuple(_sentence(v) for v in _said(c, split, system)),
        spoken=(*spoken(c, system, quantity), *_spoken_split(split, c, system)),
        cited=cited,
        card=method_card(c, system, demo),
        method=(*note, *_method(c, split)),
        cautions=CAUTIONS,
        table=table(c, system),
        runs=tuple(zip((c.a.name, c.b.name), _COLOURS, strict=True)),
        system=system,
        evidence=_evidence(c, quantity),
        why=split and split_picture.picture(split, system, *c.range_rpm),
        shares=split and _shares(split, system),
        poster=circle_of(c, _telling_speed(said, cited, c), system),
    )


def cited_values(c):
    """Every number of a comparison that a headline may cite."""
    sides, out = (c.a.name, c.b.name), []
    for channel, gain in c.gains.items():
        if channel not in charts.QUANTITIES:
            continue
        word, kind = CHANNELS[channel].words, CHANNELS[channel].kind
        pairs = zip(c.speed_rpm, gain.difference, strict=True)
        out += [
            Cited(f"difference in {word}", float(d), kind, float(x), c.b.name, c.a.name)
            for x, d in pairs
            if np.isfinite(d)
        ]
        for name, peak in zip(sides, c.peaks[channel], strict=True):
            out.append(Cited(f"peak {word} of {name}", peak.value, kind, peak.speed_rpm))
        average, ways = c.average[channel], (None, *sides[::-1])
        share = float(average.difference / average.level_a)
        for value, of in ((float(average.difference), kind), (share, "fraction")):
            out.append(Cited(f"average {word} difference", value, of, *ways))
        out += [
            Cited(
                f"crossover in {word}",
                float(found.speed_rpm),
                "engine_speed",
                None,
                *(sides if found.rising else sides[::-1]),
            )
            for found in c.crossovers[channel]
            if np.isfinite(found.speed_rpm)  # not known over a hole in the bins
        ]
    for name, p in zip(sides, (c.pressures_a, c.pressures_b), strict=True):
        out += _cited_pressures(c, name, p)
    out += [Cited("range of the averages", v, "engine_speed") for v in c.range_rpm]
    counts = dict.fromkeys((c.a.n, c.b.n))
    out += [Cited("number of pulls", n, "number", noun="pull") for n in counts]
    return tuple(cited for cited in out if np.isfinite(cited.value))


def _cited_pressures(c, name, p):
    if p is None:
        return
    for word, values in (("boost", p.boost_gauge_pa), ("back pressure", p.back_gauge_pa)):
        for x, v in zip(c.speed_rpm, values, strict=True):
            if np.isfinite(v):
                yield Cited(f"{word} of {name}", float(v), "boost", float(x))
    for found in (f for f in p.crossings if np.isfinite(f.speed_rpm)):
        yield Cited(f"crossing of {name}", float(found.speed_rpm), "engine_speed")


def _cited_shares(split, range_rpm):
    if split is not None:
        shares, _ = split.average(*range_rpm)
        for cause, share in zip(split.causes, shares, strict=True):
            if np.isfinite(share):
                yield Cited(f"average share of {cause}", float(share), "torque")


def _shares(split, system):
    """Each cause's share along speed, in the person's unit."""
    unit = units.unit_of("torque", system)
    columns = {
        f"Torque {_by(cause)} [{unit}]": units.shown(share, "torque", system)
        for cause, share in zip(split.causes, split.share, strict=True)
    }
    return pd.DataFrame(columns, index=pd.Index(split.speed_rpm, name=charts.X_LABEL))


def _by(cause):
    return "not explained" if cause == UNEXPLAINED else f"by {cause}"


def table(c, system):
    """The comparison along engine speed as a frame in the person's units."""
    columns = {}
    for channel, gain in c.gains.items():
        kind, word = channel_of(channel).kind, channel_of(channel).words
        unit = units.unit_of(kind, system)
        unit = f" [{unit}]" if unit else ""
        step = units.shown(1.0, kind, system) - units.shown(0.0, kind, system)
        for name, level in zip((c.a.name, c.b.name), (gain.level_a, gain.level_b), strict=True):
            columns[f"{name}: {word}{unit}"] = units.shown(level, kind, system)
        columns[f"{c.b.name} less {c.a.name}: {word}{unit}"] = gain.difference * step
        columns[f"{word}, half-width of the band{unit}"] = gain.half_width * step
    return pd.DataFrame(columns, index=pd.Index(c.speed_rpm, name=charts.X_LABEL))


def _said(c, split, system):
    """The sentences of the comparison, then why."""
    yield from verdicts(c, system)
    if split is not None:
        yield from split_words.sentences(split, system, *c.range_rpm)


def _spoken_split(split, c, system):
    """The largest clear causes, in sentences short enough to be spoken."""
    if split is None:
        return
    share, half = split.average(*c.range_rpm)
    total = units.text(abs(float(share.sum())), "torque", system)
    way = "more" if share.sum() > 0 else "less"
    # No leader is claimed within the scatter.
    makes = "makes" if c.average["torque_nm"].clear else "reads"
    clear = [k for k in np.argsort(-np.abs(share)) if abs(share[k]) > half[k]]
    for k in clear[:2]:
        size, cause = units.text(abs(share[k]), "torque", system), split.causes[k]
        part = "gives" if share[k] > 0 else "takes"
        words = split_words.words_of(cause)
        comma = "," * ("," in words)
        text = (
            f"On average {split.name_b} {makes} {total} {way} torque: {words}{comma} {part} {size}."
        )
        yield Sentence(text, split_words.evidence_of(split, cause))


def _sentence(verdict):
    place = _PLACE.search(verdict.text)
    return Sentence(verdict.text, verdict.evidence, float(place[1]) if place else None)


def _quantity(text, cited, c):
    """What the headline speaks of, power or torque; else the first that both sides have."""
    kinds = [found.kind for found in cited_in(text, cited)]
    present = [q for q in charts.QUANTITIES if q in c.gains] or ["torque_nm"]
    return next((q for k in kinds for q in present if CHANNELS[q].kind == k), present[0])


def _evidence(c, quantity):
    """The evidence word of a headline: a comparison within its scatter decides nothing."""
    gain = c.gains.get(quantity)
    inside = (c.speed_rpm >= c.range_rpm[0]) & (c.speed_rpm <= c.range_rpm[1])
    if gain is None or not gain.clear[inside].any():
        return "cannot tell"
    return evidence_of(c)


def spoken(c, system, quantity):
    """What a comparison says, in sentences short enough to be spoken over a clip."""
    if quantity in c.gains:
        kind, found = CHANNELS[quantity].kind, c.crossovers[quantity]
        for x in (f for f in found if np.isfinite(f.speed_rpm)):
            leads = c.a.name if x.rising else c.b.name
            word = evidence_of(c) if x.known else "cannot tell"
            yield Sentence(f"Below {x.speed_rpm:.0f} rpm {leads} leads.", word, x.speed_rpm)
        yield _spoken_average(c, quantity, kind, system)
    for name, p in zip((c.a.name, c.b.name), (c.pressures_a, c.pressures_b), strict=True):
        yield from _spoken_pressures(c, name, p, system)


def _spoken_average(c, quantity, kind, system):
    average, low, high = c.average[quantity], *c.range_rpm
    over = f"from {low:.0f} to {high:.0f} rpm"
    if not np.isfinite(average.difference):
        return Sentence(f"Not every pull has rows {over}: no average is told.", "cannot tell")
    if not np.isfinite(average.half_width):
        return Sentence(
            f"On average {over} the scatter is unknown: too few pulls for a claim.", "cannot tell"
        )
    if not average.clear:
        return Sentence(f"On average {over} the difference is within the scatter.", "cannot tell")
    size = units.text(abs(float(average.difference)), kind, system)
    way = "more" if average.difference > 0 else "less"
    text = f"On average {over} {c.b.name} makes {size} {way}."
    return Sentence(text, evidence_of(c))


def _spoken_pressures(c, name, p, system):
    if p is None:
        yield Sentence(f"Back pressure on {name} was not logged.", "cannot tell")
        return
    if no_boost(c, p):
        yield Sentence(f"{name} made no boost in the range.", "measured")
        return
    for x in (f for f in p.crossings if f.rising and np.isfinite(f.speed_rpm)):
        text = f"On {name} back pressure passes boost at {x.speed_rpm:.0f} rpm."
        yield Sentence(text, "measured" if x.known else "cannot tell", x.speed_rpm)
    known = np.flatnonzero(np.isfinite(p.back_gauge_pa) & np.isfinite(p.boost_gauge_pa))
    if known.size:
        back, boost = (
            units.text(v[known[-1]], "boost", system) for v in (p.back_gauge_pa, p.boost_gauge_pa)
        )
        top = float(c.speed_rpm[known[-1]])
        text = f"At {top:.0f} rpm {name} has {back} of back pressure, {boost} of boost."
        yield Sentence(text, "measured", top)


def _telling_speed(text, cited, c):
    """The engine speed that the headline speaks of, else the upper end of the averages."""
    spoken = cited_in(text, cited)
    return spoken[0].at_rpm if spoken else c.range_rpm[1]


def _method(c, split):
    gain = next(iter(c.gains.values()))
    level = f"{c.settings.confidence:.0%}"
    yield (
        "Each pull was averaged in bins of engine speed; nothing was smoothed, filled or left out "
        f"before comparing. The band is the {level} band of the difference of means by "
        f"{gain.method}; where a side has one pull the scatter is unknown and no claim is made."
    )
    if c.reference == "observed":
        yield "Power and torque are as observed in the weather of the day."
    else:
        yield (
            f"Power and torque are corrected to {c.reference}. Such factors were made for engines "
            "without boost and can be off where a gate holds the boost."
        )
    if split is not None:
        yield (
            "The difference was split among its causes by Shapley's rule, the average over all "
            f"orders of changing them; the breathing slope is from {split.slope.source}. A share "
            "whose band reaches zero is answered with 'cannot tell'."
        )
        yield from split_words.to_log(split)
    logs = dict.fromkeys((r.run, r.sha256) for side in (c.a, c.b) for r in side.repeats)
    names = ", ".join(f"{run} (SHA-256 {sha[:12]})" if sha else run for run, sha in logs)
    yield f"The logs: {names}."


def _marked(picture, c, quantity, said, cited, system):
    """The picture under this headline, with what the headline cites marked on it."""
    level, *others = picture.panels
    marks = [_gain_mark(m, c, quantity, system) for m in cited_in(said, cited)]
    level = replace(level, marks=(*level.marks, *(m for m in marks if m is not None)))
    return replace(picture, finding=said, panels=(level, *others))


def _gain_mark(cited, c, quantity, system):
    """The gap that the headline cites, marked on the leading curve."""
    if cited.kind != CHANNELS[quantity].kind or not cited.than:
        return None
    at = int(np.argmin(np.abs(c.speed_rpm - cited.at_rpm)))
    gain = c.gains[quantity]
    top = max(gain.level_a[at], gain.level_b[at])
    sign = "+" if cited.value > 0 else "−"
    words = f"{sign}{units.text(abs(cited.value), cited.kind, system)} at {cited.at_rpm:.0f} rpm"
    y = float(units.shown(top, cited.kind, system))
    return Mark(float(c.speed_rpm[at]), y, words, align="right")
