"""Pictures of the cycle: valve lifts, flow in the overlap, pumping loop, cost of back pressure."""

import numpy as np

from toolkit import units
from toolkit.analysis.breathing import cost_shown, cost_unit
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Shape, Upright, Zone

FORWARD, BACKWARD = "#009E73", "#CC79A7"  # no run on this picture has them
TOP_DEG = 360.0
_LIFTS_DEG = np.arange(-260.0, 261.0)
_AROUND_OVERLAP_DEG = 30.0
# The angle is counted from the top dead centre of gas exchange, as cam cards do.
_ANGLE = "Crank angle [deg after the top dead centre of gas exchange]"


def picture(breath, system):
    """The Picture of a Breath, in the units of the system."""
    return Picture(
        _finding(breath, system),
        _method(breath, system),
        (_lifts(breath, system), _flows(breath, system), _loop(breath, system),
         _cost(breath, system)),
        _ANGLE,
        (-260.0, 260.0),
    )  # fmt: skip


def _finding(b, system):
    here = b.point.p_exhaust_pa / b.point.p_manifold_pa
    speed, unit = units.text(b.point.speed_rpm, "engine_speed", system), cost_unit(system)
    at = [float(cost_shown(c.at(here), system)) for c in b.curves.values()]
    if b.cam_known:
        return f"At {speed}, back pressure {here:.2f} times boost costs {at[0]:.2f} {unit}"
    return f"Cam unknown: at {speed} back pressure costs {min(at):.1f} to {max(at):.1f} {unit}"


def _method(b, system):
    boost = units.text(b.point.p_manifold_pa, "pressure", system)
    cam = f"{b.cam.overlap_deg:.0f}° of seat overlap" if b.cam_known else "drawn with a turbo cam"
    return (
        f"Cycle model, estimated: one cylinder, {boost} absolute in the manifold, {cam}; "
        "no pressure waves in the pipes"
    )


def _angle(b):
    return b.trace.angle_deg - TOP_DEG


def _window(b):
    """Where both valves are open, in degrees from top dead centre; None without overlap."""
    if b.cam.overlap_deg <= 0:
        return None
    return b.cam.intake.opens_deg - TOP_DEG, b.cam.exhaust.closes_deg - TOP_DEG


def _lifts(b, system):
    window, angle = _window(b), _LIFTS_DEG
    intake, exhaust = (
        units.shown(lobe.at(angle + TOP_DEG), "length", system)
        for lobe in (b.cam.intake, b.cam.exhaust)
    )
    words = f"both open, {b.cam.overlap_deg:.0f}°"
    return Panel(
        f"Valve lift [{units.unit_of('length', system)}]",
        lines=(
            Line(angle, exhaust, "", style.QUIET, decimals=2),
            Line(angle, intake, "", style.INK, decimals=2),
        ),
        marks=(_inside(angle, exhaust, "exhaust"), _inside(angle, intake, "intake")),
        zones=() if window is None else (Zone(*window, words, style.QUIET, 0.16),),
        uprights=(Upright(-180, "bottom"), Upright(180, "bottom")),
        height=190,
        y_range=(0.0, 1.3 * float(max(intake.max(), exhaust.max()))),
        decimals=2,
    )


def _inside(angle, lift, text):
    at = (float(angle[lift.argmax()]), 0.4 * float(lift.max()))
    return Mark(*at, text, style.INK, at=at, dot=False, align="center")


def _flows(b, system):
    window = _window(b) or (-10.0, 10.0)
    left, right = window[0] - _AROUND_OVERLAP_DEG, window[1] + _AROUND_OVERLAP_DEG
    angle = _angle(b)
    near = (angle >= left) & (angle <= right)
    x = angle[near]
    unit = units.unit_of("air_flow", system)
    exhaust, intake = (
        units.shown(flow[near], "air_flow", system)
        for flow in (b.trace.exhaust_flow_kg_s, b.trace.intake_flow_kg_s)
    )
    zero = np.zeros_like(x)
    bands = [
        band
        for y in (exhaust, intake)
        for band in (
            Band(x, zero, np.maximum(y, 0), FORWARD, 0.35),
            Band(x, np.minimum(y, 0), zero, BACKWARD, 0.55),
        )
    ]
    inside = (x >= window[0]) & (x <= window[1])
    high = 1.3 * max(exhaust[inside].max(), intake[inside].max(), 0.02)
    low = 1.3 * min(exhaust[inside].min(), intake[inside].min(), -0.1 * high)
    return Panel(
        f"Flow through each valve [{unit}]: green the usual way, pink backwards",
        lines=(
            Line(x, zero, colour=style.QUIET, width=1, readout=False),
            Line(x, _within(exhaust, high), "exhaust", style.QUIET, "estimated", 2.2, decimals=1),
            Line(x, _within(intake, high), "intake", style.INK, "estimated", 2.2, decimals=1),
        ),
        bands=tuple(bands),
        zones=(Zone(*window, "", style.QUIET, 0.12),) if _window(b) else (),
        height=210,
        y_range=(float(low), float(high)),
        x_range=(left, right),
        x_label="The same angle, enlarged around the overlap [deg]",
        decimals=1,
    )


def _within(y, high):
    """The curve as far as the axis reaches, so that its name stands where it leaves."""
    return np.where(y <= high, y, np.nan)


def _loop(b, system):
    unit = units.unit_of("pressure", system)
    volume = b.trace.volume_m3 * 1e6
    p = units.shown(b.trace.p_pa, "pressure", system)
    exchange = b.trace.angle_deg >= 180
    boost, back = (
        float(units.shown(v, "pressure", system))
        for v in (b.point.p_manifold_pa, b.point.p_exhaust_pa)
    )
    cost = float(b.trace.totals.pmep_pa)
    colour = BACKWARD if cost > 0 else FORWARD
    mean = units.text(abs(cost), "boost", system)
    words = f"gas exchange {'costs' if cost > 0 else 'gives'} {mean} mean effective"
    ends = np.array([volume.min(), volume.max()])
    low, high = float(np.floor(0.75 * min(boost, back))), 1.3 * max(boost, back)
    middle = (float(volume.mean()), low + 0.92 * (high - low))
    return Panel(
        f"Cylinder pressure [{unit} absolute] over the exhaust and intake strokes",
        lines=(
            Line(volume, p, "", style.INK, "estimated", 2.0, readout=False),
            Line(ends, np.full(2, boost), "boost", style.QUIET, width=1.2, decimals=1),
            Line(ends, np.full(2, back), "back pressure", style.QUIET, width=1.2, decimals=1),
        ),
        shapes=(Shape(volume[exchange], p[exchange], colour, 0.30),),
        marks=(Mark(*middle, words, style.readable(colour), middle, False, "center"),),
        height=230,
        y_range=(low, high),
        x_range=(0.0, float(volume.max() * 1.02)),
        x_label="Volume of the cylinder [cm³]",
        decimals=1,
    )


def _cost(b, system):
    lines, bands = [], []
    if not b.cam_known:
        totals = np.array([c.cost.total for c in b.curves.values()])
        low, high = (cost_shown(f(axis=0), system) for f in (totals.min, totals.max))
        bands.append(Band(b.curve.ratio, low, high, style.QUIET, 0.14))
    for name, curve in b.curves.items():
        y = cost_shown(curve.cost.total, system)
        drawn = curve is b.curve
        lines.append(
            Line(
                curve.ratio,
                y,
                name or "in all",
                style.INK if drawn else style.QUIET,
                "estimated",
                style.LINE_PX if drawn else style.THIN_PX,
                decimals=2,
            )
        )
    pumping = cost_shown(b.curve.cost.pumping, system)
    lines.append(
        Line(b.curve.ratio, pumping, "pumping alone", style.QUIET, "estimated", 1.6, decimals=2)
    )
    lines += _run_lines(b, system)
    here = b.point.p_exhaust_pa / b.point.p_manifold_pa
    drawn = (float(here), float(cost_shown(b.curve.at(here), system)))
    top = max(float(np.nanmax(line.y)) for line in lines)
    return Panel(
        f"Torque lost to back pressure [{cost_unit(system)}], the whole engine",
        lines=tuple(lines),
        bands=tuple(bands),
        marks=(Mark(*drawn, "drawn above", style.INK, (drawn[0] + 0.02, drawn[1] + 0.07 * top)),),
        uprights=(Upright(1.0, "back pressure = boost"),),
        height=270,
        y_range=(0.0, 1.18 * top),
        x_range=(float(b.curve.ratio[0]), float(b.curve.ratio[-1])),
        x_label="Back pressure over boost, both absolute",
        decimals=2,
    )


def _run_lines(b, system):
    for i, (name, points) in enumerate(b.runs):
        order = np.argsort(points.ratio)
        y = cost_shown(points.cost.total, system)[order]
        yield Line(points.ratio[order], y, name, style.run_colour(i), "worked out", 4.0,
                   points=True, joined=False, decimals=2)  # fmt: skip
