"""Pictures of valves: closed under pressure, and open on their cam."""

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Shape, Upright
from toolkit.physics import valvetrain

OPENS, SHUTS = "#D55E00", "#0072B2"
_STEM, _SEAT = 8.5, 9.0  # of the sketch, in units of ten pixels


def _text(x, y, words, colour=style.INK, align="left"):
    return Mark(x, y, words, colour, at=(x, y), dot=False, align=align)


def closed_valves(valves, system):
    """Which side of a closed valve carries what, drawn; and the seat load that is left.

    valves: two `analysis.valve_check.ClosedValve`s.
    """
    shapes, lines, marks = [], [], []
    for k, valve in enumerate(valves):
        left = 1 + 40 * k
        shapes += list(_valve_shapes(left, valve.head_load_n > 0))
        lines.append(_spring(left + _STEM))
        marks += list(_valve_words(left + 18.5, valve, system))
    worst = min(valves, key=lambda v: v.left_n / v.seat_load_n)
    kept = f"{worst.left_n / worst.seat_load_n:.0%}"
    finding = (
        f"Pressure leaves {kept} of the {worst.name} valve's seat load"
        if worst.left_n > 0
        else f"Pressure lifts the {worst.name} valve off its seat"
    )
    method = "Valves closed; load on the head is port minus cylinder pressure times its area."
    sketch = Panel(
        "",
        lines=tuple(lines),
        shapes=tuple(shapes),
        marks=tuple(marks),
        height=290,
        y_range=(0, 28),
        bare=True,
    )
    words = f"{finding}. " + " ".join(f"{m.text}." for m in marks)
    return Picture(finding, method, (sketch,), x_range=(0, 81), words=words)


def _box(left, right, low, high, colour, alpha=1.0):
    return Shape([left, right, right, left], [low, low, high, high], colour, alpha)


def _valve_shapes(left, pushed_open):
    """Port above the head of the valve, cylinder below, spring on the stem."""
    middle = left + _STEM
    yield _box(left, left + 17, 0, _SEAT, SHUTS, 0.10)
    yield _box(middle - 6, middle + 6, _SEAT, 17, OPENS if pushed_open else SHUTS, 0.16)
    for edge in (left, middle + 6):
        yield _box(edge, edge + 2.5, _SEAT, 17, "#b8c0c9")
    half = np.array([6.6, 6.6, 5.6, 1.0, 0.6, 0.6])  # head, tulip and stem, right of the middle
    level = np.array([-0.9, 0.0, 0.4, 1.2, 3.0, 16.0]) + _SEAT
    both = np.concatenate([middle + half, middle - half[::-1]])
    yield Shape(both, np.concatenate([level, level[::-1]]), style.QUIET, 1.0)
    yield _box(middle - 4, middle + 4, 24.4, 25.2, style.INK)
    for side in (-1, 1):
        yield _arrow(middle + side * 3.4, _SEAT + 1.3, -1, OPENS)
        yield _arrow(middle + side * 3.4, _SEAT - 1.2, +1, SHUTS)


def _arrow(x, tip, direction, colour):
    back, neck = tip - 3.2 * direction, tip - 1.2 * direction
    outline = x + np.array([0, -0.9, -0.35, -0.35, 0.35, 0.35, 0.9])
    return Shape(outline, [tip, neck, neck, back, back, neck, neck], colour, 0.95)


def _spring(middle):
    y = np.linspace(17.2, 24.4, 15)
    x = middle + 3.0 * np.where(np.arange(15) % 2, 1, -1)
    return Line(x, y, colour=SHUTS, width=2.2, readout=False)


def _valve_words(left, valve, system):
    def force(value):
        return units.text(value, "force", system)

    port, cylinder = (
        units.text(p, "boost", system) for p in (valve.p_port_gauge_pa, valve.p_cylinder_gauge_pa)
    )
    push = "pushes it open" if valve.head_load_n > 0 else "helps to shut it"
    rows = (
        (25.6, f"{valve.name} valve, closed", style.INK),
        (22.6, f"spring: {force(valve.seat_load_n)}", style.readable(SHUTS)),
        (20.4, f"left on the seat: {force(valve.left_n)}", style.INK),
        (14.2, f"port {port}", style.readable(OPENS)),
        (12.0, f"{push}: {force(abs(valve.head_load_n))}", style.INK),
        (6.6, f"cylinder {cylinder}", style.readable(SHUTS)),
        (4.4, valve.when, style.QUIET),
    )
    for y, words, colour in rows:
        yield _text(left, y, words, colour)


def contact(train, speed_rpm, system):
    """Lift, and spring force against what inertia asks for, over the cam angle.

    train: an `analysis.valve_check.Train`.
    """
    angle, held = train.cam_angle_deg, train.contact_n(speed_rpm)
    least = units.text(float(np.min(held)), "force", system)
    at = units.text(speed_rpm, "engine_speed", system)
    finding = (
        f"At {at} the cam keeps {least} on its follower"
        if np.min(held) >= 0
        else f"At {at} the valve leaves its cam"
    )
    limit = units.text(train.limit_rpm, "engine_speed", system)
    method = (
        f"A stiff train loses contact at {limit}; a real one bends and its spring surges, and "
        "lets go earlier. Acceleration from a smoothing spline "
        "of degree 5 through the lift table."
    )
    return Picture(
        finding,
        method,
        (
            _lift_panel(angle, train.curve(np.radians(angle)), system),
            _force_panel(angle, train, held, system),
            _surge_panel(train, speed_rpm),
        ),
        "Cam angle [°]",
    )


def _lift_panel(angle, lift, system):
    shown = units.shown(lift, "length", system)
    title = f"Valve lift [{units.unit_of('length', system)}]"
    line = Line(angle, shown, "lift", style.run_colour(0), "worked out", decimals=3)
    return Panel(title, lines=(line,), height=150)


def _force_panel(angle, train, held, system):
    unit = units.unit_of("force", system)
    spring, left = (units.shown(v, "force", system) for v in (train.spring_n, held))
    asked = spring - left
    return Panel(
        f"Spring force, and what inertia and pressure take of it [{unit}]",
        lines=(
            Line(angle, spring, "spring", SHUTS, "worked out"),
            Line(angle, np.where(asked > 0, asked, np.nan), "taken from it", OPENS, "worked out"),
        ),
        bands=(
            Band(angle, np.maximum(asked, 0), spring, SHUTS, 0.12),
            Band(angle, spring, np.where(asked > spring, asked, np.nan), style.WARN, 0.35),
        ),
        height=230,
    )


def _surge_panel(train, speed_rpm):
    """Stems: the engine speeds at which a harmonic of the cam meets the spring's own frequency."""
    size = 100 * train.harmonics_m / np.max(train.lift_m)
    orders = np.arange(1, size.size + 1)
    top = 1.35 * speed_rpm
    if not np.isfinite(train.surge_hz):
        title = "Surge: not known, type the spring's frequency or its wire"
        return Panel(title, height=150, x_label="Engine speed [rpm]", x_range=(0.0, top))
    speeds = valvetrain.surge_speeds_rpm(train.surge_hz, orders)
    here = (speeds <= top) & (orders >= 3)
    stems = [
        Line([v, v], [0, a], colour=style.INK, width=2, readout=False)
        for v, a in zip(speeds[here], size[here], strict=True)
    ]
    marks = [
        Mark(v, a, str(n), style.QUIET, align="center", dot=False)
        for n, v, a in zip(orders[here], speeds[here], size[here], strict=True)
        if v > 0.45 * top
    ]
    return Panel(
        "Surge: where a harmonic of the cam (numbered) meets the spring; its size [% of lift]",
        lines=tuple(stems),
        marks=tuple(marks),
        uprights=(Upright(float(speed_rpm), "this speed"),),
        height=190,
        y_range=(0.0, 1.3 * float(max(size[here], default=1.0))),
        x_label="Engine speed [rpm]",
        x_range=(0.0, float(top)),
    )
