"""Notes of the log reviews, carried along engine speed to a comparison."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.analysis.sides import opened
from toolkit.logs.notes import CurveNote, Notes
from toolkit.logs.pulls import pulls_of
from toolkit.logs.review import Review


@dataclass(frozen=True)
class PlacedNote:
    """A review's note in a comparison: whose side ("a" or "b"), and where its words stand.

    note: along engine speed where it can be, see `along_speed`. stands: (engine speed [rpm],
    share of the panel's height), None beside its point.
    """

    side: str
    note: CurveNote
    stands: tuple[float, float] | None = None


def notes_of(bench, comparison):
    """The PlacedNotes of every log that a comparison came from, other loggers' logs included."""
    found = []
    for key, side in (("a", comparison.a), ("b", comparison.b)):
        logs = dict.fromkeys(
            log for r in side.repeats for log in (r.run, *(name for name, _ in r.also))
        )
        for log in logs:
            found += [PlacedNote(key, note) for note in _of_log(bench, log)]
    return tuple(found)


def along_speed(note, one):
    """A note at a time, moved to the engine speed at which its OpenedLog was just then.

    A range covers the speeds of its rows. The note comes back unchanged where it stands along
    speed already, or at a time that is in no accepted pull.
    """
    if note.axis == "speed_rpm":
        return note
    frame = one.run.frame
    time, speed = (frame[c].to_numpy(dtype=float) for c in ("time_s", "speed_rpm"))
    for number, pull in enumerate(pulls_of(one.stretches), start=1):
        t, x = time[pull.rows], speed[pull.rows]
        if not np.nanmin(t) <= note.middle <= np.nanmax(t):
            continue
        here = x[(t >= note.start) & (t <= note.stop)] if note.is_range else np.empty(0)
        if not np.isfinite(here).any():
            here = x[[np.nanargmin(np.abs(t - note.middle))]]
        if np.isfinite(here).any():
            low, high = float(np.nanmin(here)), float(np.nanmax(here))
            return replace(note, axis="speed_rpm", start=low, stop=high, pull=number)
    return note


def _of_log(bench, log):
    notes = Notes.of(Review.load(bench, log)).items
    if all(note.axis == "speed_rpm" for note in notes):
        return notes
    try:
        one = opened(bench, log, with_partner=False)
    except ValueError:  # the log is gone or asks something: its notes still have their words
        return notes
    return tuple(along_speed(note, one) for note in notes)
