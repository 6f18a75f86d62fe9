"""The circle: where the pressures, temperatures and flows are around the engine.

A teaching picture made from the person's own numbers: measured ones in a solid frame, worked-out
ones in a dashed one. A station with no number says so.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from toolkit import units
from toolkit.charts import style
from toolkit.charts.picture import Line, Mark, Panel, Picture, Shape
from toolkit.logs.channels import CHANNELS

STATIONS = ("cell", "compressor", "cooler", "manifold", "engine", "exhaust", "gate", "turbine")
_COLD, _HOT = "#0072B2", "#D55E00"
_HOT_SIDE = ("exhaust", "gate", "turbine")
_MOST = 3  # numbers a station has room for

# Per station: channels, with the words that fit beside the number.
_SHOWN = {
    "cell": (("p_cell_pa", ""), ("t_cell_k", "air"), ("humidity", "humid")),
    "compressor": (
        ("p_compressor_out_pa", "out, abs"), ("t_compressor_out_k", "out"),
        ("shaft_speed_rpm", ""),
    ),
    "cooler": (("t_cooler_water_k", "water"), ("cooled_by", "cooler")),
    "manifold": (("boost", "boost"), ("t_charge_k", "charge")),
    "engine": (("torque_nm", ""), ("power_w", ""), ("air_flow_kg_s", "air")),
    "exhaust": (("back", "back"), ("t_exhaust_k", "gas"), ("back_over_boost", "× boost, abs")),
    "gate": (("gate_duty", "duty"), ("p_gate_top_gauge_pa", "top port"), ("gate_lift_m", "lift")),
    "turbine": (
        ("p_turbine_out_pa", "out, abs"), ("t_turbine_out_k", "out"),
        ("expansion", "expansion"),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Reading:
    """One number at a station: words, value in the inside unit of its kind, how it was come by."""

    station: str
    words: str
    value: float
    kind: str
    evidence: str = "measured"

    def shown(self, system):
        """As a person reads it."""
        return f"{units.text(self.value, self.kind, system)} {self.words}".strip()


def circle_of(c, speed_rpm, system):
    """The circle of the side compared, at one engine speed: a function that makes its Picture for
    a size (width, height); None where nothing was logged."""
    at = int(np.argmin(np.abs(c.speed_rpm - speed_rpm)))
    logged = {channel: float(v[at]) for channel, v in c.channels_b.items()}
    found = tuple(readings(logged))
    title = f"{c.b.name} at {c.speed_rpm[at]:.0f} rpm: where the numbers are"
    return partial(circle, title, found, system) if found else None


def readings(logged):
    """The Readings that a dict of our channels (inside units, NaN where missing) gives."""
    measured, worked = logged | _gauges(logged), _worked_out(logged)
    for station, shown in _SHOWN.items():
        for channel, words in shown:
            for values, evidence in ((measured, "measured"), (worked, "worked out")):
                value = values.get(channel, np.nan)
                if np.isfinite(value):
                    yield Reading(station, words, value, _kind(channel), evidence)
                    break


def _gauges(v):
    """Boost and back pressure: measured, whichever of the two ways the bench wrote them."""
    cell = v.get("p_cell_pa", np.nan)
    pairs = {"boost": "p_manifold_pa", "back": "p_exhaust_pa"}
    return {name: v.get(channel, np.nan) - cell for name, channel in pairs.items()}


def _worked_out(v):
    """What follows from the channels."""
    exhaust, turbine_out = v.get("p_exhaust_pa", np.nan), v.get("p_turbine_out_pa", np.nan)
    return {
        "cooled_by": v.get("t_compressor_out_k", np.nan) - v.get("t_charge_k", np.nan),
        "back_over_boost": exhaust / v.get("p_manifold_pa", np.nan),
        "expansion": exhaust / turbine_out,
        "power_w": v.get("torque_nm", np.nan) * v.get("speed_rpm", np.nan) * np.pi / 30,
    }


def _kind(channel):
    own = {"boost": "boost", "back": "boost", "cooled_by": "temperature_difference"}
    return CHANNELS[channel].kind if channel in CHANNELS else own.get(channel, "ratio")


def circle(title, found, system, size=(1920, 1080)):
    """The Picture of these Readings around the engine, laid out for the shape of the sheet."""
    shape = size[0] / size[1]
    layout = _WIDE if shape > _LONG else _UPRIGHT if shape < 1 / _LONG else _SQUARE
    shapes, marks, lines = [], [], list(_pipes(layout))
    for station in STATIONS:
        own = [r for r in found if r.station == station][:_MOST]
        box_shapes, box_marks = _box(station, layout, own, system)
        shapes += box_shapes
        marks += box_marks
    marks += _legend(layout)
    shapes += [_arrow(*a) for a in layout.arrows]
    width, height = layout.size
    panel = Panel(
        "", tuple(lines), (), tuple(shapes), tuple(marks), height=400, y_range=(0, height),
        x_range=(0, width), equal_scale=True, bare=True,
    )  # fmt: skip
    return Picture(title, "", (panel,), words=_in_words(title, found, system))


def _in_words(title, found, system):
    said = [f"{r.station} {r.shown(system)} ({r.evidence})" for r in found]
    return f"{title}. " + "; ".join(said) + "."


# Lengths on the sheet are in hundredths of its short side, as the height of letters is.
@dataclass(frozen=True)
class _Layout:
    size: tuple[float, float]
    box: tuple[float, float]
    centres: dict
    pipes: tuple
    arrows: tuple
    shaft: tuple
    legend: tuple[float, float]


_WIDE = _Layout(
    size=(170, 76),
    box=(31, 23),
    centres={
        "cell": (16, 62), "compressor": (54, 62), "cooler": (92, 62), "manifold": (130, 62),
        "engine": (154, 38), "exhaust": (130, 14), "gate": (92, 14), "turbine": (54, 14),
    },
    pipes=(
        (_COLD, (31.5, 62), (38.5, 62)), (_COLD, (69.5, 62), (76.5, 62)),
        (_COLD, (107.5, 62), (114.5, 62)), (_COLD, (145.5, 62), (154, 62), (154, 49.5)),
        (_HOT, (154, 26.5), (154, 14), (145.5, 14)),
        (_HOT, (130, 25.5), (130, 36), (54, 36), (54, 25.5)), (_HOT, (114.5, 14), (107.5, 14)),
        (_HOT, (76.5, 6), (73, 6), (73, 0.5), (30, 0.5), (30, 14)), (_HOT, (38.5, 14), (15, 14)),
    ),
    arrows=(
        (_COLD, (38.5, 62), 0), (_COLD, (76.5, 62), 0), (_COLD, (114.5, 62), 0),
        (_COLD, (154, 49.5), 270), (_HOT, (145.5, 14), 180), (_HOT, (54, 25.5), 270),
        (_HOT, (107.5, 14), 180), (_HOT, (15, 14), 180),
    ),
    shaft=((46, 50.5), (46, 25.5)),
    legend=(4, 38),
)  # fmt: skip
_UPRIGHT = _Layout(
    size=(92, 142),
    box=(34, 22),
    centres={
        "cell": (18, 130), "compressor": (18, 100), "cooler": (18, 70), "manifold": (18, 40),
        "engine": (44, 12), "exhaust": (70, 40), "gate": (70, 70), "turbine": (70, 100),
    },
    pipes=(
        (_COLD, (18, 119), (18, 111)), (_COLD, (18, 89), (18, 81)), (_COLD, (18, 59), (18, 51)),
        (_COLD, (18, 29), (18, 12), (27, 12)), (_HOT, (61, 12), (70, 12), (70, 29)),
        (_HOT, (53, 40), (44, 40), (44, 93), (53, 93)), (_HOT, (70, 51), (70, 59)),
        (_HOT, (87, 70), (91, 70), (91, 118), (70, 118)), (_HOT, (70, 111), (70, 124)),
    ),
    arrows=(
        (_COLD, (18, 111), 270), (_COLD, (18, 81), 270), (_COLD, (18, 51), 270),
        (_COLD, (27, 12), 0), (_HOT, (70, 29), 90), (_HOT, (53, 93), 0), (_HOT, (70, 59), 90),
        (_HOT, (70, 126), 90),
    ),
    shaft=((35, 105), (53, 105)),
    legend=(53, 136),
)  # fmt: skip

_SQUARE = _Layout(
    size=(94, 80),
    box=(27, 22),
    centres={
        "cell": (14, 68), "compressor": (47, 68), "cooler": (80, 68), "manifold": (80, 40),
        "engine": (80, 12), "exhaust": (47, 12), "gate": (14, 12), "turbine": (47, 40),
    },
    pipes=(
        (_COLD, (27.5, 68), (33.5, 68)), (_COLD, (60.5, 68), (66.5, 68)),
        (_COLD, (80, 57), (80, 51)), (_COLD, (80, 29), (80, 23)),
        (_HOT, (66.5, 12), (60.5, 12)), (_HOT, (47, 23), (47, 29)), (_HOT, (33.5, 12), (27.5, 12)),
        (_HOT, (14, 23), (14, 42)), (_HOT, (33.5, 40), (2, 40)),
    ),
    arrows=(
        (_COLD, (33.5, 68), 0), (_COLD, (66.5, 68), 0), (_COLD, (80, 51), 270),
        (_COLD, (80, 23), 270), (_HOT, (60.5, 12), 180), (_HOT, (47, 29), 90),
        (_HOT, (27.5, 12), 180), (_HOT, (2, 40), 180),
    ),
    shaft=((47, 57), (47, 51)),
    legend=(0.5, 49),
)  # fmt: skip
_LONG = 1.25  # a sheet so much longer than wide, or the other way about, is no square


def _pipes(layout):
    for colour, *corners in layout.pipes:
        x, y = zip(*_trimmed(corners), strict=True)
        yield Line(x, y, "", colour, width=5, readout=False)
    x, y = zip(*layout.shaft, strict=True)
    yield Line(x, y, "", style.INK, width=3, readout=False)


def _trimmed(corners):
    """The corners with both ends drawn in: round ends of strokes reach beyond, arrows cover."""
    ends = [np.array(c, dtype=float) for c in corners]
    for end, inner, by in ((0, 1, 1.2), (-1, -2, 2.2)):
        along = ends[inner] - ends[end]
        ends[end] = ends[end] + by * along / np.hypot(*along)
    return ends


def _arrow(colour, tip, degrees):
    along = np.array([0, -3.2, -3.2])
    across = np.array([0, 1.7, -1.7])
    turn = np.deg2rad(degrees)
    x = tip[0] + along * np.cos(turn) - across * np.sin(turn)
    y = tip[1] + along * np.sin(turn) + across * np.cos(turn)
    return Shape(x, y, colour, 1.0)


def _box(station, layout, found, system):
    x, y = layout.centres[station]
    width, height = layout.box
    colour = style.INK if station == "engine" else _HOT if station in _HOT_SIDE else _COLD
    shapes = [
        Shape(*_rectangle(x, y, width, height), style.PAPER, 1.0),
        Shape(*_rectangle(x, y, width, height), colour, 0.10, colour),
    ]
    top = y + height / 2
    marks = [_words(x, top - 2.6, station.capitalize(), colour)]
    for number, reading in enumerate(found):
        place = top - 7.6 - 5.7 * number
        edge = _rectangle(x, place, width - 3, 4.8)
        shapes.append(Shape(*edge, style.PAPER, 1.0, style.INK, reading.evidence))
        marks.append(_words(x, place, reading.shown(system)))
    if not found:
        marks.append(_words(x, y - 2, "not measured", style.QUIET))
    return shapes, marks


def _legend(layout):
    x, y = layout.legend
    return [Mark(x, y, "solid frame: measured\ndashed frame: worked out", style.QUIET, dot=False)]


def _words(x, y, text, colour=style.INK):
    return Mark(x, y, text, colour, dot=False, align="center")


def _rectangle(x, y, width, height):
    half = np.array([1, 1, -1, -1]) * width / 2, np.array([-1, 1, 1, -1]) * height / 2
    return x + half[0], y + half[1]
