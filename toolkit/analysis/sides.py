"""From logs of a bench to the sides of a comparison."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from toolkit.analysis.repeats import OBSERVED, Side, converted, joined, repeats_of
from toolkit.analysis.sensor_ends import lent_torque, without_ends
from toolkit.bench import digest
from toolkit.logs import clocks
from toolkit.logs.clocks import ClockFit
from toolkit.logs.decided_pulls import stretches_of, used
from toolkit.logs.run import Run
from toolkit.logs.signs import Limits, signs
from toolkit.logs.weather import Weather
from toolkit.physics.correction import STANDARDS

_CLOCKS_APART_S = 1e-3  # two clocks that differ by less at an end of a log are one


@dataclass(frozen=True)
class OpenedLog:
    """One log ready to be compared: its run, stretches and weather, opened once.

    remarks: what to mind about it, in sentences. partner: another logger's log of the same pulls.
    lent_torque_nm: (rows,) that logger's torque at the same speeds, by which a sensor at its end
    is told from a steady engine.
    """

    run: Run
    stretches: tuple
    weather: Weather
    sha256: str
    remarks: tuple[str, ...] = ()
    partner: "OpenedLog | None" = None
    lent_torque_nm: np.ndarray | None = None

    def beside(self, other):
        """This log with the other logger's log of the same pulls; each lends the other torque."""
        both = replace(
            self,
            partner=replace(other, lent_torque_nm=lent_torque(self, other)),
            lent_torque_nm=lent_torque(other, self),
        )
        return replace(both, remarks=(*self.remarks, *both._two_clocks()))

    @property
    def pulls(self):
        """How many pulls are accepted."""
        return sum(p.accepted for p in self.stretches)

    def signs(self, system):
        """The signs of trouble in it, in the units of the system."""
        limits = Limits.from_strings(self.run.review.limits)
        numbers, pulls = used(self.stretches)
        known = {"decided_pa": self.run.barometer[0], "numbers": numbers}
        return signs(self.frame, pulls, limits, system, self.lent_torque_nm, **known)

    @property
    def clock(self):
        """How the partner's clock runs against this one's, as either review keeps it, or None.

        A logs.clocks.ClockFit; this log's review counts before the partner's. Raises LogError
        where it cannot be read.
        """
        return next((fit for fit in self._clocks() if fit is not None), None)

    def _clocks(self):
        """The clock of the pair as this log's review keeps it and as the partner's, or None."""
        if self.partner is None:
            return None, None
        mine, other = self.run.review.clock, self.partner.run.review.clock
        return (
            ClockFit.from_strings(mine).inverse
            if mine.get("with") == self.partner.run.name
            else None,
            ClockFit.from_strings(other) if other.get("with") == self.run.name else None,
        )

    def _two_clocks(self):
        """A sentence where the two reviews hold clocks that differ by more than is printed."""
        mine, other = self._clocks()
        if mine is None or other is None:
            return ()
        apart = max(abs(mine.offset_s - other.offset_s), 1e3 * abs(mine.rate - other.rate))
        if apart < _CLOCKS_APART_S:
            return ()
        return (
            f"Two clocks of this pair are saved: an offset of {mine.offset_s:.3f} s with this log, "
            f"which is used, and of {other.offset_s:.3f} s with {self.partner.run.name}: match "
            "them again and save one.",
        )

    @cached_property
    def frame(self):
        """The log's channels, and by a clock that was saved those of its partner, resampled."""
        if self.clock is None:
            return self.run.frame
        return clocks.joined(self.run.frame, self.partner.run.frame, self.clock)

    @property
    def setup(self):
        """What was on the engine, in the words of the review or of the log; "" if neither."""
        test = self.run.review.test
        return test.get("setup") or dict(self.run.reading.pairs).get("Set-up", "")

    @property
    def started(self):
        """Date and time of the first row, as review or log have it; "" if neither."""
        return self.run.review.test.get("started") or dict(self.run.reading.pairs).get(
            "Started", ""
        )


def opened(bench, log, with_partner=True):
    """The log of a bench with its review, its pulls and its weather.

    with_partner: open also the other logger's log of the same pulls, the one whose name is the
    same up to its last word ("monday_3_dyno.csv", "monday_3_ecu.csv"), where the bench has one.

    Raises LogError, or Unanswered where the log cannot be read before a question is answered.
    """
    run = Run.open(bench, log)
    stretches, remarks = stretches_of(run)
    one = OpenedLog(
        run,
        stretches,
        Weather.of(run),
        digest(bench.file(log)),
        (*(r.sentence for r in run.remarks), *remarks),
    )
    other = partner(log, bench.logs()) if with_partner else ""
    return one.beside(opened(bench, other, with_partner=False)) if other else one


def partner(name, names):
    """The other log of the same pulls: the one that shares the name up to its last word, or "".

    >>> partner("runs/4_dyno.csv", ["runs/4_dyno.csv", "runs/4_ecu.csv", "runs/5_ecu.csv"])
    'runs/4_ecu.csv'
    """
    stem = name.rsplit(".", 1)[0].rpartition("_")[0]
    others = [n for n in names if stem and n != name and n.rsplit("_", 1)[0] == stem]
    return others[0] if others else ""


def side(name, tested, reference=OBSERVED, step_rpm=None):
    """The accepted pulls of these logs as one side, torque and power in a reference state.

    reference: "observed" or a name of STANDARDS. Raises ValueError where a log has no accepted
    pull, or where its weather does not allow the correction.
    """
    repeats = [r for one in tested for r in _repeats(one, reference, step_rpm)]
    known = all(r.hour is not None for r in repeats)
    return Side(
        name, tuple(sorted(repeats, key=lambda r: (r.session, r.hour)) if known else repeats)
    )


def _repeats(one, reference, step_rpm):
    new = repeats_of(
        one.run.name, one.frame, one.stretches, step_rpm,
        started=one.started, reference=one.run.review.power_reference, sha256=one.sha256,
    )  # fmt: skip
    kept = without_ends(one, [r.grid for r in new])
    new = tuple(
        in_reference(replace(r, grid=grid, left_out=left_out), one.weather, reference)
        for r, (grid, left_out) in zip(new, kept, strict=True)
    )
    if one.partner is None:
        return new
    if one.clock is None:
        return joined(new, _repeats(one.partner, OBSERVED, step_rpm))
    also = (one.partner.run.name, one.partner.sha256)
    return tuple(replace(r, also=(*r.also, also)) for r in new)


def in_reference(repeat, weather, reference):
    """The repeat with torque and power brought to a reference state from the observed."""
    if reference == repeat.reference:
        return repeat
    if repeat.reference != OBSERVED:
        raise ValueError(
            f"{repeat.run} is already in {repeat.reference}: it cannot be brought to {reference}; "
            "choose that reference for all, or take the observed power from the log"
        )
    state = weather.p_cell_pa, weather.t_cell_k, weather.humidity
    factor = float(STANDARDS[reference].factor(*state))
    if not np.isfinite(factor):
        raise ValueError(
            f"{repeat.run} cannot be corrected to {reference}: " + " ".join(weather.unknown[:1])
        )
    return converted(repeat, factor, reference)


def short_names(setup_a, setup_b):
    """What differs between two set-ups, as short as it can be told apart.

    >>> short_names("turbo Small, target 14 psi", "turbo Large, target 14 psi")
    ('Small', 'Large')
    >>> short_names("turbo Small, target 8 psi", "turbo Small, target 14 psi")
    ('8 psi', '14 psi')

    Two that are the same stay whole, and a number keeps its unit.

    >>> short_names("target 8 psi", "target 8 bar")
    ('8 psi', '8 bar')
    """
    if setup_a == setup_b:
        return setup_a, setup_b
    parts_a, parts_b = ([p.strip() for p in setup.split(",")] for setup in (setup_a, setup_b))
    only_a = [p for p in parts_a if p not in parts_b] or parts_a
    only_b = [p for p in parts_b if p not in parts_a] or parts_b
    a, b = ", ".join(only_a).split(), ", ".join(only_b).split()
    while len(a) > 1 and len(b) > 1 and a[0] == b[0] and not a[0][:1].isdigit():
        a, b = a[1:], b[1:]
    return " ".join(a), " ".join(b)
