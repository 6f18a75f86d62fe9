"""How often the split's bands hold the demo's truth: `python -m tests.split_truth 100`."""

import sys
from collections import Counter
from functools import cache

import numpy as np
import pandas as pd

from data_demo.generate import simulate
from data_demo.generator import day, truth
from tests.conftest import ROOT
from toolkit.analysis.breathing import cam_of
from toolkit.analysis.compare import compare
from toolkit.analysis.repeats import Side, joined, repeats_of
from toolkit.analysis.split import UNEXPLAINED, split
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.logs.pulls import find_pulls

# The truth's name of each cause.
TRUE_NAME = {
    "boost": "boost_nm",
    "pumping": "pumping_nm",
    "breathing": "breathing_nm",
    "charge temperature": "charge_temperature_nm",
    "mixture": "mixture_nm",
    "spark": "spark_nm",
    "weather": "moisture_nm",
    UNEXPLAINED: "other_nm",
}
STARTED = {test.name: test.started for test in day.TESTS}


@cache
def build():
    return read_build(Bench(ROOT / "data_demo"), "builds/small.toml", load_maps=False)


def side(name, dyno, controller):
    """Both loggers' pulls of one log as a Side."""
    sides = []
    for channels in (dyno, controller):
        frame = pd.DataFrame(channels)
        repeats = repeats_of(name, frame, find_pulls(frame), 100.0, started=STARTED[name])
        sides.append(repeats)
    return Side(name, joined(*sides))


def pairs(seed):
    """(comparison, true shares) of each pair of a regenerated bench."""
    bench = simulate(seed)
    for a, b in truth.PAIRS:
        both = compare(*(side(n, *bench[n][:2]) for n in (a, b)))
        yield both, truth.shares(bench[a][2], bench[b][2])


def within(result, true):
    """Per cause: at how many speeds the band holds the truth, and of how many."""
    _, i, j = np.intersect1d(result.speed_rpm, true["speed_rpm"], return_indices=True)
    for k, cause in enumerate(result.causes):
        miss = np.abs(result.share[k, i] - true[TRUE_NAME[cause]][j])
        known = np.isfinite(miss)
        yield cause, int((miss <= result.half_width[k, i])[known].sum()), int(known.sum())


def ways():
    """The three sources of the breathing slope, as options of `split`."""
    return {
        "air flow logged": {},
        "cam known": {"use_air_flow": False, "cam": cam_of(build().engine.valves)},
        "neither": {"use_air_flow": False},
    }


def coverage(seeds):
    """{way: {cause: part of all speeds, pairs and benches at which the band holds the truth}}."""
    held, asked = Counter(), Counter()
    for seed in seeds:
        for comparison, true in pairs(seed):
            for way, options in ways().items():
                for cause, inside, of in within(split(comparison, build(), **options), true):
                    held[way, cause] += inside
                    asked[way, cause] += of
    return {
        way: {cause: held[way, cause] / asked[way, cause] for cause in TRUE_NAME} for way in ways()
    }


def main():
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(f"| cause, {benches} benches |", " | ".join(ways()), "|")
    found = coverage(range(benches))
    for cause in TRUE_NAME:
        print(f"| {cause} |", " | ".join(f"{100 * found[w][cause]:.1f} %" for w in ways()), "|")


if __name__ == "__main__":
    main()
