"""Write the demo bench: `python data_demo/generate.py`. Same seed, same bytes.

Everything here is invented: the team, the engine, the parts, every number. `generate` makes
another bench of the same kind from another seed, with its own truth, for the tests.
"""

import hashlib
import shutil
import sys
from pathlib import Path

import numpy as np
import tomlkit

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:  # found both as a script and as data_demo.generate
    sys.path.insert(0, str(HERE))

from generator import bad, day, loggers, parts_on_file, plant, truth  # noqa: E402

SEED = 20260418
# What somebody of the team wrote on a curve.
REVIEW_NOTES = {
    ("2026-04-18_3_small_20psi", "dyno"): {
        "words": "boost leaves its target from here on",
        "channel": "p_manifold_pa", "axis": "speed_rpm", "at": "3900 rpm",
    },
    ("2026-04-18_3_small_20psi", "ecu"): {
        "words": "the controller gives all the duty it has",
        "channel": "gate_duty", "axis": "speed_rpm", "at": "3900 rpm", "to": "6700 rpm",
    },
}  # fmt: skip


def generate(seed=SEED, folder=HERE):
    """Write one bench into `folder`, and return {log name: true curves}."""
    folder = Path(folder)
    signals = {}
    for test, true, dyno, ecu in _logged(seed):
        _write_log(folder, test, "dyno", loggers.csv_text(dyno, _notes(test)))
        _write_log(folder, test, "ecu", loggers.csv_text(ecu))
        signals[test.name] = true
    spare = signals["2026-04-18_3_small_20psi"], signals["2026-04-18_5_large_14psi"]
    for name, content in bad.bad_files(*spare).items():
        _write(folder / "runs/bad" / name, content)
    for key, turbo in plant.TURBOS.items():
        _write(folder / f"maps/{key}.csv", parts_on_file.compressor_map(turbo))
    for name, text in parts_on_file.builds().items():
        _write(folder / f"builds/{name}.toml", text)
    return _write_truth(seed, folder, signals)


def simulate(seed):
    """The same bench without files: {log name: (dyno channels, controller channels, curves)}.

    Channels are dictionaries of arrays under the toolkit's names (SI, absolute), holding what the
    logger prints to its last digit; curves are the truth (`truth.shares` takes two of them).
    """
    return {
        test.name: (loggers.channels(dyno), loggers.channels(ecu), truth.curves(true))
        for test, true, dyno, ecu in _logged(seed)
    }


def _logged(seed):
    """(test, true signals, dyno columns, controller columns) of every log."""
    bias = loggers.sensor_biases(seed)
    for number, (test, true) in enumerate(day.run_all(seed)):
        rng = np.random.default_rng([seed, 3000, number])
        dyno = loggers.dyno_rows(test, true, bias, rng)
        yield test, true, dyno, loggers.ecu_rows(test, true, bias, loggers.clock(seed, number), rng)


def _write_log(folder, test, logger, text):
    """The log and, beside it, what the team noted about it in review."""
    name = f"{test.name}_{logger}.csv"
    _write(folder / "runs" / name, text)
    review = tomlkit.document()
    review.add(tomlkit.comment(f"What was decided about {name}."))
    review.add(tomlkit.comment("The log itself is never changed."))
    review["log"] = name
    review["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    review["power_reference"] = "observed"
    review["test"] = {"setup": _setup(test), "started": test.started}
    if (test.name, logger) in REVIEW_NOTES:
        review["notes"] = [REVIEW_NOTES[test.name, logger]]
    _write(folder / "runs" / f"{name}.review.toml", tomlkit.dumps(review))


def _setup(test):
    more = f", {test.note}" if test.note else ""
    return f"turbo {test.turbo.title()}, target {test.boost_psi} psi{more}"


def _write_truth(seed, folder, signals):
    curves = {name: truth.curves(s) for name, s in signals.items()}
    _write(folder / "truth/curves.csv", _table("run", curves))
    _write(folder / "truth/held_back.csv", _table("set_up", truth.held_back()))
    pairs = {f"{a},{b}": truth.shares(curves[a], curves[b]) for a, b in truth.PAIRS}
    _write(folder / "truth/shares.csv", _table("a,b", pairs))
    _write(folder / "truth/parts.toml", tomlkit.dumps(truth.parts(seed)))
    return curves


def _notes(test):
    return [
        "# Invented demo data: a technical college's hill-climb team, no real engine or part",
        f"# Set-up: {_setup(test)}",
        f"# Started: {test.started}",
        f"# Sweep: {test.sweep_rpm_s:.0f} rpm/s",
    ]


def _table(label, columns_by_name):
    """One CSV with a first column that names the run, seven significant digits."""
    lines = []
    for name, columns in columns_by_name.items():
        lines = lines or [",".join([label, *columns])]
        rows = np.column_stack(list(columns.values())).tolist()
        lines += [",".join([name, *(f"{v + 0.0:.7g}" for v in row)]) for row in rows]
    return "\n".join(lines) + "\n"


def _write(path, content):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


def main():
    for part in ("runs", "maps", "builds", "truth"):
        shutil.rmtree(HERE / part, ignore_errors=True)
    generate()
    files = [p for p in HERE.rglob("*") if p.is_file() and "generator" not in p.parts]
    print(f"{len(files)} files, {sum(p.stat().st_size for p in files) / 1e6:.2f} MB in {HERE}")


if __name__ == "__main__":
    main()
