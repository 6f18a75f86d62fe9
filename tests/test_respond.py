"""Response of the demo build's three turbos: order, ends, bands, what is estimated."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.build.pull import pull
from toolkit.build.respond import Setting, boost_in_sweep, boost_in_vehicle, time_to_boost
from toolkit.physics.response import Vehicle
from toolkit.physics.transient import LEAST_SHAFT_RPM

DEMO = Path(__file__).resolve().parent.parent / "data_demo"


@pytest.fixture(scope="module")
def build():
    return read_build(Bench(DEMO), "builds/candidates.toml")


@pytest.fixture(scope="module")
def held(build):
    return time_to_boost(build, [3400.0, 4500.0], seconds=6.0)


def test_the_larger_the_later_and_the_faster_the_sooner(held):
    times = held.found[1]
    assert held.names == ("Small", "Mid", "Large")
    assert (np.diff(times, axis=1) > 0).all()
    assert (np.diff(times, axis=0) < 0).all()
    assert times.min() > 0.1 and times.max() < 4  # what a stop watch on a dyno would show


def test_the_step_ends_where_the_pull_stands(build, held):
    stands = pull(build, [3400.0, 4500.0]).match
    last = held.responses[1].moments
    for name in ("p_manifold_pa", "p_exhaust_pa", "shaft_speed_rpm"):
        ours = getattr(last, name)[-1].reshape(2, 3)
        np.testing.assert_allclose(ours, getattr(stands, name), rtol=2e-3)


def test_known_inertias_make_no_band(held):
    assert (held.found[0] == held.found[2]).all()
    assert not any("inertia" in note for note in held.notes)
    assert any("Volumes" in note for note in held.notes)


def test_a_scaled_inertia_makes_a_band_and_is_said(build):
    guessed = replace(
        build,
        turbos=(replace(build.turbos[0], inertia_kg_m2=None, wheel_m=0.051), *build.turbos[1:]),
    )
    setting = Setting(intake_m3=9e-3, exhaust_m3=2e-3)
    answer = time_to_boost(guessed, 3800.0, setting)
    quick, likely, slow = answer.found[:, 0]
    assert quick[0] < likely[0] < slow[0]
    assert quick[2] == pytest.approx(slow[2], rel=1e-3)
    assert len(answer.notes) == 1 and "Small" in answer.notes[0]


def test_an_unknown_inertia_is_asked_for(build):
    unknown = replace(build, turbos=(replace(build.turbos[0], inertia_kg_m2=None),))
    with pytest.raises(ValueError, match="inertia of Small is not known"):
        time_to_boost(unknown, 3000.0)


def test_below_the_threshold_there_is_no_time(build):
    assert np.isnan(time_to_boost(build, 2200.0).found[1, 0, 2])


def test_a_sweep_meets_the_boost_above_the_threshold(build):
    speeds = np.arange(2000.0, 5001.0, 50.0)
    threshold = pull(build, speeds).threshold_rpm(0.9)
    slow, fast = (boost_in_sweep(build, 2000, 4500, rate).found[1] for rate in (150, 600))
    assert (slow > threshold - 50).all()  # the grid's step
    assert (fast > slow).all()
    assert (np.diff(fast) > 0).all()


def test_a_lower_target_arrives_sooner(build):
    low, high = (
        boost_in_sweep(build, 2000, 3500, 400, Setting(boost_gauge_pa=b)).found[1, 0]
        for b in (60e3, 120e3)
    )
    assert low < high


def test_a_short_gear_has_its_boost_sooner(build):
    long, short = (
        boost_in_vehicle(build, Vehicle(1200, ratio, 0.31), 2600, seconds=4) for ratio in (6.0, 9.0)
    )
    assert (short.found[1] < long.found[1]).all()
    shaft = short.responses[1].moments.shaft_speed_rpm
    assert (shaft > LEAST_SHAFT_RPM).all()


def test_a_gear_that_cannot_be_pulled_is_said(build):
    steep = Vehicle(1800, 3.0, 0.31, grade=0.25)
    with pytest.raises(ValueError, match="cannot pull this gear from 2600 rpm: it slows down"):
        boost_in_vehicle(build, steep, 2600)


def test_a_control_that_gives_less_loses_boost(build):
    all_it_can, half = (
        boost_in_sweep(build, 2000, 6500, 400, Setting(feed=f)).responses[1].moments
        for f in (1.0, 0.5)
    )
    assert (half.p_manifold_pa[-1] < all_it_can.p_manifold_pa[-1] - 5e3).all()
