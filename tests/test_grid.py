"""Bin averages against pandas and by hand; folds, holes and smoothing."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.logs.grid import default_step_rpm, gridded, moving_mean, smoothed, smoothing_text
from toolkit.logs.pulls import PULL, Pull, find_pulls


def whole(frame):
    """The whole frame as one pull."""
    speed = frame.speed_rpm
    return Pull(PULL, 0, len(frame), speed.min(), speed.max(), np.nan, "", True)


def one(frame, step_rpm=100, **more):
    return gridded(frame, [whole(frame)], step_rpm, **more)[0]


@pytest.fixture
def noisy():
    rng = np.random.default_rng(7)
    speed = np.linspace(2960, 6040, 900) + rng.normal(0, 25, 900)
    frame = pd.DataFrame({"speed_rpm": speed, "torque_nm": 300 + rng.normal(0, 9, 900)})
    frame["lam"] = np.where(rng.random(900) < 0.3, np.nan, 0.85 + rng.normal(0, 0.01, 900))
    return frame


def test_bins_agree_with_a_library_groupby(noisy):
    grid = one(noisy)
    by = noisy.groupby(np.floor(noisy.speed_rpm / 100 + 0.5) * 100)
    for channel in ("torque_nm", "lam"):
        inner = slice(1, -1)  # the end bins are covered in part
        expected = by[channel].agg(["mean", "std", "count"]).iloc[inner]
        np.testing.assert_allclose(grid[channel][inner], expected["mean"], rtol=1e-12)
        np.testing.assert_allclose(grid.sd[channel][inner], expected["std"], rtol=1e-9)
        np.testing.assert_array_equal(grid.count[channel][inner], expected["count"])
    np.testing.assert_array_equal(grid.speed_rpm, by.size().index)


def test_folds_are_averaged_not_interpolated_and_counted():
    """Interpolation over a fold gives wrong values without an error; bins do not."""
    speed = np.array([3000, 3100, 3200, 3150, 3210, 3300, 3400.0])
    frame = pd.DataFrame({"speed_rpm": speed, "torque_nm": [10, 11, 12, 30, 14, 15, 16.0]})
    grid = one(frame)
    assert grid["torque_nm"].tolist() == [10, 11, pytest.approx((12 + 30 + 14) / 3), 15, 16]
    assert grid.folded == 1
    assert any("falls in 1 rows" in note for note in grid.notes)


def test_empty_bins_are_nan_and_said():
    frame = pd.DataFrame({"speed_rpm": [3000, 3100, 3400, 3500.0], "torque_nm": [1, 2, 3, 4.0]})
    grid = one(frame)
    assert np.isnan(grid["torque_nm"][[2, 3]]).all()
    assert grid.rows.tolist() == [1, 1, 0, 0, 1, 1]
    assert "2 bins inside the pull have no rows" in grid.notes
    assert np.isnan(grid.sd["torque_nm"]).all()  # one row each: scatter unknown


def test_an_end_bin_covered_in_part_is_left_out_and_said():
    speed = np.arange(3030.0, 3561.0, 10)
    grid = one(pd.DataFrame({"speed_rpm": speed, "torque_nm": speed}))
    assert grid.speed_rpm[[0, -1]].tolist() == [3000, 3600]
    assert np.isnan(grid["torque_nm"][[0, -1]]).all()
    assert grid["torque_nm"][1:-1] == pytest.approx(grid.speed_rpm[1:-1], abs=5.1)
    assert any("3000 and 3600 rpm is covered only in part" in note for note in grid.notes)


def test_pulls_of_one_log_share_centres_and_keep_apart():
    frame = pd.DataFrame(
        {
            "time_s": np.arange(60.0),
            "speed_rpm": np.r_[np.linspace(3000, 6000, 31), 900, np.linspace(3200, 5900, 28)],
            "torque_nm": np.r_[np.full(31, 400.0), 0, np.full(28, 500.0)],
            "throttle": np.r_[np.ones(31), 0, np.ones(28)],
        }
    )
    pulls = [p for p in find_pulls(frame) if p.accepted]
    first, second = gridded(frame, pulls, 100)
    np.testing.assert_array_equal(first.speed_rpm, second.speed_rpm)
    assert np.nanmax(first["torque_nm"]) == 400
    assert np.nanmin(second["torque_nm"]) == 500
    assert np.isnan(second["torque_nm"][0])


def test_step_is_fine_only_where_rows_allow(noisy):
    assert default_step_rpm(noisy, [whole(noisy)]) == 50
    thin = noisy.iloc[::10]
    assert default_step_rpm(thin, [whole(thin)]) == 100


def test_bad_requests_are_said(noisy):
    with pytest.raises(ValueError, match="no pull is accepted"):
        gridded(noisy, [])
    with pytest.raises(ValueError, match="step_rpm is -50 rpm"):
        one(noisy, step_rpm=-50)
    with pytest.raises(ValueError, match="smoothing over 4 points"):
        smoothed(one(noisy), 4)


def test_moving_mean_agrees_with_a_library_filter():
    values = np.random.default_rng(3).normal(size=40)
    expected = pd.Series(values).rolling(5, center=True).mean().to_numpy()
    np.testing.assert_allclose(moving_mean(values, 5)[2:-2], expected[2:-2], rtol=1e-12)


def test_smoothing_leaves_holes_and_straight_lines():
    line = np.r_[np.nan, np.arange(10.0), np.nan]
    np.testing.assert_allclose(moving_mean(line, 7), line)
    holed = moving_mean(np.array([1.0, 1.0, np.nan, 4.0, 4.0]), 3)
    assert np.isnan(holed[2])
    assert holed[1] == 1.0


def test_smoothing_is_off_by_default_and_printed(noisy):
    grid = one(noisy)
    assert grid.smoothing == 1
    assert smoothed(grid, 1) is grid
    assert smoothed(grid, 9).smoothing == 9
    assert "900 rpm" in smoothing_text(9, 100)
    assert "keeps 1/9" in smoothing_text(9, 100)


def dipped(depth, width, bins=41):
    values = 600 - 0.35 * (np.arange(bins) - bins / 2) ** 2
    values[20 : 20 + width] -= depth
    return values


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(1, 7), st.sampled_from([3, 5, 9, 15]), st.floats(5, 200))
def test_a_dip_shrinks_to_width_over_window(width, points, depth):
    """The mean is linear: what the dip takes from it is depth times width over window."""
    lost = moving_mean(dipped(0, width), points) - moving_mean(dipped(depth, width), points)
    assert lost.max() == pytest.approx(depth * min(width / points, 1), rel=1e-9)


def test_case_of_a_smoothed_dip(shared_cases):
    """Depth of the dip below the line over the rows that the window does not touch."""
    case = pd.read_csv(shared_cases / "c05_smoothing_dip.csv")
    torque = case.torque_lbft.to_numpy()
    hurt = (case["lambda"] > 0.85).to_numpy()
    healthy = np.interp(np.arange(len(torque)), np.flatnonzero(~hurt), torque[~hurt])
    depth = (healthy - torque).max()
    assert depth == pytest.approx(60.4, abs=1.5)
    assert case.rpm[hurt].agg(["min", "max"]).tolist() == [5100, 5250]
    for points, expected in ((3, 59.9), (5, 36.2), (9, 20.8)):
        left = (moving_mean(healthy, points) - moving_mean(torque, points)).max()
        assert left == pytest.approx(expected, abs=1.5)
    # Over 15 points the stated 14.3 counts the curve's own bend too: what is left of it.
    left = (healthy - moving_mean(torque, 15))[hurt].mean()
    assert left == pytest.approx(14.3, abs=1.5)
