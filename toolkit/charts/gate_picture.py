"""Pictures of the gate: its forces as a sketch, and what its spring supports along engine speed."""

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Shape, Upright
from toolkit.physics import gate as gates

OPENS, SHUTS = "#D55E00", "#0072B2"
METAL, WALL = "#b8c0c9", "#e4e7eb"

# The sketch is drawn in units of ten pixels: 81 wide, 30 high.
_WIDE, _HIGH = 81.0, 30.0
_LEFT, _RIGHT, _MIDDLE = 17.0, 37.0, 27.0  # the can
_SEAT, _REST, _FLOOR, _LID = 8.0, 20.5, 16.0, 28.0  # valve seat, diaphragm at rest, can
_BAR_LEFT, _BAR_RIGHT = 50.0, 80.0
_ARROW = 7.0  # length of the largest force


def forces_n(gate, exhaust_drop_pa, boost_gauge_pa, share, lift_m):
    """The four forces at the valve: back pressure and boost open it, spring and top port shut it.

    Source: the terms of `physics.gate.net_force_n`, boost and top port apart.
    """
    at_valve = gate.lever_ratio * gate.diaphragm_area_m2
    spring = gate.preload_n + gate.rate_n_m * gate.lever_ratio * lift_m
    return {
        "back pressure": exhaust_drop_pa * gate.valve_area_m2,
        "boost": boost_gauge_pa * at_valve,
        "spring": gate.lever_ratio * spring,
        "top port": share * boost_gauge_pa * at_valve,
    }


def free_body(gate, exhaust_drop_pa, boost_gauge_pa, share, system, speed_rpm=None):
    """The sketch at one state: pressures in, forces as arrows and bars, and what the valve does."""
    lift = float(gates.lift_m(gate, exhaust_drop_pa, boost_gauge_pa * (1 - share)))
    shut = forces_n(gate, exhaust_drop_pa, boost_gauge_pa, share, 0.0)
    spare = shut["spring"] + shut["top port"] - shut["back pressure"] - shut["boost"]
    forces = forces_n(gate, exhaust_drop_pa, boost_gauge_pa, share, lift)
    rise = 3.2 * lift / gate.max_lift_m
    pressures = {
        "exhaust": units.text(exhaust_drop_pa, "boost", system),
        "boost": units.text(boost_gauge_pa, "boost", system),
        "top": units.text(share * boost_gauge_pa, "boost", system),
    }
    shapes = (*_housing(), *_valve(rise), *_arrows(forces, rise), *_bars(forces))
    words = (
        *_place_words(pressures, units.text(lift, "length", system), rise),
        *_bar_words(forces, system),
    )
    sketch = Panel(
        "",
        lines=(_spring(rise),),
        shapes=shapes,
        marks=words,
        height=310,
        y_range=(0, _HIGH),
        bare=True,
    )
    finding = _finding(spare, lift, gate, system, speed_rpm)
    method = "Forces at the valve, worked out; arrows and bars to one scale."
    if gate.lever_ratio != 1:
        method += f" Swing valve: its lever ratio of {gate.lever_ratio:g} is in them."
    return Picture(
        finding,
        method,
        (sketch,),
        x_range=(0, _WIDE),
        words=f"{finding}. {_spoken(forces, system)}",
    )


def _finding(spare_n, lift_m, gate, system, speed_rpm):
    where = "" if speed_rpm is None else f"At {units.text(speed_rpm, 'engine_speed', system)}: "
    if spare_n >= 0:
        return f"{where}held shut with {units.text(spare_n, 'force', system)} to spare"
    if lift_m >= gate.max_lift_m:
        return f"{where}wide open at its stop"
    return f"{where}open by {units.text(lift_m, 'length', system)}"


def _spoken(forces, system):
    """The forces in words, for those who cannot see the sketch."""
    said = [f"{n} {units.text(v, 'force', system)}" for n, v in forces.items()]
    return f"At the valve {said[0]} and {said[1]} open it, {said[2]} and {said[3]} shut it."


def _box(left, right, low, high, colour, alpha=1.0):
    return Shape([left, right, right, left], [low, low, high, high], colour, alpha)


def _housing():
    wall = 0.5
    yield _box(4, 47, 0, _SEAT - 1, OPENS, 0.13)  # exhaust manifold
    yield _box(4, _MIDDLE - 6, _SEAT - 1, _SEAT, METAL)
    yield _box(_MIDDLE + 6, 47, _SEAT - 1, _SEAT, METAL)
    yield _box(_LEFT, _RIGHT, _FLOOR, _LID, WALL, 0.55)
    for left, right, low, high in (
        (_LEFT - wall, _RIGHT + wall, _LID, _LID + wall),
        (_LEFT - wall, _LEFT, _FLOOR, _LID),
        (_RIGHT, _RIGHT + wall, _FLOOR, _LID),
        (_LEFT - wall, _MIDDLE - 0.7, _FLOOR - wall, _FLOOR),
        (_MIDDLE + 0.7, _RIGHT + wall, _FLOOR - wall, _FLOOR),
        (_LEFT - 4, _LEFT - wall, 25.6, 26.6),
        (_LEFT - 4, _LEFT - wall, 17.4, 18.4),
    ):
        yield _box(left, right, low, high, METAL)


def _valve(rise):
    seat = _SEAT + rise
    outline = _MIDDLE + np.array([-6.8, 6.8, 5.6, -5.6])
    yield Shape(outline, seat + np.array([1.1, 1.1, -1.0, -1.0]), style.QUIET, 1.0)
    yield _box(_MIDDLE - 0.5, _MIDDLE + 0.5, seat + 1.1, _REST + rise, style.QUIET)
    yield _box(_LEFT, _RIGHT, _REST + rise - 0.25, _REST + rise + 0.25, style.INK)


def _spring(rise):
    """The coil between diaphragm and lid, as a zigzag that shortens with the lift."""
    y = np.linspace(_REST + rise + 0.25, _LID, 15)
    x = _MIDDLE + 2.2 * np.where(np.arange(15) % 2, 1, -1)
    x[[0, -1]] = _MIDDLE
    return Line(x, y, colour=style.QUIET, width=2.2, readout=False)


def _arrows(forces, rise):
    """Arrows at valve and diaphragm, their length to one scale."""
    longest = max(*forces.values(), 1e-9)
    plate, valve = _REST + rise, _SEAT + rise
    yield from _arrow(_MIDDLE, valve - 1.2, +1, forces["back pressure"] / longest, OPENS)
    for side in (-1, 1):  # what acts on the whole diaphragm is drawn as two halves
        at = _MIDDLE + side * 7.0
        yield from _arrow(at, plate - 0.4, +1, 0.5 * forces["boost"] / longest, OPENS)
        yield from _arrow(at, plate + 0.4, -1, 0.5 * forces["top port"] / longest, SHUTS)
        beside = _MIDDLE + side * 3.6
        yield from _arrow(beside, plate + 0.4, -1, 0.5 * forces["spring"] / longest, SHUTS)


def _arrow(x, tip, direction, size, colour):
    """An arrow whose tip touches `tip`; below 2 % of the largest it is left out."""
    if size < 0.02:
        return
    length = _ARROW * size
    head = min(1.3, length)
    back, neck = tip - direction * length, tip - direction * head
    yield Shape(
        [x, x - 0.95, x - 0.4, x - 0.4, x + 0.4, x + 0.4, x + 0.95],
        [tip, neck, neck, back, back, neck, neck],
        colour,
        0.95,
    )


_ROWS = {
    "opens": (18.6, OPENS, ("back pressure", "boost")),
    "shuts": (10.6, SHUTS, ("spring", "top port")),
}


def _bars(forces):
    longest = max(sum(forces[n] for n in names) for _, _, names in _ROWS.values())
    for low, colour, names in _ROWS.values():
        left = _BAR_LEFT
        for name, alpha in zip(names, (0.85, 0.45), strict=True):
            right = left + (_BAR_RIGHT - _BAR_LEFT) * forces[name] / longest
            yield _box(left, right, low, low + 3.2, colour, alpha)
            left = right


def _text(x, y, words, colour=style.INK, align="left"):
    return Mark(x, y, words, colour, at=(x, y), dot=False, align=align)


def _bar_words(forces, system):
    yield _text(_BAR_LEFT, 26.4, "What the forces add up to, at the valve", style.INK)
    for verb, (low, colour, names) in _ROWS.items():
        total = units.text(sum(forces[n] for n in names), "force", system)
        parts = " + ".join(f"{n} {units.text(forces[n], 'force', system)}" for n in names)
        ink = style.readable(colour)
        yield _text(_BAR_LEFT, low + 4.4, f"{verb} it: {total}", ink)
        yield _text(_BAR_LEFT, low - 1.2, parts, style.QUIET)


def _place_words(pressures, lift, rise):
    ports = _LEFT - 4.4
    yield _text(4.6, 1.6, f"exhaust manifold, {pressures['exhaust']} above outlet")
    yield _text(ports, 26.1, f"top {pressures['top']}", style.readable(SHUTS), "right")
    yield _text(ports, 17.9, f"bottom {pressures['boost']}", style.readable(OPENS), "right")
    yield _text(_MIDDLE + 7.6, _SEAT + 1.4, f"lift {lift}", style.QUIET)
    yield _text(_RIGHT + 1.2, _REST + rise, "diaphragm", style.QUIET)


def window(log, target_gauge_pa, fitted, tried, system, speed_rpm=None, names=("fitted", "tried")):
    """Boost with the spring's window, back pressure with what the spring holds, top port needed.

    fitted, tried: `Along` of the gate as it was and of the gate being tried (or None).
    """
    return Picture(
        *_window_words(log, fitted, tried, system, names),
        (
            _boost_panel(log, target_gauge_pa, tried or fitted, system, names[1 if tried else 0]),
            _drop_panel(log, fitted, tried, system, speed_rpm, names),
            _share_panel(log, fitted, tried, names),
        ),
        "Engine speed [rpm]",
    )


def _window_words(log, fitted, tried, system, names):
    shown_now = tried or fitted
    name = names[1 if tried else 0]
    low, high = (
        units.text(v[np.flatnonzero(np.isfinite(v))[-1]], "boost", system)
        if np.isfinite(v).any()
        else "not known"
        for v in (shown_now.low_gauge_pa, shown_now.high_gauge_pa)
    )
    top = units.text(np.nanmax(log.speed_rpm), "engine_speed", system)
    finding = f"The {name} spring supports {low} to {high} of boost at {top}"
    method = (
        "Boost and back pressure measured; the window takes back pressure in proportion to boost "
        "(estimated)."
    )
    return finding, method


def _boost_panel(log, target_gauge_pa, gate, system, name):
    unit, speed = units.unit_of("boost", system), log.speed_rpm
    boost, target, low, high = (
        units.shown(v + 0 * speed, "boost", system)
        for v in (log.boost_gauge_pa, target_gauge_pa, gate.low_gauge_pa, gate.high_gauge_pa)
    )
    top = 1.5 * max(np.nanmax(boost), np.nanmax(target))
    high = np.minimum(high, top)
    return Panel(
        f"Boost [{unit}], and the window of the {name} spring",
        lines=(
            Line(speed, high, "", style.QUIET, "estimated", 1.6, readout=False),
            Line(speed, low, "spring alone", style.QUIET, "estimated", 1.6, decimals=1),
            Line(speed, target, "target", style.INK, width=1.2, decimals=1),
            Line(speed, boost, "boost", style.run_colour(0), decimals=1),
        ),
        bands=(Band(speed, low, high, style.QUIET, 0.10),),
        height=230,
        y_range=(0.0, float(top)),
        decimals=1,
    )


def _drop_panel(log, fitted, tried, system, speed_rpm, names):
    unit, speed = units.unit_of("boost", system), log.speed_rpm
    drop, limit, error = (
        units.shown(v + 0 * speed, "boost", system)
        for v in (log.exhaust_drop_pa, fitted.holding_drop_pa, 1.64 * fitted.holding_error_pa)
    )
    lines = [
        Line(speed, limit, f"{names[0]} spring", style.INK, "worked out", decimals=1),
        Line(speed, drop, "back pressure", style.run_colour(1), decimals=1),
    ]
    if tried is not None:
        held = units.shown(tried.holding_drop_pa + 0 * speed, "boost", system)
        green = style.run_colour(2)
        lines.append(Line(speed, held, f"{names[1]} spring", green, "worked out", decimals=1))
    over = np.where(drop > limit, drop, np.nan)
    return Panel(
        f"Back pressure across the valve [{unit}], and what the spring holds against",
        lines=tuple(lines),
        bands=(
            Band(speed, limit - error, limit + error, style.INK, 0.08),
            Band(speed, limit, over, style.run_colour(1), 0.22),
        ),
        uprights=() if speed_rpm is None else (Upright(float(speed_rpm), "sketched below"),),
        height=230,
        y_range=(0.0, 1.2 * float(max(np.nanmax(line.y) for line in lines))),
        decimals=1,
    )


def _share_panel(log, fitted, tried, names):
    speed = log.speed_rpm
    needed = 100 * fitted.share_needed
    lines = [
        Line(speed, 100 + 0 * speed, "all it has", style.QUIET, width=1.2),
        Line(speed, needed, f"{names[0]} needs", style.INK, "worked out"),
    ]
    if tried is not None:
        needed, green = 100 * tried.share_needed, style.run_colour(2)
        lines.append(Line(speed, needed, f"{names[1]} needs", green, "worked out"))
    if log.top_gauge_pa is not None:
        boost = np.where(log.boost_gauge_pa > 1e4, log.boost_gauge_pa, np.nan)
        lines.append(Line(speed, 100 * log.top_gauge_pa / boost, "was given", style.run_colour(0)))
    return Panel(
        "Top port as % of boost (duty of a proportional solenoid) to stay shut at the target",
        lines=tuple(lines),
        height=230,
        y_range=(0.0, 130.0),
    )


def bypass(demand, found, target_gauge_pa, system):
    """What has to go round the turbine at the target, and what the gate passes."""
    unit, speed = units.unit_of("air_flow", system), demand.speed_rpm
    needed, most, stop = (
        units.shown(v, "air_flow", system)
        for v in (found.needed_kg_s, found.most_kg_s, found.open_kg_s)
    )
    panel = Panel(
        f"Flow past the turbine [{unit}]",
        lines=(
            Line(speed, stop, "at its stop", style.QUIET, "worked out", 1.6, decimals=1),
            Line(speed, most, "control off", style.run_colour(2), "worked out", decimals=1),
            Line(speed, needed, "needed", style.run_colour(1), "estimated", decimals=1),
        ),
        bands=(Band(speed, most, np.where(found.creeps, needed, np.nan), style.WARN, 0.25),),
        height=200,
        decimals=1,
    )
    method = "Needed: the build's match at the target, gate left out. Passed: nozzle flow."
    return Picture(
        _bypass_finding(demand, found, target_gauge_pa, system),
        method,
        (panel,),
        "Engine speed [rpm]",
    )


def _bypass_finding(demand, found, target_gauge_pa, system):
    target = units.text(target_gauge_pa, "boost", system)
    known = np.isfinite(found.needed_kg_s)
    if not known.any():
        return f"Off the compressor map at {target}: creep cannot be told"
    if found.creeps.any():
        first = units.text(demand.speed_rpm[found.creeps][0], "engine_speed", system)
        return f"Boost creeps above {target} from {first} on: the gate cannot pass enough"
    use = np.max((found.needed_kg_s / found.most_kg_s)[known])
    if use <= 0:
        return f"No creep at {target}: nothing has to pass the gate"
    return f"No creep at {target}: at most {use:.0%} of what the gate can pass is needed"
