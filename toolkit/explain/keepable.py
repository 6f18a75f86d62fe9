"""What is worth keeping of a match, a gate's verdict, a what-if, a pull on the road: a Kept."""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.analysis import road, sizing, whatif
from toolkit.analysis.gate_log import along
from toolkit.charts import gate_picture, road_picture, sizing_pictures, style, what_if
from toolkit.explain.headline import Cited
from toolkit.explain.kept import Kept
from toolkit.explain.story import Sentence

MATCH, GATE, WHAT_IF, ROAD = "match", "gate verdict", "what if", "on the road"


def of_match(made, system, sources=()):
    """The Kept of a sizing sheet's build.pull.Pull: every candidate on one engine."""
    drawn = sizing_pictures.candidates_picture(made, system)
    found = sizing.candidates(made)
    build, names = made.build, ", ".join(made.names)
    engine = units.text(build.engine.displacement_m3, "displacement", system)
    card = (
        ("Changed", names if len(found) > 1 else f"nothing: {names} alone"),
        ("Kept", f"one engine of {engine}, fuel {build.fuel.name}, {_weather(build, system)}"),
        ("Target", f"{_boosts(made.target_gauge_pa, system)} of boost"),
        ("Not measured", "nothing here was: worked out from the build and its maps"),
    )
    return Kept(
        MATCH, system, replace(drawn, panels=drawn.panels[:3]),
        tuple(Sentence(sizing.sentence(c, found, system), "worked out") for c in found),
        tuple(n for c in found for n in _cited_candidate(c)),
        tuple((c.name, style.run_colour(j)) for j, c in enumerate(found)), card,
        ("Every point is the balance of turbine and compressor on their maps, with the gate's "
         "forces; steady, one speed at a time. A sweep or a car has its boost later.",),
        "worked out", sources,
    )  # fmt: skip


def _weather(build, system):
    w = build.weather
    pressure = units.text(w.p_cell_pa, "barometer", system)
    return f"{pressure}, {units.text(w.t_cell_k, 'temperature', system)}"


def _boosts(target, system):
    low, high = float(np.min(target)), float(np.max(target))
    alone = units.text(low, "boost", system)
    return alone if low == high else units.span(low, high, "boost", system)


def _cited_candidate(c):
    numbers = (
        ("most power", c.power_w, "power", c.power_rpm),
        ("speed of its most power", c.power_rpm, "engine_speed", None),
        ("boost threshold", c.threshold_rpm, "engine_speed", None),
        ("boost", c.boost_gauge_pa, "boost", c.top_rpm),
        ("back pressure", c.back_gauge_pa, "boost", c.top_rpm),
    )
    return [Cited(f"{words} of {c.name}", float(v), kind, at) for words, v, kind, at in numbers
            if np.isfinite(v)]  # fmt: skip


def of_gate(result, log, target_gauge_pa, fitted, tried, system, sources=()):
    """The Kept of a gate's verdict: analysis.gate_check.Verdict on a GateLog, the gate as it was
    fitted and the one that is tried."""
    lines = (along(gate, log, target_gauge_pa) for gate in (fitted, tried))
    drawn = gate_picture.window(log, target_gauge_pa, *lines, system)
    headline, _, rest = result.sentence.partition(". ")
    said = [Sentence(result.sentence, "worked out")]
    said += [
        Sentence(f"{'For' if e.supports else 'Against'} '{e.about}': {e.text}", e.word)
        for e in result.evidence
    ]
    spoken = [said[0], *(Sentence(e.text, e.word) for e in result.evidence if e.supports)]
    springs = tuple(units.text(g.rating_gauge_pa, "boost", system) for g in (fitted, tried))
    card = (
        ("Asked", f"{units.text(target_gauge_pa, 'boost', system)} of boost"),
        ("Fitted", f"spring of {springs[0]}, {fitted.ports} port{'s' * (fitted.ports > 1)}"),
        ("Tried", f"spring of {springs[1]}, valve {_mm(tried.valve_area_m2, system)}, diaphragm "
                  f"{_mm(tried.diaphragm_area_m2, system)}"),
        ("Not measured", "the gate's lift" if log.lift_m is None else "nothing that decides it"),
    )  # fmt: skip
    return Kept(
        GATE, system, replace(drawn, finding=headline if rest else headline.rstrip(".")),
        tuple(said), tuple(_cited_gate(result, log, target_gauge_pa, fitted, tried)), (), card,
        (drawn.method, *log.notes, *((f"The test that would settle it: {result.test}",)
                                     if result.test else ())),
        "worked out", sources, tuple(spoken),
    )  # fmt: skip


def _mm(area_m2, system):
    return units.text(float(np.sqrt(4 / np.pi * area_m2)), "length", system)


def _cited_gate(result, log, target, fitted, tried):
    yield Cited("target", float(target), "boost")
    yield Cited("lightest spring that holds", float(result.spring_gauge_pa), "boost")
    yield Cited("fitted spring", float(fitted.rating_gauge_pa), "boost")
    yield Cited("tried spring", float(tried.rating_gauge_pa), "boost")
    ends = (("last speed on target", result.held_to_rpm),
            ("speed at which it is pushed open", result.pushed_from_rpm))  # fmt: skip
    yield from (Cited(words, float(v), "engine_speed") for words, v in ends if np.isfinite(v))
    asked = np.full(log.speed_rpm.shape, float(target))
    seen = {"boost": log.boost_gauge_pa, "back pressure": log.exhaust_drop_pa, "target": asked}
    for words, values in seen.items():
        for speed, value in zip(log.speed_rpm, values, strict=True):
            if np.isfinite(value):
                yield Cited(words, float(value), "boost", float(speed))


def of_what_if(fitted, prediction, runs, what, change, system, quantity, sources=()):
    """The Kept of the prediction of a whatif.Change. runs, what, quantity: as
    charts.what_if.picture takes them."""
    drawn = what_if.picture(fitted, prediction, runs, what, system, quantity)
    card = (
        ("Changed", what),
        ("Kept", f"the engine as fitted to {', '.join(name for name, *_ in runs)}"),
        ("Weather", _weather(prediction.build, system)),
        ("Band", "95 %, of the fit and of the model's own error"),
        ("Not measured", "the what-if itself: nobody has run it"),
    )  # fmt: skip
    beyond = tuple(f"Extrapolated: {why}." for why in prediction.why)
    colours = [(name, style.run_colour(k)) for k, (name, *_) in enumerate(runs)]
    return Kept(
        WHAT_IF, system, drawn,
        (Sentence(whatif.sentence(prediction, runs, system), "estimated"),),
        tuple(_cited_what_if(prediction, runs, change)),
        (*colours, ("what if", what_if.PREDICTED)), card,
        (f"{drawn.method[:1].upper()}{drawn.method[1:]}.", *beyond,
         "Steady points: a sweep or a car has its boost later."),
        "estimated", sources,
    )  # fmt: skip


_CHANNELS = {
    "power_w": "power", "torque_nm": "torque", "boost_gauge_pa": "boost",
    "back_pressure_gauge_pa": "boost",
}  # fmt: skip


def _cited_what_if(prediction, runs, change):
    speed, power, low, high = prediction.peak
    at = float(speed) if np.isfinite(speed) else None
    for words, value in (("power", power), ("least of its band", low), ("most of its band", high)):
        if np.isfinite(value):
            yield Cited(f"{words} of what if", float(value), "power", at)
    for name, rpm, torque in runs:
        best = float(np.nanmax(rpm * torque)) * np.pi / 30
        yield Cited(f"most power of {name}", best, "power")
        if np.isfinite(power):
            yield Cited("power difference", float(power - best), "power", at, "what if", name)
    for channel, kind in _CHANNELS.items():
        for x, v in zip(prediction.speed_rpm, prediction.best[channel], strict=True):
            if np.isfinite(v):
                yield Cited(f"{kind} of what if", float(v), kind, float(x))
    for start, stop, _ in whatif.limits(prediction):
        yield from (Cited("end of a stretch", float(v), "engine_speed") for v in (start, stop))
    asked = (
        ("target boost", change.boost_gauge_pa, "boost"),
        ("gate spring", change.spring_gauge_pa, "boost"),
        ("cooler effectiveness", change.cooler, "fraction"),
        ("cell temperature", change.weather and change.weather.t_cell_k, "temperature"),
        ("size, first to second", change.size, "fraction"),
    )
    yield from (Cited(words, float(v), kind) for words, v, kind in asked if v is not None)


def of_road(made, gear, asked, checked, system, sources=()):
    """The Kept of an analysis.road.Road. gear, asked: as charts.road_picture takes them. checked:
    the sentence of road.sweeps_sentence."""
    drawn = road_picture.road_picture(made, gear, asked, system)
    vehicle = made.vehicle
    card = (
        ("Changed", " against ".join(made.names)),
        ("Kept", f"one engine, as fitted; {asked}"),
        ("Vehicle", f"{units.text(vehicle.mass_kg, 'vehicle_mass', system)} in {gear}, throttle "
                    f"opened at {made.from_rpm:.0f} rpm"),
        ("Not measured", "the pull itself: nobody has driven it"),
    )  # fmt: skip
    return Kept(
        ROAD, system, drawn,
        (Sentence(road.sentence(made, system), "worked out"),),
        tuple(_cited_road(made)),
        tuple(zip(made.names, road_picture.colours(made), strict=True)), card,
        (f"{drawn.method[:1].upper()}{drawn.method[1:]}.", *road.cautions(made), checked,
         *made.notes),
        "worked out", sources,
    )  # fmt: skip


def _cited_road(made):
    yield Cited("speed at which the throttle opened", made.from_rpm, "engine_speed")
    yield Cited("share of the boost", road.SHARE, "fraction")
    for j, name in enumerate(made.names):
        known = (("boost there", made.boost_s[j], "time"), ("top reached", made.top_s[j], "time"),
                 ("boost there", made.boost_rpm[j], "engine_speed"))  # fmt: skip
        yield from (Cited(f"{w} of {name}", float(v), k) for w, v, k in known if np.isfinite(v))
        if j == 0:
            continue
        r, first = road.race(made, j), made.names[0]
        wait = made.boost_s[j] - made.boost_s[0]
        if np.isfinite(wait):
            yield Cited("wait for boost", float(wait), "time", None, name, first)
        for words, gap, at in (("most", r.furthest_m, r.furthest_s), ("last", r.end_m, r.end_s)):
            yield Cited(f"{words} distance ahead", gap, "distance", None, name, first)
            yield Cited(f"time of the {words} distance", at, "time")
        if np.isfinite(r.past_s):
            yield Cited("comes past", r.past_s, "time")
