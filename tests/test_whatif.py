"""What-if on the demo bench: low boost predicts high, and what nobody ran, inside the band."""

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.conftest import ROOT
from toolkit import units
from toolkit.analysis import between
from toolkit.analysis.fit import fit
from toolkit.analysis.fit_points import points_of_side
from toolkit.analysis.sensor_ends import LeftOut
from toolkit.analysis.sides import opened, side
from toolkit.analysis.trade import trade
from toolkit.analysis.whatif import Change, limits, predict, sentence
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts.what_if import picture, trade_picture
from toolkit.panels.what_if import WhatIfPanel
from toolkit.physics.points import Regime

PSI = 6894.757
DEMO = ROOT / "data_demo"
# A swept pull has its boost later than a steady point: from here on it has caught up.
SETTLED_RPM = {"small": 3000.0, "mid": 3300.0, "large": 3900.0}


class Demo:
    """Runs and builds of the demo bench, each read once."""

    def __init__(self):
        self.bench = Bench(DEMO)
        self.build = {n: read_build(self.bench, f"builds/{n}.toml") for n in ("small", "large")}
        self._runs = {}

    def run(self, turbo, psi):
        """FitPoints of a set-up's pulls."""
        number = {"small": 1, "large": 4}[turbo] + (8, 14, 20).index(psi)
        log = f"runs/2026-04-18_{number}_{turbo}_{psi}psi_dyno.csv"
        if log not in self._runs:
            pulls = side(turbo, [opened(self.bench, log)], step_rpm=100.0)
            self._runs[log] = points_of_side(
                pulls, self.build[turbo], list(self.build).index(turbo)
            )
        return self._runs[log]

    def alone(self, turbo, psi):
        """A fit of one set-up."""
        points = self.run(turbo, psi)
        return fit(replace(points, turbo=np.zeros_like(points.turbo)), self.build[turbo])


@pytest.fixture(scope="module")
def demo():
    return Demo()


@pytest.fixture(scope="module")
def both(demo):
    """Small and Large at 8 and 14 psi together."""
    runs = [demo.run(t, p) for t in ("small", "large") for p in (8, 14)]
    return fit(runs, tuple(demo.build.values()))


def outside(made, truth, channels):
    """Per channel the share of speeds whose truth lies outside the band."""
    return {
        c: float(np.mean(~((made.low[c] <= t) & (t <= made.high[c]))))
        for c, t in zip(channels, truth, strict=True)
    }


CHANNELS = ("torque_nm", "back_pressure_gauge_pa", "boost_gauge_pa")


@pytest.mark.parametrize(("turbo", "psi"), [("small", 14), ("small", 20), ("large", 14)])
def test_low_boost_predicts_high_boost_inside_its_band(demo, turbo, psi):
    runs = demo.run(turbo, psi)
    runs = runs.take(runs.speed_rpm > SETTLED_RPM[turbo])
    weather = replace(
        demo.build[turbo].weather, p_cell_pa=float(runs.p_cell_pa.mean()),
        t_cell_k=float(runs.t_compressor_in_k.mean()),
    )  # fmt: skip
    change = Change(boost_gauge_pa=psi * PSI, weather=weather)
    made = predict(demo.alone(turbo, 8), change, runs.speed_rpm)
    gauge = (runs.p_exhaust_pa - runs.p_cell_pa, runs.p_manifold_pa - runs.p_cell_pa)
    assert max(outside(made, (runs.torque_nm, *gauge), CHANNELS).values()) <= 0.05
    torque = made.best["torque_nm"]
    assert np.mean(made.high["torque_nm"] - made.low["torque_nm"]) < 0.35 * np.mean(torque)
    assert made.extrapolated.all() and "manifold pressure beyond what was run" in made.why


@pytest.mark.parametrize(
    ("held_back", "change"),
    [
        ("mid_14psi", Change(size=0.5, boost_gauge_pa=14 * PSI)),
        ("mid_20psi", Change(size=0.5, boost_gauge_pa=20 * PSI)),
        ("small_17psi", Change(boost_gauge_pa=17 * PSI)),
        ("small_20psi_stiff_spring", Change(boost_gauge_pa=20 * PSI, spring_gauge_pa=76e3)),
        ("large_14psi_mountain", Change(size=1.0, boost_gauge_pa=14 * PSI)),
    ],
)
def test_set_ups_that_nobody_ran_lie_in_the_band(both, held_back, change):
    """Truth of the invented cell, which is another and richer model than the toolkit's."""
    truth = pd.read_csv(DEMO / "truth" / "held_back.csv").query("set_up == @held_back")
    truth = truth[truth.speed_rpm > SETTLED_RPM[held_back.split("_")[0]] + 300]
    weather = replace(
        both.builds[0].weather, p_cell_pa=float(truth.p_cell_pa.mean()),
        t_cell_k=float(truth.t_cell_k.mean()),
    )  # fmt: skip
    made = predict(both, replace(change, weather=weather), truth.speed_rpm)
    cell = truth.p_cell_pa.to_numpy()
    channels = [truth[c].to_numpy() for c in ("torque_nm", "p_exhaust_pa", "p_manifold_pa")]
    known = (channels[0], channels[1] - cell, channels[2] - cell)
    assert max(outside(made, known, CHANNELS).values()) <= 0.05


def test_what_was_run_comes_back(demo, both):
    runs = demo.run("small", 14)
    runs = runs.take(runs.speed_rpm > SETTLED_RPM["small"])
    made = predict(both, Change(boost_gauge_pa=14 * PSI), runs.speed_rpm)
    assert np.abs(made.best["torque_nm"] / runs.torque_nm - 1).max() < 0.04
    assert not made.extrapolated.any() and made.why == ()


def test_the_gate_pushed_open_is_foreseen_and_a_stiffer_spring_holds(both):
    light = predict(both, Change(boost_gauge_pa=20 * PSI))
    stiff = predict(both, Change(boost_gauge_pa=20 * PSI, spring_gauge_pa=76e3))
    assert Regime.PUSHED_OPEN in light.regime and Regime.PUSHED_OPEN not in stiff.regime
    assert any("pushes the gate open" in words for *_, words in limits(light))
    assert stiff.best["boost_gauge_pa"][-1] > light.best["boost_gauge_pa"][-1] + 1 * PSI


def test_a_gate_that_was_never_at_its_stop_does_not_tell_how_well_it_flows(both):
    assert both.told_by("opening_0") == "the prior, not the data"
    assert both.best["opening_0"] == pytest.approx(0.7, rel=0.05)
    parameter, k = both._find("opening_0")
    x = both.x.copy()
    x[k] = np.log(0.25 / parameter.prior) / parameter.sd
    tight = replace(both, x=x)
    asked = Change(boost_gauge_pa=8 * PSI)
    wide, narrow = (predict(f, asked) for f in (both, tight))
    at_stop = narrow.regime == Regime.CREEP
    assert at_stop.any() and Regime.CREEP not in wide.regime
    above = narrow.best["boost_gauge_pa"] - wide.best["boost_gauge_pa"]
    assert (above[at_stop] > 0).all()


def test_thin_air_and_a_poorer_cooler_cost_power(both):
    asked = Change(boost_gauge_pa=8 * PSI)
    weather = both.builds[0].weather
    plain = predict(both, asked).peak[1]
    assert predict(both, replace(asked, weather=replace(weather, p_cell_pa=80e3))).peak[1] < plain
    assert predict(both, replace(asked, cooler=0.5)).peak[1] < plain


def test_another_fuel_is_extrapolated_throughout(both):
    made = predict(both, Change(boost_gauge_pa=8 * PSI, fuel="methanol"))
    assert made.extrapolated.all() and "fuel beyond what was run" in made.why


def test_the_band_does_not_hang_on_the_number_of_draws(both):
    asked, speeds = Change(boost_gauge_pa=14 * PSI), np.array([4000.0, 5000.0, 6000.0])
    few, many = (predict(both, asked, speeds, draws=n) for n in (32, 400))
    for c in CHANNELS:
        widths = [m.high[c] - m.low[c] for m in (few, many)]
        # A few draws lose the boost: how many of 32 is a matter of luck.
        assert widths[0] == pytest.approx(widths[1], rel=0.5), c


def test_a_size_outside_the_two_that_were_run_is_refused(demo, both):
    with pytest.raises(ValueError, match=r"outside Small \(0\) and Large \(1\)"):
        predict(both, Change(size=1.2, boost_gauge_pa=8 * PSI))
    with pytest.raises(ValueError, match="only Small was run"):
        predict(demo.alone("small", 8), Change(size=0.5, boost_gauge_pa=8 * PSI))


def test_between_two_equal_maps_lies_the_same_map(demo):
    turbo = demo.build["small"].turbo
    twin = between.turbo(turbo, replace(turbo, name="Twin"), 0.3)
    for got, own in zip(twin.compressor.nodes, turbo.compressor.nodes, strict=True):
        assert np.allclose(got, own)
    assert np.allclose(twin.compressor.work_j_kg, turbo.compressor.work_j_kg)
    assert twin.turbine_area_m2 == pytest.approx(turbo.turbine_area_m2)


def test_maps_of_different_reference_states_are_refused(demo):
    first = demo.build["small"].turbo.compressor
    with pytest.raises(ValueError, match="different reference states"):
        between.compressor_map(first, replace(first, t_ref_k=288.15), 0.5)


def test_the_trade_goes_from_early_to_strong(both):
    sizes = np.array([0.0, 0.5, 1.0])
    made = trade(both, Change(boost_gauge_pa=14 * PSI), held_rpm=3500.0, sizes=sizes)
    for rising in (made.power_w, made.threshold_rpm, made.time_s):
        assert np.all(np.diff(rising) > 0)
    assert made.at(0.25)[0] == pytest.approx(np.mean(made.power_w[:2]))


@pytest.mark.parametrize("psi", [14, 20])
def test_the_trade_and_the_prediction_agree(both, psi):
    made = trade(both, Change(boost_gauge_pa=psi * PSI), sizes=np.array([0.0, 1.0]))
    ends = [predict(both, Change(s, psi * PSI), [made.top_rpm]).best["power_w"][0] for s in (0, 1)]
    assert made.power_w[[0, -1]] == pytest.approx(ends, rel=1e-3)
    small = predict(both, Change(0.0, psi * PSI), [made.top_rpm])
    assert made.power_half_w >= (small.high["power_w"] - small.low["power_w"])[0] / 2 > 0


def test_a_trade_of_another_change_is_taken_away(demo):
    first, second = ([f"runs/2026-04-18_{n}_8psi_dyno.csv"] for n in ("1_small", "4_large"))
    builds = ("builds/small.toml", "builds/large.toml")
    panel = WhatIfPanel(DEMO, first, second, builds, boost_gauge_pa=8 * PSI)
    panel.show.click()
    assert panel.trouble.value == "" and panel.trade_chart.picture.finding.startswith("Small: ")
    panel.size.value = 0.5
    assert panel.trade_chart.picture.finding.startswith("50% of the way: ")
    panel.altitude.type("1500 m")
    assert panel.trade is None and panel.trade_chart.picture is None
    panel.close()


def test_a_stopped_fit_leaves_the_last_one(demo):
    run = "runs/2026-04-18_1_small_8psi_dyno.csv"
    panel = WhatIfPanel(
        DEMO, first=[run], builds=("builds/small.toml", ""), boost_gauge_pa=14 * PSI
    )
    assert panel.trouble.value == "" and panel.fitted.points.size > 40
    last, picture = panel.fitted, panel.chart.picture
    panel.bar.observe(lambda change: change.new > 0.4 and panel.stop.click(), "value")
    panel.start.click()
    panel.worker.join(60)
    assert panel.fitted is last and panel.chart.picture.finding == picture.finding
    assert "Stopped" in panel.state.value and not panel.start.disabled
    panel.close()


def drawn_runs(demo):
    runs = demo.run("small", 8), demo.run("small", 14)
    return [(f"run {k}", r.speed_rpm, r.torque_nm) for k, r in enumerate(runs)]


@pytest.mark.parametrize("system", ["US", "SI"])
def test_runs_are_solid_and_what_no_run_came_near_is_dotted(demo, both, system):
    runs = drawn_runs(demo)
    for psi, stroke in ((14, "worked out"), (20, "extrapolated")):
        made = predict(both, Change(boost_gauge_pa=psi * PSI), np.linspace(3000, 6500, 9))
        shown = picture(both, made, runs, "Small", system)
        lines = shown.panels[0].lines
        assert [ln.evidence for ln in lines[:2]] == ["measured"] * 2
        assert lines[-1].evidence == stroke and lines[-1].label == "what if"
        torque = units.shown(made.best["torque_nm"], "torque", system)
        assert np.nanmax(lines[-1].y) == pytest.approx(torque.max())
        band = shown.panels[0].bands[0]
        assert np.all(band.low < torque) and np.all(torque < band.high)
        assert ("extrapolated" in shown.finding) == (psi == 20)


def test_dashed_and_dotted_meet(both):
    made = predict(both, Change(boost_gauge_pa=17 * PSI), np.linspace(2200, 6500, 25))
    assert made.extrapolated.any() and not made.extrapolated.all()
    lines = picture(both, made, [], "Small", "US").panels[0].lines
    known, beyond = (np.isfinite(ln.y) for ln in lines)
    assert (known | beyond).all() and (known & beyond).any()


def test_the_sentence_says_more_only_where_the_band_allows(demo, both):
    runs = drawn_runs(demo)
    same = sentence(predict(both, Change(boost_gauge_pa=14 * PSI)), runs, "US")
    assert "cannot be told" in same
    less = sentence(predict(both, Change(boost_gauge_pa=8 * PSI)), runs, "US")
    assert " hp less than run 1 made." in less
    lost = sentence(predict(both, Change(boost_gauge_pa=20 * PSI)), runs, "SI")
    assert "ack pressure pushes the gate open from" in lost and " kW" in lost


def test_the_trade_is_drawn_from_one_turbo_to_the_other(both):
    made = trade(both, Change(boost_gauge_pa=14 * PSI), sizes=np.array([0.0, 0.5, 1.0]))
    shown = trade_picture(made, 0.5, "US")
    assert shown.finding.startswith("50% of the way: ")
    for panel, x in zip(shown.panels, (made.time_s, made.threshold_rpm), strict=True):
        assert [m.text for m in panel.marks] == ["Small", "Large", "50% of the way"]
        assert panel.marks[0].x == x[0] and panel.marks[1].x == x[-1]
        assert x[0] < panel.marks[2].x < x[-1]
    assert len(trade_picture(made, 0.0, "SI").panels[0].marks) == 2


def test_a_fit_names_what_is_left_out_of_the_channels_it_uses(demo):
    pulls = side("a", [opened(demo.bench, "runs/2026-04-18_1_small_8psi_dyno.csv")], step_rpm=100.0)
    gone = (LeftOut("p_exhaust_pa", 4000, 5000), LeftOut("p_oil_gauge_pa", 3000, 3500))
    repeats = tuple(replace(r, left_out=gone) for r in pulls.repeats)
    notes = points_of_side(replace(pulls, repeats=repeats), demo.build["small"]).notes
    assert any("a: exhaust manifold pressure is left out from 4000 to 5000" in n for n in notes)
    assert not any("oil" in n for n in notes)


@pytest.fixture
def own(tmp_path):
    """A copy of the demo bench with builds of Small without a gate and without a cooler."""
    skip = shutil.ignore_patterns("generator", "*.py", "bad", "explain")
    shutil.copytree(DEMO, tmp_path / "bench", ignore=skip)
    builds = tmp_path / "bench/builds"
    small = (builds / "small.toml").read_text(encoding="utf-8")
    (builds / "nogate.toml").write_text(small[: small.index("[turbo.gate]")], encoding="utf-8")
    a, b = small.index("[cooler]"), small.index("[restrictions.intake]")
    (builds / "nocooler.toml").write_text(small[:a] + small[b:], encoding="utf-8")
    return tmp_path / "bench"


EIGHT = [[f"runs/2026-04-18_{n}_8psi_dyno.csv"] for n in ("1_small", "4_large")]


def test_what_is_saved_is_what_was_predicted(own, monkeypatch):
    panel, kept = WhatIfPanel(own, EIGHT[0], (), ("builds/nocooler.toml", ""), 14 * PSI), []
    monkeypatch.setattr("toolkit.panels.what_if.save_kept", lambda *a: kept.append(a[1]) or a[1])
    drawn = panel.chart.picture.finding
    panel.cooler.type("90 %")
    panel.boost.type("20 psi")
    assert "has no cooler" in panel.trouble.value
    panel.keep.save.click()
    assert kept[0].picture.finding == drawn and "14.0 psi" in drawn
    assert [n for n, _ in kept[0].sources] == ["builds/nocooler.toml", *EIGHT[0]]
    assert "has no cooler" in panel.trouble.value


def test_a_turbo_between_one_with_a_gate_and_one_without_is_refused(own):
    panel = WhatIfPanel(own, *EIGHT, ("builds/nogate.toml", "builds/large.toml"), 8 * PSI)
    assert panel.trouble.value == ""
    panel.size.value = 0.5
    assert "has no gate in its build and the other has one" in panel.trouble.value
    panel.size.value = 1.0
    assert panel.trouble.value == ""


def test_a_log_that_names_another_turbo_than_its_build_is_remarked(own):
    panel = WhatIfPanel(own, EIGHT[1], (), ("builds/small.toml", ""), 8 * PSI)
    assert "is it the right build?" in panel.notes.value
    panel = WhatIfPanel(own, EIGHT[0], (), ("builds/small.toml", ""), 8 * PSI)
    assert "is it the right build?" not in panel.notes.value


def test_a_choice_made_while_fitting_is_not_taken_for_fitted(own):
    panel = WhatIfPanel(own, *EIGHT, ("builds/small.toml", "builds/large.toml"), 8 * PSI)
    change = iter([("runs/2026-04-18_3_small_20psi_dyno.csv",)])
    panel.bar.observe(
        lambda c: c.new > 0.4 and [setattr(panel.first.pick, "value", v) for v in change],
        "value",
    )
    panel.start.click()
    panel.worker.join(60)
    assert panel.asked().files == ("builds/small.toml", *EIGHT[0], "builds/large.toml", *EIGHT[1])
    assert "Press Fit to use the new choice" in panel.state.value


def test_the_trade_belongs_to_its_held_speed(own):
    panel = WhatIfPanel(own, *EIGHT, ("builds/small.toml", "builds/large.toml"), 8 * PSI)
    panel.show.click()
    assert panel.trade_chart.picture is not None
    panel.held.type("2500 rpm")
    assert panel.trade is None and panel.trade_chart.picture is None
