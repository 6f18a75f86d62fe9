"""The split's picture and panel on the demo bench, driven without a screen."""

import numpy as np
import pytest

from tests.conftest import ROOT
from tests.test_explain_telling import SPEED, side
from toolkit.analysis.compare import compare
from toolkit.analysis.split import split
from toolkit.analysis.split_words import headline
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts.split_picture import FILLS
from toolkit.panels.back_to_back import BackToBackPanel
from toolkit.panels.split import SplitPanel
from toolkit.preferences import DEMO_BENCH


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


def level(name, torque, pulls=3):
    """A side of level torque at one boost and back pressure."""
    return side(name, torque + 0 * SPEED, 60e3 + 0 * SPEED, pulls)


def gap_of(a, b):
    return headline(split(compare(a, b), read_build(Bench(DEMO_BENCH), "builds/small.toml")),
                    "US", 3500, 6500)  # fmt: skip


def test_the_split_claims_no_leader_where_the_comparison_refuses_to():
    assert gap_of(level("Small", 500.0), level("Large", 520.0)).startswith("Large makes 15 lb-ft")
    one = gap_of(level("Small", 500.0, 1), level("Large", 520.0, 1))
    assert one.startswith("Large reads 15 lb-ft more") and "scatter unknown, so no claim" in one
    same = gap_of(level("Small", 500.0), level("Large", 500.0))
    assert "makes" not in same and "cannot tell" in same
    near = gap_of(level("Small", 500.0), level("Large", 501.0))
    assert near.startswith("Large reads 1 lb-ft more than Small") and "cannot tell" in near


def test_longer_overlap_carries_more_of_the_gap(why):
    rows = why.cams.value.split("<tr>")[2:]
    breathing = [float(row.split("<td>")[2].split("<")[0]) for row in rows]
    assert breathing == sorted(breathing)
