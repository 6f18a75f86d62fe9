"""How fast the match is: one pull of 100 speeds for 20 candidates, and against a scalar solver.

python -m tests.benchmark_match
"""

import time

import numpy as np

from tests.match_cases import invented_map
from tests.scalar_match import solve
from toolkit.physics import expansion
from toolkit.physics.gate import Gate
from toolkit.physics.match import match
from toolkit.physics.points import Points, Regime

PSI = 6894.757293168361


def pull_points(speeds=100, candidates=20, gated=True):
    """A 3-litre engine's pull, exhaust temperature and mixture changing along it."""
    speed = np.linspace(2200, 7000, speeds)[:, None]
    along = np.linspace(0, 1, speeds)[:, None]
    gate = Gate(11.3e-4, 45e-4, 7 * PSI * 45e-4, 12e3, 12e-3, ports=2, port_area_m2=11e-4)
    return Points(
        volume_flow_m3_s=(0.85 + 0.4 * along * (1 - along)) * 3e-3 * speed / 120,
        breathing_linear=0.0, breathing_log=-0.3, p_cell_pa=100e3, t_cell_k=298.15,
        r_intake_j_kgk=288.0, p_target_pa=100e3 + 14 * PSI, intake_loss=1e4, cooler_loss=4e4,
        exhaust_loss=3e4, effectiveness=0.75, t_medium_k=300.0, exhaust_per_air=1.085,
        t_exhaust_k=1050 + 150 * along, lam=0.9 - 0.08 * along, map=0, turbine=0,
        turbine_area_m2=np.linspace(5e-4, 14e-4, candidates), turbine_efficiency=0.68,
        mechanical_efficiency=0.97, turbos=1, gated=gated, gate_share=1.0, gate=gate,
    )  # fmt: skip


def seconds(function, times):
    """The shortest of so many runs, which is the one least disturbed by others."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        function()
        found.append(time.perf_counter() - start)
    return min(found)


def main():
    maps = [invented_map()]
    points = pull_points()

    def first():
        expansion._tables.cache_clear()
        match(points, maps)

    match(points, maps)
    cold, warm = seconds(first, 20), seconds(lambda: match(points, maps), 20)
    print(f"100 speeds x 20 candidates, new exhaust states : {1e3 * cold:8.1f} ms")
    print(f"100 speeds x 20 candidates, at another boost   : {1e3 * warm:8.1f} ms")
    free = pull_points(gated=False).flat()
    made = match(free, maps)
    some = np.flatnonzero(made.regime == Regime.HOLDING)[::150]
    each = seconds(lambda: [solve(free.take(i), maps) for i in some], 1) / len(some)
    ours = seconds(lambda: match(free, maps), 10) / made.regime.size
    print(f"a point, all at once                           : {1e6 * ours:8.1f} us")
    print(f"a point, scipy's brentq within brentq          : {1e6 * each:8.0f} us")
    print(f"ratio                                          : {each / ours:8.0f}")


if __name__ == "__main__":
    main()
