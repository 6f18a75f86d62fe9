"""How fast the engine cycle is, as ratios within one run: `python -m tests.benchmark_cycle`."""

import subprocess
import sys
import time

import numpy as np

from toolkit.physics.cam import CAMS
from toolkit.physics.cycle import Cylinder, Operating, cycle
from toolkit.physics.cycle_table import table

SQUARE = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
POINT = Operating(3000, 150e3, 180e3, 330.0, 1100.0)
REPEATS = 1e-5  # how closely a cycle must end as it began, the same for both routes
FIRST_CALL = """
import time
from tests.benchmark_cycle import CAMS, POINT, SQUARE, cycle
start = time.perf_counter()
cycle(SQUARE, CAMS["turbo"], POINT)
print(time.perf_counter() - start)
"""


def seconds(function, times=1):
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        function()
        spent.append(time.perf_counter() - start)
    return float(np.median(spent))


def first_call(**environment):
    """Seconds of the first call in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", FIRST_CALL],
        capture_output=True,
        text=True,
        check=True,
        **environment,
    )
    return float(done.stdout)


def network_seconds(name):
    """The reference library's network of the same point, to the same repeat."""
    from tests import reactor_engine

    heat = 2.6e6 * float(cycle(SQUARE, CAMS[name], POINT).trapped_air_kg)
    return seconds(lambda: reactor_engine.like(SQUARE, CAMS[name], POINT, heat).repeat(REPEATS))


def main():
    import os
    import tempfile

    cycle(SQUARE, CAMS["turbo"], POINT)
    with tempfile.TemporaryDirectory() as empty:
        compiling = first_call(env=os.environ | {"NUMBA_CACHE_DIR": empty})
    print(f"first call, compiling               {compiling:8.2f} s")
    print(f"first call, compiled code kept      {first_call():8.2f} s")
    for name in CAMS:
        point = seconds(lambda name=name: cycle(SQUARE, CAMS[name], POINT, tolerance=REPEATS), 15)
        network = network_seconds(name)
        whole = seconds(lambda name=name: table.__wrapped__(SQUARE, CAMS[name]))
        print(
            f"{name:14} one point {point * 1e3:6.1f} ms   480 points {whole:5.2f} s   "
            f"reactor network {network:5.2f} s = {network / point:.0f} x"
        )


if __name__ == "__main__":
    main()
