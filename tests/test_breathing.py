from dataclasses import replace

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.analysis import breathing
from toolkit.analysis.breathing import (
    breath,
    cam_of,
    cost_curve,
    cylinder_of,
    operating_of,
    story,
)
from toolkit.analysis.repeats import Repeat, Side
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts.cycle_picture import picture
from toolkit.logs.grid import Grid
from toolkit.physics.cam import CAMS
from toolkit.physics.cycle import torque_cost_nm_per_pa


@pytest.fixture(scope="module")
def build():
    return read_build(Bench(ROOT / "data_demo"), "builds/small.toml", load_maps=False)


@pytest.fixture(scope="module")
def point(build):
    return operating_of(build, 3500.0, 200e3, 230e3, 320.0)


@pytest.fixture(scope="module")
def mild(build, point):
    return breath(build, CAMS["mild"], point)


@pytest.fixture(scope="module")
def long(build, point):
    level = {
        "speed_rpm": np.array([3000.0, 5000.0]),
        "p_manifold_pa": np.array([180e3, 190e3]),
        "p_exhaust_pa": np.array([170e3, 230e3]),
    }
    return breath(build, CAMS["long overlap"], point, [("Small", level)])


def test_cylinder_and_cam_are_the_builds(build):
    cylinder, guessed = cylinder_of(build.engine)
    assert (cylinder.bore_m, cylinder.rod_m, cylinder.intake_valves) == (0.085, 0.145, 2)
    assert not guessed
    assert cylinder.displacement_m3 * 6 == pytest.approx(build.engine.displacement_m3, rel=1e-3)
    cam = cam_of(build.engine.valves)
    assert cam.overlap_deg == 26 + 28
    assert cam.intake.lift_m == pytest.approx(0.0096)


def test_what_a_build_does_not_say_is_estimated_and_named(build):
    bare = replace(build.engine, valves=None, rod_length_m=None)
    cylinder, guessed = cylinder_of(bare)
    assert guessed == ("rod length", "valve sizes")
    assert 0.3 < cylinder.exhaust_valve_m / cylinder.bore_m < cylinder.intake_valve_m / 0.085 < 0.45
    assert cam_of(bare.valves) is None


def test_timing_at_a_lift_opens_the_seat_earlier(build):
    at_1mm = replace(build.engine.valves, timing_lift_m=1e-3)
    assert cam_of(at_1mm).overlap_deg > cam_of(build.engine.valves).overlap_deg
    assert cam_of(at_1mm).overlap_at(1e-3) == pytest.approx(54)


def test_operating_points_carry_mixture_spark_and_fuel_of_the_build(build):
    at = operating_of(build, np.array([3000.0, 5000.0]), 2e5, 2e5, 320.0)
    assert at.lam.tolist() == [0.85, 0.85]
    assert at.half_burned_deg.tolist() == [13.0, 13.0]  # 8 at best spark, 5 later
    assert at.fuel.name == "gasoline"


def test_the_curve_is_the_slope_of_the_cycle(build, point, long):
    direct = torque_cost_nm_per_pa(
        long.cylinder, CAMS["long overlap"], replace(point, p_exhaust_pa=200e3 * 1.265), 2.996e-3
    )
    assert long.curve.at(1.265) == pytest.approx(float(direct.total), rel=0.03)
    assert np.isnan(long.curve.at(3.0))
    assert cost_curve(long.cylinder, CAMS["mild"], point, 1e-3) is cost_curve(
        long.cylinder, CAMS["mild"], point, 1e-3
    )


def test_runs_lie_near_the_curve_of_their_own_state(long):
    ((name, points),) = long.runs
    assert name == "Small"
    assert points.ratio == pytest.approx([170 / 180, 230 / 190])
    assert (points.cost.total > points.cost.pumping).all()


def test_an_unknown_cam_is_a_span_and_says_so(build, point):
    unknown = breath(build, None, point)
    assert list(unknown.curves) == list(CAMS)
    assert unknown.curve is unknown.curves["turbo"]
    shown = picture(unknown, "US")
    assert shown.finding.startswith("Cam unknown: at 3500 rpm back pressure costs 2.")
    assert "not known here" in story(unknown, "US")


def test_the_story_tells_for_which_cams_the_crossing_is_special(mild, long):
    assert "a place like any other" in story(mild, "US")
    assert "worth watching" in story(long, "SI")
    assert "N m per kPa" in story(long, "SI")


def test_the_picture_shows_the_window_both_directions_and_the_crossing(mild, long):
    lifts, flows, loop, cost = picture(long, "US").panels
    (window,) = lifts.zones
    assert (window.start, window.stop) == (-35, 35)
    back = flows.bands[3]  # through the intake valve, backwards: back pressure is above boost
    assert np.nanmin(back.low) < -1
    assert "costs" in loop.marks[0].text
    assert cost.uprights[0].x == 1.0
    assert [line.label for line in cost.lines] == ["in all", "pumping alone", "Small"]
    quiet = picture(mild, "US").panels[1].bands[3]
    assert np.nanmin(quiet.low) > np.nanmin(back.low)


def test_shaded_loop_is_the_pumping_work(build, long):
    loop = picture(long, "SI").panels[2].shapes[0]
    work = -np.trapezoid(loop.y * 1e3, loop.x * 1e-6)  # kPa and cm3 to joule
    assert work / long.cylinder.displacement_m3 == pytest.approx(
        float(long.trace.totals.pmep_pa), rel=0.02
    )


def test_a_run_without_back_pressure_is_refused_in_words():
    speed = np.arange(3000.0, 3500, 100)
    mean = {"speed_rpm": speed, "p_manifold_pa": np.full(speed.size, 2e5)}
    grid = Grid(speed, np.ones(speed.size), mean, {}, {})
    with pytest.raises(ValueError, match="Small has no exhaust manifold pressure: log it"):
        breathing.levels(Side("Small", (Repeat("small.csv", 1, grid),)))
