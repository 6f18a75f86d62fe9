"""The day of a log: every log of that date with torque or power, as one session."""

from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.session import session
from toolkit.analysis.sides import opened, partner, side
from toolkit.logs.question import LogError
from toolkit.physics.correction import STANDARDS


def day_of(bench, log, reference=""):
    """(the Session of the day on which this log was made, sentences about logs left out).

    A log belongs to the day that its review or its notes name; one without torque and power only
    lends its channels to its partner. reference: "observed", or a name of STANDARDS; "" for the
    first standard, and observed with a sentence why where a log's weather does not allow it.
    Raises LogError where this log names no day, ValueError where a correction asked for by name
    is not possible.
    """
    logs = bench.logs()
    tested, left_out = _opened(bench, logs)
    if log not in tested:
        raise LogError(left_out.get(log, f"there is no log {log} in this bench"))
    date = _date(tested[log])
    if not date:
        raise LogError(f"{log} does not say when it was made: write it in the review as started")
    today = [one for one in tested.values() if _date(one) == date and _has_load(one)]
    for one in today:
        if not one.pulls:
            left_out[one.run.name] = f"{one.run.name} has no accepted pull"
    today = [_with_partner(one, tested, logs) for one in today if one.pulls]
    setups = dict.fromkeys(_setup(one) for one in today)
    groups = {s: [one for one in today if _setup(one) == s] for s in setups}

    def sides(state):
        return [side(s, group, state) for s, group in groups.items()]

    if reference:
        return session(sides(reference)), tuple(left_out.values())
    try:
        return session(sides(next(iter(STANDARDS)))), tuple(left_out.values())
    except ValueError as error:
        why = f"Power is as observed: {error}"
        return session(sides(OBSERVED)), (*left_out.values(), why)


def _opened(bench, logs):
    tested, left_out = {}, {}
    for name in logs:
        try:
            tested[name] = opened(bench, name, with_partner=False)
        except ValueError as error:
            left_out[name] = f"{name} is left out: {error}"
    return tested, left_out


def _setup(one):
    """The set-up without the words that say it was returned to, or the log where none is named."""
    return one.setup.split(", return")[0] or one.run.name


def _date(one):
    return one.started.split(" ")[0]


def _has_load(one):
    return bool({"torque_nm", "power_w"} & set(one.run.frame))


def _with_partner(one, tested, logs):
    """The log with its other logger's, where both accepted the same number of pulls."""
    other = tested.get(partner(one.run.name, logs))
    if other is None or other.pulls != one.pulls:
        return one
    return one.beside(other)


def shortened(setups):
    """Set-ups without the words that all of them start their parts with.

    >>> shortened(["turbo Small, target 8 psi", "turbo Large, target 14 psi"])
    ['Small, 8 psi', 'Large, 14 psi']
    """
    split = [[part.split() for part in s.split(", ")] for s in setups]
    count = min((len(s) for s in split), default=0)
    for place in range(count):
        parts = [s[place] for s in split]
        while len(set(map(tuple, parts))) > 1 and len({p[0] for p in parts if p}) == 1:
            for part in parts:
                part.pop(0)
    return [", ".join(" ".join(part) for part in s if part) for s in split]
