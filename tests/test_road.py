"""On the road: one gear, several turbos, and the model of time against the runs' own sweeps.

The runs are the demo bench's, invented by a generator that is richer than this model (its loggers,
its gate's motion, its heat), so that a sweep met is not the model meeting itself.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.analysis.fit import fit
from toolkit.analysis.fit_points import points_of_side
from toolkit.analysis.road import (
    OwnSweep,
    Road,
    cautions,
    own_sweeps,
    race,
    road,
    sentence,
    sweeps_sentence,
)
from toolkit.analysis.sides import opened, side
from toolkit.analysis.whatif import Change
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts.road_picture import road_picture, rows
from toolkit.panels.base import UNITS, Waiting
from toolkit.panels.road import RoadPanel
from toolkit.panels.what_if import WhatIfPanel
from toolkit.physics.response import Vehicle

PSI = 6894.757
DEMO = ROOT / "data_demo"
RUNS = [(0, "1_small_8psi"), (0, "2_small_14psi"), (1, "4_large_8psi"), (1, "5_large_14psi")]
CHANGE = Change(boost_gauge_pa=20 * PSI)


@pytest.fixture(scope="module")
def swept():
    """(name, number of its build, FitPoints, sweep rate) of four runs."""
    bench, found = Bench(DEMO), []
    builds = [read_build(bench, f"builds/{n}.toml") for n in ("small", "large")]
    for number, name in RUNS:
        pulls = side(name, [opened(bench, f"runs/2026-04-18_{name}_dyno.csv")], step_rpm=100.0)
        rate = float(np.mean([r.sweep_rpm_s for r in pulls.repeats]))
        found.append((name, number, points_of_side(pulls, builds[number], number), rate))
    return builds, found


@pytest.fixture(scope="module")
def fitted(swept):
    builds, runs = swept
    return fit([points for *_, points, _ in runs], tuple(builds))


@pytest.fixture(scope="module")
def vehicle(fitted):
    return fitted.builds[0].vehicle


@pytest.fixture(scope="module")
def made(fitted, vehicle):
    """Fourth gear from 3000 rpm, with a turbo 30 % of the way."""
    return road(fitted, replace(CHANGE, size=0.3), vehicle.in_gear(1.18), 3000.0)


def test_every_turbo_starts_alike_and_ends_at_the_top(made):
    assert made.names == ("Small", "in between", "Large") and made.sizes == (0.0, 0.3, 1.0)
    assert (made.speed_rpm[0] == 3000).all() and (made.distance_m[0] == 0).all()
    assert np.nanmax(made.speed_rpm) <= made.top_rpm
    for j, end in enumerate(made.top_s):
        over = made.time_s >= end
        assert np.isnan(made.speed_rpm[over, j]).all()
        assert np.isfinite(made.speed_rpm[~over, j]).all()
    assert (np.diff(made.boost_s) > 0).all() and (np.diff(made.boost_rpm) > 0).all()
    assert (made.boost_band_s[0] == made.boost_band_s[1]).all()  # the builds know the inertias


# By another route: the distance's own slope is the road speed.
def test_the_distance_is_that_of_its_speed(made):
    v = made.vehicle.road_speed_m_s(made.speed_rpm[:, 0])
    known = np.isfinite(v)
    gained = np.gradient(made.distance_m[known, 0], made.time_s[known])
    np.testing.assert_allclose(gained[5:-5], v[known][5:-5], rtol=2e-3)


# Published: one car had full boost at 3500 rpm in a tall gear and at 4750 rpm in a short one.
def test_a_short_gear_has_its_boost_at_a_higher_speed(fitted, vehicle):
    tall, short = (road(fitted, CHANGE, vehicle.in_gear(g), 3000.0) for g in (0.94, 2.12))
    assert (short.boost_rpm - tall.boost_rpm > 500).all()
    assert (short.boost_s < tall.boost_s).all()
    assert tall.boost_s[1] - tall.boost_s[0] > short.boost_s[1] - short.boost_s[0]


def test_uphill_is_slower_and_has_its_boost_at_a_lower_speed(fitted, vehicle, made):
    up = road(fitted, CHANGE, vehicle.in_gear(1.18, grade=0.1), 3000.0)
    assert (up.top_s > made.top_s[[0, 2]] + 1).all()
    assert (up.boost_rpm < made.boost_rpm[[0, 2]]).all()


def test_boost_that_comes_after_the_top_comes_too_late(fitted, vehicle):
    short = road(fitted, CHANGE, vehicle.in_gear(3.24), 4000.0)
    late = ~(short.boost_s <= short.top_s)
    assert late.any() and np.isnan(short.boost_s[late]).all()
    assert "never has 95% of its boost in this pull" in sentence(short, "US")


def test_one_turbo_alone_has_no_race(swept, vehicle):
    builds, runs = swept
    alone = fit([points for _, n, points, _ in runs if n == 0], builds[0])
    made = road(alone, Change(boost_gauge_pa=14 * PSI), vehicle.in_gear(1.18), 3000.0)
    assert made.names == ("Small",) and made.ahead_m.shape[1] == 1
    assert "behind" not in sentence(made, "US")
    drawn = road_picture(made, "4th gear (1.18)", "14 psi", "SI")
    assert [p.title for p in drawn.panels] == ["Boost, gauge [kPa]", "Engine speed [rpm]"]


@pytest.mark.parametrize(
    "gear, from_rpm, words",
    [
        ({"gear_ratio": 1.18}, 900.0, "between 2000 rpm and 6300 rpm"),
        ({"gear_ratio": 1.18}, 6800.0, "between 2000 rpm and 6300 rpm"),
        ({"gear_ratio": 0.94, "grade": 0.3}, 2500.0, "cannot pull this gear from 2500 rpm"),
    ],
)
def test_what_cannot_be_pulled_is_said(fitted, vehicle, gear, from_rpm, words):
    with pytest.raises(ValueError, match=words):
        road(fitted, CHANGE, vehicle.in_gear(**gear), from_rpm)


# ---- who is ahead: made up so that the answer is known ----


def a_road(*gaps, boost_s=(1.0, 2.0), **more):
    """A Road whose second turbo is so far ahead of the first, moment by moment."""
    gap = np.array(gaps, dtype=float)
    time = np.arange(len(gap), dtype=float)
    distance = np.column_stack([20 * time, 20 * time + gap])
    size = distance.shape
    usual = {
        "names": ("Small", "Large"), "sizes": (0.0, 1.0), "vehicle": Vehicle(1200, 4.0, 0.3),
        "from_rpm": 3000.0, "top_rpm": 6000.0, "time_s": time, "speed_rpm": np.ones(size) * 4000,
        "boost_gauge_pa": np.ones(size) * 1e5, "distance_m": distance,
        "on_map": np.ones(size, bool), "boost_s": np.array(boost_s),
        "boost_rpm": np.array([3500.0, 4000.0]), "boost_band_s": np.array([boost_s, boost_s]),
        "top_s": np.array([np.nan, np.nan]), "grip": 0.5, "notes": (),
        "shaft_rpm": np.array([1.2e5, 1.1e5]), "limit_rpm": np.array([np.nan, 1.3e5]),
    }  # fmt: skip
    return Road(**usual | more)


@pytest.mark.parametrize(
    "gaps, words",
    [
        ((0, 0.01, -0.02, 0.0), "Large stays level with Small."),
        ((0, 1, 2, 3), "Large is never behind Small and 3.0 m ahead after 3.0 s."),
        ((0, -1, -2, -3), "Large falls 3.0 m behind Small in 3.0 s."),
        ((0, -4, -3, -2), "Large falls 4.0 m behind Small by 1.0 s, then gains: 2.0 m behind"),
        (
            (0, -2, 2, 6),
            "Large falls 2.0 m behind Small by 1.0 s, comes past at 1.5 s: 6.0 m ahead",
        ),
        ((0, -2, 2, np.nan), "comes past at 1.5 s: 2.0 m ahead at 2.0 s."),
    ],
)
def test_who_is_ahead(gaps, words):
    made = a_road(*gaps)
    assert words in sentence(made, "SI")
    assert "Small has its boost after 1.00 s, at 3500 rpm." in sentence(made, "SI")


def test_the_headline_says_how_much_later_and_how_far():
    behind = road_picture(a_road(0, -4, -3, -2), "3rd gear", "14 psi", "SI").finding
    assert behind == (
        "In 3rd gear, from 3000 rpm: Large has its boost 1.00 s later than Small and is 2.0 m "
        "behind after 3.0 s"
    )
    never = a_road(0, -1, -2, -3, boost_s=(1.0, np.nan))
    assert (
        "Large never has 95% of the boost"
        in road_picture(never, "3rd gear", "14 psi", "SI").finding
    )
    assert "Large never has 95% of its boost in this pull." in sentence(never, "SI")
    assert rows(never, "SI")[1][1:4] == ["never in this pull", "", ""]


def test_an_estimated_rotor_gives_a_range():
    made = a_road(0, 0, 0, boost_band_s=np.array([[1.0, 1.4], [1.0, 3.1]]))
    assert "Large has its boost after 2.00 s (1.40 to 3.10 s), at 4000 rpm" in sentence(made, "SI")


def test_more_thrust_than_tyres_pass_on_is_said(made):
    assert not list(cautions(a_road(0, 0)))
    assert "75% of the vehicle's weight" in " ".join(cautions(replace(made, grip=0.75)))
    assert 0.5 < made.grip < 0.8  # 350 kW and 1160 kg in fourth gear


def test_a_shaft_beyond_its_limit_is_said():
    fast = a_road(0, 0, shaft_rpm=np.array([2e5, 1.4e5]))
    assert list(cautions(fast)) == [
        "The shaft of Large would turn at 140000 rpm, above the limit of 130000 rpm that its build "
        "states: do not run it."
    ]


def test_downhill_and_level_are_said_as_such():
    down = replace(a_road(0, -4, -3, 0.01), vehicle=Vehicle(1200, 4.0, 0.3, grade=-0.05))
    drawn = road_picture(down, "3rd gear", "14 psi", "SI")
    assert "down a slope of 5.0%" in drawn.method and "is level after 3.0 s" in drawn.finding
    assert "then gains: level after 3.0 s" in sentence(down, "SI")


def test_two_turbos_of_one_name_are_told_apart(fitted, vehicle):
    twins = tuple(replace(b, turbos=(replace(b.turbo, name="in between"),)) for b in fitted.builds)
    made = road(replace(fitted, builds=twins), replace(CHANGE, size=0.5), vehicle.in_gear(1.18),
                3000.0)  # fmt: skip
    assert made.names == ("in between (first)", "in between", "in between (second)")
    assert sentence(made, "US").count("The one in between has") == 1


# ---- the model of time against the runs' own sweeps ----


# The dyno's own record of where boost came in a sweep, from a plant that is not this model.
def test_swept_as_the_dyno_swept_the_boost_comes_where_it_came(fitted, swept):
    found = {s.name: s for s in own_sweeps(fitted, swept[1])}
    late = [s.late_rpm for s in found.values() if np.isfinite(s.late_rpm)]
    assert len(late) == 3 and max(map(abs, late)) < 150
    assert found["1_small_8psi"].why == "it had its boost when its sweep began"
    assert found["5_large_14psi"].measured_rpm > found["4_large_8psi"].measured_rpm
    words = sweeps_sentence(list(found.values()))
    assert "within" in words and "5_large_14psi" in words and "1_small" not in words


def test_a_sweep_that_cannot_be_compared_says_why(fitted, swept):
    name, number, points, _ = swept[1][3]
    (unknown,) = own_sweeps(fitted, [(name, number, points, np.nan)])
    assert unknown.why == "its sweep rate is not known" and np.isnan(unknown.late_rpm)
    words = sweeps_sentence([unknown, OwnSweep("b", 400.0, np.nan, np.nan, "no")])
    assert words == (
        "No sweep of these runs can check what time adds (5_large_14psi: its sweep rate is not "
        "known; b: no)."
    )


# ---- the picture ----


def test_the_picture_tells_measured_map_from_beyond_it(made):
    drawn = road_picture(made, "4th gear (1.18)", "20 psi", "US")
    boost, ahead, speed = drawn.panels
    assert [p.title for p in drawn.panels] == [
        "Boost, gauge [psi]", "Ahead of Small (below zero: behind) [ft]", "Engine speed [rpm]",
    ]  # fmt: skip
    assert {ln.evidence for ln in boost.lines} == {"worked out", "extrapolated"}
    assert [m.text for m in boost.marks] == [f"{s:.2f} s" for s in made.boost_s]
    assert np.nanmin(ahead.lines[2].y) == pytest.approx(race(made, 2).furthest_m / 0.3048)
    assert drawn.x_limits == (0.0, pytest.approx(np.nanmax(made.top_s), abs=0.05))
    assert "30% of the way from Small to Large" in drawn.method and "20 psi" in drawn.method
    assert len({m.at for m in boost.marks[:2]}) == 2  # close together, and still readable
    assert speed.lines[0].y[0] == 3000


# ---- the panel ----


@pytest.fixture
def what_if():
    """Small and Large at 14 psi, fitted."""
    return what_if_of("2_small_14psi", "5_large_14psi")


def what_if_of(*names):
    """A WhatIfPanel of these logs of Small, then of Large."""
    logs = [f"runs/2026-04-18_{name}_dyno.csv" for name in names]
    first, second = ([n for n in logs if key in n] for key in ("small", "large"))
    return WhatIfPanel(DEMO, first, second, ("builds/small.toml", "builds/large.toml"), 14 * PSI)


@pytest.fixture
def panels(what_if):
    return what_if, RoadPanel(what_if)


def test_the_panel_takes_what_is_set_above_when_it_is_told(panels):
    what_if, panel = panels
    assert panel.trouble.value == "" and panel.take.disabled
    first = panel.chart.picture.finding
    what_if.size.value = 0.5
    assert "50% of the way" in panel.state.value and "Still drawn here: Small" in panel.state.value
    assert panel.chart.picture.finding == first and not panel.take.disabled
    panel.take.click()
    assert panel.road.names == ("Small", "in between", "Large") and panel.take.disabled
    assert "Still drawn" not in panel.state.value
    panel.close()
    what_if.size.value = 0.0  # nothing listens any more
    assert "50% of the way" in panel.state.value


def test_gear_and_ratio_are_one_thing(panels):
    _, panel = panels
    panel.gear.value = panel.vehicle.gear_ratios[1]
    assert panel.ratio.value == 2.12 and "2nd gear (2.12)" in panel.chart.picture.finding
    panel.ratio.type("1.3")
    assert panel.gear.value is None and "a gear of 1.30" in panel.chart.picture.finding
    panel.ratio.type("1.18")
    assert panel.gear.value == 1.18 and "4th gear" in panel.chart.picture.finding


def test_a_pull_that_cannot_be_leaves_the_last_picture(panels):
    _, panel = panels
    before = panel.chart.picture
    panel.start.type("1500 rpm")
    assert "it must be between 2000 rpm and 6300 rpm" in panel.trouble.value
    assert panel.chart.picture is before
    panel.start.type("2500 rpm")
    assert panel.trouble.value == "" and "from 2500 rpm" in panel.chart.picture.finding


def test_without_a_fit_it_says_what_it_needs():
    what_if = WhatIfPanel(DEMO, builds=("builds/small.toml", ""))
    panel = RoadPanel(what_if)
    assert "choose runs above and press Fit" in panel.state.value
    assert panel.chart.picture is None
    panel.keep.save.click()
    assert "there is no pull to save yet" in panel.trouble.value
    waiting = RoadPanel(Waiting("There is no bench."))
    assert isinstance(waiting, Waiting) and "There is no bench." in waiting.sentence


def test_a_build_without_a_vehicle_gets_a_usual_one_and_says_so(panels):
    what_if, _ = panels
    bare = tuple(replace(b, vehicle=None) for b in what_if.fitted.builds)
    what_if.fitted = replace(what_if.fitted, builds=bare)
    what_if.redraw()
    panel = RoadPanel(what_if)
    assert panel.trouble.value == "" and "a usual car's" in panel.mass.words


def choose_runs(what_if, *names):
    """Fit again with other logs of Small, as a hand would; none of Large."""
    what_if.first.pick.value = tuple(f"runs/2026-04-18_{n}_dyno.csv" for n in names)
    what_if.second.pick.value = ()
    what_if.start.click()
    what_if.worker.join()


def test_what_is_saved_is_what_is_drawn(what_if, monkeypatch):
    panel, kept = RoadPanel(what_if), []
    monkeypatch.setattr("toolkit.panels.road.save_kept", lambda *a: kept.append(a[1]) or a[1])
    drawn = panel.chart.picture.finding
    panel.start.type("1500 rpm")
    panel.ratio.type("0.5")
    what_if.boost.type("8 psi")
    panel.take.click()
    assert panel.trouble.value and panel.chart.picture.finding == drawn
    assert "Still drawn here: Small, 14.0 psi" in panel.state.value and not panel.take.disabled
    choose_runs(what_if, "1_small_8psi")
    panel.keep.save.click()
    (saved,) = kept
    assert saved.picture.finding == drawn and "14.0 psi" in saved.picture.method
    files = [name for name, _ in saved.sources]
    assert "builds/large.toml" in files and "runs/2026-04-18_5_large_14psi_dyno.csv" in files
    assert dict(saved.card)["Kept"] == "one engine, as fitted; 14.0 psi"
    # A good save does not take back that the fields cannot be pulled.
    assert "it must be between" in panel.trouble.value


def test_from_two_turbos_to_one_and_back(what_if):
    panel = RoadPanel(what_if)
    assert len(panel.chart.picture.panels) == 3
    choose_runs(what_if, "1_small_8psi", "2_small_14psi")
    panel.take.click()
    assert panel.trouble.value == "" and panel.road.names == ("Small",)
    assert len(panel.chart.picture.panels) == 2 and "Large" not in panel.notes.value
    what_if.second.pick.value = ("runs/2026-04-18_5_large_14psi_dyno.csv",)
    what_if.start.click()
    what_if.worker.join()
    assert "The fit is new" in panel.state.value
    panel.take.click()
    assert panel.trouble.value == "" and len(panel.chart.picture.panels) == 3
    assert "Large 14 psi" in panel.notes.value


def test_the_build_s_vehicle_comes_with_its_fit():
    what_if = WhatIfPanel(DEMO, builds=("builds/small.toml", ""), boost_gauge_pa=14 * PSI)
    panel = RoadPanel(what_if)
    assert "a usual car's" in panel.mass.words
    panel.tyre.type("280 mm")
    choose_runs(what_if, "2_small_14psi")
    panel.take.click()
    assert panel.trouble.value == "" and panel.mass.value == 1160 and panel.mass.words == ""
    assert panel.gear.value == panel.ratio.value == 1.18 and "4th gear" in panel.answer.value + (
        panel.chart.picture.finding
    )
    assert panel.tyre.value == 0.28, "what was typed stays"


def test_words_follow_the_units(panels):
    _, panel = panels
    UNITS.system = "SI"
    try:
        assert "96.5 kPa" in panel.chart.picture.method and "kPa" in panel.state.value
        assert "psi" not in panel.chart.picture.method + panel.state.value
    finally:
        UNITS.system = "US"


def test_another_gear_is_one_that_is_typed(panels):
    _, panel = panels
    panel.gear.value = None
    assert panel.gear.value == 1.18 and "type the ratio" in panel.ratio.words


def test_what_changes_above_mends_no_trouble_here(panels):
    what_if, panel = panels
    panel.start.type("1500 rpm")
    what_if.size.value = 0.25
    assert "it must be between" in panel.trouble.value
    panel.start.type("2500 rpm")
    assert panel.trouble.value == ""


def test_a_lorry_with_many_gears_opens(what_if):
    many = tuple(np.geomspace(15, 0.7, 24).round(3))
    lorry = replace(what_if.fitted.builds[0].vehicle, gear_ratios=many, mass_kg=3000.0)
    builds = tuple(replace(b, vehicle=lorry) for b in what_if.fitted.builds)
    what_if.fitted = replace(what_if.fitted, builds=builds)
    what_if.redraw()
    panel = RoadPanel(what_if, gear=22)
    assert "In 22nd gear" in panel.chart.picture.finding


def test_a_rotor_known_by_its_wheel_alone_has_a_band(what_if):
    bare = tuple(
        replace(b, turbos=(replace(b.turbo, inertia_kg_m2=None, wheel_m=0.055),))
        for b in what_if.fitted.builds
    )
    what_if.fitted = replace(what_if.fitted, builds=bare)
    what_if.redraw()
    panel = RoadPanel(what_if)
    assert panel.trouble.value == "" and " s to " not in panel.answer.value
    quick, slow = panel.road.boost_band_s
    assert (quick < panel.road.boost_s).all() and (panel.road.boost_s < slow).all()
    unknown = tuple(replace(b, turbos=(replace(b.turbo, wheel_m=None),)) for b in bare)
    what_if.fitted = replace(what_if.fitted, builds=unknown)
    what_if.redraw()
    panel.take.click()
    assert "the inertia of Small is not known: give its build inertia" in panel.trouble.value
