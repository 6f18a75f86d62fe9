"""Will the gate hold: the verdict on a pull, the spring's window, and the forces drawn."""

from dataclasses import dataclass, replace

import ipywidgets as w
import numpy as np

from toolkit import preferences, units
from toolkit.analysis.gate_bypass import demand
from toolkit.analysis.gate_check import check
from toolkit.analysis.gate_log import GateLog, along, spring_for
from toolkit.analysis.gate_outlook import outlook, reach
from toolkit.analysis.gate_runs import gate_log
from toolkit.analysis.sides import partner
from toolkit.analysis.typed_rows import as_lines, columns_typed
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts import gate_picture
from toolkit.explain.keepable import of_gate
from toolkit.explain.kept import save_kept, sources_of
from toolkit.panels.base import (
    UNITS,
    Choice,
    Quantity,
    Shown,
    Slide,
    TypedRows,
    Workpanel,
    group,
    named,
    paragraph,
    table,
    verdict,
)
from toolkit.panels.keep import KeepBox
from toolkit.physics import gate as gates
from toolkit.physics.gate import Gate

TYPED = ""
_POINTS = ("engine_speed", "boost", "boost")
_PORTS = [
    ("one port", (1, False)),
    ("one port, line bled", (1, True)),
    ("two ports", (2, False)),
]
_AS_RUN, _AT_TARGET = "as it was run", "at the target"


def _typed_example():
    """Points of a pull that nobody ran, to type over."""
    speed = np.array([3000.0, 4000, 5000, 6000, 6500])
    boost = 6894.757 * np.array([14.0, 14, 14, 13.2, 12.6])
    back = 6894.757 * np.array([9.0, 13, 17, 18.6, 19.2])
    return as_lines((speed, boost, back), _POINTS, UNITS.system)


@dataclass(frozen=True)
class Judged:
    """What a verdict was given on: gate, target and the files of log and build."""

    gate: Gate
    target_gauge_pa: float
    names: tuple


class GatePanel(Workpanel):
    """A pull, its gate, and another gate to try: the verdict, the window and the sketch follow."""

    def __init__(self, bench=None, log=TYPED, build=TYPED, target_gauge_pa=100e3):
        """log, build: names to open on, where the bench has them."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self._logs, self._demands, self._builds = {}, {}, {}
        self._make_pull(log, target_gauge_pa)
        self._make_gate(build)
        self._make_trial()
        self.verdict, self.outlook, self.numbers, self.notes = (w.HTML() for _ in range(4))
        self.window, self.sketch, self.flow, self.judged = Shown(), Shown(), Shown(), None
        self.source.observe(self._new_log, "value")
        self.build.observe(self._new_build, "value")
        self.typed.control.observe(self._changed, "value")
        self.watch(
            self.partner, self.target, self.outlet, self.margin, self.ports, self.valve,
            self.diaphragm, self.spring, self.rate, self.lift, self.lever, self.second,
            self.second_rate, self.alone,
        )  # fmt: skip
        for draw, fields in (
            (self._try, (self.try_spring, self.try_valve, self.try_diaphragm)),
            (self._draw_state, (self.look, self.state)),
            (self._draw_sketch, (self.share,)),
        ):
            for field in fields:
                field.observe(self.handler(lambda _, draw=draw: self.judged and draw()), "value")
        self.keep = KeepBox(self, self._keep)
        self.compose(
            [
                group("Pull", self.source, self.partner, self.typed, self.target, self.outlet),
                group(
                    "Gate, as it was run", self.build, self.ports, self.valve, self.diaphragm,
                    self.spring, self.rate, self.lift, self.lever,
                ),
                group("A second spring inside", self.second, self.second_rate),
                group("The spring to look for", self.alone, self.margin),
            ],
            [self.verdict, self.window, self._trial(), self.outlook, self.sketch, self.numbers,
             self.flow, self.notes, self.keep],
        )  # fmt: skip

    # ---- fields ----

    def _make_pull(self, log, target_gauge_pa):
        logs = self.bench.logs()
        short = named(logs)
        log = log if log in logs else TYPED
        self.source = Choice("Run", [*short, ("typed points", TYPED)], log)
        self.partner = Choice(
            "Control from", [("the same log", ""), *short], partner(log, logs),
            hint="a log with top-port pressure, duty or lift",
        )  # fmt: skip
        self.typed = TypedRows(
            "Points", _typed_example(), self._kinds,
            "speed; boost; back pressure; top port if known (gauge)",
        )  # fmt: skip
        for field in (self.source, self.partner, self.typed):
            field.layout.width, field.control.layout.width = "390px", "232px"
        self.target = Quantity("Target boost", "boost", target_gauge_pa, low=1e3)
        self.outlet = Quantity(
            "Turbine outlet",
            "boost",
            None,
            low=0,
            optional=True,
            hint="above cell; empty: not known",
        )  # fmt: skip

    def _make_gate(self, build):
        builds = self.bench.builds()
        build = build if build in builds else TYPED
        short = named(builds)
        self.build = Choice("Taken from", [*short, ("typed here", TYPED)], build)
        self.ports = Choice("Ports", _PORTS, (2, False))
        asked = {"optional": True}  # never invented: empty until a build or a person says
        self.valve = Quantity("Valve diameter", "length", None, low=5e-3, high=0.15, **asked)
        self.ports.layout.width, self.ports.control.layout.width = "330px", "172px"
        self.diaphragm = Quantity("Diaphragm diameter", "length", None, low=5e-3, high=0.3, **asked)
        self.spring = Quantity(
            "Spring", "boost", None, low=0, high=1e6, hint="boost that cracks it alone", **asked
        )
        self.rate = Quantity("Spring rate", "spring_rate", None, low=10, high=1e6, **asked)
        self.lift = Quantity("Lift at its stop", "length", None, low=5e-4, high=0.05, **asked)
        self.lever = Quantity(
            "Lever ratio", "ratio", 1.0, low=0.2, high=10, hint="rod over valve travel; poppet 1"
        )
        self.second = Quantity("Second spring", "boost", None, low=0, high=1e6, optional=True)
        self.second_rate = Quantity(
            "Its rate", "spring_rate", None, low=10, high=1e6, optional=True
        )
        self.margin = Quantity("Margin", "ratio", 1.1, low=1, high=3)
        self.alone = Quantity(
            "Boost on it alone", "boost", None, low=0, high=1e6, optional=True,
            hint="measured in a pull; empty: worked out",
        )  # fmt: skip
        self._take_build()

    def _make_trial(self):
        self.state = Choice("State drawn", [_AT_TARGET, _AS_RUN], _AT_TARGET)
        psi = 6894.757293168361
        start = min(max(round((self.spring.value or 42e3) * 1.7 / psi), 1), 40) * psi
        valve, diaphragm = self.valve.value or 0.036, self.diaphragm.value or 0.070
        self.try_spring = Slide("Spring", "boost", start, 0, 40 * psi)
        self.try_valve = Slide(
            "Valve diameter", "length", valve, min(0.016, valve / 2), max(0.066, 1.5 * valve), 50
        )
        self.try_diaphragm = Slide(
            "Diaphragm diameter", "length", diaphragm, min(0.030, diaphragm / 2),
            max(0.130, 1.5 * diaphragm), 50,
        )  # fmt: skip
        self.look = Slide("Engine speed", "engine_speed", 6000, 1500, 9000, 75)
        self.share = Slide("Top port, of boost", "fraction", 1.0, 0, 1, 50)

    def _trial(self):
        gate = group("Try another gate", self.try_spring, self.try_valve, self.try_diaphragm)
        state = group("Drawn at", self.look, self.share, self.state)
        return w.HBox([gate, state])

    # ---- what the fields say ----

    @property
    def gate(self):
        """The gate as it was run."""
        asked = (self.valve, self.diaphragm, self.spring, self.rate, self.lift)
        missing = [f.label.lower() for f in asked if f.value is None]
        if missing:
            raise ValueError(f"the gate is not described yet: type its {', '.join(missing)}")
        area = np.pi / 4 * self.diaphragm.value**2
        rating, rate = self.spring.value, self.rate.value
        if self.second.value is not None:
            if self.second_rate.value is None:
                raise ValueError(
                    "the second spring's rate is not typed: add it, or clear the spring"
                )
            rating, rate = rating + self.second.value, rate + self.second_rate.value
        valve, (ports, bled) = np.pi / 4 * self.valve.value**2, self.ports.value
        lift, lever = self.lift.value, self.lever.value
        return Gate(valve, area, rating * area, rate, lift, ports, bled, lever)

    @property
    def tried(self):
        """The gate that the sliders describe; what they do not name is as it was run."""
        area = np.pi / 4 * self.try_diaphragm.value**2
        valve = np.pi / 4 * self.try_valve.value**2
        gate = replace(self.judged.gate, valve_area_m2=valve, diaphragm_area_m2=area)
        return gate.with_rating(self.try_spring.value)

    def _read(self):
        if self.source.value == TYPED:
            return self._typed_log()
        names = [n for n in (self.source.value, self.partner.value) if n]
        key = (*names, self.outlet.value, self.build.value)
        if key not in self._logs:
            turbo = self._build().turbo if self.build.value else None
            self._logs[key] = gate_log(self.bench, names, self.outlet.value, turbo)
        return self._logs[key]

    def _build(self):
        name = self.build.value
        if name not in self._builds:
            self._builds[name] = read_build(self.bench, name)
        return self._builds[name]

    def _kinds(self):
        """Of the typed points: a fourth column is the top port."""
        with_top = columns_typed(self.typed.control.value) == len(_POINTS) + 1
        return (*_POINTS, "boost") if with_top else _POINTS

    def _typed_log(self):
        outlet = self.outlet.value
        speed, boost, back, *top = self.typed.columns
        if not (boost > 0).any():
            raise ValueError("the typed points have no boost above zero: type gauge pressures")
        return GateLog(
            speed, boost, back - (outlet or 0.0), top[0] if top else None,
            outlet_known=outlet is not None,
        )  # fmt: skip

    def _demand(self, speeds):
        key = self.build.value, self.judged.target_gauge_pa, tuple(speeds)
        if key not in self._demands:
            self._demands[key] = demand(self._build(), speeds, self.judged.target_gauge_pa)
        return self._demands[key]

    # ---- what is shown ----

    def redraw(self):
        """Judge the pull again and draw; a failure leaves the last picture and says why."""
        self.typed.layout.display = None if self.source.value == TYPED else "none"
        gate, seen, target, system = self.gate, self._read(), self.target.value, UNITS.system
        self.result = check(gate, seen, target, self.margin.value, system)
        names = (self.source.value, self.partner.value, self.build.value)
        self.judged, self.seen = Judged(gate, target, tuple(n for n in names if n)), seen
        self.verdict.value = self._verdict()
        reached = units.text(np.nanmax(self.seen.boost_gauge_pa), "boost", system)
        self.target.say(f"this pull's highest is {reached}")
        self.notes.value = "".join(paragraph(note) for note in self._notes())
        self._try()

    def _notes(self):
        """Cautions first, then what was assumed."""
        target = self.judged.target_gauge_pa
        low = along(self.judged.gate, self.seen, target).low_gauge_pa
        worked_out = low[np.isfinite(low)][-1] if np.isfinite(low).any() else np.nan
        measured = self.alone.value
        caution = reach(target, worked_out if measured is None else measured, UNITS.system)
        yield from [caution] if caution else []
        if measured is not None:
            system = UNITS.system
            yield (
                f"On the spring alone: {units.text(measured, 'boost', system)} measured, "
                f"{units.text(worked_out, 'boost', system)} worked out at the top of this pull. "
                "Where they differ, an area or the rating is not what was typed."
            )
        if self.bench.folder == preferences.DEMO_BENCH:
            yield "The demo bench's gates are invented: measure your own."
        yield from self.seen.notes

    def _try(self):
        """Draw the gate that the sliders ask for."""
        self._draw_state()
        self._draw_flow()
        target = self.judged.target_gauge_pa
        said_now = outlook(self.tried, self.seen, target, UNITS.system)
        self.outlook.value = verdict(f"Tried: {said_now}", "estimated")

    def _draw_state(self):
        self.window.show(self._window())
        self.numbers.value = self._numbers()
        self._draw_sketch()

    def _draw_sketch(self):
        self.sketch.show(self._sketch())

    def _verdict(self):
        result = self.result
        rows = [
            (e.about, "for" if e.supports else "against", e.text, e.word) for e in result.evidence
        ]
        evidence = table(rows, ("explanation", "speaks", "what is seen", "how known"), (0, 1, 2, 3))
        test = paragraph(f"The test that would settle it: {result.test}") if result.test else ""
        head = f"{result.kind[0].upper()}{result.kind[1:]}."
        return (
            paragraph(head, "dp-finding")
            + verdict(result.sentence, "worked out from the forces on the valve")
            + (evidence if rows else "")
            + test
        )

    def _window(self):
        target = self.judged.target_gauge_pa
        fitted, tried = (along(g, self.seen, target) for g in (self.judged.gate, self.tried))
        speed = self._state()[0]
        return gate_picture.window(self.seen, target, fitted, tried, UNITS.system, speed)

    def _state(self):
        """Speed of the log next to the slider, with exhaust drop and boost there."""
        log, target = self.seen, self.judged.target_gauge_pa
        known = np.flatnonzero(np.isfinite(log.drop_per_boost))
        i = known[np.argmin(np.abs(log.speed_rpm[known] - self.look.value))]
        if self.state.value == _AT_TARGET:
            return log.speed_rpm[i], log.drop_per_boost[i] * target, target
        return log.speed_rpm[i], log.exhaust_drop_pa[i], log.boost_gauge_pa[i]

    def _sketch(self):
        speed, drop, boost = self._state()
        share = self.share.value if self.tried.share_limit else 0.0
        return gate_picture.free_body(self.tried, drop, boost, share, UNITS.system, speed)

    def _numbers(self):
        """Fitted and tried gate beside each other, at the speed of the slider."""
        speed, drop, boost = self._state()
        where = units.text(speed, "engine_speed", UNITS.system)
        columns = [self._column(g, drop, boost, speed) for g in (self.judged.gate, self.tried)]
        words = (
            "cracks at, without back pressure (the rating)",
            f"cracks at, with the back pressure at {where}",
            f"window at {where}",
            "stays shut against, control at its limit",
            f"top port to stay shut at {where}",
            f"lightest spring for the target, margin {self.margin.value:g}",
            "boost on that spring alone, at the top",
        )
        rows = list(zip(words, *columns, strict=True))
        return table(rows, ("", "fitted", "tried"))

    def _column(self, gate, drop, boost, speed):
        def p(value):
            return units.text(float(value), "boost", UNITS.system)

        target, seen = self.judged.target_gauge_pa, self.seen
        cracks = float(gates.crack_boost_gauge_pa(gate, drop))
        low, high = gates.window_gauge_pa(gate, drop / boost)
        share = float(gates.share_needed(gate, boost, drop))
        named = gate.with_rating(spring_for(gate, seen, target, self.margin.value))
        last = seen.drop_per_boost[np.isfinite(seen.drop_per_boost)][-1]
        return (
            p(gate.rating_gauge_pa),
            p(cracks) if cracks >= 0 else "back pressure alone opens it",
            f"{p(low)} to {p(high)}",
            p(gates.holding_drop_pa(gate, boost, gate.share_limit)),
            "no control"
            if not gate.share_limit
            else f"{p(share * boost)} ({share:.0%})"
            if share > 0
            else "none: the spring holds it",
            p(named.rating_gauge_pa),
            p(gates.window_gauge_pa(named, last)[0]),
        )

    def _draw_flow(self):
        if self.build.value == TYPED:
            self.flow.clear(
                "Creep: take the gate from a build, and its match says what it must pass."
            )
            return
        asked, target = self._demand(self.seen.speed_rpm), self.judged.target_gauge_pa
        self.flow.show(gate_picture.bypass(asked, asked.against(self.tried), target, UNITS.system))

    # ---- what a person does ----

    def _keep(self, title):
        """Save the verdict and the gate that is tried, with the files they come from."""
        if self.judged is None:
            raise ValueError("nothing is judged yet: choose a pull and describe its gate")
        kept = of_gate(
            self.result, self.seen, self.judged.target_gauge_pa, self.judged.gate, self.tried,
            UNITS.system, sources_of(self.bench, self.judged.names),
        )  # fmt: skip
        return save_kept(self.bench, kept, title)

    def _new_log(self, _change):
        logs = self.bench.logs()
        other = partner(self.source.value, logs)
        if other != self.partner.value:
            self.partner.value = other  # redraws by itself
        else:
            self._changed(_change)

    def _new_build(self, change):
        with self.guarded():
            self._take_build()
        self._changed(change)

    def _take_build(self):
        """The gate's numbers from the first turbo of the chosen build that has one."""
        if self.build.value == TYPED:
            return
        build = self._build()
        parts = next((t.gate for t in build.turbos if t.gate), None)
        if parts is None:
            for field in (self.valve, self.diaphragm, self.spring, self.rate, self.lift):
                field.value = None
            self.build.say(f"{self.build.value} names no gate: type it below", wrong=True)
            return
        self.build.say()
        self.ports.value = (parts.ports, parts.bled)
        self.valve.value = float(np.sqrt(4 / np.pi * parts.valve_area_m2))
        self.diaphragm.value = float(np.sqrt(4 / np.pi * parts.diaphragm_area_m2))
        self.spring.value, self.rate.value = parts.spring_gauge_pa, parts.rate_n_m
        self.lift.value, self.lever.value = parts.max_lift_m, parts.lever_ratio
