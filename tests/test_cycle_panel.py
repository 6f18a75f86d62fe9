"""The cycle panel driven as a hand would; what it looks like is for the browser test."""

import pytest

from tests.conftest import ROOT
from toolkit.panels.cycle import CyclePanel

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
