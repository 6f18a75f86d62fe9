"""The split's picture and panel on the demo bench, driven without a screen."""

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.charts.split_picture import FILLS
from toolkit.panels.back_to_back import BackToBackPanel
from toolkit.panels.split import SplitPanel


@pytest.fixture(scope="module")
def why():
    compared = BackToBackPanel(
        ROOT / "data_demo",
        a=["runs/2026-04-18_2_small_14psi_dyno.csv"],
        b=["runs/2026-04-18_5_large_14psi_dyno.csv"],
        low_rpm=4000,
        high_rpm=6500,
    )
    panel = SplitPanel(compared, "builds/small.toml")
    yield panel
    panel.close()
    compared.close()


def test_stacked_areas_add_up_to_the_measured_line(why):
    panel = why.chart.picture.panels[0]
    gains, losses = panel.bands[0::2], panel.bands[1::2]
    total = sum(b.high - b.low for b in gains) - sum(b.high - b.low for b in losses)
    assert total == pytest.approx(panel.lines[0].y, abs=1e-6)


def test_every_cause_has_a_fill_of_its_own():
    assert len(set(FILLS.values())) == len(FILLS)


def test_follows_the_comparison_above_it(why):
    before = why.chart.picture.finding
    why.compared.low.type("5500 rpm")
    assert why.chart.picture.finding != before
    assert "5500 to 6500 rpm" in why.chart.picture.finding
    why.compared.low.type("4000 rpm")
    assert why.chart.picture.finding == before


def test_wider_tolerances_make_wider_bands(why):
    k = why.split.causes.index("pumping")
    before = why.split.half_width[k]
    why.tolerances["p_exhaust_pa"].type("3 psi")
    after = why.split.half_width[k]
    assert np.nanmin(after - before) > 0
    why.tolerances["p_exhaust_pa"].type("-1 psi")
    assert "not possible" in why.tolerances["p_exhaust_pa"].words
    why.tolerances["p_exhaust_pa"].type("0.29 psi")


def test_longer_overlap_carries_more_of_the_gap(why):
    rows = why.cams.value.split("<tr>")[2:]
    breathing = [float(row.split("<td>")[2].split("<")[0]) for row in rows]
    assert breathing == sorted(breathing)
