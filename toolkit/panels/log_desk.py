"""What the panels of a log review share: the log that lies on the desk, and what was decided."""

from dataclasses import dataclass, field, replace
from functools import cached_property

import traitlets as t

from toolkit import preferences
from toolkit.bench import Bench
from toolkit.charts.pull_picture import Pulls
from toolkit.charts.trace_picture import mended
from toolkit.logs.corrected import UnderTest
from toolkit.logs.decided_pulls import as_strings, stretches_of, used
from toolkit.logs.grid import gridded, smoothed
from toolkit.logs.notes import Notes
from toolkit.logs.pulls import decided
from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.review import Review
from toolkit.logs.run import Run
from toolkit.logs.signs import Limits, signs

# In the review's words about the test; an engine of which it says nothing is fired by a spark.
IGNITION, SPARK, COMPRESSION = "ignition", "spark", "compression"


@dataclass(frozen=True)
class Grids:
    """How pulls are put on the grid: bin width in rpm, 0 for what the rate supports, and the
    points of the moving mean."""

    step_rpm: float = 0.0
    points: int = 1


@dataclass(frozen=True)
class State:
    """One log under review. lost: what was saved about pulls and is not found any more;
    no_pulls: why none could be looked for, "" if they could."""

    run: Run
    stretches: tuple = ()
    notes: Notes = field(default_factory=Notes)
    lost: tuple[str, ...] = ()
    no_pulls: str = ""
    grids: Grids = Grids()
    tested: UnderTest = field(default_factory=UnderTest)
    limits: Limits = field(default_factory=Limits)
    marked: str = ""  # the sign whose rows are marked, "" for all that touch a verdict

    @classmethod
    def of(cls, run):
        """The state of a run as its review has it."""
        limits = Limits.from_strings(run.review.limits)
        state = cls(run, notes=Notes.of(run.review), limits=limits, tested=_tested(run.review))
        return replace(state, **_found(run))

    def rerun(self, run):
        """The state under changed decisions: what was chosen about pulls and notes stays."""
        kept = run.reviewed(replace(run.review, pulls=self._pulls))
        found = _found(kept)
        run = kept if found["no_pulls"] else run  # which then is the one place that knows them
        return replace(self, run=run, tested=_tested(run.review), **found)

    @property
    def _pulls(self):
        """What was decided about pulls, for the review; also while none can be looked for."""
        return self.run.review.pulls if self.no_pulls else as_strings(self.run, self.stretches)

    def with_notes(self, notes):
        """The state with other notes on its curves."""
        return replace(self, notes=notes)

    def review(self, system):
        """Everything that was decided, as it is saved."""
        limits = self.limits.to_strings()
        return self.notes.into(replace(self.run.review, pulls=self._pulls, limits=limits), system)

    @property
    def decisions(self):
        """What makes two states differ for the person."""
        return self.run.review, self.stretches, self.notes.items, self.limits

    @cached_property
    def pulls(self):
        """The accepted pulls on the grid. Raises ValueError where none is accepted."""
        numbers, accepted = used(self.stretches)
        grids = gridded(self.run.frame, accepted, self.grids.step_rpm)
        return Pulls(
            numbers,
            tuple(smoothed(g, self.grids.points) for g in grids),
            self.run.barometer[0],
            mended(self.run),
            self.run.name,
        )


def _tested(review):
    """The engine under test, as far as the review has to say how it is fired."""
    ignition = review.test.get(IGNITION, SPARK)
    if ignition not in (SPARK, COMPRESSION):
        raise LogError(
            f"the review's test has the {IGNITION} '{ignition}': write {SPARK} or {COMPRESSION}"
        )
    return UnderTest(compression_ignition=ignition == COMPRESSION)


def _found(run):
    try:
        stretches, lost = stretches_of(run)
    except LogError:
        raise
    except ValueError as error:
        return {"stretches": (), "lost": (), "no_pulls": f"{error}"}
    return {"stretches": stretches, "lost": lost, "no_pulls": ""}


def same(asked, again):
    """Whether two keys hold the very same things; runs hold frames, which do not compare."""
    return len(asked) == len(again) and all(a is b for a, b in zip(asked, again, strict=True))


class Desk(t.HasTraits):
    """The log under review; panels watch `state` and `asked`, and change them by the methods.

    state: the last log that could be read, None before the first. asked: the open questions of
    the log that was asked for last, which waits for them if it is not the one that is shown: what
    else is decided is about the one that is shown. Nothing is written before `save`.
    """

    state = t.Instance(State, allow_none=True)
    asked = t.Tuple()
    name = t.Unicode()

    def __init__(self, bench=None):
        super().__init__()
        self.bench = bench or Bench(preferences.load().bench)
        self._kept, self._saved, self._waiting = {}, {}, None
        self._signs = ((), ())

    def open(self, name, afresh=False):
        """Put a log on the desk, with what was decided about it in this session or saved.

        Raises LogError where it cannot be read; the last log then stays.
        """
        if not name:
            raise LogError(
                "this bench has no log yet: drop one into its runs/ folder, then open it"
            )
        self._waiting = None
        if afresh:
            self._kept.pop(name, None)
        self.name = name
        if name in self._kept:
            self._show(self._kept[name])
            return
        self.asked = ()
        review = Review.load(self.bench, name)
        self._saved[name] = [review]
        self._read(name, review)

    def answer(self, key, answer):
        """Answer a question, or decide anything else that the review keeps."""
        key = tuple(key)
        if self._waiting and (self.state is None or key in [q.key for q in self.asked]):
            name, review = self._waiting
            self._read(name, review.answered(key, answer))
        elif key[0] == "file":
            run = self.state.run
            self._read(run.name, run.review.answered(key, answer))
        else:
            self.change(self.state.rerun(self.state.run.answer(key, answer)))

    def decide(self, review):
        """Put another review in force, for the same log."""
        self.change(self.state.rerun(self.state.run.reviewed(review)))

    def accept(self, place, accepted):
        """Use a stretch as a pull, or not."""
        stretches = decided(self.state.stretches, place, accepted)
        self.change(replace(self.state, stretches=stretches))

    def change(self, state):
        """Put a changed state in force."""
        self._kept[state.run.name] = state
        self._show(state)

    def signs(self, system):
        """The signs of trouble in the log on the desk, worked out once per change."""
        state = self.state
        asked = (state.run, state.stretches, state.limits, system)
        if not same(self._signs[0], asked):
            numbers, accepted = used(state.stretches)
            known = {"decided_pa": state.run.barometer[0], "numbers": numbers}
            found = signs(state.run.frame, accepted, state.limits, system, **known)
            self._signs = (asked, found)
        return self._signs[1]

    def save(self, system):
        """Write the review beside its log; raises BenchError where the folder is read-only."""
        if self.state is None:
            raise LogError("no log is open: choose one first")
        run = self.state.run
        saved = run.reviewed(self.state.review(system)).save(self.bench)
        state = replace(self.state, run=saved)
        self._saved[run.name] = list(state.decisions)
        self.change(state)

    @property
    def unsaved(self):
        """Whether something was decided that is not in the review file."""
        return bool(self.state) and self._saved[self.state.run.name] != list(self.state.decisions)

    def _read(self, name, review):
        try:
            state = State.of(Run.open(self.bench, name, review))
        except Unanswered as error:
            self._waiting = name, review
            self.asked = (error.question,)
            return
        self._waiting = None
        if len(self._saved[name]) == 1:  # the proposals and notes that it opened with
            self._saved[name] += state.decisions[1:]
        self.change(state)

    def _show(self, state):
        with self.hold_trait_notifications():
            if not self._waiting:  # the question of the log that waits stays until it is answered
                self.asked = state.run.questions
            self.state = state
