"""How long a response takes, as a multiple of matching one pull of the same build."""

import time

import numpy as np

from tests.test_respond import DEMO
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.build.pull import pull
from toolkit.build.respond import boost_in_sweep, boost_in_vehicle, time_to_boost


def seconds(call, repeats=5):
    """Median of CPU seconds, the first call left out."""
    call()
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        taken.append(time.process_time() - start)
    return float(np.median(taken))


def main():
    build = read_build(Bench(DEMO), "builds/candidates.toml")
    one = seconds(lambda: pull(build, np.arange(2000.0, 6801.0, 100.0)))
    cases = {
        "one pull matched (3 turbos, 49 speeds)": lambda: pull(
            build, np.arange(2000.0, 6801.0, 100.0)
        ),
        "throttle step, 3 turbos": lambda: time_to_boost(build, 3400.0),
        "throttle step, 3 turbos at 5 speeds": lambda: time_to_boost(
            build, np.linspace(3000, 5000, 5)
        ),
        "sweep at 400 rpm/s, 3 turbos": lambda: boost_in_sweep(build, 2000, 6500, 400),
        "pull of a vehicle in one gear, 3 turbos": lambda: boost_in_vehicle(
            build, build.vehicle.in_gear(1.18), 3000.0
        ),
    }
    for name, call in cases.items():
        taken = seconds(call)
        print(f"{name:42s} {taken / one:8.1f} x {taken * 1e3:8.0f} ms")


if __name__ == "__main__":
    main()
