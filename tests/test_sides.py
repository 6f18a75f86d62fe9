"""From the demo bench's logs to a comparison and its picture."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.conftest import ROOT
from toolkit.analysis.compare import compare
from toolkit.analysis.finding import changed_logs, load_finding
from toolkit.analysis.fit_points import points_of, points_of_side
from toolkit.analysis.repeats import repeats_of
from toolkit.analysis.sensor_ends import LeftOut
from toolkit.analysis.sides import opened, short_names, side
from toolkit.analysis.verdict import headline, verdicts
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.charts.comparison import picture
from toolkit.logs.clocks import ClockFit, fit_clocks
from toolkit.logs.decided_pulls import candidates
from toolkit.logs.pulls import decided, pulls_of

SMALL = "runs/2026-04-18_2_small_14psi_dyno.csv"
LARGE = "runs/2026-04-18_5_large_14psi_dyno.csv"


@pytest.fixture(scope="module")
def logs():
    bench = Bench(ROOT / "data_demo")
    return opened(bench, SMALL), opened(bench, LARGE)


@pytest.fixture(scope="module")
def comparison(logs):
    return compare(side("Small", logs[:1]), side("Large", logs[1:]))


def test_two_raw_logs_become_a_difference_with_its_band(comparison):
    gain = comparison.gains["torque_nm"]
    assert comparison.a.n == comparison.b.n == 3
    assert np.isfinite(gain.half_width).sum() > 30
    assert gain.clear.any()


def test_setup_and_start_come_from_the_log(logs):
    assert logs[0].setup == "turbo Small, target 14 psi"
    assert logs[0].started == "2026-04-18 09:50"


def test_correction_scales_torque_and_names_its_reference(logs, comparison):
    corrected = compare(*(side(n, [log], "SAE J1349")
                          for n, log in zip(("Small", "Large"), logs, strict=True)))  # fmt: skip
    ratio = corrected.channels_a["torque_nm"] / comparison.channels_a["torque_nm"]
    weather = logs[0].weather
    # SAE J1349 as transcribed in the correction module, at the log's own weather.
    expected = 1.18 * 99e3 / weather.dry_pressure_pa * np.sqrt(weather.t_cell_k / 298.15) - 0.18
    assert np.nanmax(np.abs(ratio - expected)) < 1e-6
    assert corrected.reference == "SAE J1349"


def test_two_logs_with_one_set_up_keep_it_whole():
    assert short_names("turbo Small, target 14 psi", "turbo Small, target 14 psi") == (
        "turbo Small, target 14 psi", "turbo Small, target 14 psi",
    )  # fmt: skip


def test_a_saved_clock_joins_the_two_loggers_by_time(logs):
    log = logs[0]
    dyno, ecu = log.run, log.partner.run
    by_speed = side("Small", [log]).repeats[0].grid.mean
    times = [r.frame[c].to_numpy() for r in (dyno, ecu) for c in ("time_s", "speed_rpm")]
    strings = fit_clocks(*times).to_strings(dyno.name)
    clocked = ecu.reviewed(replace(ecu.review, clock=strings))
    there = replace(log, partner=replace(log.partner, run=clocked))
    first, *_ = side("Small", [there]).repeats
    assert first.also == ((ecu.name, log.partner.sha256),)
    for channel in ("p_manifold_pa", "spark_deg", "lam"):
        known = np.isfinite(first.grid.mean[channel]) & np.isfinite(by_speed[channel])
        assert known.sum() > 20
        apart = np.abs(first.grid.mean[channel] / by_speed[channel] - 1)[known]
        assert np.median(apart) < 0.01, channel
    # Written beside the dyno's log, the same clock is read the other way round.
    back = dyno.reviewed(replace(dyno.review, clock=there.clock.inverse.to_strings(ecu.name)))
    mine = replace(log, run=back)
    assert mine.clock.offset_s == pytest.approx(there.clock.offset_s, abs=1e-4)
    # Both reviews hold one: the opened log's counts, and two that differ are named.
    both = log.beside(replace(log.partner, run=clocked))
    assert both.remarks == log.remarks
    agreed = replace(log, run=back).beside(replace(log.partner, run=clocked))
    assert not [r for r in agreed.remarks if "Two clocks" in r]
    later = there.clock.moved(0.5).inverse.to_strings(ecu.name)
    later = replace(log, run=dyno.reviewed(replace(dyno.review, clock=later)))
    differ = later.beside(replace(log.partner, run=clocked))
    assert differ.clock.offset_s == pytest.approx(there.clock.offset_s + 0.5, abs=1e-4)
    assert "Two clocks of this pair are saved" in differ.remarks[-1]
    # A clock that is wrong by two seconds is felt: nothing is taken from the speeds.
    wrong = ecu.reviewed(replace(ecu.review, clock=there.clock.moved(2.0).to_strings(dyno.name)))
    off = replace(log, partner=replace(log.partner, run=wrong))
    moved = side("Small", [off]).repeats[0].grid.mean["spark_deg"]
    assert np.nanmax(np.abs(moved - by_speed["spark_deg"])) > 1.0


def test_a_saved_clock_of_known_offset_and_rate_joins_to_the_right_moment(logs):
    """The partner's lambda is a line along the true time, written on a clock 7.3 s behind and
    0.05 % fast: joined by that clock it lies on the line, on the dyno's rows and in the bins."""
    log = logs[0]
    known = ClockFit(7.3, rate=1 / 1.0005, fitted=True)
    true_s = np.arange(0.0, log.run.frame["time_s"].max(), 0.02)
    written_s = (true_s - known.offset_s) / known.rate
    frame = pd.DataFrame({"time_s": written_s, "lam": 0.8 + 0.001 * true_s})
    ecu = log.partner.run
    run = ecu.reviewed(replace(ecu.review, clock=known.to_strings(log.run.name)))
    run.__dict__["frame"] = frame
    one = replace(log, partner=replace(log.partner, run=run))
    time = log.run.frame["time_s"].to_numpy()
    inside = (time > true_s[0]) & (time < true_s[-1])
    joined = one.frame["lam"].to_numpy()
    assert joined[inside] == pytest.approx(0.8 + 0.001 * time[inside], abs=1e-6)
    repeats = side("Small", [one], step_rpm=100.0).repeats
    for repeat, pull in zip(repeats, pulls_of(log.stretches), strict=True):
        rows = log.run.frame.iloc[pull.rows]
        bins = np.floor(rows["speed_rpm"] / 100 + 0.5) * 100
        truth = (0.8 + 0.001 * rows["time_s"]).groupby(bins).mean()
        lam = pd.Series(repeat.grid.mean["lam"], repeat.grid.speed_rpm).dropna()
        assert len(lam) > 20
        assert lam.to_numpy() == pytest.approx(truth.loc[lam.index].to_numpy(), abs=1e-6)


def oil_at_its_end(log, clock=None):
    """The log beside its partner, whose oil pressure runs into the end of its sensor."""
    ecu = log.partner.run
    oil = ecu.frame["p_oil_gauge_pa"]
    run = ecu.reviewed(replace(ecu.review, clock=clock or {}))
    run.__dict__["frame"] = ecu.frame.assign(p_oil_gauge_pa=oil.clip(upper=0.8 * oil.max()))
    return log.beside(replace(log.partner, run=run))


@pytest.mark.parametrize("by_clock", [False, True])
def test_a_partners_sensor_at_its_end_is_told_by_the_dynos_torque(logs, by_clock):
    log = logs[0]
    dyno, ecu = log.run, log.partner.run
    assert "torque_nm" not in ecu.frame and "p_oil_gauge_pa" not in dyno.frame
    times = [r.frame[c].to_numpy() for r in (dyno, ecu) for c in ("time_s", "speed_rpm")]
    ended = oil_at_its_end(log, fit_clocks(*times).to_strings(dyno.name) if by_clock else None)
    assert (ended.clock is not None) == by_clock
    speed = ended.partner.frame["speed_rpm"].to_numpy()
    oil = ended.partner.frame["p_oil_gauge_pa"].to_numpy()
    for repeat, pull in zip(
        side("Small", [ended], step_rpm=100.0).repeats, pulls_of(ended.partner.stretches),
        strict=True,
    ):  # fmt: skip
        here = speed[pull.rows][oil[pull.rows] == oil.max()]
        hidden = repeat.grid.speed_rpm[np.isnan(repeat.grid.mean["p_oil_gauge_pa"])]
        # Noise touches the end here and there before the sensor stays at it: left out as well.
        assert hidden.size > 3 and hidden.min() == pytest.approx(here.min(), abs=100)
        (gone,) = repeat.left_out
        assert gone.channel == "p_oil_gauge_pa"
        assert (gone.low_rpm, gone.high_rpm) == (hidden.min(), hidden.max())
    signs = ended.signs("SI") if by_clock else ended.partner.signs("SI")
    told = {s.channel for s in signs if s.told and s.name == "clipped sensor"}
    assert told == {"p_oil_gauge_pa"}
    # The other way round: the controller's log in front, the dyno's lends it torque.
    front = ended.partner.beside(log)
    assert any(g.channel == "p_oil_gauge_pa" for g in side("ecu", [front]).left_out)
    # Nobody's torque: it cannot be told, and nothing is hidden.
    alone = replace(ended.partner, lent_torque_nm=None)
    assert not side("ecu", [alone]).left_out
    assert [s for s in alone.signs("SI") if s.name == "clipped sensor" and not s.told]


def test_a_channel_that_the_dyno_has_itself_is_not_left_out_for_its_partners_sake(logs):
    log = oil_at_its_end(logs[0])
    own = log.run.frame.assign(p_oil_gauge_pa=300e3 + 5 * log.run.frame["speed_rpm"])
    run = replace(log.run)
    run.__dict__["frame"] = own
    both = side("Small", [replace(log, run=run)])
    assert not both.left_out
    assert np.isfinite(both.repeats[0].grid.mean["p_oil_gauge_pa"][5:-5]).all()


def test_a_sensor_at_its_end_gives_no_verdict_there(logs):
    bench = Bench(ROOT / "data_demo")
    bad = opened(bench, "runs/bad/clipped_sensor.csv")
    (sign,) = {
        s.channel: s for s in bad.signs("SI") if s.told and s.name == "clipped sensor"
    }.values()
    repeats = side("bad", [bad], step_rpm=100.0).repeats
    at_end = bad.run.frame["speed_rpm"].to_numpy()[sign.rows]
    for repeat in repeats:
        hidden = repeat.grid.speed_rpm[np.isnan(repeat.grid.mean[sign.channel])]
        assert hidden.size and hidden.min() >= at_end.min() - 50
    known = compare(side("Small", logs[:1], step_rpm=100.0), side("bad", [bad], step_rpm=100.0))
    gain = known.gains[sign.channel]
    inside = (known.speed_rpm > at_end.min()) & (known.speed_rpm < at_end.max())
    assert inside.sum() > 3 and not gain.clear[inside].any()
    assert np.isnan(gain.difference[inside]).all()
    assert np.isfinite(known.gains["torque_nm"].difference[inside]).any()
    (gone,) = known.b.left_out
    said = {v.text: v.evidence for v in verdicts(known, "SI")}
    assert said[f"On bad {gone.sentence}"] == "cannot tell"


def test_a_log_already_corrected_is_not_corrected_again(logs):
    run = logs[0].run
    there = replace(logs[0], run=run.reviewed(replace(run.review, power_reference="DIN 70020")))
    with pytest.raises(ValueError, match="already in DIN 70020"):
        side("Small", [there], "SAE J1349")
    assert side("Small", [there], "DIN 70020").n == 3


@pytest.mark.parametrize("system", ["US", "SI"])
@pytest.mark.parametrize("quantity", ["torque_nm", "power_w"])
def test_picture_states_finding_method_and_the_crossings(comparison, system, quantity):
    drawn = picture(comparison, system, quantity)
    assert "more at" in drawn.finding
    assert "3 pulls Small and 3 pulls Large · observed · no smoothing" in drawn.method
    assert [u.text.split(" at")[0] for u in drawn.panels[2].uprights] == [
        "Small crosses", "Large crosses",
    ]  # fmt: skip


def test_a_pressure_that_is_left_out_is_marked_in_the_picture(comparison):
    assert not picture(comparison, "US").panels[2].zones
    gone = LeftOut("p_exhaust_pa", 5800.0, 6400.0), LeftOut("lam", 3000.0, 3100.0)
    ended = replace(comparison.b.repeats[1], left_out=gone)
    b = replace(comparison.b, repeats=(comparison.b.repeats[0], ended))
    (zone,) = picture(replace(comparison, b=b), "US").panels[2].zones
    said = [v.text for v in verdicts(replace(comparison, b=b), "US") if "back pressure" in v.text]
    assert [("as far as the sensors reach" in text) for text in said] == [False, True]
    assert (zone.text, zone.start, zone.stop) == (
        "Large back pressure sensor at its end", 5800, 6400,
    )  # fmt: skip


def test_gap_is_shaded_only_where_back_pressure_is_above_boost(comparison):
    band = picture(comparison, "US").panels[2].bands[0]
    shaded = np.isfinite(band.low)
    assert shaded.any() and not shaded.all()
    assert np.all(band.high[shaded] > band.low[shaded])


def test_the_demo_bench_ships_a_finding_that_its_logs_still_give():
    bench = Bench(ROOT / "data_demo")
    finding = load_finding(bench, "demo")
    assert not changed_logs(bench, finding)
    assert finding.title == headline(finding.comparison, "US")


def test_what_is_left_out_is_said_where_a_model_is_fitted(comparison):
    build = read_build(Bench(ROOT / "data_demo"), "builds/large.toml")
    whole = points_of_side(comparison.b, build)
    gone = LeftOut("p_exhaust_pa", 5800.0, 6400.0)
    first, *rest = comparison.b.repeats
    ended = replace(comparison.b, repeats=(replace(first, left_out=(gone,)), *rest))
    assert points_of_side(ended, build).notes == (*whole.notes, f"Large: {gone.sentence}")


def test_a_value_that_stands_in_at_some_speeds_is_said(comparison):
    build = read_build(Bench(ROOT / "data_demo"), "builds/large.toml")
    speed = comparison.speed_rpm
    table = {"speed_rpm": speed, **comparison.channels_b}
    part = np.where(speed < 4000, 95e3, np.nan)
    made = points_of(table | {"p_turbine_out_pa": part}, build)
    assert any("turbine outlet pressure at " in note for note in made.notes)


def test_a_pull_keeps_its_number_when_another_is_refused():
    bench = Bench(ROOT / "data_demo")
    name = "runs/2026-04-18_3_small_20psi_dyno.csv"
    one = opened(bench, name)
    rest = decided(one.stretches, candidates(one.stretches)[0][1], False)
    repeats = repeats_of(name, one.frame, rest, 100.0)
    assert [r.pull for r in repeats] == [2, 3]
