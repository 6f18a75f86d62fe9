"""Pictures of a fit and of what it foresees: runs solid, prediction dashed, extrapolated dotted."""

import numpy as np

from toolkit import units
from toolkit.analysis.whatif import limits
from toolkit.charts import style
from toolkit.charts.comparison import QUANTITIES, X_LABEL
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Zone

PREDICTED = style.INK


def picture(fitted, prediction, names, what, system, quantity="torque_nm"):
    """The Picture of a prediction beside the runs it comes from.

    names: (name, speed [rpm], torque [N m]) of each run. what: the change in words.
    quantity: "torque_nm" or "power_w".
    """
    return Picture(
        finding(prediction, what, system),
        method(fitted, prediction),
        (
            _level(prediction, names, system, quantity),
            _pressures(prediction, system),
        ),
        X_LABEL,
        (float(prediction.speed_rpm[0]), float(prediction.speed_rpm[-1])),
    )


def finding(prediction, what, system):
    """The headline: greatest power with its band, and whether it is extrapolated."""
    speed, power, low, high = prediction.peak
    if not np.isfinite(power):
        return f"{what}: cannot tell, no speed has a solution on the maps"
    unit = units.unit_of("power", system)
    best, least, most = (f"{units.shown(v, 'power', system):.0f}" for v in (power, low, high))
    k = int(np.nanargmax(prediction.best["power_w"]))
    end = ", extrapolated" if prediction.extrapolated[k] else ""
    band = f"({least} to {most})" if np.isfinite(low + high) else "(band cannot be told)"
    return f"{what}: {best} {unit} {band} at {speed:.0f} rpm{end}"


def method(fitted, prediction):
    """What a reader must know: how many points, which band, why dotted."""
    bins = f"fitted to {fitted.points.size} points of {len(fitted.builds)} turbo" + (
        "s" if len(fitted.builds) > 1 else ""
    )
    why = f" · dotted: {', '.join(prediction.why)}" if prediction.why else ""
    return f"{bins} · steady points · 95 % band of fit and model error{why}"


def stretches(x, y, dotted):
    """The curve as a dashed and a dotted part that touch; NaN elsewhere."""
    near = dotted.copy()
    near[1:] |= dotted[:-1]
    near[:-1] |= dotted[1:]
    return np.where(dotted, np.nan, y), np.where(near, y, np.nan)


def _drawn(prediction, channel, kind, system, label, **look):
    """Lines of a predicted channel, labelled once."""
    y = units.shown(prediction.best[channel], kind, system)
    known, beyond = stretches(prediction.speed_rpm, y, prediction.extrapolated)
    at_end = prediction.extrapolated[-1]
    made = []
    for values, evidence, named in (
        (known, "worked out", not at_end), (beyond, "extrapolated", at_end),
    ):  # fmt: skip
        if np.isfinite(values).any():
            words = label if named else ""
            made.append(Line(prediction.speed_rpm, values, words, PREDICTED, evidence, **look))
    return made


def _level(prediction, names, system, quantity):
    words, kind = QUANTITIES[quantity]
    lines = []
    for k, (name, speed, torque) in enumerate(names):
        value = torque if quantity == "torque_nm" else torque * speed * np.pi / 30
        y = units.shown(value, kind, system)
        lines.append(Line(speed, y, name, style.run_colour(k), width=style.THIN_PX, decimals=0))
    lines += _drawn(prediction, quantity, kind, system, "what if", decimals=0)
    band = _band(prediction, quantity, kind, system)
    title = f"{words} [{units.unit_of(kind, system)}]; runs solid, what if dashed with its band"
    return Panel(title, tuple(lines), (band,), height=320)


def _band(prediction, channel, kind, system):
    low, high = (units.shown(v[channel], kind, system) for v in (prediction.low, prediction.high))
    return Band(prediction.speed_rpm, low, high, PREDICTED)


def _pressures(prediction, system):
    lines = _drawn(prediction, "boost_gauge_pa", "boost", system, "boost", decimals=1)
    lines += _drawn(
        prediction, "back_pressure_gauge_pa", "boost", system, "back pressure",
        width=style.THIN_PX, decimals=1,
    )  # fmt: skip
    bands = [
        _band(prediction, c, "boost", system) for c in ("boost_gauge_pa", "back_pressure_gauge_pa")
    ]
    zones = tuple(Zone(float(a), float(b), words) for a, b, words in limits(prediction) if b > a)
    unit = units.unit_of("boost", system)
    title = f"Boost (thick) and back pressure (thin) of what if, gauge [{unit}]"
    return Panel(title, tuple(lines), tuple(bands), zones=zones, height=240)


def trade_picture(trade, size, system):
    """The Picture of a Trade: one curve from the first turbo to the second, and where it is."""
    unit = units.unit_of("power", system)
    power = units.shown(trade.power_w, "power", system)
    at, threshold, wait = trade.at(size)
    at = float(units.shown(at, "power", system))
    half = float(units.shown(trade.power_half_w, "power", system))
    band = f"± {half:.0f} {unit} (95 %), most of it common to all sizes"
    title = f"Power at {trade.top_rpm:.0f} rpm [{unit}]"
    along = [
        (trade.time_s, wait, f"Time to boost at {trade.held_rpm:.0f} rpm [s]"),
        (trade.threshold_rpm, threshold, "Boost threshold [rpm]"),
    ]
    where = {0.0: trade.names[0], 1.0: trade.names[1]}.get(size, f"{size:.0%} of the way")
    return Picture(
        f"{where}: {at:.0f} {unit} at {trade.top_rpm:.0f} rpm, boost from {threshold:.0f} rpm, "
        f"{wait:.1f} s to boost",
        f"time to 95 % of the boost after opening the throttle at {trade.held_rpm:.0f} rpm held · "
        "boost threshold of steady points · each dot a step from one to the other · power "
        + (band if np.isfinite(half) else "without a band: some draws found no solution"),
        tuple(
            _against(title, x, power, (here, at, size), trade.names, label)
            for x, here, label in along
        ),
    )


def _against(title, x, power, here, names, label):
    """One curve from the first turbo to the second, with the place that was chosen."""
    line = Line(x, power, "", style.INK, "worked out", points=True, readout=False)
    marks = (
        Mark(x[0], power[0], names[0], style.run_colour(0), align="right"),
        Mark(x[-1], power[-1], names[1], style.run_colour(1)),
        Mark(here[0], here[1], f"{here[2]:.0%} of the way", PREDICTED, at=_below(x, power, here)),
    )
    return Panel(
        title, (line,), marks=marks if 0 < here[2] < 1 else marks[:2], height=210,
        y_range=_whole(_room(power)), x_label=label, x_range=_room(x),
    )  # fmt: skip


def _below(x, y, here):
    """Where words stand clear of a rising curve: below and right of the place."""
    return here[0] + 0.05 * np.ptp(_room(x)), here[1] - 0.16 * np.ptp(_room(y))


def _whole(ends):
    """A range from and to whole numbers."""
    return float(np.floor(ends[0])), float(np.ceil(ends[1]))


def _room(values):
    """An axis range with air for the words at both ends."""
    known = values[np.isfinite(values)]
    if not known.size:
        return 0.0, 1.0
    air = 0.15 * (float(np.ptp(known)) or 1.0)
    return float(known.min()) - air, float(known.max()) + air
