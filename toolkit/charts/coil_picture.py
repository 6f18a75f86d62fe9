"""Pictures of coil springs: load and stress at each height, cut open, and a stand's readings."""

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Shape
from toolkit.physics import springs

_CIRCLE = np.linspace(0, 2 * np.pi, 25)[:-1]


def coil(spring, heights, system):
    """Load and stress as it is pressed, with the heights asked for marked.

    spring: a `CoilSpring`; heights: dict of words to height [m].
    """
    pressed = np.linspace(0.0, float(spring.free_m - spring.solid_m), 60)
    x = units.shown(pressed, "length", system)
    finding = (
        f"{units.text(spring.rate_n_m, 'spring_rate', system)}, "
        f"solid at {units.text(spring.solid_m, 'length', system)}, "
        f"surges at {units.text(spring.surge_hz, 'frequency', system)}"
    )
    return Picture(
        finding,
        "Worked out from wire, coil and turns; both stress factors side by side.",
        (
            _load_panel(spring, pressed, x, heights, system),
            _stress_panel(spring, spring.free_m - pressed, x, system),
        ),
        f"Pressed from free, to solid [{units.unit_of('length', system)}]",
        x_range=(0.0, float(x[-1])),
    )


def _load_panel(spring, pressed, x, heights, system):
    load = units.shown(spring.rate_n_m * pressed, "force", system)
    marks = []
    for words, height in heights.items():
        force = float(spring.force_n(height))
        if force > 0:  # neither free nor solid
            at = float(units.shown(spring.free_m - height, "length", system))
            tall, said = units.text(height, "length", system), units.text(force, "force", system)
            point = float(units.shown(force, "force", system))
            marks.append(Mark(at, point, f"{words}, {tall}: {said}  ", align="right"))
    return Panel(
        f"Load [{units.unit_of('force', system)}]",
        lines=(Line(x, load, "load", style.run_colour(0), "worked out", decimals=1),),
        marks=tuple(marks),
        height=230,
        decimals=1,
    )


def _stress_panel(spring, height, x, system):
    factors = {"Wahl": springs.wahl, "Bergsträsser": springs.bergstrasser}
    lines = [
        Line(
            x,
            units.shown(
                spring.stress_pa(np.maximum(height, spring.solid_m), factor), "stress", system
            ),
            name,
            style.run_colour(k + 1),
            "worked out",
            decimals=1,
        )
        for k, (name, factor) in enumerate(factors.items())
    ]
    limit = units.shown(spring.material.shear_yield_pa(spring.wire_m), "stress", system)
    lines.append(Line(x, limit + 0 * x, "takes a set", style.INK, "estimated", 1.6, decimals=1))
    title = f"Shear stress inside the coil [{units.unit_of('stress', system)}]"
    return Panel(title, lines=tuple(lines), height=210, decimals=1)


def coil_sketch(spring, heights, system):
    """The spring cut open at each of these heights (words to [m]), to one scale."""
    wide, low = 81.0 / max(len(heights), 1), 2.5
    tallest = max(float(spring.free_m), *heights.values())
    scale = min(20.0 / tallest, (wide - 9) / float(spring.outer_m))
    shapes, marks = [], []
    for k, (words, height) in enumerate(heights.items()):
        middle = wide * (k + 0.5)
        shapes += list(_cut_open(spring, height, middle, low, scale))
        said = f"{words}, {units.text(height, 'length', system)}"
        marks.append(
            Mark(middle, 0.9, said, style.QUIET, at=(middle, 0.9), dot=False, align="center")
        )
    panel = Panel(
        "", shapes=tuple(shapes), marks=tuple(marks), height=270, y_range=(0, 26), bare=True
    )
    words = "The spring in section: " + "; ".join(m.text for m in marks) + "."
    turns = f"{spring.active_turns:g} of {spring.total_turns:g} turns work"
    return Picture(
        f"{turns}, index {float(spring.index):.1f}", "Cut open, to one scale.", (panel,),
        x_range=(0, 81), words=words,
    )  # fmt: skip


def _cut_open(spring, height, middle, low, scale):
    d, height = float(spring.wire_m), max(height, float(spring.solid_m))
    idle, extra = springs.ENDS[spring.ends]
    last = float(spring.total_turns) - 1 + extra
    # The ends of a squared spring lie flat, a wire to a turn; the rest is evenly spread.
    ends = ([0, last], [0, height - d])
    if idle == 2 and last > 2:
        ends = ([0, 1, last - 1, last], [0, d, height - 2 * d, height - d])
    places = np.interp(np.arange(0, last + 1e-9, 0.5), *ends)
    for k, place in enumerate(places):
        side = 1 if k % 2 else -1
        x = middle + scale * (side * float(spring.coil_m) / 2 + d / 2 * np.cos(_CIRCLE))
        y = low + scale * (place + d / 2 + d / 2 * np.sin(_CIRCLE))
        yield Shape(x, y, style.QUIET, 0.9, style.INK)
    half = scale * float(spring.outer_m) / 2 + 1
    for edge in (low, low + scale * height):
        flat = np.array([edge - 0.12, edge - 0.12, edge + 0.12, edge + 0.12])
        yield Shape(middle + np.array([-half, half, half, -half]), flat, style.INK, 1.0)


def stand(travel_m, force_n, fit, system):
    """Typed readings of force against travel, and the line through them with its band."""
    travel, force = np.asarray(travel_m, float), np.asarray(force_n, float)
    x = np.linspace(min(0.0, travel.min()), travel.max(), 40)
    line = fit.preload_n + fit.rate_n_m * x
    spread = np.sum((travel - travel.mean()) ** 2)
    shape = np.sqrt(1 / travel.size + (x - travel.mean()) ** 2 / spread)
    band = fit.rate_error_n_m * np.sqrt(spread) * shape
    force_unit, length_unit = (units.unit_of(k, system) for k in ("force", "length"))
    xs, low, high = (
        units.shown(x, "length", system),
        units.shown(line - band, "force", system),
        units.shown(line + band, "force", system),
    )
    error = (
        "its error is not known: two readings leave none, take a third"
        if np.isnan(fit.rate_error_n_m)
        else f"± {units.text(fit.rate_error_n_m, 'spring_rate', system)} (95 %)"
    )
    points = Line(
        units.shown(travel, "length", system),
        units.shown(force, "force", system),
        "readings",
        style.run_colour(0),
        points=True,
        joined=False,
        width=6,
    )
    fitted = Line(xs, units.shown(line, "force", system), "line", style.INK, "worked out", 1.8)
    panel = Panel(
        f"Force [{force_unit}]",
        lines=(fitted, points),
        bands=(Band(xs, low, high, style.run_colour(0), 0.14),),
        height=240,
        decimals=1,
    )
    return Picture(
        f"Rate {units.text(fit.rate_n_m, 'spring_rate', system)}, {error}",
        "Least squares line through the typed readings; nothing left out.",
        (panel,),
        f"Travel [{length_unit}]",
    )
