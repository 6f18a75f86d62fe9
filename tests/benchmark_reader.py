"""Reading a 100 MB CSV against pandas' own fastest read of it: time and peak memory.

`.venv/bin/python -m tests.benchmark_reader` prints both and their ratios, all in this run. Each
read has a process of its own, the two in turn, so that neither finds the other's memory; the
best of five counts, as other work only ever adds time.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

ROUNDS = 5
PANDAS = "import pandas; read = lambda p: pandas.read_csv(p, engine='pyarrow')"
LEAN = PANDAS.replace("'pyarrow'", "'pyarrow', dtype_backend='pyarrow'")
OURS = "from toolkit.logs.read import read"
# Both start with their libraries loaded and warm.
CODE = """
import json, resource, time
from pathlib import Path
{setup}
read({small!r})
status = Path("/proc/self/status").read_text()
before = int(status.split("VmRSS:")[1].split()[0])
start = time.perf_counter()
kept = read({big!r})
took = time.perf_counter() - start
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(json.dumps([took, (peak - before) / 1024]))
"""


def table(rows):
    """A clean log of 14 channels."""
    rng = np.random.default_rng(0)
    columns = {"time_s": np.arange(rows) / 100, "rpm": rng.uniform(1000, 7000, rows).round(1)}
    columns |= {f"channel {i} [kPa]": rng.uniform(90, 300, rows).round(3) for i in range(12)}
    return pd.DataFrame(columns)


def dirty(path, clean):
    """The same log with a placeholder in one cell of a thousand of one channel."""
    with clean.open() as source, path.open("w") as target:
        for number, line in enumerate(source):
            target.write(line if number % 1000 != 500 else line.rsplit(",", 1)[0] + ",---\n")


def measured(setup, small, big):
    """(seconds, megabytes on top of what the warm process held)."""
    code = CODE.format(setup=setup, small=str(small), big=str(big))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main():
    with tempfile.TemporaryDirectory() as folder:
        small, big, spoilt = (Path(folder) / f"{n}.csv" for n in ("small", "big", "spoilt"))
        csv.write_csv(pa.Table.from_pandas(table(1000)), small)
        csv.write_csv(pa.Table.from_pandas(table(950_000)), big)
        dirty(spoilt, big)
        cases = {"pandas": (PANDAS, big), "pandas, lean": (LEAN, big)}
        cases |= {"ours": (OURS, big), "ours, spoilt": (OURS, spoilt)}
        best = {name: [np.inf, np.inf] for name in cases}
        for _ in range(ROUNDS):
            for name, (setup, path) in cases.items():
                best[name] = np.minimum(best[name], measured(setup, small, path))
        print(f"{big.stat().st_size / 1e6:.0f} MB; best of {ROUNDS}")
    fastest = min(best["pandas"], best["pandas, lean"], key=lambda cost: cost[0])
    for name, (seconds, megabytes) in best.items():
        time_ratio, memory_ratio = best[name] / fastest
        cost = f"{name:14} {seconds:6.2f} s  {megabytes:5.0f} MB"
        print(f"{cost}   {time_ratio:5.2f} {memory_ratio:5.2f}")
    print("limits for a clean file           1.50  3.00")


if __name__ == "__main__":
    main()
