"""Volumetric efficiency read back from an invented unboosted pull."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from toolkit.analysis.filling import filling_of_run
from toolkit.bench import Bench
from toolkit.build import Curve, read_build
from toolkit.build.pull import dry_share
from toolkit.physics import air
from toolkit.physics.output import output

DEMO = Path(__file__).parent.parent / "data_demo"
WANTED = Curve((0.80, 0.95, 0.86), (2000.0, 4500.0, 6800.0))


@pytest.fixture
def bench(tmp_path):
    shutil.copytree(DEMO / "builds", tmp_path / "builds")
    shutil.copytree(DEMO / "maps", tmp_path / "maps")
    (tmp_path / "runs").mkdir()
    return Bench(tmp_path)


def logged(bench, build, name, boost_pa=0.0, with_air=False):
    """A sweep at 400 rpm/s, made with the model itself, as a logger would write it."""
    time = np.arange(0, 13, 0.1)
    speed = np.clip(1900 + 400 * time, 0, 6900)
    w, e = build.weather, build.engine
    p = w.p_cell_pa + boost_pa
    inside = np.clip(speed, 2000, 6800)
    flow = WANTED(inside) * e.displacement_m3 * speed / 120
    flow = flow * air.density_kg_m3(p, w.t_cell_k, w.humidity)
    made = output(
        flow * dry_share(w), p, p, speed, e.displacement_m3, e.stroke_m, build.fuel.properties,
        e.lam(inside), e.spark_retard_deg(inside), e.indicated_efficiency, e.friction_scale,
    )  # fmt: skip
    heads = ["Time [s]", "RPM", "Throttle [%]", "MAP [kPa]", "Baro [kPa]", "Torque [N m]"]
    columns = [time, speed, 100 + 0 * time, p / 1e3 + 0 * time, w.p_cell_pa / 1e3 + 0 * time,
               made.torque_nm]  # fmt: skip
    if with_air:
        heads.append("Air Flow [g/s]")
        columns.append(flow * 1e3)
    rows = "\n".join(",".join(f"{v:.3f}" for v in row) for row in zip(*columns, strict=True))
    bench.file(f"runs/{name}").write_text(",".join(heads) + "\n" + rows + "\n", encoding="utf-8")
    return f"runs/{name}"


@pytest.mark.parametrize("with_air", [False, True])
def test_filling_comes_back(bench, with_air):
    build = read_build(bench, "builds/large.toml")
    build = replace(build, weather=replace(build.weather, humidity=0.0))
    log = logged(bench, build, "without_turbo.csv", with_air=with_air)
    curve, words = filling_of_run(bench, log, build)
    speeds = np.linspace(2300, 6500, 9)
    assert curve(speeds) == pytest.approx(WANTED(speeds), rel=0.01)
    assert ("measured" if with_air else "estimated") in words


def test_a_boosted_run_is_refused_in_words(bench):
    build = read_build(bench, "builds/large.toml")
    log = logged(bench, build, "boosted.csv", boost_pa=60e3)
    with pytest.raises(ValueError, match=r"boosted run .*choose one without boost"):
        filling_of_run(bench, log, build)


def test_a_run_that_ends_early_is_refused_in_words(bench):
    build = read_build(bench, "builds/large.toml")
    log = logged(bench, build, "without_turbo.csv")
    wide = replace(build, engine=replace(build.engine, speed_range_rpm=(2000.0, 9000.0)))
    with pytest.raises(ValueError, match="2000 to 9000 rpm"):
        filling_of_run(bench, log, wide)
