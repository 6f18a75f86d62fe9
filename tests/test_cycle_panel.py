"""The cycle panel driven as a hand would; what it looks like is for the browser test."""

import shutil

import pytest

from tests.conftest import ROOT
from toolkit.analysis.breathing import cam_of
from toolkit.panels.cycle import CyclePanel
from toolkit.physics.cam import CAMS

LOGS = ["runs/2026-04-18_2_small_14psi_dyno.csv", "runs/2026-04-18_5_large_14psi_dyno.csv"]


@pytest.fixture
def panel():
    panel = CyclePanel(ROOT / "data_demo", "builds/small.toml", LOGS)
    yield panel
    panel.close()


def test_opens_on_the_builds_cam_with_the_runs_on_the_curve(panel):
    assert panel.trouble.value == ""
    assert panel.cam.overlap_deg == 54
    assert [name for name, _ in panel.breath.runs] == ["Small", "Large"]


def test_an_angle_moves_the_whole_picture(panel):
    before = panel.chart.picture
    panel.angles["exhaust_closes"].value = 10.0
    after = panel.chart.picture
    assert panel.cam.overlap_deg == 36
    assert after.finding != before.finding
    for old, new in zip(before.panels, after.panels, strict=True):
        assert any(
            a.y.shape != b.y.shape or (a.y != b.y).any()
            for a, b in zip(old.lines, new.lines, strict=True)
        )


def test_a_described_shape_moves_the_sliders_and_a_hand_makes_it_typed(panel):
    panel.shape.value = "mild"
    assert panel.angles["intake_opens"].value == 8
    panel.angles["intake_opens"].value = 12.0
    assert panel.shape.value == "angles below"
    assert panel.cam.overlap_deg == 20


def test_an_unknown_cam_is_a_span(panel):
    panel.shape.value = "not known"
    assert panel.chart.picture.finding.startswith("Cam unknown")
    assert "not known here" in panel.story.value


def test_timing_at_a_lift_with_an_impossible_ramp_is_said_and_the_picture_stays(panel):
    before = panel.chart.picture
    panel.timing.value = 1e-3
    assert panel.cam.overlap_deg > 54
    kept = panel.chart.picture
    assert kept is not before
    panel.ramp.type("3")
    assert "too short for a smooth lobe" in panel.trouble.value
    assert panel.chart.picture is kept
    panel.ramp.type("")
    assert panel.trouble.value == ""


def test_what_the_timing_is_stated_at_holds_for_a_described_shape_too(panel):
    panel.shape.value = "mild"
    panel.timing.value = 1e-3
    assert panel.shape.value == "angles below"
    assert panel.cam.overlap_deg > CAMS["mild"].overlap_deg
    panel.shape.value = "mild"
    assert panel.timing.value == 0 and panel.cam.overlap_deg == CAMS["mild"].overlap_deg


@pytest.fixture
def other(tmp_path):
    """A bench whose second build has another range of speeds and timing at 0.6 mm of lift."""
    for folder in ("builds", "maps"):
        shutil.copytree(ROOT / "data_demo" / folder, tmp_path / folder)
    text = (tmp_path / "builds" / "small.toml").read_text()
    text = text.replace('["2000 rpm", "6800 rpm"]', '["2500 rpm", "4500 rpm"]')
    text = text.replace("intake_opens_before", 'timing_at_lift = "0.6 mm"\nintake_opens_before')
    (tmp_path / "builds" / "slow.toml").write_text(text)
    return CyclePanel(tmp_path, "builds/small.toml")


def test_another_build_brings_its_own_lift_of_timing_and_range_of_speed(other):
    other.speed.value = 5000.0
    other.build.value = "builds/slow.toml"
    assert other.trouble.value == ""
    assert other.timing.value == pytest.approx(0.6e-3)
    assert other.timing.control.label == "0.6 mm lift"
    built = cam_of(other._engine().valves)
    assert other.cam.overlap_deg == pytest.approx(built.overlap_deg)
    assert other.speed.value == 3500
    before = other.chart.picture
    other.speed.value = 4000.0
    assert other.chart.picture is not before
    other.build.value = "builds/small.toml"
    assert other.timing.value == 0 and other.speed.value == 4000
    assert len(other.timing.control.options) == 3
    other.close()
