"""Which pulls a person accepted, between the log's proposals and the review's words.

A review keeps each pull by the lines of the file it spans, so that a saved decision is found
again when the search for pulls proposes slightly other edges.
"""

import re

from toolkit.logs.pulls import ABORTED, PULL, decided, find_pulls
from toolkit.logs.question import LogError

_LINES = re.compile(r"\s*(\d+)\s*to\s*(\d+)\s*")
_YES_NO = {"yes": True, "no": False}


def stretches_of(run, settings=None):
    """(the stretches of a run with the decisions of its review, sentences about lost ones).

    A saved decision belongs to the stretch that shares more than half of its lines with it;
    one that finds none is named in a sentence and nothing is accepted in its place.
    """
    stretches, lost = find_pulls(run.frame, settings), []
    lines = run.frame.index
    for number, saved in enumerate(run.review.pulls, start=1):
        first, last, accepted = _read(saved, number)
        place = _found(stretches, lines, first, last)
        if place is None:
            lost.append(f"The pull saved as lines {first} to {last} is not found in this log.")
        else:
            stretches = decided(stretches, place, accepted)
    return stretches, tuple(lost)


def candidates(stretches):
    """The stretches that are a pull, were cut short, or were accepted, as (number, place).

    Numbers count from 1 in the order of the log; place is that in `stretches`, from 0. A number
    does not depend on what is accepted, so that a note keeps its pull: stretches that the search
    took for something else are counted after those it found, whether or not they are used.
    """
    found = [i for i, s in enumerate(stretches) if s.label in (PULL, ABORTED)]
    others = [i for i in range(len(stretches)) if i not in found]
    return tuple(
        (number, place)
        for number, place in enumerate([*found, *others], start=1)
        if place in found or stretches[place].accepted
    )


def used(stretches):
    """(numbers, pulls) of the accepted stretches in the order of the log."""
    taken = sorted((p, n) for n, p in candidates(stretches) if stretches[p].accepted)
    return tuple(n for _, n in taken), tuple(stretches[p] for p, _ in taken)


def as_strings(run, stretches):
    """The decisions on what could be a pull, for `Review.pulls`.

    The other stretches are kept only where the person accepted one as a pull.
    """
    lines = run.frame.index
    return tuple(
        {
            "lines": f"{lines[s.start]} to {lines[s.stop - 1]}",
            "speeds": f"{s.low_rpm:.0f} to {s.high_rpm:.0f} rpm",
            "accepted": "yes" if s.accepted else "no",
        }
        for s in (stretches[place] for _, place in candidates(stretches))
    )


def _read(saved, number):
    found = _LINES.fullmatch(saved.get("lines", ""))
    if not found or saved.get("accepted") not in _YES_NO:
        raise LogError(
            f"pull {number} of the review cannot be read: write it like"
            ' lines = "152 to 380", accepted = "yes"'
        )
    return int(found.group(1)), int(found.group(2)), _YES_NO[saved["accepted"]]


def _found(stretches, lines, first, last):
    """The place of the stretch that shares most lines with first to last, over half of either."""
    shares = [_shared(lines[s.start], lines[s.stop - 1], first, last) for s in stretches]
    place = max(range(len(shares)), key=shares.__getitem__)
    return place if shares[place] > 0.5 else None


def _shared(a, b, first, last):
    """Lines that both spans hold, as a share of the longer one."""
    both = min(b, last) - max(a, first) + 1
    return max(both, 0) / max(b - a + 1, last - first + 1)
