"""The demo bench's own logs, as two loggers wrote them, judged from end to end."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.conftest import ROOT
from toolkit.analysis import gate_check
from toolkit.analysis.gate_runs import gate_log, mean_pull
from toolkit.analysis.sides import OpenedLog, partner
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.logs.pulls import find_pulls
from toolkit.logs.reading import Reading
from toolkit.logs.run import Run
from toolkit.physics.gate import Gate

PSI = 6894.757293168361
DEMO = ROOT / "data_demo"
LIGHT = Gate(1.018e-3, 3.85e-3, 42e3 * 3.85e-3, 5e3, 0.01, ports=2)


@pytest.mark.parametrize(
    ("name", "psi", "kind"),
    [
        ("runs/2026-04-18_3_small_20psi_dyno.csv", 20, gate_check.PUSHED),
        ("runs/2026-04-18_6_large_20psi_dyno.csv", 20, gate_check.HOLDS),
    ],
)
def test_demo_logs_tell_what_the_generator_hid(name, psi, kind):
    bench = Bench(DEMO)
    log = gate_log(bench, [name, partner(name, bench.logs())])
    assert gate_check.check(LIGHT, log, psi * PSI).kind == kind
    truth = pd.read_csv(DEMO / "truth" / "curves.csv").set_index("speed_rpm")
    truth = truth[truth.run == name.removeprefix("runs/").removesuffix("_dyno.csv")]
    there = np.isin(log.speed_rpm, truth.index) & (log.speed_rpm > 4000)
    true = truth.loc[log.speed_rpm[there]]
    assert log.top_gauge_pa[there] == pytest.approx(true.p_gate_top_gauge_pa.to_numpy(), abs=4e3)
    boost = (true.p_manifold_pa - true.p_cell_pa).to_numpy()
    assert log.boost_gauge_pa[there] == pytest.approx(boost, abs=3e3)
    assert any("mean of 3 pulls" in note for note in log.notes)


def test_measured_outlet_pressure_is_taken_off():
    bench, name = Bench(DEMO), "runs/2026-04-18_3_small_20psi_dyno.csv"
    plain, typed = gate_log(bench, [name]), gate_log(bench, [name], outlet_gauge_pa=10e3)
    assert typed.outlet_known and not plain.outlet_known
    assert plain.exhaust_drop_pa - typed.exhaust_drop_pa == pytest.approx(10e3)
    assert plain.top_gauge_pa is None


def test_a_log_without_back_pressure_says_so():
    with pytest.raises(ValueError, match="the gate check needs p_exhaust_pa"):
        gate_log(Bench(DEMO), ["runs/2026-04-18_3_small_20psi_ecu.csv"])


def test_pulls_are_averaged_speed_by_speed():
    rise = np.linspace(2000, 6000, 401)
    speed = np.concatenate([[900.0, 900], rise, np.linspace(6000, 900, 50), rise])
    frame = pd.DataFrame({"time_s": np.arange(speed.size) * 0.05, "speed_rpm": speed})
    second = np.arange(speed.size) > 420
    frame["p_manifold_pa"] = 150e3 + 10e3 * second
    mean, said, gone = mean_pull(log_of(frame))
    assert (said, gone) == ("mean of 2 pulls.", ())
    assert mean.loc[4000, "p_manifold_pa"] == pytest.approx(155e3)


def log_of(frame):
    """An OpenedLog of a frame, with the pulls that are found in it."""
    run = Run.of(Reading("one.csv", (), frame))
    run.__dict__["frame"] = frame
    return OpenedLog(run, find_pulls(frame), None, "")


NAMES = [f"runs/2026-04-18_3_small_20psi_{logger}.csv" for logger in ("dyno", "ecu")]


def clipped_at(folder, column, top):
    """A bench of the demo's pull in which one of the dyno's sensors ends at `top`."""
    (folder / "runs").mkdir()
    for name in NAMES:
        (folder / name).write_bytes((DEMO / name).read_bytes())
    lines = (folder / NAMES[0]).read_text().splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("Time"))
    place = lines[head].split(",").index(column)
    for i in range(head + 1, len(lines)):
        cells = lines[i].split(",")
        cells[place] = f"{min(float(cells[place]), top):.2f}"
        lines[i] = ",".join(cells)
    (folder / NAMES[0]).write_text("\n".join(lines) + "\n")
    return Bench(folder)


def test_a_boost_sensor_at_its_end_is_no_held_boost(tmp_path):
    log = gate_log(clipped_at(tmp_path, "Manifold Pressure (psig)", 15.0), NAMES)
    assert np.isnan(log.boost_gauge_pa).sum() > 10
    assert np.nanmax(log.boost_gauge_pa) < 15.1 * PSI
    (said,) = (note for note in log.notes if "sensor was at its end" in note)
    assert said.startswith("2026-04-18_3_small_20psi_dyno.csv: intake manifold pressure is left")
    result = gate_check.check(LIGHT, log, 15 * PSI)
    assert result.kind == gate_check.CANNOT_TELL and np.isnan(result.spring_gauge_pa)
    assert "the sensor of intake manifold pressure was at its end" in result.sentence
    assert "wider range" in result.test


def test_a_back_pressure_sensor_at_its_end_lets_nothing_hold(tmp_path):
    log = gate_log(clipped_at(tmp_path, "Exhaust Manifold Pressure (psig)", 18.0), NAMES)
    result = gate_check.check(LIGHT, log, 20 * PSI)
    assert result.kind == gate_check.CANNOT_TELL
    assert result.sentence.startswith("Boost holds to 2900 rpm. From 2900 rpm on nothing can be")
    assert np.isnan(result.spring_gauge_pa)
    # One that ends above all that counts leaves the verdict as it is.
    late = replace(log, left_out=())
    assert gate_check.check(LIGHT, late, 20 * PSI).kind == gate_check.HOLDS


def test_partner_needs_a_shared_name():
    names = ["runs/a_dyno.csv", "runs/a_ecu.csv", "runs/b.csv"]
    assert partner("runs/a_dyno.csv", names) == "runs/a_ecu.csv"
    assert partner("runs/b.csv", names) == ""


def test_margin_to_choke_is_the_hidden_compressors_own():
    # Second route: the generator's own choke line at the true shaft speed, in reference air.
    bench, name = Bench(DEMO), "runs/2026-04-18_3_small_20psi_dyno.csv"
    turbo = read_build(bench, "builds/small.toml").turbo
    log = gate_log(bench, [name], turbo=turbo)
    truth = pd.read_csv(DEMO / "truth" / "curves.csv").query("run == '2026-04-18_3_small_20psi'")
    truth = truth[truth.speed_rpm.isin(log.speed_rpm) & (truth.speed_rpm > 4000)]
    fraction = truth.shaft_speed_rpm / 154e3 / np.sqrt(truth.t_cell_k / 298.15)
    choke = 0.5 * (1.18 * fraction - 0.27 * fraction**3) / 0.91
    flow = truth.air_flow_kg_s * np.sqrt(truth.t_cell_k / 298.15) / (truth.p_compressor_in_pa / 1e5)
    found = log.choke_margin[np.isin(log.speed_rpm, truth.speed_rpm)]
    assert found == pytest.approx((choke / flow - 1).to_numpy(), abs=0.08)
    assert np.isnan(found).sum() == 0


def test_more_turbos_share_the_flow():
    bench, name = Bench(DEMO), "runs/2026-04-18_6_large_20psi_dyno.csv"
    small = read_build(bench, "builds/small.toml").turbo
    pair = replace(small, count=2)
    one, two = (gate_log(bench, [name], turbo=t).choke_margin for t in (small, pair))
    assert np.nanmin(one) < np.nanmin(two)
    assert gate_log(bench, [name]).choke_margin is None
