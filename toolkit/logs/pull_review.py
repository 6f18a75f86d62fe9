"""The pulls of a run as its review has them: found from the trace, then what a person decided.

A decision is kept as words in the review, {"rows": "201 to 320", "decision": "refused"}, with the
rows of the log counted from 1. It holds for the stretch that shares most of those rows, so it
survives a change in how pulls are found; where none does, it is not lost but said.
"""

import re
from dataclasses import replace

from toolkit.logs.pulls import find_pulls
from toolkit.logs.question import LogError

ACCEPTED, REFUSED = "accepted", "refused"


def stretches_of(run, settings=None):
    """(stretches, remarks): those of `find_pulls`, accepted or refused as the review says.

    Raises LogError where a decision in the review cannot be read.
    """
    stretches, remarks = list(find_pulls(run.frame, settings)), []
    for item in run.review.pulls:
        start, stop, accepted = _decision(item)
        shared = [min(stop, p.stop) - max(start, p.start) for p in stretches]
        best = max(range(len(shared)), key=shared.__getitem__)
        if shared[best] * 2 < stop - start:
            remarks.append(
                f"rows {item['rows']} were {item['decision']} in review, but no stretch "
                "of the log covers them now: decide again"
            )
        else:
            stretches[best] = replace(stretches[best], accepted=accepted)
    return tuple(stretches), tuple(remarks)


def decisions(stretches, proposed):
    """What differs from the proposal, as items for the review.

    >>> from toolkit.logs.pulls import Pull
    >>> found = (Pull("pull", 200, 320, 3000, 6500, 400, "", accepted=True),)
    >>> decisions((replace(found[0], accepted=False),), found)
    ({'rows': '201 to 320', 'decision': 'refused'},)
    """
    return tuple(
        {"rows": f"{p.start + 1} to {p.stop}", "decision": ACCEPTED if p.accepted else REFUSED}
        for p, was in zip(stretches, proposed, strict=True)
        if p.accepted != was.accepted
    )


def _decision(item):
    found = re.fullmatch(r"\s*(\d+) to (\d+)\s*", item.get("rows", ""))
    word = item.get("decision", "")
    if not found or word not in (ACCEPTED, REFUSED):
        raise LogError(
            f'a pull in the review says {dict(item)}: write rows = "201 to 320" and '
            f'decision = "{ACCEPTED}" or "{REFUSED}"'
        )
    start, stop = int(found.group(1)) - 1, int(found.group(2))
    return start, stop, word == ACCEPTED
