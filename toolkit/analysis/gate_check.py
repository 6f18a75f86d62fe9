"""Does the gate hold, and would another spring change it: a verdict with its evidence.

Compares the force balance of `physics.gate` with what boost, back pressure, top port, duty and
lift did in one pull, and says what speaks for and against each explanation. "Cannot tell" is an
answer, with the test that would tell.
"""

from dataclasses import dataclass

import numpy as np

from toolkit import units
from toolkit.analysis.gate_log import USUAL, holding, spring_for
from toolkit.logs.channels import CHANNELS
from toolkit.physics import gate as gates

HOLDS = "holds"
PUSHED = "pushed open by back pressure"
SHUT = "already held shut, so a spring changes nothing"
OUT_OF_FLOW = "turbine or compressor out of flow"
CONTROL = "let open by its own control"
CANNOT_TELL = "cannot tell"

_OPEN_LIFT_M = 3e-4  # less is within what a position sensor and a warm rod play
_FED = 1.1  # a top port up to this share of boost is fed from ahead of the cooler, not outside
_SURE = 1.64  # standard deviations: 95 % one-sided
_KNEE = 0.5  # back pressure rising less than this share as steeply as before is being bled

TESTS = {
    HOLDS: "",
    PUSHED: "Repeat the pull with only the spring changed, or log the gate's lift: if boost then "
    "holds, or lift stays at zero, it is settled.",
    SHUT: "Log air flow or shaft speed and pressure-test the charge pipes: flow that stops rising "
    "is the turbo's end, a leak shows as shaft speed without boost.",
    OUT_OF_FLOW: "Repeat with 2 psi (15 kPa) less target: if boost falls away at the same air "
    "flow, the turbo is at its end; at the same boost, look at the gate again.",
    CONTROL: "Repeat with the top port fully fed above the speed where boost falls, starting from "
    "a low target.",
}


@dataclass(frozen=True)
class Evidence:
    """One observation: the explanation it is about, whether it speaks for it, and how known."""

    about: str
    supports: bool
    text: str
    word: str  # measured, worked out or estimated


@dataclass(frozen=True)
class Verdict:
    """What became of the boost, in words and numbers.

    kind: one of the six above. test: the one extra test that separates what is left, "" where
    none is needed. held_to_rpm: last speed on target, NaN if none. pushed_from_rpm: speed at
    which back pressure passes what the spring holds, NaN if it does not. spring_gauge_pa:
    lightest rating that holds the target with the margin asked for, NaN where part of the pull
    cannot be seen.
    """

    kind: str
    sentence: str
    evidence: tuple
    test: str
    held_to_rpm: float
    pushed_from_rpm: float
    spring_gauge_pa: float


def check(gate, log, target_gauge_pa, margin=1.1, system="US", tolerance=USUAL):
    """The verdict on one pull against its boost target. [Verdict]

    target_gauge_pa: a number or one per speed [Pa, gauge]. margin: of the spring named, >= 1.
    system: units of the words. ValueError where fewer than two speeds have both pressures.
    """
    pull = _Pull(gate, log, target_gauge_pa, tolerance)
    # What cannot be seen of the pull could ask for a stiffer spring than what can.
    spring = np.nan if pull.blind else spring_for(gate, log, target_gauge_pa, margin)
    kind = pull.kind()
    say = _Words(pull, system, spring, margin)
    return Verdict(
        kind, say.sentence(kind), tuple(say.evidence()), say.test(kind),
        pull.held_to_rpm, pull.pushed_from_rpm, spring,
    )  # fmt: skip


class _Pull:
    """One pull judged: where boost falls, and what the forces say there."""

    def __init__(self, gate, log, target_gauge_pa, tolerance):
        known = np.isfinite(log.boost_gauge_pa) & np.isfinite(log.exhaust_drop_pa)
        if known.sum() < 2:
            raise ValueError("the gate check needs boost and back pressure at two speeds at least")
        self.gate, self.tolerance = gate, tolerance
        self.log = log = log.where(known)
        target = (np.asarray(target_gauge_pa, dtype=float) + 0 * known)[known]
        self.target = target
        self.short = log.boost_gauge_pa < target * (1 - tolerance.target)
        on_target = np.flatnonzero(~self.short)
        start = on_target[-1] if on_target.size else int(np.argmax(log.boost_gauge_pa))
        self.held_to_rpm = log.speed_rpm[start] if on_target.size else np.nan
        self.falling = np.arange(start + 1, log.speed_rpm.size)
        self.late = self.falling[len(self.falling) // 2 :]
        self.blind = [g for g in log.left_out if g.high_rpm > log.speed_rpm[-1]]
        self.limit, self.error = holding(gate, log, self.best_share, tolerance)
        self.pushed_from_rpm = _first_crossing(log.speed_rpm, log.exhaust_drop_pa - self.limit)

    @property
    def share(self):
        """Share of the boost that the control took off, as logged; None where nobody knows."""
        log = self.log
        if log.top_gauge_pa is not None:
            share = log.top_gauge_pa / np.where(log.boost_gauge_pa > 0, log.boost_gauge_pa, np.nan)
            return np.where((share > 1) & (share < _FED), 1.0, share)
        if log.duty is not None:
            return log.duty
        return None if self.gate.share_limit else np.zeros(log.speed_rpm.size)

    @property
    def best_share(self):
        """Share with the control at its limit; an outside supply may pass it."""
        if self.share is None or self.log.top_gauge_pa is None:
            return self.gate.share_limit
        return np.fmax(self.gate.share_limit, self.share)

    def force(self, share):
        """ "open", "shut" or "unclear" over the late part of the fall, by the force balance."""
        limit, error = holding(self.gate, self.log, share, self.tolerance)
        excess = _mean((self.log.exhaust_drop_pa - limit)[self.late])
        sure = _SURE * _mean(error[self.late])
        return "open" if excess > sure else "shut" if excess < -sure else "unclear"

    @property
    def flattening(self):
        """Slope of back pressure in the fall over that before it; NaN with too few points."""
        before = self.falling[0] - np.arange(len(self.falling), 0, -1)
        before = before[before >= 0]
        if len(self.falling) < 3 or len(before) < 3:
            return np.nan
        speed, drop = self.log.speed_rpm, self.log.exhaust_drop_pa
        return (
            np.polyfit(speed[self.falling], drop[self.falling], 1)[0]
            / np.polyfit(speed[before], drop[before], 1)[0]
        )

    @property
    def lift_m(self):
        """Logged lift late in the fall; NaN where nobody logged it."""
        return np.nan if self.log.lift_m is None else _mean(self.log.lift_m[self.late])

    @property
    def flow_signs(self):
        """Signs that the turbo, not the gate, is at its end: (words, supports, evidence word)."""
        log, signs = self.log, []
        if log.choke_margin is not None:
            left = _mean(log.choke_margin[self.late])
            words = f"the compressor's speed line has {left:.0%} of flow left to its choke end"
            signs += [(words, left < 0.05, "worked out")] if np.isfinite(left) else []
        if log.air_flow_kg_s is not None and len(self.falling) > 1:
            first, last = self.falling[0], self.falling[-1]
            growth = log.air_flow_kg_s[last] / log.air_flow_kg_s[first] - 1
            faster = log.speed_rpm[last] / log.speed_rpm[first] - 1
            words = f"air flow grows {growth:.0%} while speed grows {faster:.0%}"
            signs.append((words, bool(growth < 0.25 * faster), "measured"))
        return signs

    def kind(self):
        """The verdict, as one of the words at the top of this module."""
        if not self.falling.size:
            seen = np.isfinite(self.held_to_rpm) and not self.blind
            return HOLDS if seen else CANNOT_TELL
        seen_open = self.lift_m > _OPEN_LIFT_M
        seen_shut = self.lift_m <= _OPEN_LIFT_M
        best = self.force(self.best_share)
        if best == "unclear" and not seen_shut and (seen_open or self.flattening < _KNEE):
            best = "open"
        if best == "open":
            return CANNOT_TELL if seen_shut else PUSHED
        if best == "unclear" or self.share is None:
            return CANNOT_TELL
        now = self.force(self.share)
        if now == "open":
            return CANNOT_TELL if seen_shut else CONTROL
        if now == "unclear" or seen_open:
            return CANNOT_TELL
        return OUT_OF_FLOW if any(yes for _, yes, _ in self.flow_signs) else SHUT


def _mean(values):
    """Mean of what is known, NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else np.nan


def _first_crossing(speed_rpm, excess):
    """Speed at which the excess first turns positive, between points; NaN if it does not."""
    above = np.flatnonzero(excess > 0)
    if not above.size:
        return np.nan
    i = above[0]
    if i == 0:
        return float(speed_rpm[0])
    return float(np.interp(0.0, excess[i - 1 : i + 1], speed_rpm[i - 1 : i + 1]))


class _Words:
    """The sentences about a pull, in the person's units."""

    def __init__(self, pull, system, spring_gauge_pa, margin):
        self.pull, self.system = pull, system
        self.spring, self.margin = spring_gauge_pa, margin

    def _p(self, value, unit=True):
        return units.text(value, "boost", self.system, unit=unit)

    def _rpm(self, value):
        return units.text(value, "engine_speed", self.system)

    @property
    def _at_end(self):
        """Boost, target and speed at the end of the fall."""
        pull, i = self.pull, self.pull.falling[-1]
        return (
            f"{self._p(pull.log.boost_gauge_pa[i])} of {self._p(pull.target[i])} "
            f"at {self._rpm(pull.log.speed_rpm[i])}"
        )

    def sentence(self, kind):
        """The verdict as one or two sentences."""
        return {
            HOLDS: self._holds,
            PUSHED: self._pushed,
            SHUT: lambda: (
                f"The gate is already held shut where boost falls ({self._at_end}): another "
                "spring changes nothing. Look at the turbo, the charge pipes and the air filter."
            ),
            OUT_OF_FLOW: lambda: (
                f"The gate is held shut and boost still falls ({self._at_end}): the turbo is out "
                "of flow there, and no spring gives it more."
            ),
            CONTROL: lambda: (
                f"The control lets the gate open: boost falls ({self._at_end}) while the top port "
                "is not fully fed. Change that before the spring."
            ),
            CANNOT_TELL: self._cannot_tell,
        }[kind]()

    def _holds(self):
        pull = self.pull
        spare = pull.limit - pull.log.exhaust_drop_pa
        tight = int(np.argmin(spare))
        said = f"Boost holds to {self._rpm(pull.held_to_rpm)}"
        where = self._rpm(pull.log.speed_rpm[tight])
        if spare[tight] < -_SURE * pull.error[tight]:
            return (
                f"{said}, although back pressure passes what this spring should hold by "
                f"{self._p(-spare[tight])} at {where}: "
                "an area, the rating or a pressure is not what was typed."
            )
        if spare[tight] < _SURE * pull.error[tight]:
            return (
                f"{said}, with nothing to spare: at {where} back pressure is within the error "
                f"of the {self._p(pull.limit[tight])} that the spring can hold."
            )
        return (
            f"{said}: back pressure stays {self._p(spare[tight])} below what the spring can hold, "
            f"the least at {where}."
        )

    def _pushed(self):
        pull = self.pull
        stiffer = pull.gate.with_rating(self.spring)
        low, _ = gates.window_gauge_pa(stiffer, _mean(pull.log.drop_per_boost[pull.late]))
        return (
            f"Back pressure pushes the gate open: boost is down to {self._at_end}. A spring of "
            f"{self._p(self.spring)} or more would hold it, with a margin of {self.margin:g}; "
            f"on that spring alone boost would be about {self._p(low)}."
        )

    def _cannot_tell(self):
        pull = self.pull
        if pull.blind and not pull.falling.size:
            sensors = " and ".join(CHANNELS[g.channel].words for g in pull.blind)
            held = f"Boost holds to {self._rpm(pull.held_to_rpm)}. "
            return (held if np.isfinite(pull.held_to_rpm) else "") + (
                f"From {self._rpm(pull.log.speed_rpm[-1])} on nothing can be said: the sensor of "
                f"{sensors} was at its end."
            )
        if not pull.falling.size:
            return "Boost never reached the target and was still rising where the pull ends."
        return f"Boost falls ({self._at_end}), and these channels cannot tell why: {self._why()}."

    def _why(self):
        pull = self.pull
        best = pull.force(pull.best_share)
        if best == "unclear":
            return (
                "back pressure is within the error of what the spring holds, so better areas, "
                "rating or pressures are needed"
            )
        if best == "shut" and pull.share is None:
            return (
                "the spring would hold with the top port fully fed, but neither top-port "
                "pressure nor duty was logged"
            )
        if np.isfinite(pull.lift_m):
            return "the logged lift contradicts the force balance, so an input is wrong"
        return "what the control gave is within the error of what was needed"

    def test(self, kind):
        """The one extra test that separates what is left."""
        pull = self.pull
        if kind != CANNOT_TELL:
            return TESTS[kind]
        if pull.blind and not pull.falling.size:
            return "Repeat the pull with a sensor of a wider range."
        if not pull.falling.size:
            return "Pull to a higher speed, or start from a lower one with more load."
        if pull.share is None:
            return "Log top-port pressure (or duty) in the same pull."
        if np.isfinite(pull.lift_m):
            return "Measure valve and diaphragm diameter, and the rating on a stand."
        return "Log the gate's lift in the same pull: it is open or it is not."

    def evidence(self):
        """What speaks for and against each explanation."""
        if self.pull.falling.size:
            yield self._force()
            yield from self._onset()
            yield from self._knee()
            yield from self._lift()
            yield from self._control()
            for words, supports, known in self.pull.flow_signs:
                yield Evidence(OUT_OF_FLOW, supports, f"In the fall {words}.", known)

    def _force(self):
        pull, i = self.pull, self.pull.falling[-1]
        drop, limit = pull.log.exhaust_drop_pa[i], pull.limit[i]
        text = (
            f"At {self._rpm(pull.log.speed_rpm[i])} back pressure across the valve is "
            f"{self._p(drop)}; with the control at its limit the spring holds "
            f"{self._p(limit, unit=False)} ± {self._p(_SURE * pull.error[i])}."
        )
        return Evidence(PUSHED, bool(drop > limit), text, "worked out")

    def _onset(self):
        held, pushed = self.pull.held_to_rpm, self.pull.pushed_from_rpm
        if np.isfinite(held) and np.isfinite(pushed):
            text = (
                f"Boost holds to {self._rpm(held)}; back pressure passes what the spring holds "
                f"at {self._rpm(pushed)}."
            )
            yield Evidence(PUSHED, bool(abs(pushed / held - 1) < 0.15), text, "worked out")

    def _knee(self):
        ratio = self.pull.flattening
        if np.isfinite(ratio):
            bled = ratio < _KNEE
            text = (
                f"Back pressure rises {ratio:.0%} as steeply in the fall as just before it: "
                f"{'something' if bled else 'nothing'} bleeds it."
            )
            yield Evidence(PUSHED, bool(bled), text, "measured")

    def _lift(self):
        lift = self.pull.lift_m
        if np.isfinite(lift):
            text = f"The lift sensor reads {units.text(lift, 'length', self.system)} in the fall."
            yield Evidence(SHUT, lift <= _OPEN_LIFT_M, text, "measured")

    def _control(self):
        pull = self.pull
        if pull.share is None or not pull.gate.share_limit:
            return
        late = _mean(pull.share[pull.late])
        if not np.isfinite(late):
            return
        fed = "The top port carries {:.0%} of boost in the fall."
        text = fed if pull.log.top_gauge_pa is not None else "Duty is {:.0%} in the fall."
        yield Evidence(CONTROL, late < 0.9, text.format(late), "measured")
