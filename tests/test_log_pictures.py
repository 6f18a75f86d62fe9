import numpy as np
import pandas as pd
import pytest

from toolkit import preferences, units
from toolkit.bench import Bench
from toolkit.charts import style
from toolkit.charts.clock_picture import clock_picture
from toolkit.charts.pull_picture import Beside, Pulls, speed_picture, valued
from toolkit.charts.trace_picture import thinned, trace_picture
from toolkit.logs.clocks import ClockFit
from toolkit.logs.decided_pulls import candidates, stretches_of
from toolkit.logs.grid import gridded, smoothed
from toolkit.logs.notes import CurveNote
from toolkit.logs.run import Run
from toolkit.logs.signs import Sign

SMALL = "runs/2026-04-18_3_small_20psi_dyno.csv"
MERGED = "runs/bad/merged_pulls.csv"


def opened(name):
    run = Run.open(Bench(preferences.DEMO_BENCH), name)
    return run, stretches_of(run)[0]


def pulls_of(run, stretches, points=1):
    taken = [(n, stretches[p]) for n, p in candidates(stretches) if stretches[p].accepted]
    grids = gridded(run.frame, [s for _, s in taken])
    grids = tuple(smoothed(g, points) for g in grids)
    return Pulls(tuple(n for n, _ in taken), grids, run.barometer[0])


@pytest.fixture(scope="module")
def small():
    return opened(SMALL)


@pytest.fixture(scope="module")
def pulls(small):
    return pulls_of(*small)


def panel_of(picture, word):
    return next(p for p in picture.panels if word in p.title)


def test_the_trace_shades_each_pull_and_labels_the_aborted_one():
    picture = trace_picture(*opened(MERGED), "US").picture
    assert [z.text for z in picture.panels[0].zones] == ["pull 1", "2 aborted", "pull 3"]
    assert picture.panels[0].zones[1].colour == style.QUIET
    assert picture.finding == "2 of 3 pulls are used; 1 cut short"
    assert all(not z.text for p in picture.panels[1:] for z in p.zones)


def test_the_trace_has_every_row_of_a_short_log_and_the_extremes_of_a_long_one(small):
    x = np.arange(100_000.0)
    y = np.zeros(100_000)
    y[54_321], y[12_345] = 9.0, -9.0
    thin_x, thin_y = thinned(x, y)
    assert len(thin_x) <= 1700 and (np.diff(thin_x) >= 0).all()
    assert {9.0, -9.0} <= set(thin_y) and {54_321.0, 12_345.0} <= set(thin_x)
    run, stretches = small
    drawn = trace_picture(run, stretches, "SI")
    assert len(drawn.picture.panels[0].lines[0].x) == len(run.frame)
    assert "lowest and highest" not in drawn.picture.method


def test_a_sign_is_marked_on_the_channel_that_shows_it(small):
    sign = Sign("stuck", "stops", "", rows=np.r_[200:220, 300:310], channel="torque_nm")
    picture = trace_picture(*small, "SI", signs=[sign]).picture
    marked = [z for z in panel_of(picture, "Torque").zones if z.colour == style.WARN]
    assert [z.text for z in marked] == ["stuck", ""]
    time = small[0].frame["time_s"].to_numpy()
    assert (marked[0].start, marked[0].stop) == (time[200], time[219])
    assert not [z for z in picture.panels[0].zones if z.colour == style.WARN]


def test_boost_and_back_pressure_share_one_gauge_scale(pulls):
    picture = speed_picture(pulls, "US").picture
    panel = panel_of(picture, "back pressure")
    assert panel.title == "Boost and back pressure, gauge [psi]"
    assert len(panel.lines) == 6
    boost = pulls.mean("p_manifold_pa") - pulls.barometer_pa
    drawn = np.nanmean([ln.y for ln in panel.lines[:3]], axis=0)
    assert drawn == pytest.approx(units.shown(boost, "boost", "US"), nan_ok=True, rel=1e-3)


def test_the_gap_is_shaded_only_where_back_pressure_is_above_boost(pulls):
    panel = panel_of(speed_picture(pulls, "SI").picture, "back pressure")
    (band,), (upright,) = panel.bands, panel.uprights
    above = pulls.mean("p_exhaust_pa") > pulls.mean("p_manifold_pa")
    assert np.array_equal(np.isfinite(band.low), above)
    assert "back pressure passes boost at" in upright.text
    first = pulls.speed_rpm[np.flatnonzero(above)[0]]
    assert abs(upright.x - first) <= pulls.grids[0].step_rpm


def test_the_headline_is_the_peak_of_the_mean_curve(pulls):
    mean = pulls.mean("power_w")
    top = int(np.nanargmax(mean))
    words = f"{units.text(mean[top], 'power', 'SI')} at {pulls.speed_rpm[top]:.0f} rpm"
    assert words in speed_picture(pulls, "SI").picture.finding


def test_a_corrected_curve_is_dashed_beside_the_observed_one(pulls):
    picture = speed_picture(pulls, "SI", beside=Beside("SAE J1349", 0.978)).picture
    lines = panel_of(picture, "Power").lines
    assert [ln.evidence for ln in lines] == ["measured"] * 3 + ["worked out"] * 3
    assert lines[3].y == pytest.approx(lines[0].y * 0.978, nan_ok=True)
    assert "dashed: SAE J1349 x 0.978" in picture.method
    assert len(panel_of(picture, "Exhaust").lines) == 3  # only torque and power are corrected


def test_smoothing_is_printed_when_it_is_on(small):
    assert "no smoothing" in speed_picture(pulls_of(*small), "SI").picture.method
    method = speed_picture(pulls_of(*small, points=5), "SI").picture.method
    assert "moving mean over 5 bins" in method


def test_without_a_barometer_a_gauge_pressure_stays_gauge():
    run, stretches = opened(MERGED)
    panel = panel_of(speed_picture(pulls_of(run, stretches), "US").picture, "Boost")
    assert panel.title == "Boost, gauge [psi]"


def test_a_note_stands_at_its_curve_with_a_leader(pulls):
    point = CurveNote("dip", "power_w", "speed_rpm", 4000.0, 4000.0, 200e3, 1)
    span = CurveNote("flat", "torque_nm", "speed_rpm", 3000.0, 3500.0)
    picture = speed_picture(pulls, "SI", notes=(point, span)).picture
    (mark,) = panel_of(picture, "Power").marks
    assert (mark.x, mark.y, mark.text) == (4000.0, pytest.approx(200.0), "dip") and mark.at
    panel = panel_of(picture, "Torque")
    assert [(z.start, z.stop) for z in panel.zones] == [(3000.0, 3500.0)]
    inside = (pulls.speed_rpm >= 3000) & (pulls.speed_rpm <= 3500)
    mean = pulls.mean("torque_nm")[inside].mean()
    assert panel.marks[0].y == pytest.approx(mean) == valued(span, pulls).value


def test_two_clocks_are_drawn_on_one(small):
    frame = small[0].frame[["time_s", "speed_rpm"]]
    late = pd.DataFrame({"time_s": frame["time_s"] - 2.5, "speed_rpm": frame["speed_rpm"]})
    fit = ClockFit(2.5, 0.01, fitted=True, why="known")
    picture = clock_picture(frame, late, fit, ("dyno", "ecu"), "SI")
    assert picture.finding == "The clock of 'ecu' starts 2.500 s after that of 'dyno'"
    one, two = picture.panels[0].lines
    assert two.x == pytest.approx(one.x)
    gap = picture.panels[1].lines[0].y
    assert np.nanmax(np.abs(gap)) < 1e-6
    nothing = clock_picture(frame, late, ClockFit(why="other pulls"), ("dyno", "ecu"), "SI")
    assert "cannot be laid on one clock" in nothing.finding and nothing.method == "other pulls"
