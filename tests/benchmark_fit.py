"""How long fit, prediction and trade take, as multiples of one match of a thousand points."""

import numpy as np

from tests.benchmark_response import seconds
from tests.split_truth import pairs
from tests.test_whatif import PSI, Demo
from toolkit.analysis.fit import fit
from toolkit.analysis.split import split
from toolkit.analysis.trade import trade
from toolkit.analysis.whatif import Change, predict
from toolkit.build.pull import pull
from toolkit.charts.live import LiveChart
from toolkit.charts.what_if import picture
from toolkit.physics.cam import CAMS


def main():
    demo = Demo()
    builds = tuple(demo.build.values())
    runs = [demo.run(turbo, psi) for turbo in demo.build for psi in (8, 14)]
    fitted, change = fit(runs, builds), Change(size=0.5, boost_gauge_pa=16 * PSI)
    drawn = [("run", r.speed_rpm, r.torque_nm) for r in runs]
    compared = [both for both, _ in pairs(77)][1]
    chart = LiveChart(picture(fitted, predict(fitted, change), drawn, "", "US"))
    cases = {
        "1000 points matched": lambda: pull(builds[0], np.linspace(2400, 6700, 1000)),
        "fit of 4 runs, 2 turbos": lambda: fit(runs, builds),
        "prediction with its band": lambda: predict(fitted, change),
        "slider to picture": lambda: chart.show(
            picture(fitted, predict(fitted, change), drawn, "", "US")
        ),
        "the trade, 9 sizes": lambda: trade(fitted, change),
        "split of two runs with bands": lambda: split(compared, builds[0], CAMS["turbo"]),
    }
    taken = {name: seconds(call) for name, call in cases.items()}
    one = taken["1000 points matched"]
    for name, cpu in taken.items():
        print(f"{name:28s} {cpu / one:8.2f} x {cpu * 1e3:8.0f} ms of the processor")


if __name__ == "__main__":
    main()
