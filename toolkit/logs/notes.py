"""Notes on a curve: what a person saw, where, and the value under it.

In a review a note stands as strings with units, so that it can be read and mended without us.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from toolkit import units
from toolkit.logs.channels import CHANNELS
from toolkit.logs.question import LogError

AXES = ("speed_rpm", "time_s")
_KEYS = ("words", "channel", "axis", "at", "to", "value", "pull")


@dataclass(frozen=True)
class CurveNote:
    """Words about one channel at a place, or over a range, of an axis.

    axis: "speed_rpm" or "time_s"; start to stop along it [inside unit], equal for a point.
    value: of the curve at the point, its mean over a range [inside unit]; NaN is not known.
    pull: its number in the log from 1, 0 where the note belongs to none.
    """

    words: str
    channel: str
    axis: str
    start: float
    stop: float
    value: float = np.nan
    pull: int = 0

    def __post_init__(self):
        if not self.words.strip():
            raise LogError("the note has no words: write what you see there")
        if self.channel not in CHANNELS:
            raise LogError(f"a note cannot stand on '{self.channel}': name its channel first")
        if self.axis not in AXES:
            raise LogError(f"a note stands along {' or '.join(AXES)}, not along '{self.axis}'")
        if not self.start <= self.stop:
            raise LogError("the note's range must end after it starts: turn the two round")

    @property
    def is_range(self):
        """Whether the note covers more than a point."""
        return self.stop > self.start

    @property
    def middle(self):
        """Where its marker stands along the axis."""
        return (self.start + self.stop) / 2

    def to_strings(self, system="SI"):
        """The note as strings with units, with every digit that counts.

        >>> CurveNote("dip", "lam", "speed_rpm", 4200.0, 4200.0, 0.91, 2).to_strings()["at"]
        '4200 rpm'
        """
        axis_kind, kind = CHANNELS[self.axis].kind, CHANNELS[self.channel].kind
        strings = {"words": self.words, "channel": self.channel, "axis": self.axis}
        strings["at"] = _written(self.start, axis_kind, system)
        if self.is_range:
            strings["to"] = _written(self.stop, axis_kind, system)
        if np.isfinite(self.value):
            strings["value"] = _written(self.value, kind, system)
        return strings | ({"pull": str(self.pull)} if self.pull else {})

    @classmethod
    def from_strings(cls, strings):
        """The note of a review's strings. Raises LogError with one sentence."""
        unknown = set(strings) - set(_KEYS)
        if unknown:
            raise LogError(f"a note has '{min(unknown)}': it may have {', '.join(_KEYS)}")
        missing = [k for k in ("words", "channel", "axis", "at") if not strings.get(k)]
        if missing:
            raise LogError(f"a note has no '{missing[0]}': write it, or take the note out")
        channel, axis = strings["channel"], strings["axis"]
        if channel not in CHANNELS or axis not in AXES:
            return cls(strings["words"], channel, axis, 0.0, 0.0)  # which says what is wrong
        kind, axis_kind = CHANNELS[channel].kind, CHANNELS[axis].kind
        start = _parsed(strings["at"], axis_kind)
        stop = _parsed(strings["to"], axis_kind) if "to" in strings else start
        value = _parsed(strings["value"], kind) if "value" in strings else np.nan
        pull = strings.get("pull", "0")
        if not pull.isdecimal():
            raise LogError(f"a note has pull '{pull}': write its number in the log, like 2")
        return cls(strings["words"], channel, axis, start, stop, value, int(pull))


def _written(value, kind, system):
    """As units.exact_text, in the person's units: a place that is rounded is another place."""
    return f"{float(units.shown(value, kind, system)):.10g} {units.unit_of(kind, system)}".strip()


def _parsed(text, kind):
    try:
        return units.parse(text, kind)
    except units.UnitError as error:
        raise LogError(f"a note: {error}") from None


@dataclass(frozen=True)
class Notes:
    """The notes of a log with what was done to them, so that it can be undone.

    Every change gives a new Notes; items is what stands now, in order of writing.

    >>> dip = CurveNote("dip", "lam", "speed_rpm", 4200.0, 4200.0)
    >>> notes = Notes().add(dip).delete(0)
    >>> len(notes.items), len(notes.undo().items), len(notes.undo().redo().items)
    (0, 1, 0)
    """

    items: tuple[CurveNote, ...] = ()
    past: tuple = field(default=(), repr=False)
    future: tuple = field(default=(), repr=False)

    @classmethod
    def of(cls, review):
        """The notes of a review. Raises LogError that says which note is wrong."""
        items = []
        for number, strings in enumerate(review.notes, start=1):
            try:
                items.append(CurveNote.from_strings(strings))
            except LogError as error:
                raise LogError(f"note {number} of the review: {error}") from None
        return cls(tuple(items))

    def into(self, review, system="SI"):
        """A copy of the review that holds these notes."""
        return replace(review, notes=tuple(n.to_strings(system) for n in self.items))

    def add(self, note):
        """With one more note, last."""
        return self._changed((*self.items, note))

    def edit(self, place, note):
        """With the note at this place (from 0) replaced."""
        return self._changed(_with(self.items, place, (note,)))

    def delete(self, place):
        """Without the note at this place (from 0)."""
        return self._changed(_with(self.items, place, ()))

    def undo(self):
        """As before the last change; unchanged where there is none."""
        if not self.past:
            return self
        return Notes(self.past[-1], self.past[:-1], (self.items, *self.future))

    def redo(self):
        """With the change that was undone last done again; unchanged where there is none."""
        if not self.future:
            return self
        return Notes(self.future[0], (*self.past, self.items), self.future[1:])

    def _changed(self, items):
        return Notes(items, (*self.past, self.items))


def _with(items, place, new):
    if not 0 <= place < len(items):
        raise LogError(f"there is no note {place + 1}: there are {len(items)}")
    return (*items[:place], *new, *items[place + 1 :])


@dataclass(frozen=True)
class Curve:
    """One drawn curve that a note can stand on: x along the axis, y inside units."""

    channel: str
    pull: int
    x: np.ndarray
    y: np.ndarray


def nearest(curves, x, y):
    """The curve, of those with a value near x, whose value there is nearest to y; None if none.

    Returns (curve, x of its point, its value).

    >>> boost = Curve("p_manifold_pa", 1, np.array([2e3, 3e3]), np.array([1e5, 2e5]))
    >>> nearest([boost], 2900.0, 1.5e5)[1:]
    (3000.0, 200000.0)
    """
    found = []
    for curve in curves:
        known = np.flatnonzero(np.isfinite(curve.x) & np.isfinite(curve.y))
        if known.size:
            at = known[np.argmin(np.abs(curve.x[known] - x))]
            found.append((abs(curve.y[at] - y), curve, float(curve.x[at]), float(curve.y[at])))
    return min(found, key=lambda f: f[0])[1:] if found else None


def value_under(curve, start, stop):
    """The value under a note: at the nearest point, or the mean over a range; NaN if none.

    A point is none where the curve has nothing within its usual step: outside it, or in a hole.
    """
    if start == stop:
        found = nearest([curve], start, 0.0)
        if not found or abs(found[1] - start) > _usual_step(curve):
            return np.nan
        return found[2]
    inside = (curve.x >= start) & (curve.x <= stop) & np.isfinite(curve.y)
    return float(curve.y[inside].mean()) if inside.any() else np.nan


def _usual_step(curve):
    """The median distance of neighbouring points that are known; 0 where there is one."""
    steps = np.abs(np.diff(curve.x[np.isfinite(curve.x) & np.isfinite(curve.y)]))
    return float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
