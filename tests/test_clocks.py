"""Two clocks found again from traces whose offset and rate are known."""

import tomllib

import numpy as np
import pandas as pd
import pytest

from tests.conftest import ROOT
from toolkit.bench import Bench
from toolkit.logs.clocks import ClockFit, fit_clocks, joined, misfit_rpm, resampled
from toolkit.logs.question import LogError
from toolkit.logs.run import Run


def speed(t):
    """Warm-up, three pulls that differ, idle [rpm]."""
    knots = [0, 4, 5, 15, 17, 22, 23, 35, 38, 40, 55]
    rpm = [900, 900, 2200, 6500, 1100, 900, 2400, 6400, 1500, 900, 900]
    return np.interp(t, knots, rpm) + 40 * np.sin(1.7 * np.asarray(t))


def logged(t, rng):
    """Speed as a logger prints it: noise of 6 rpm, whole numbers."""
    return np.round(speed(t) + rng.normal(0, 6, np.size(t)))


@pytest.mark.parametrize("slow_hz", [10, 50])
@pytest.mark.parametrize("swap", [False, True])
@pytest.mark.parametrize("rate", [1.0, 1.0008])
def test_offset_within_half_a_slow_sample_and_rate_where_shown(slow_hz, swap, rate):
    rng = np.random.default_rng(slow_hz)
    for offset in (-5.217, -0.4, 0.0, 3.333):
        fast, slow = np.arange(0, 55, 0.01), np.arange(6.0, 48, 1 / slow_hz)
        a = (fast, logged(fast, rng))
        b = (slow, logged(offset + rate * slow, rng))
        fit = fit_clocks(*b, *a) if swap else fit_clocks(*a, *b)
        assert fit.fitted
        for at in (6.0, 27.0, 48.0):
            there = offset + rate * at
            error = fit.onto(there) - at if swap else fit.onto(at) - there
            assert abs(error) < 0.5 / slow_hz
        true_rate = 1 / rate if swap else rate
        if rate == 1.0:
            assert abs(fit.rate - 1) < 1e-4
        else:
            assert abs(fit.rate - true_rate) < 4 * fit.rate_error < 4e-4


def test_the_stated_error_is_of_the_size_of_the_real_one():
    rng = np.random.default_rng(5)
    ratios = []
    for _ in range(40):
        offset = rng.uniform(-5, 5)
        fast, slow = np.arange(0, 55, 0.02), np.arange(6.0, 48, 0.1)
        fit = fit_clocks(fast, logged(fast, rng), slow, logged(offset + slow, rng))
        ratios.append((fit.onto(27.0) - (offset + 27.0)) / fit.offset_error_s)
    assert 0.5 < np.std(ratios) < 2.0


def test_gaps_bursts_and_missing_values_do_not_matter():
    rng = np.random.default_rng(8)
    fast = np.sort(np.concatenate([np.arange(0, 20, 0.02), np.arange(24, 55, 0.02), [30.0] * 5]))
    slow = np.arange(6.0, 48, 0.1)
    rpm = logged(slow + 1.7, rng)
    rpm[50:70] = np.nan
    fit = fit_clocks(fast, logged(fast, rng), slow, rpm)
    assert fit.fitted and abs(fit.onto(30.0) - 31.7) < 0.02


def repeated(t):
    return np.interp(np.asarray(t) % 20, [0, 2, 3, 13, 15, 20], [900, 900, 2200, 6500, 1100, 900])


@pytest.mark.parametrize(
    ("a", "b", "sentence"),
    [
        (
            (np.arange(0, 55, 0.02), speed),
            (np.arange(0, 50, 0.1), lambda t: 3e3 + 1500 * np.sin(t)),
            "not the same pulls",
        ),
        (
            (np.arange(0, 55, 0.02), speed),
            (np.arange(0, 50, 0.1), lambda t: 900 + 0 * t),
            "second log hardly moves",
        ),
        (
            (np.arange(0, 100, 0.02), repeated),
            (np.arange(0, 55, 0.1), lambda t: repeated(t + 22.4)),
            "fit equally well",
        ),
        (
            (np.arange(0, 20, 0.02), speed),
            (np.arange(0, 17, 0.1), lambda t: speed(t + 38)),
            "not the same pulls|hardly moves|too short",
        ),
        ((np.arange(0, 0.1, 0.02), speed), (np.arange(0, 0.5, 0.1), speed), "hardly moves"),
    ],
)
def test_a_wrong_or_absent_overlap_is_said_not_fitted(a, b, sentence):
    fit = fit_clocks(a[0], a[1](a[0]), b[0], b[1](b[0]))
    assert not fit.fitted and np.isnan(fit.offset_s)
    with pytest.raises(ValueError, match=sentence):
        joined(pd.DataFrame({"time_s": a[0]}), pd.DataFrame({"time_s": b[0]}), fit)


def test_a_hand_can_move_it():
    t = np.arange(0, 55, 0.02)
    fit = fit_clocks(t, speed(t), t, speed(t))
    moved = fit.moved(0.25)
    assert moved.offset_s == pytest.approx(fit.offset_s + 0.25)
    assert np.isnan(moved.offset_error_s) and "by hand" in moved.why


@pytest.mark.parametrize("swap", [False, True])
def test_the_misfit_after_a_move_is_that_of_the_moved_clock(swap):
    rng = np.random.default_rng(3)
    fast, slow = np.arange(0, 55, 0.02), np.arange(6.0, 48, 0.1)
    traces = (fast, logged(fast, rng), slow, logged(1.5 + 1.0008 * slow, rng))
    traces = traces[2:] + traces[:2] if swap else traces
    fit = fit_clocks(*traces)
    assert fit.rate != 1 and misfit_rpm(*traces, fit) == pytest.approx(fit.misfit_rpm, rel=0.05)
    moved = fit.moved(0.5)
    assert np.isnan(moved.misfit_rpm)
    # The speed rises by some 350 rpm/s in a pull: half a second is felt.
    assert misfit_rpm(*traces, moved) > 10 * fit.misfit_rpm
    assert np.isnan(misfit_rpm(*traces, fit.moved(500.0)))


def test_a_fit_is_kept_in_words():
    t = np.arange(0, 55, 0.02)
    fit = fit_clocks(t, speed(t), t, speed(t + 1.234))
    kept = ClockFit.from_strings(fit.to_strings("runs/dyno.csv"))
    assert kept.onto(50.0) == pytest.approx(fit.onto(50.0), abs=2e-5)
    with pytest.raises(LogError, match="has no offset"):
        ClockFit.from_strings({"with": "runs/dyno.csv"})
    with pytest.raises(LogError, match="has no unit"):
        ClockFit.from_strings({"offset": "1.5"})


def test_resampling_fills_no_hole_and_invents_no_end():
    t = np.array([0, 1, 2, 9, 10, 11.0])
    y = 10 * t
    assert resampled(t, y, [0.5, 2.0, 5.0, 9.0, 10.5])[[0, 1, 3, 4]].tolist() == [5, 20, 90, 105]
    assert np.isnan(resampled(t, y, [-0.1, 5.0, 11.1])).all()
    assert np.isnan(resampled(t, np.where(t == 1, np.nan, y), [0.5, 1.5])).all()


def test_joined_on_one_clock():
    slow, fast = np.arange(0, 50, 0.1), np.arange(0, 50, 0.02)
    dyno = pd.DataFrame({"time_s": slow, "speed_rpm": speed(slow), "torque_nm": 1.0})
    ecu = pd.DataFrame({"time_s": fast, "speed_rpm": speed(fast + 2.5), "lam": fast})
    fit = fit_clocks(dyno.time_s, dyno.speed_rpm, ecu.time_s, ecu.speed_rpm)
    both = joined(dyno, ecu, fit)
    assert list(both) == ["time_s", "speed_rpm", "torque_nm", "lam"]
    assert both["lam"].iloc[100] == pytest.approx(10.0 - 2.5, abs=0.01)
    assert both["lam"].iloc[:25].isna().all()
    assert both["speed_rpm"].equals(dyno["speed_rpm"])


def test_demo_bench_clocks_come_back():
    """The generator's own offsets; its speed sensors lag by other amounts, so not exactly."""
    truth = tomllib.loads((ROOT / "data_demo" / "truth" / "parts.toml").read_text())["ecu_clock"]
    bench = Bench(ROOT / "data_demo")
    for name, clock in truth.items():
        dyno, ecu = (Run.open(bench, f"runs/{name}_{log}.csv").frame for log in ("dyno", "ecu"))
        fit = fit_clocks(dyno["time_s"], dyno["speed_rpm"], ecu["time_s"], ecu["speed_rpm"])
        half_a_row = np.diff(dyno["time_s"]).max() / 2
        assert abs(fit.offset_s - clock["offset_s"]) < half_a_row
