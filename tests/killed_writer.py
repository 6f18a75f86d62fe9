"""Kill a writer at seeded random moments: python -m tests.killed_writer FOLDER KILLS SEED HOW

Prints, as JSON, how many kills found the file old or new, how many found anything else, and how
many struck between the start and the end of a write. HOW: "review" saves reviews, "bytes" writes
large files, "two" has a second writer in the same folder that is not killed until the end.
"""

import itertools
import json
import os
import random
import signal
import sys
import time

from toolkit.bench import Bench, write_bytes
from toolkit.logs.review import Review, review_name

LOG = "runs/monday.csv"
REVIEWS = [
    Review(log="monday.csv", notes=tuple({"words": f"{word} {k}"} for k in range(count)))
    for word, count in (("first thoughts", 2), ("second thoughts", 5))
]
CONTENTS = [b"a" * 700_000, b"b" * 1_100_000]


def write_for_ever(bench, how):
    """Save the one state and the other in turn."""
    path = bench.file(review_name(LOG))
    for k in itertools.cycle((0, 1)):
        if how == "review":
            REVIEWS[k].save(bench, LOG)
        else:
            write_bytes(path, CONTENTS[k])


def child(bench, how):
    """A writer in a process of its own; returns its id."""
    pid = os.fork()
    if pid:
        return pid
    try:
        write_for_ever(bench, how)
    finally:
        os._exit(1)


def whole(bench, how):
    """Whether the file is one of the two states."""
    if how == "review":
        return Review.load(bench, LOG) in REVIEWS
    return bench.file(review_name(LOG)).read_bytes() in CONTENTS


def parts(bench):
    """Unfinished files in the folder, which are taken away."""
    found = list(bench.file("runs").glob("*.part"))
    for path in found:
        path.unlink(missing_ok=True)
    return len(found)


def main(folder, kills, seed, how):
    """Start, kill and look, so many times."""
    bench, rng = Bench(folder), random.Random(int(seed))
    REVIEWS[0].save(bench, LOG)
    if how != "review":
        write_bytes(bench.file(review_name(LOG)), CONTENTS[0])
    steady = child(bench, how) if how == "two" else None
    found = {"whole": 0, "broken": 0, "struck": 0}
    for _ in range(int(kills)):
        pid = child(bench, how)
        time.sleep(rng.uniform(0.0, 0.02))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        found["whole" if whole(bench, how) else "broken"] += 1
        found["struck"] += parts(bench) if how != "two" else 0
    if steady:
        ended, _ = os.waitpid(steady, os.WNOHANG)
        found["steady"] = ended == 0
        if not ended:
            os.kill(steady, signal.SIGKILL)
            os.waitpid(steady, 0)
    print(json.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
