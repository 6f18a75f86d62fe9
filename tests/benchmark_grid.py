"""Pulls and grid of a one-hour, 100 Hz, 100-channel log, against reading that log.

`.venv/bin/python -m tests.benchmark_grid` prints the times and their ratio, both in this run.
"""

import tempfile
from pathlib import Path
from time import perf_counter

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

from toolkit.logs.grid import gridded
from toolkit.logs.pulls import find_pulls, pulls_of
from toolkit.logs.read import read

HOUR_S, HZ, CHANNELS = 3600, 100, 100


def one_hour():
    """Pull after pull, with idle and coast between them, noise on everything."""
    rng = np.random.default_rng(1)
    t = np.arange(HOUR_S * HZ) / HZ
    cycle = t % 24
    speed = np.interp(cycle, [0, 4, 6, 18, 20, 24], [900, 900, 2200, 6700, 1000, 900])
    columns = {
        "time_s": t,
        "speed_rpm": np.maximum(speed + rng.normal(0, 5, len(t)), 0).round(),
        "throttle": np.where((cycle > 6) & (cycle < 18), 1.0, 0.03),
        "torque_nm": (300 + rng.normal(0, 3, len(t))).round(1),
    }
    for number in range(CHANNELS - len(columns)):
        columns[f"channel_{number}"] = rng.normal(100, 5, len(t)).round(2)
    return pd.DataFrame(columns)


def timed(work):
    start = perf_counter()
    result = work()
    return perf_counter() - start, result


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hour.csv"
        csv.write_csv(pa.Table.from_pandas(one_hour()), path)
        size = path.stat().st_size / 1e6
        raw_s, frame = timed(lambda: pd.read_csv(path, engine="pyarrow"))
        ours_s, _ = timed(lambda: read(path))
    gridded(frame, pulls_of(find_pulls(frame)))  # first call loads libraries
    find_s, stretches = timed(lambda: find_pulls(frame))
    grid_s, grids = timed(lambda: gridded(frame, pulls_of(stretches), 100))
    print(f"{size:.0f} MB, {len(frame)} rows, {len(frame.columns)} channels, {len(grids)} pulls")
    print(f"read, pandas with pyarrow  {raw_s:6.2f} s")
    print(f"read, ours                 {ours_s:6.2f} s")
    print(f"find pulls                 {find_s:6.2f} s")
    print(f"grid                       {grid_s:6.2f} s")
    print(f"pulls and grid over read   {(find_s + grid_s) / ours_s:6.2f} (limit 0.50)")
    print(f"the same over pandas'      {(find_s + grid_s) / raw_s:6.2f}")


if __name__ == "__main__":
    main()
