"""All pulls of the day of a log, in order: what drifted, and which may be compared."""

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.analysis.day import day_of, shortened
from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.session import LEAST_S, LIKENESS, SWEEP_LIMIT
from toolkit.charts.log_axes import Drawn
from toolkit.charts.session_picture import session_picture
from toolkit.logs.question import LogError
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Workpanel,
    group,
    paragraph,
    said,
    table,
)
from toolkit.panels.log_pulls import Slot
from toolkit.physics.correction import STANDARDS

_FIELDS = {
    "t_oil_k": "Oil", "t_charge_k": "Charge, one set-up", "t_cell_k": "Cell air",
    "t_coolant_k": "Coolant", "p_cell_pa": "Barometer",
}  # fmt: skip


class SessionPanel(Workpanel):
    """The day's pulls in order; read when you ask for it, from the reviews as they are saved."""

    def __init__(self, desk):
        super().__init__()
        self.desk, self.day, self._left_out = desk, None, ()
        self.read = w.Button(description="Read the day", layout=w.Layout(width="190px"))
        self.read.on_click(self.handler(lambda _: self._read()))
        self.against = Choice("Compare with", [("pull 1", 0)])
        self.against.layout.display = "none"
        standards = [(name, name) for name in (OBSERVED, *STANDARDS)]
        self.power = Choice(
            "Power", [("corrected", ""), *standards],
            hint="observed where a weather is missing; too large where a gate holds gauge boost",
        )  # fmt: skip
        self.power.observe(self.handler(lambda _: self._read() if self.day else None), "value")
        self.limits = {
            channel: Quantity(_FIELDS[channel], _gap_kind(channel), limit, low=0)
            for channel, (limit, _) in LIKENESS.items()
        }
        self.sweep = Quantity("Sweep rate, by", "fraction", SWEEP_LIMIT, low=0)
        self.least = Quantity("Pulls spread over", "long_time", LEAST_S, low=0,
                              hint="or more: pulls of one go show no drift of the day")  # fmt: skip
        self.slot, self.list = Slot(), w.HTML()
        self.watch(self.against, *self.limits.values(), self.sweep, self.least)
        hint = said("Reads every log of this day in the bench; reviews count as saved.")
        self.compose(
            [
                group("The day of this log", self.read, hint, self.power, self.against),
                group("Alike if they differ by less than", *self.limits.values(), self.sweep,
                      said("Common practice; yours to set.")),
                group("A drift is told of", self.least),
            ],
            [self.slot, self.list],
        )  # fmt: skip

    def _read(self):
        if self.desk.state is None:
            raise LogError("no log is open: choose one first")
        self.day, self._left_out = day_of(
            self.desk.bench, self.desk.state.run.name, self.power.value
        )
        setups = shortened([p.setup for p in self.day.pulls])
        self.against.control.options = [(f"{i}: {s}", i - 1) for i, s in enumerate(setups, 1)]
        self.against.layout.display = None
        self.redraw()

    def redraw(self):
        """Draw the day that was read."""
        if self.day is None:
            return
        self.slot.show(Drawn(session_picture(self.day, UNITS.system, self.least.value), ()))
        limits = {c: (self.limits[c].value, words) for c, (_, words) in LIKENESS.items()}
        told = [
            self.day.apart(self.against.value, place, limits, self.sweep.value)
            for place in range(len(self.day.pulls))
        ]
        self.list.value = _listed(self.day, self.against.value, told, UNITS.system) + "".join(
            paragraph(text, "dp-message") for text in self._left_out
        )


def _gap_kind(channel):
    return "boost" if channel == "p_cell_pa" else "temperature_difference"


def _listed(day, base, told, system):
    names = shortened([p.setup for p in day.pulls])
    rows = [
        (f"{i + 1}", _clock(p.hour), names[i], units.text(p.power_w, "power", system),
         *(_level(p, c, system) for c in LIKENESS), _against(told[i], i == base, system))
        for i, p in enumerate(day.pulls)
    ]  # fmt: skip
    heads = ["", "at", "set-up", "mean power", *(words for _, words in LIKENESS.values())]
    return table(rows, [*heads, f"against pull {base + 1}"], words=(0, 1, 2, len(heads)))


def _clock(hour):
    if hour is None:
        return "not known"
    minutes = round(60 * hour)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _level(pull, channel, system):
    kind = "barometer" if channel == "p_cell_pa" else "temperature"
    value = pull.levels.get(channel, np.nan)
    return units.text(value, kind, system) if np.isfinite(value) else "not logged"


def _against(reasons, is_base, system):
    """Whether a pull may be compared with the chosen one, and if not, why."""
    if is_base:
        return "this one"
    if not reasons:
        return "may be compared"
    said = []
    for channel, words, gap in reasons:
        kind = "sweep_rate" if channel == "sweep" else _gap_kind(channel)
        sign = "+" if gap > 0 else ""
        said.append(f"{words} {sign}{units.text(gap, kind, system)}")
    return f"not like for like: {', '.join(said)}"
