"""Pulls found from the trace, with and without throttle, on clean, noisy and broken logs."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import linregress

from toolkit.logs.pulls import PullSettings, decided, find_pulls, pulls_of, slope

RUNS = Path(__file__).resolve().parent.parent / "data_demo/runs"


def log(time_s, speed_rpm, throttle=None):
    columns = {"time_s": time_s, "speed_rpm": speed_rpm}
    return pd.DataFrame(columns if throttle is None else columns | {"throttle": throttle})


def rows_1based(stretches, *labels):
    return [(p.start + 1, p.stop) for p in stretches if p.label in labels]


def merged():
    """Idle, a pull, a coast, an aborted pull, a coast, a pull: own numbers."""
    speed = [1100, 1100, *range(2800, 6000, 400), 3900, 1500, *range(2800, 4100, 400), 2000, 1300]
    speed += [*range(2850, 6300, 400), 3000, 1200, 1150]
    speed = np.array(speed, float)
    load = np.isin(np.arange(len(speed)), [*range(2, 10), *range(12, 16), *range(18, 27)])
    return log(0.5 * np.arange(len(speed)), speed, np.where(load, 0.99, 0.02))


def test_merged_pulls_are_taken_apart_with_throttle():
    stretches = find_pulls(merged())
    assert rows_1based(stretches, "pull") == [(3, 10), (19, 27)]
    assert rows_1based(stretches, "aborted") == [(13, 16)]
    assert [p.accepted for p in stretches if p.label == "aborted"] == [False]
    assert "cut short" in next(p.reason for p in stretches if p.label == "aborted")


def test_merged_pulls_are_taken_apart_by_rising_speed_alone():
    stretches = find_pulls(merged().drop(columns="throttle"))
    labels = [p.label for p in stretches if p.label in ("pull", "aborted")]
    assert labels == ["pull", "aborted", "pull"]


def test_case_of_merged_pulls(shared_cases):
    case = pd.read_csv(shared_cases / "c03_merged_pulls.csv")
    stretches = find_pulls(log(case.t_s, case.rpm, case.throttle_pct / 100))
    assert rows_1based(stretches, "pull", "aborted") == [(3, 12), (16, 19), (22, 31)]
    found = [p for p in stretches if p.label in ("pull", "aborted")]
    assert [(p.low_rpm, p.high_rpm) for p in found] == [(3000, 6150), (3000, 4050), (3050, 6200)]
    assert [p.label for p in found] == ["pull", "aborted", "pull"]


def test_engine_off_rows_belong_to_no_pull(shared_cases):
    case = pd.read_csv(shared_cases / "c01_abs_or_gauge.csv", comment="#")
    stretches = find_pulls(log(case.t_s, case.engine_rpm))
    assert rows_1based(stretches, "off") == [(1, 3)]
    assert rows_1based(stretches, "pull") == [(4, 27)]


def test_a_measured_log_with_bursts(shared_data):
    """A student race team's dyno log: nanosecond clock, bursts, rpm 0 at the start, no throttle."""
    raw = pd.read_csv(shared_data / "logs/fsae_engineData.csv", skipinitialspace=True)
    stretches = find_pulls(log((raw.ts - raw.ts[0]) / 1e9, raw.rpm))
    (pull,) = pulls_of(stretches)
    # Read off the file by eye: speed leaves 5613 rpm at row 65 and turns at 10880 at row 232.
    assert (pull.start + 1, pull.stop) == (65, 232)
    assert (pull.low_rpm, pull.high_rpm) == (5613, 10880)
    assert 150 < pull.sweep_rpm_s < 350
    assert stretches[0].label == "off"
    assert stretches[0].stop == 14


@pytest.mark.parametrize("logger", ["dyno", "ecu"])
def test_demo_log_holds_three_pulls_at_its_sweep_rate(logger):
    raw = pd.read_csv(RUNS / f"2026-04-18_3_small_20psi_{logger}.csv", comment="#")
    names = {"Time (s)": "time_s", "Engine Speed (rpm)": "speed_rpm"}
    names |= {"Time [s]": "time_s", "RPM": "speed_rpm", "TPS [%]": "throttle"}
    stretches = find_pulls(raw.rename(columns=names))
    pulls = pulls_of(stretches)
    assert len(pulls) == 3
    for pull in pulls:
        assert pull.sweep_rpm_s == pytest.approx(400, rel=0.01)
        assert pull.low_rpm == pytest.approx(2200, abs=25)
        assert pull.high_rpm == pytest.approx(6700, abs=25)


def test_a_speed_sensor_that_sticks_low_leaves_a_log_that_can_be_read():
    raw = pd.read_csv(RUNS / "2026-04-18_3_small_20psi_dyno.csv", comment="#")
    frame = raw.rename(columns={"Time (s)": "time_s", "Engine Speed (rpm)": "speed_rpm"})
    stuck = frame["speed_rpm"].between(1200, 3750, inclusive="neither")
    frame.loc[stuck, "speed_rpm"] = 900.0
    assert all(p.high_rpm > 6600 for p in pulls_of(find_pulls(frame)))


def test_a_pause_of_the_logger_is_kept_inside_and_reported():
    raw = pd.read_csv(RUNS / "bad/gaps_and_bursts.csv")
    (pull,) = pulls_of(find_pulls(log(raw.time_s, raw.rpm)))
    assert pull.gap_s == pytest.approx(1.65, abs=0.06)
    assert "paused for 1.6" in pull.reason
    assert pull.low_rpm < 2250
    assert pull.high_rpm > 6600


def test_a_lone_pull_cannot_be_judged_unless_its_end_is_known():
    raw = pd.read_csv(RUNS / "bad/aborted_pull.csv")
    frame = log(raw.time_s, raw.rpm, raw.throttle_pct / 100)
    (alone,) = pulls_of(find_pulls(frame))
    assert "cannot be told" in alone.reason
    known = find_pulls(frame, PullSettings(top_rpm=6700))
    assert next(p.label for p in known if p.high_rpm - p.low_rpm > 1500) == "aborted"
    assert pulls_of(known) == ()


def test_a_person_decides():
    stretches = find_pulls(merged())
    first = next(i for i, p in enumerate(stretches) if p.label == "pull")
    changed = decided(stretches, first, False)
    assert len(pulls_of(changed)) == len(pulls_of(stretches)) - 1
    assert changed[first].label == "pull"
    assert decided(changed, first, True) == stretches


def test_folds_are_counted():
    speed = np.array([3000, 3400, 3350, 3800, 4200, 4150, 4600.0])
    (pull,) = pulls_of(find_pulls(log(np.arange(7.0), speed)))
    assert pull.falling == 2


def test_without_time_the_sweep_rate_is_not_known():
    (pull,) = pulls_of(find_pulls(pd.DataFrame({"speed_rpm": np.linspace(3000, 6000, 30)})))
    assert np.isnan(pull.sweep_rpm_s)


def test_slope_agrees_with_a_library_regression():
    x, y = np.array([0.0, 0.4, 1.1, 1.9]), np.array([2.0, 2.5, 3.9, 5.1])
    assert slope(x, y) == pytest.approx(linregress(x, y).slope, rel=1e-12)
    assert np.isnan(slope([1.0, 1.0], [2.0, 3.0]))


def test_no_speed_is_said_in_one_sentence():
    with pytest.raises(ValueError, match="no column is engine speed"):
        find_pulls(pd.DataFrame({"time_s": [0.0, 1.0]}))
    with pytest.raises(ValueError, match="fewer than two numbers"):
        find_pulls(pd.DataFrame({"speed_rpm": [np.nan, np.nan, 900.0]}))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    arrays(float, st.integers(2, 80), elements=st.floats(0, 9000) | st.just(np.nan)),
    st.booleans(),
    st.booleans(),
)
def test_any_trace_is_tiled_without_gap_or_overlap(speed, with_time, with_throttle):
    if np.isfinite(speed).sum() < 2:
        speed = np.append(speed, [900.0, 5000.0])
    frame = pd.DataFrame({"speed_rpm": speed})
    if with_time:
        frame["time_s"] = np.arange(len(speed)) // 2 * 0.1  # bursts: pairs of equal times
    if with_throttle:
        frame["throttle"] = np.where(np.nan_to_num(speed) > 2000, 1.0, 0.0)
    stretches = find_pulls(frame)
    assert stretches[0].start == 0
    assert stretches[-1].stop == len(speed)
    assert all(a.stop == b.start for a, b in pairwise(stretches))
    for p in pulls_of(stretches):
        inside = speed[p.rows]
        assert np.nanmin(inside) == p.low_rpm
        assert np.nanmax(inside) - p.low_rpm >= 500
