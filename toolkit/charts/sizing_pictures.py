"""Pictures of the sizing sheet: air and pressure, the compressor map, candidates, fuel, cooler."""

from functools import lru_cache

import numpy as np
from contourpy import contour_generator

from toolkit import units
from toolkit.analysis import sizing
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Upright
from toolkit.physics.compressor import LINE_NODES, SPEED_NODES
from toolkit.physics.points import Regime

RPM = "Engine speed [rpm]"
# What limits a point of the operating line; the words stand beside the line as well.
REGIME_COLOURS = {
    Regime.BELOW_TARGET: style.QUIET,
    Regime.HOLDING: style.RUN_COLOURS[0],
    Regime.PUSHED_OPEN: style.RUN_COLOURS[1],
    Regime.CREEP: style.RUN_COLOURS[3],
    Regime.SPRING_ABOVE_TARGET: style.RUN_COLOURS[3],
}
REGIME_NAMES = {
    Regime.BELOW_TARGET: "gate shut, below target",
    Regime.HOLDING: "on target",
    Regime.PUSHED_OPEN: "gate pushed open",
    Regime.CREEP: "creep",
    Regime.SPRING_ABOVE_TARGET: "spring holds more",
}
DRAWN = 33  # points of a line of the map: smooth to the eye, light to send
GREEN = style.RUN_COLOURS[2]
INK_GREEN = style.readable(GREEN)
CONTOURS = (0.50, 0.60, 0.65, 0.70, 0.72, 0.74, 0.76, 0.78, 0.80, 0.82, 0.84)


def air_picture(made, j, system):
    """What the engine takes in against what the power asks for, and the pressures for it."""
    build, speed = made.build, made.speed_rpm[:, 0]
    m, unit = made.match, units.unit_of("air_flow", system)
    takes = units.shown(m.air_flow_kg_s[:, j], "air_flow", system)
    bare = units.shown(sizing.unboosted_air_kg_s(build, speed), "air_flow", system)
    lines = [
        Line(speed, takes, "takes on target", style.run_colour(0), "worked out", decimals=1),
        Line(speed, bare, "unboosted", style.QUIET, "worked out", 1.6, decimals=1),
    ]
    power = build.target.crank_power_w if build.target else None
    if power:
        needs = units.shown(sizing.air_needed_kg_s(build, power, speed), "air_flow", system)
        words = units.text(power, "power", system)
        lines.append(Line(speed, needs, f"{words} needs", style.INK, "worked out", 1.6, decimals=1))
    cool = sizing.cooling(made, j)
    hot, cold = (units.shown(t, "temperature", system) for t in (cool.t_in_k, cool.t_out_k))
    engine_ratio = m.p_manifold_pa[:, j] / made.weather.p_cell_pa
    t_unit = units.unit_of("temperature", system)
    panels = (
        Panel(f"Air [{unit}]", tuple(lines), height=260, decimals=1),
        Panel(
            "Pressure ratio, and density of the charge over the cell's",
            (
                Line(speed, m.pressure_ratio[:, j], "compressor", style.run_colour(1),
                     "worked out", decimals=2),
                Line(speed, engine_ratio, "manifold / cell", style.run_colour(0),
                     "worked out", decimals=2),
                Line(speed, cool.density_ratio, "density", style.run_colour(2),
                     "worked out", decimals=2),
            ),
            height=200, from_zero=False, decimals=2,
        ),
        Panel(
            f"Charge temperature [{t_unit}]",
            (
                Line(speed, hot, "before the cooler", style.run_colour(1), "worked out"),
                Line(speed, cold, "after it", style.run_colour(0), "worked out"),
            ),
            height=170,
        ),
    )  # fmt: skip
    method = (
        f"Worked out with {made.names[j]}: speed-density at the matched manifold pressure, moist "
        "air counted; what the power asks for assumes back pressure no higher than boost."
    )
    return Picture(_air_finding(made, j, power, system), method, panels, RPM)


def _air_finding(made, j, power, system):
    made_w = made.output.power_w[:, j]
    if not np.isfinite(made_w).any():
        return f"{made.names[j]} cannot be matched anywhere in this range"
    k = int(np.nanargmax(made_w))
    flow = units.text(made.match.air_flow_kg_s[k, j], "air_flow", system)
    top = units.text(made_w[k], "power", system)
    at = f"{made.speed_rpm[k, 0]:.0f} rpm"
    if not power:
        return f"{flow} of air make {top} at {at}"
    word = "enough" if made_w[k] >= power else "not enough"
    return f"{flow} of air make {top} at {at}: {word} for {units.text(power, 'power', system)}"


def map_picture(made, j, system):
    """The candidate's compressor map with the engine's operating line on it."""
    unit = units.unit_of("air_flow", system)
    turbo = made.build.turbos[j]
    m, map_, speed = made.match, turbo.compressor, made.speed_rpm[:, 0]

    def flow(values):
        return units.shown(values, "air_flow", system)

    map_lines, map_marks = _map_alone(map_, system)
    lines = [*map_lines, *_operating_lines(m, j, flow)]
    marks = [*map_marks, *_rpm_marks(made, j, flow), *_regime_marks(m, j, flow)]
    top_ratio = 1.06 * float(map_.pressure_ratio.max())
    right = 1.06 * float(flow(map_.flow_kg_s.max()))
    reference = (
        f"{units.text(map_.t_ref_k, 'temperature', system)} and "
        f"{units.text(map_.p_ref_pa, 'barometer', system)}"
    )
    chart = Panel(
        "Pressure ratio, total to total",
        tuple(lines), marks=tuple(marks), height=460, y_range=(1.0, top_ratio),
        x_range=(0.0, right), x_label=f"Corrected flow of one compressor [{unit}], to {reference}",
        decimals=2,
    )  # fmt: skip
    limit = made.speed_share[:, j] * 100
    margin = sizing.surge_margin(made, j) * 100
    choke = 100 * map_.choke_margin(m.corrected_flow_kg_s[:, j], m.corrected_speed_rpm[:, j])
    below = Panel(
        "Along the pull [%]",
        (
            Line(speed, limit, "shaft speed of limit", style.run_colour(1), "worked out"),
            Line(speed, 100 * m.compressor_efficiency[:, j], "efficiency", style.run_colour(2),
                 "worked out", decimals=1),
            Line(speed, margin, "surge margin", style.run_colour(0), "worked out"),
            Line(speed, np.minimum(choke, 150), "choke margin", style.run_colour(4), "worked out"),
        ),
        height=230, x_label=RPM, y_range=(0.0, 110.0),
    )  # fmt: skip
    method = (
        "Green: efficiency in %. Along the line: thousands of rpm. "
        "Surge margin: the share of the flow that can be lost at this pressure ratio before surge. "
        "Choke margin: the share by which flow can still grow at this shaft speed. "
        "Off the map there is no value."
    )
    return Picture(_map_finding(made, j, system), method, (chart, below))


def _map_finding(made, j, system):
    m, target = made.match, made.target_gauge_pa
    level = units.text(np.nanmax(target), "boost", system)
    name = f"{made.names[j]} at {'up to ' if np.ptp(target) > 1 else ''}{level}"
    on = np.isfinite(m.pressure_ratio[:, j])
    if not on.any():
        return f"{name}: no point of the pull lies on the map"
    eta = 100 * m.compressor_efficiency[on, j]
    tight = 100 * np.nanmin(sizing.surge_margin(made, j)[on])
    off = "" if on.all() else f"; {np.sum(~on)} of {len(on)} speeds are off the map"
    return f"{name}: {eta.min():.0f} to {eta.max():.0f} % efficient, surge {tight:.0f} % away{off}"


@lru_cache(maxsize=16)
def _map_alone(map_, system):
    """Lines and marks of a map, kept: a slider moves the operating line only."""

    def flow(values):
        return units.shown(values, "air_flow", system)

    contours, efficiencies = _contours(map_, flow)
    return (*_map_lines(map_, flow), *contours), (*_speed_marks(map_, flow), *efficiencies)


def _contours(map_, flow):
    """Lines of one efficiency, each with its number at its top."""
    speeds = np.linspace(*map_.line_speeds_rpm[[0, -1]], SPEED_NODES)
    grid = map_.at(speeds[:, None], np.linspace(0, 1, LINE_NODES)[None, :])
    contours = contour_generator(flow(grid[0]), grid[1], grid[2])
    lines, marks = [], []
    for level in CONTOURS:
        parts = contours.lines(level)
        lines += [Line(x, y, colour=GREEN, width=1.0, readout=False) for x, y in
                  (part.T for part in parts)]  # fmt: skip
        if parts:
            longest = max(parts, key=len)
            x, y = longest[np.argmax(longest[:, 1])]
            words = f"{100 * level:.0f}"
            marks.append(Mark(float(x), float(y), words, INK_GREEN, dot=False, align="center"))
    return lines, marks


def _map_lines(map_, flow):
    """Speed lines, surge and choke."""
    for speed in map_.line_speeds_rpm:
        flows, ratios, _ = map_.at(speed, np.linspace(0, 1, DRAWN))
        yield Line(flow(flows), ratios, colour=style.QUIET, width=1.2, readout=False)
    speeds = np.linspace(*map_.line_speeds_rpm[[0, -1]], DRAWN)
    for place, width in ((0.0, 2.4), (1.0, 1.2)):
        flows, ratios, _ = map_.at(speeds, place)
        yield Line(flow(flows), ratios, colour=style.INK, width=width, readout=False)


def _speed_marks(map_, flow):
    for speed in map_.line_speeds_rpm:
        flows, ratios, _ = map_.at(speed, 1.0)
        x, y = float(flow(flows)), float(ratios)
        yield Mark(x, y, f"{speed / 1000:.0f}k", style.QUIET, dot=False)


def _operating_lines(m, j, flow):
    """The line in one piece a regime; each begins where the one before it ends."""
    x, y, regime = flow(m.corrected_flow_kg_s[:, j]), m.pressure_ratio[:, j], m.regime[:, j]
    for value, colour in REGIME_COLOURS.items():
        mine = regime == value
        if mine.any():
            joined = mine | np.roll(mine, 1) & (np.arange(len(mine)) > 0)
            yield Line(
                np.where(joined, x, np.nan), np.where(joined, y, np.nan), colour=colour,
                evidence="worked out", width=4, readout=False,
            )  # fmt: skip


def _rpm_marks(made, j, flow):
    """Dots every thousand revolutions, with their speed at both ends."""
    speed, m = made.speed_rpm[:, 0], made.match
    on = np.flatnonzero(np.isfinite(m.pressure_ratio[:, j]))
    if not on.size:
        return
    whole = np.arange(np.ceil(speed[on[0]] / 1000), speed[on[-1]] / 1000 + 1e-9) * 1000
    for rpm in whole:
        k = on[np.argmin(np.abs(speed[on] - rpm))]
        x, y = float(flow(m.corrected_flow_kg_s[k, j])), float(m.pressure_ratio[k, j])
        yield Mark(x, y, f"{rpm / 1000:.0f}", style.INK, align="center")


def _regime_marks(m, j, flow):
    """The words of each stretch, above its middle."""
    for value, colour in REGIME_COLOURS.items():
        mine = np.flatnonzero(m.regime[:, j] == value)
        if mine.size:
            k = mine[len(mine) // 2]
            x, y = float(flow(m.corrected_flow_kg_s[k, j])), float(m.pressure_ratio[k, j])
            yield Mark(
                x, y, REGIME_NAMES[value], style.readable(colour), at=(x, y + 0.28), dot=False,
                align="center",
            )  # fmt: skip


def candidates_picture(made, system):
    """Boost and back pressure, power, and what goes past the turbine, for every candidate."""
    speed, unit = made.speed_rpm[:, 0], units.unit_of("boost", system)
    pressures, torques, powers, shares, lifts = [], [], [], [], []
    for j, name in enumerate(made.names):
        colour = style.run_colour(j)
        back = units.shown(made.back_pressure_gauge_pa[:, j], "boost", system)
        boost = units.shown(made.boost_gauge_pa[:, j], "boost", system)
        power = units.shown(made.output.power_w[:, j], "power", system)
        torque = units.shown(made.output.torque_nm[:, j], "torque", system)
        lift = units.shown(made.match.gate_lift_m[:, j], "length", system)
        share = 100 * made.match.bypass_share[:, j]
        pressures.append(Line(speed, boost, "", colour, "worked out", decimals=1))
        pressures.append(
            Line(speed, back, f"{name} back pressure", colour, "worked out", 1.6, decimals=1)
        )
        powers.append(Line(speed, power, name, colour, "worked out"))
        torques.append(Line(speed, torque, name, colour, "worked out"))
        shares.append(Line(speed, share, name, colour, "worked out"))
        lifts.append(Line(speed, lift, name, colour, "worked out", decimals=3))
    target = units.shown(made.target_gauge_pa[:, 0] + 0 * speed, "boost", system)
    pressures.append(Line(speed, target, "target boost", style.INK, width=1.2, decimals=1))
    threshold = made.threshold_rpm()
    uprights = tuple(
        Upright(float(t), name, style.readable(style.run_colour(j)))
        for j, (t, name) in enumerate(zip(threshold, made.names, strict=True))
        if np.isfinite(t)
    )
    panels = (
        Panel(f"Boost (thick) and back pressure (thin) [{unit}, gauge]", tuple(pressures),
              height=320, decimals=1),
        Panel(f"Power at the crank [{units.unit_of('power', system)}]", tuple(powers),
              uprights=uprights, height=260),
        Panel(f"Torque [{units.unit_of('torque', system)}]", tuple(torques), height=200),
        Panel("Exhaust past the turbine [% of all]", tuple(shares), height=180),
        Panel(f"Gate lift [{units.unit_of('length', system)}]", tuple(lifts), height=160),
    )  # fmt: skip
    method = "Worked out, every point from the energy balance. Hairlines: boost threshold."
    return Picture(_candidates_finding(made, system), method, panels, RPM)


def _candidates_finding(made, system):
    power = made.output.power_w
    if not np.isfinite(power).any():
        return "None of the candidates can be matched"
    best = np.nanmax(np.where(np.isfinite(power), power, -np.inf), axis=0)
    most = int(np.argmax(best))
    threshold = made.threshold_rpm()
    head = f"{made.names[most]} makes most, {units.text(best[most], 'power', system)}"
    if not np.isfinite(threshold).any() or len(made.names) == 1:
        return head
    first = int(np.nanargmin(threshold))
    return f"{head}; {made.names[first]} is on target first, at {threshold[first]:.0f} rpm"


def fuel_picture(made, j, found, limit, system):
    """Injector duty along the pull against its limit, and the fuel behind it."""
    speed, unit = made.speed_rpm[:, 0], units.unit_of("fuel_flow", system)
    flow = units.shown(found.fuel_flow_kg_s, "fuel_flow", system)
    duty = 100 * found.duty
    bsfc = units.shown(made.output.bsfc_kg_j[:, j], "bsfc", system)
    over = np.where(duty > 100 * limit, duty, np.nan)
    panels = (
        Panel(
            "Injector duty [%]",
            (
                Line(speed, 100 * limit + 0 * speed, "limit", style.INK, width=1.2),
                Line(speed, duty, "duty", style.run_colour(1), "worked out"),
            ),
            bands=(Band(speed, 100 * limit + 0 * speed, over, style.run_colour(1), 0.2),),
            height=180,
        ),
        Panel(f"Fuel [{unit}]", (Line(speed, flow, "fuel", style.run_colour(0), "worked out"),),
              height=160),
        Panel(f"Fuel per work [{units.unit_of('bsfc', system)}]",
              (Line(speed, bsfc, "bsfc", style.run_colour(2), "worked out", decimals=3),),
              height=150, from_zero=False, decimals=3),
    )  # fmt: skip
    finding = _fuel_finding(made, found, limit, system)
    pump, at = (
        units.text(v, kind, system)
        for v, kind in ((found.pump_m3_s, "injector_flow"), (found.pump_gauge_pa, "boost"))
    )
    method = f"Worked out with {made.names[j]}. The pump must give {pump} at {at}."
    return Picture(finding, method, panels, RPM)


def _fuel_finding(made, found, limit, system):
    if np.isinf(found.size_m3_s):
        return f"The rail does not stand above boost at {found.worst_rpm:.0f} rpm: no fuel gets in"
    if np.isnan(found.size_m3_s):
        return "Name the injectors to see their duty"
    size = units.text(found.size_m3_s, "injector_flow", system)
    count, at = made.build.fuel.injectors, f"{found.worst_rpm:.0f} rpm"
    return f"{count} injectors of {size} keep {100 * limit:.0f} % duty at {at}"


def cooler_picture(made, j, tank, seconds, limit_k, system):
    """Heat to take away along the pull; with a tank, its temperature pull after pull."""
    speed, cool = made.speed_rpm[:, 0], sizing.cooling(made, j)
    heat = units.shown(cool.heat_w, "heat_flow", system)
    pulls, after = sizing.tank_pulls(made, j, tank, seconds, limit_k)
    t_unit = units.unit_of("temperature", system)
    temperature = units.shown(after, "temperature", system)
    limit = float(units.shown(limit_k, "temperature", system))
    count = np.arange(len(after))
    panels = (
        Panel(f"Heat out of the charge [{units.unit_of('heat_flow', system)}]",
              (Line(speed, heat, "heat", style.run_colour(1), "worked out", decimals=1),),
              height=180, x_label=RPM, decimals=1),
        Panel(
            f"Tank after each pull [{t_unit}]",
            (
                Line(count, limit + 0.0 * count, "limit", style.INK, width=1.2),
                Line(count, temperature, "tank", style.run_colour(0), "worked out", points=True),
            ),
            height=180, x_label=f"Pulls of {units.text(seconds, 'time', system)}",
            from_zero=False,
        ),
    )  # fmt: skip
    worst = units.text(np.nanmax(cool.heat_w) if np.isfinite(heat).any() else np.nan, "heat_flow",
                       system)  # fmt: skip
    words = "not known" if np.isnan(pulls) else f"{pulls:.0f}"
    finding = f"The cooler must take {worst} away; the tank bears {words} pulls before its limit"
    method = (
        f"Worked out with {made.names[j]} from the mean heat over the range; no heat leaves the "
        "tank between pulls."
    )
    return Picture(finding, method, panels)
