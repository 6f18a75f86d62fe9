"""The shares of a torque difference as a picture: stacked along speed, and one with its band."""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.analysis.split import UNEXPLAINED
from toolkit.analysis.split_words import headline
from toolkit.charts import style
from toolkit.charts.comparison import X_LABEL
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture

# Fills that no run of a comparison uses (its two runs are blue and orange-red).
FILLS = {
    "boost": "#56B4E9",
    "pumping": "#E69F00",
    "breathing": "#CC79A7",
    "charge temperature": "#009E73",
    "mixture": "#F0E442",
    "spark": "#8C7AE6",
    "weather": "#B8C4CE",
    UNEXPLAINED: "#616E7C",
}
_LEAST_SHARE = 0.06  # of the axis; a thinner area has no room for its name


def picture(split, system, low_rpm, high_rpm, cause=None):
    """The Picture of a Split; cause: whose band the lower panel draws, None for the largest."""
    split = _within(split, low_rpm, high_rpm)
    shown = units.shown(split.share, "torque", system)
    total = units.shown(split.difference, "torque", system)
    cause = cause or largest(split, low_rpm, high_rpm)
    method = (
        f"Shares of {split.name_b} − {split.name_a}, average over all orders (Shapley); they add "
        f"up to the measured difference · breathing slope: {split.slope.source}"
    )
    return Picture(
        headline(split, system, low_rpm, high_rpm),
        method,
        (_stack(split, shown, total, system), _one(split, shown, system, cause)),
        X_LABEL,
        (float(split.speed_rpm[0]), float(split.speed_rpm[-1])),
    )


def _within(split, low_rpm, high_rpm):
    """The split over the range that its sentences speak of: outside it the axis would be lost to
    the speeds at which one turbo has no boost yet."""
    inside = (split.speed_rpm >= low_rpm) & (split.speed_rpm <= high_rpm)
    along = {n: getattr(split, n)[..., inside]
             for n in ("speed_rpm", "share", "difference", "errors", "error_dof")}  # fmt: skip
    return replace(split, **along)


def largest(split, low_rpm, high_rpm):
    """The cause with the largest average share."""
    share, _ = split.average(low_rpm, high_rpm)
    return split.causes[int(np.nanargmax(np.abs(share)))]


def _stack(split, shown, total, system):
    """Gains piled up from zero, losses piled down from it; their sum is the measured line."""
    x, bands, marks = split.speed_rpm, [], []
    up, down = np.zeros(len(x)), np.zeros(len(x))
    tallest = np.nanmax(np.abs(shown).sum(axis=0), initial=1e-9)
    for cause, share in zip(split.causes, shown, strict=True):
        gain, loss = np.maximum(share, 0), np.minimum(share, 0)
        bands += [Band(x, up, up + gain, FILLS[cause], 0.75),
                  Band(x, down + loss, down, FILLS[cause], 0.75)]  # fmt: skip
        middle = np.where(share >= 0, up + gain / 2, down + loss / 2)
        inner = slice(len(x) // 8, len(x) - len(x) // 8)  # names keep off the ends
        at = inner.start + int(np.argmax(np.nan_to_num(np.abs(share[inner]))))
        if abs(share[at]) > _LEAST_SHARE * tallest:
            marks.append(Mark(float(x[at]), float(middle[at]), cause, dot=False, align="center"))
        up, down = up + gain, down + loss
    line = Line(x, total, "measured", style.INK, decimals=1)
    low, high = np.nanmin(down, initial=0), np.nanmax(up, initial=0)
    air = 0.06 * (high - low or 1)
    title = f"Difference in torque by cause [{units.unit_of('torque', system)}]"
    return Panel(title, (line,), tuple(bands), marks=tuple(marks), height=330,
                 y_range=(low - air, high + air))  # fmt: skip


def _one(split, shown, system, cause):
    k = split.causes.index(cause)
    half = units.shown(split.half_width[k], "torque", system)
    x, share = split.speed_rpm, shown[k]
    zero = Line(x, np.zeros_like(x), colour=style.QUIET, width=1, readout=False)
    line = Line(x, share, cause if len(cause) < 22 else "not explained", style.INK, "worked out",
                decimals=1)  # fmt: skip
    title = f"{cause[0].upper()}{cause[1:]} alone, with its 95 % band " \
            f"[{units.unit_of('torque', system)}]"  # fmt: skip
    return Panel(title, (zero, line), (Band(x, share - half, share + half, FILLS[cause], 0.35),),
                 height=190, decimals=1)  # fmt: skip
