"""Every workbook on a bench of the person's own: empty, and with two logs and nothing else."""

import numpy as np
import pytest

from tests.test_workbooks import WORKBOOKS, code_of
from toolkit import preferences
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.logs.review import Review
from toolkit.panels import base
from toolkit.panels.back_to_back import BackToBackPanel
from toolkit.panels.cycle import CyclePanel
from toolkit.panels.sizing import CandidatesPanel, EnginePanel
from toolkit.panels.sizing_sheet import Sheet
from toolkit.panels.split import SplitPanel
from toolkit.panels.start import StartPanel

HEADER = "Time (s),Engine RPM,Torque (lb-ft),Power (hp),Boost (psi),Exhaust Back Pressure (psi)"


def written(path, gain, back_over_boost):
    """A log of three pulls as a small shop writes it: no weather, spark or mixture."""
    noise = np.random.default_rng(len(path.stem))
    t = np.arange(0, 40, 0.05)
    rpm = np.minimum(1500 + np.maximum(t % 13 - 3, 0) * 500, 6300)
    boost = 14 * np.clip((rpm - 2000) / 1500, 0, 1) + noise.normal(0, 0.05, t.size)
    torque = gain * (180 + 12 * boost) * (1 - ((rpm - 4000) / 6000) ** 2)
    torque += noise.normal(0, 1, t.size)
    columns = t, rpm, torque, torque * rpm / 5252, boost, boost * back_over_boost
    lines = [",".join(f"{v:.2f}" for v in row) for row in zip(*columns, strict=True)]
    path.write_text("\n".join([HEADER, *lines, ""]), encoding="utf-8")


@pytest.fixture
def own(tmp_path):
    (tmp_path / "runs").mkdir()
    return tmp_path


@pytest.fixture
def with_logs(own):
    written(own / "runs" / "monday old.csv", 1.0, 1.6)
    written(own / "runs" / "monday new.csv", 1.05, 1.1)
    return own


@pytest.fixture
def preferred(monkeypatch):
    def prefer(folder):
        chosen = preferences.Preferences(bench=str(folder))
        monkeypatch.setattr(preferences, "load", lambda: chosen)

    return prefer


@pytest.mark.parametrize("bench", ["own", "with_logs"])
@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda p: p.stem)
def test_runs_without_a_traceback(path, bench, request, preferred):
    folder = request.getfixturevalue(bench)
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    preferred(folder)
    page = {}
    for cell in code_of(path):
        exec(compile(cell.source, path.name, "exec"), page)
    panels = [v for v in page.values() if isinstance(v, base.Waiting | base.Workpanel)]
    said = [p.sentence if isinstance(p, base.Waiting) else p.trouble.value for p in panels]
    assert not any("went wrong" in words for words in said)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_a_bench_is_not_made_of_a_file(own, monkeypatch):
    saved = []
    monkeypatch.setattr(preferences, "save", lambda **chosen: saved.append(chosen))
    (own / "notes.txt").write_text("a file", encoding="utf-8")
    panel = StartPanel()
    panel.folder.control.value = str(own / "notes.txt")
    panel.make.click()
    assert "is a file: type the name of a folder" in panel.trouble.value and not saved


def test_two_logs_of_ones_own_are_compared_at_once(with_logs):
    panel = BackToBackPanel(with_logs, a=["runs/not here.csv"], low_rpm=4000, high_rpm=6500)
    assert panel.trouble.value == ""
    assert "makes" in panel.chart.picture.finding and "3 pulls" in panel.chart.picture.method
    assert "intake manifold pressure (gauge)" in panel.numbers.value


def test_gauge_pressures_without_a_barometer_are_compared_as_gauge(with_logs):
    bench = Bench(with_logs)
    for log in bench.logs():
        review = Review.load(bench, log)
        review.with_column("Exhaust Back Pressure (psi)", reference="gauge").save(bench, log)
    panel = BackToBackPanel(with_logs)
    assert panel.comparison.pressures_b.ratio_gauge[-1] == pytest.approx(1.6, abs=0.02)
    assert np.isnan(panel.comparison.pressures_b.ratio_absolute).all()
    assert "ratio 1.60 gauge and not known absolute: the barometer is missing" in (
        panel.sentences.value
    )
    assert len(panel.chart.picture.panels[2].lines) == 4


def test_a_bench_of_two_loggers_opens_on_different_pulls(own):
    for name in ("1_dyno.csv", "1_ecu.csv", "2_dyno.csv", "2_ecu.csv"):
        written(own / "runs" / name, 1.0, 1.6)
    panel = BackToBackPanel(own)
    assert (panel.a.value, panel.b.value) == (("runs/1_dyno.csv",), ("runs/2_dyno.csv",))


def test_what_cannot_open_yet_says_what_it_needs(own, with_logs):
    compared = BackToBackPanel(with_logs)
    for panel in (CyclePanel(with_logs), SplitPanel(compared)):
        assert "no build: save one in the sizing worksheet first" in panel.sentence
    for log in (with_logs / "runs").iterdir():
        log.unlink()
    waiting = BackToBackPanel(own)
    assert "no log yet: drop files into its runs folder" in waiting.sentence
    assert "comparison above" in SplitPanel(waiting).sentence


def test_a_first_build_is_saved_with_its_maps(own):
    sheet = Sheet("builds/candidates.toml", own)
    engine, candidates = EnginePanel(sheet), CandidatesPanel(sheet)
    assert "invented" in engine.start.words
    engine.displacement.type("2.0 L")
    candidates.save.click()
    assert candidates.trouble.value == ""
    build = read_build(Bench(own), "builds/my sizing.toml")
    assert build.engine.displacement_m3 == pytest.approx(2.0e-3)
    assert CyclePanel(own).trouble.value == ""


def test_every_workbook_twice_in_a_row_and_in_another_order(preferred):
    """In one kernel, with each page's own check; the demo bench is left as it was."""
    bench = preferences.DEMO_BENCH
    preferred(bench)
    before = {p: p.stat().st_mtime_ns for p in bench.rglob("*") if "__pycache__" not in p.parts}
    for path in (*reversed(WORKBOOKS), *WORKBOOKS):
        page = {}
        for cell in code_of(path):
            exec(compile(cell.source, path.name, "exec"), page)
    after = {p: p.stat().st_mtime_ns for p in bench.rglob("*") if "__pycache__" not in p.parts}
    assert after == before
