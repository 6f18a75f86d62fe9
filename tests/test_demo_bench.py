"""The demo bench: its files are what its generator writes, and its story is in them."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from data_demo.generate import SEED, generate, simulate, truth
from toolkit.bench import Bench, digest
from toolkit.build import read_build
from toolkit.build.pull import pull
from toolkit.logs.notes import Notes
from toolkit.logs.run import Run

DEMO = Path(__file__).resolve().parent.parent / "data_demo"
PSI = 6894.757


@pytest.fixture(scope="module")
def again(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    generate(SEED, folder)
    return folder


@pytest.fixture(scope="module")
def curves():
    table = pd.read_csv(DEMO / "truth/curves.csv")
    return {
        name.split("_", 1)[1]: rows.set_index("speed_rpm") for name, rows in table.groupby("run")
    }


def files_under(folder, part):
    """Reviews aside: a person who walks through the demo bench may save their own."""
    found = [p for p in (folder / part).rglob("*") if p.is_file() and ".review." not in p.name]
    return {str(p.relative_to(folder)): p.read_bytes() for p in found}


@pytest.mark.parametrize("part", ["runs", "maps", "builds", "truth"])
def test_committed_files_equal_a_regeneration(again, part):
    committed, fresh = files_under(DEMO, part), files_under(again, part)
    assert committed.keys() == fresh.keys()
    assert [name for name in fresh if committed[name] != fresh[name]] == []
    assert len(fresh) > 2


def test_another_seed_is_another_bench(again, tmp_path):
    generate(SEED + 1, tmp_path)
    name = "runs/2026-04-18_2_small_14psi_ecu.csv"
    assert (tmp_path / name).read_bytes() != (again / name).read_bytes()


def test_it_is_small_and_says_it_is_invented():
    size = sum(p.stat().st_size for p in DEMO.rglob("*") if p.suffix in (".csv", ".toml"))
    assert size < 4e6
    for log in (DEMO / "runs").glob("*_dyno.csv"):
        assert "Invented demo data" in log.read_text().splitlines()[0]
    assert "Everything in this folder is invented" in (DEMO / "SOURCES.md").read_text()


def boost_psi(curve):
    return (curve.p_manifold_pa - curve.p_cell_pa) / PSI


def test_small_cannot_hold_20_psi_and_large_can(curves):
    small, large = boost_psi(curves["3_small_20psi"]), boost_psi(curves["6_large_20psi"])
    assert small[3500] == pytest.approx(20, abs=0.4)
    assert small[6500] < 17
    assert large[6500] == pytest.approx(20, abs=0.4)
    assert curves["3_small_20psi"].gate_duty[6000] > 0.96  # all the controller can do


def test_back_pressure_opens_the_gate_by_the_force_balance(curves):
    """At the top of the 20 psi pull of Small the forces on the gate's stem balance."""
    gate = tomllib.loads((DEMO / "truth/parts.toml").read_text())["gates"]["light"]
    point = curves["3_small_20psi"].loc[6000]
    opening = (point.p_exhaust_pa - point.p_turbine_out_pa) * gate["valve_area_m2"]
    ports = point.p_compressor_out_pa - point.p_cell_pa - point.p_gate_top_gauge_pa
    opening += ports * gate["diaphragm_area_m2"]
    spring = gate["spring_pa"] * gate["diaphragm_area_m2"] + gate["rate_n_m"] * point.gate_lift_m
    assert opening == pytest.approx(spring, rel=0.02)


def test_back_pressure_crosses_boost_on_both(curves):
    def crossing(name):
        gap = curves[name].p_exhaust_pa - curves[name].p_manifold_pa
        return gap.index[(gap > 0) & (gap.index > 2600)][0]

    assert 3000 < crossing("3_small_20psi") < 3800
    assert 5000 < crossing("6_large_20psi") < 5900


def test_shares_add_up_to_the_true_difference(curves):
    table = pd.read_csv(DEMO / "truth/shares.csv")
    causes = table.drop(columns=["a", "b", "speed_rpm", "difference_nm"])
    np.testing.assert_allclose(causes.sum(axis=1), table.difference_nm, atol=2e-4)
    pair = table[(table.a == "2026-04-18_2_small_14psi") & (table.b == "2026-04-18_5_large_14psi")]
    at = pair.set_index("speed_rpm").loc[6000]
    small, large = curves["2_small_14psi"], curves["5_large_14psi"]
    assert at.difference_nm == pytest.approx(
        large.torque_nm[6000] - small.torque_nm[6000], abs=1e-3
    )
    # The pumping part is arithmetic: pressure difference times displacement over 4 pi.
    saved = (small.p_exhaust_pa[6000] - large.p_exhaust_pa[6000]) * 2.996e-3 / (4 * np.pi)
    assert at.pumping_nm == pytest.approx(saved, rel=0.005)


def test_true_shares_flip_with_the_runs_and_vanish_between_equals():
    bench = simulate(SEED + 5)
    a, b = (bench[name][2] for name in ("2026-04-18_2_small_14psi", "2026-04-18_5_large_14psi"))
    there, back, nothing = truth.shares(a, b), truth.shares(b, a), truth.shares(a, a)
    for cause in set(there) - {"speed_rpm"}:
        np.testing.assert_allclose(there[cause], -back[cause], atol=1e-9)
        np.testing.assert_allclose(nothing[cause], 0, atol=1e-12)


def test_logs_carry_mixed_units_and_two_clocks():
    dyno = pd.read_csv(DEMO / "runs/2026-04-18_5_large_14psi_dyno.csv", comment="#")
    ecu = pd.read_csv(DEMO / "runs/2026-04-18_5_large_14psi_ecu.csv")
    clock = tomllib.loads((DEMO / "truth/parts.toml").read_text())["ecu_clock"]
    offset = clock["2026-04-18_5_large_14psi"]["offset_s"]
    # The same moment, the middle of the second sweep, found in both logs by speed alone.
    dyno_at = dyno["Time (s)"][(dyno["Engine Speed (rpm)"] > 4500) & (dyno["Time (s)"] > 28)].iloc[
        0
    ]
    late = (ecu["RPM"] > 4500) & (ecu["Time [s]"] > 28 - offset)
    assert dyno_at - ecu["Time [s]"][late].iloc[0] == pytest.approx(offset, abs=0.1)
    assert dyno["Manifold Pressure (psig)"][0] == pytest.approx(0, abs=0.15)
    assert ecu["MAP [kPa]"][0] == pytest.approx(ecu["Baro [kPa]"][0], abs=2.0)


def test_builds_and_maps_are_read():
    bench = Bench(DEMO)
    names = {name: [t.name for t in read_build(bench, name).turbos] for name in bench.builds()}
    assert names["builds/candidates.toml"] == ["Small", "Mid", "Large"]
    assert len(names) == 4


@pytest.mark.parametrize("name", ["small", "mid", "large"])
def test_compressor_maps_look_as_maps_do(name):
    """Pressure ratio falls from surge to choke, the best efficiency lies between, and a faster
    line lies above and to the right; one island: the best of the map is on no edge.
    """
    table = pd.read_csv(DEMO / f"maps/{name}.csv", comment="#")
    table.columns = ["speed", "flow", "ratio", "efficiency"]
    lines = [line for _, line in table.groupby("speed")]
    assert 6 <= len(lines) <= 8
    for line in lines:
        assert (np.diff(line.flow) > 0).all()
        assert (np.diff(line.ratio) < 0).all()
        best = line.efficiency.argmax()
        assert 0 < best < len(line) - 1
    ends = [(line.flow.iloc[k], line.ratio.iloc[0]) for line in lines for k in (0, -1)]
    for surge_or_choke in (ends[::2], ends[1::2]):
        assert (np.diff(surge_or_choke, axis=0) > 0).all()
    island = table.efficiency.idxmax()
    assert table.speed[island] not in (table.speed.min(), table.speed.max())
    assert 70 < table.efficiency.max() < 82


@pytest.mark.parametrize("logger", [0, 1])
def test_the_bench_without_files_is_the_same_bench(logger):
    """`simulate` gives what the toolkit's reader finds in the files, channel by channel."""
    name = "2026-04-18_3_small_20psi"
    channels = simulate(SEED)[name][logger]
    run = Run.open(Bench(DEMO), f"runs/{name}_{('dyno', 'ecu')[logger]}.csv")
    assert set(channels) == set(run.frame.columns)
    for channel, values in channels.items():
        np.testing.assert_allclose(values, run.frame[channel], rtol=2e-6, atol=1e-9)


def test_simulated_truth_is_the_committed_truth(curves):
    true = simulate(SEED)["2026-04-18_5_large_14psi"][2]
    np.testing.assert_allclose(true["torque_nm"], curves["5_large_14psi"].torque_nm, rtol=1e-6)


def test_reviews_belong_to_their_logs(again):
    bench = Bench(again)
    names = {p.name for p in (DEMO / "runs").glob("*.review.toml")}
    assert names >= {p.name for p in (again / "runs").glob("*.review.toml")}
    logs = [log for log in bench.logs() if "/bad/" not in log]
    assert len(logs) == 16
    for log in logs:
        review = Run.open(bench, log).review
        assert review.sha256 == digest(bench.file(log))
        assert review.test["setup"].startswith("turbo ")
        assert review.test["started"][:10] in log
        assert log.removeprefix("runs/") == review.log
    noted = Run.open(bench, "runs/2026-04-18_3_small_20psi_ecu.csv").review
    (note,) = Notes.of(noted).items
    assert note.channel == "gate_duty"
    assert (note.start, note.stop) == (3900, 6700)


@pytest.mark.parametrize(("name", "run"), [("small", "2_small_14psi"), ("large", "5_large_14psi")])
def test_the_toolkits_own_match_of_the_teams_build_comes_near(curves, name, run):
    """Two models written apart, the team's rounded numbers in one and the hidden ones in the other:
    at 14 psi air within 4 %, back pressure within 6 %, torque within 6 %.
    """
    speed = np.arange(4000.0, 6501, 500)
    p = pull(read_build(Bench(DEMO), f"builds/{name}.toml"), speed, 14 * PSI)
    true = curves[run].loc[speed]
    np.testing.assert_allclose(p.match.air_flow_kg_s[:, 0], true.air_flow_kg_s, rtol=0.04)
    back = true.p_exhaust_pa - true.p_cell_pa
    np.testing.assert_allclose(p.back_pressure_gauge_pa[:, 0], back, rtol=0.06)
    np.testing.assert_allclose(p.output.torque_nm[:, 0], true.torque_nm, rtol=0.06)
