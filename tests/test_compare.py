"""Two sets of repeats: what is said, what is refused, and what cannot be told."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from toolkit.analysis.compare import ReferenceMismatch, Settings, compare
from toolkit.analysis.crossing import crossings
from toolkit.analysis.repeats import Repeat, Side, converted, joined, repeats_of
from toolkit.analysis.verdict import CANNOT_TELL, MEASURED, WORKED_OUT, headline, verdicts
from toolkit.logs.grid import Grid
from toolkit.logs.pulls import find_pulls

DEMO = Path(__file__).resolve().parent.parent / "data_demo"
SPEED = np.arange(3000.0, 6001.0, 100.0)
PSI, LBFT = 6894.757293, 1.3558179483


def grid(speed=SPEED, **channels):
    mean = {
        c: np.broadcast_to(np.asarray(v, dtype=float), speed.shape) for c, v in channels.items()
    }
    ones = np.ones(len(speed), dtype=int)
    nan = {c: np.full(len(speed), np.nan) for c in mean}
    return Grid(speed, ones, dict(mean), nan, dict.fromkeys(mean, ones))


def side(name, *grids, hours=None, sweep=400.0, session="monday", **more):
    hours = hours or [None] * len(grids)
    return Side(
        name,
        tuple(
            Repeat(f"runs/{name}.csv", i + 1, g, sweep, hour, session, **more)
            for i, (g, hour) in enumerate(zip(grids, hours, strict=True))
        ),
    )


def three(name, level, spread=1.0, **channels):
    return side(name, *(grid(torque_nm=level + spread * k, **channels) for k in (-1, 0, 1)))


def texts(comparison, system="US"):
    return {v.subject: v for v in verdicts(comparison, system)}


# ---- difference and band --------------------------------------------------------------------


def test_the_band_at_each_speed_is_welch_on_the_pulls():
    c = compare(three("A", 400.0), three("B", 412.0))
    gain = c.gains["torque_nm"]
    assert gain.difference == pytest.approx(12.0)
    # Three and three with scatter 1: standard error sqrt(2/3), 4 degrees of freedom.
    assert gain.half_width == pytest.approx(2.776445 * np.sqrt(2 / 3), rel=1e-6)
    assert gain.clear.all()
    assert c.gains["power_w"].difference == pytest.approx(12.0 * SPEED * np.pi / 30)


def test_identical_sides_differ_by_nothing():
    a = three("A", 400.0)
    c = compare(a, a)
    assert not c.gains["torque_nm"].difference.any()
    assert headline(c, "US") == "A and A: no difference beyond the scatter"


def test_swapping_sides_flips_every_sign():
    a, b = three("A", 400.0 + 0.01 * SPEED), three("B", 470.0 - 0.01 * SPEED, 2.0)
    there, back = compare(a, b), compare(b, a)
    for channel, gain in there.gains.items():
        np.testing.assert_array_equal(gain.difference, -back.gains[channel].difference)


levels = st.lists(st.floats(100, 900), min_size=1, max_size=4)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(levels, levels, st.floats(-0.02, 0.02))
def test_whatever_the_pulls_swapping_flips_and_the_claim_keeps_its_size(a, b, tilt):
    sides = [
        side(n, *(grid(torque_nm=v + tilt * (SPEED - 4500)) for v in values))
        for n, values in (("A", a), ("B", b))
    ]
    there, back = compare(*sides), compare(*reversed(sides))
    for channel, gain in there.average.items():
        assert gain.difference == -back.average[channel].difference
        assert bool(gain.clear) == bool(back.average[channel].clear)
        if min(len(a), len(b)) == 1:
            assert not gain.clear
    assert {v.subject for v in verdicts(there, "US")} >= {"average torque", "peak power"}


def test_one_pull_each_makes_no_claim():
    c = compare(side("A", grid(torque_nm=400.0)), side("B", grid(torque_nm=404.0)))
    verdict = texts(c)["average torque"]
    assert verdict.evidence == CANNOT_TELL
    assert "scatter unknown" in verdict.text
    assert "scatter unknown" in headline(c, "SI")


def test_a_gap_inside_the_scatter_cannot_be_told():
    verdict = texts(compare(three("A", 400.0, 4.0), three("B", 403.0, 4.0)))["average torque"]
    assert verdict.evidence == CANNOT_TELL
    assert "not distinguishable from scatter" in verdict.text


def test_the_base_of_a_percentage_is_named():
    verdict = texts(compare(three("Small", 400.0), three("Large", 420.0)), "SI")["average torque"]
    assert "Large makes 20 N m more than Small (5.0 % of Small)" in verdict.text
    assert verdict.evidence == MEASURED


# ---- averages, peaks, crossover -------------------------------------------------------------


def test_average_is_by_speed_over_the_stated_range():
    """Trapezium of a parabola against the closed form."""
    curve = 500 - 2e-5 * (SPEED - 4500) ** 2
    c = compare(three("A", curve), three("B", curve + 10), Settings(low_rpm=3500, high_rpm=5500))
    assert c.range_rpm == (3500, 5500)
    exact = 500 - 2e-5 * 1000**2 / 3
    assert c.average["torque_nm"].level_a == pytest.approx(exact, abs=0.05)
    wider = compare(c.a, c.b, Settings(low_rpm=3000, high_rpm=6000))
    assert wider.average["torque_nm"].level_a == pytest.approx(500 - 2e-5 * 1500**2 / 3, abs=0.05)


def test_average_goes_only_over_what_every_pull_covers():
    a = three("A", 400.0)
    short = SPEED[5:-3]
    b = side("B", *(grid(short, torque_nm=410.0 + k) for k in (-1, 0, 1)))
    c = compare(a, b)
    assert c.range_rpm == (3500, 5700)
    with pytest.raises(ValueError, match="the pulls have 3500 to 5700 rpm in common"):
        compare(a, b, Settings(low_rpm=3000))


def test_a_hole_in_one_pull_is_left_out_of_all_and_said():
    holed = np.full(len(SPEED), 400.0)
    holed[10] = np.nan
    a = side("A", grid(torque_nm=holed), grid(torque_nm=402.0))
    c = compare(a, three("B", 410.0))
    assert c.average["torque_nm"].n_a == 2
    assert any("no rows in some pull" in w for w in c.warnings)


def test_peak_and_where():
    curve = 500 - 2e-5 * (SPEED - 4200) ** 2
    peak = compare(three("A", curve), three("B", curve - 7)).peaks["torque_nm"]
    assert [p.speed_rpm for p in peak] == [4200, 4200]
    assert [p.value for p in peak] == pytest.approx([500, 493])


def test_crossover_agrees_with_a_library_root():
    f, g = (lambda n: 430 - 0.012 * (n - 4000)), (lambda n: 424 + 0.009 * (n - 4000))
    c = compare(three("A", f(SPEED), 0.2), three("B", g(SPEED), 0.2))
    (found,) = c.crossovers["torque_nm"]
    root = brentq(lambda n: f(n) - g(n), 3000, 6000)
    assert found.speed_rpm == pytest.approx(root, abs=1)
    assert found.rising
    assert found.known
    assert found.low_rpm < root < found.high_rpm
    assert "A leads below 4286 rpm" in texts(c)["crossover torque"].text


def test_noise_inside_the_band_is_no_crossover():
    wiggle = 400 + 0.3 * np.sin(SPEED)
    c = compare(three("A", np.full(len(SPEED), 400.0)), three("B", wiggle))
    assert c.crossovers["torque_nm"] == ()


def test_crossing_over_a_hole_has_no_speed_but_its_ends():
    (found,) = crossings([3000, 3100, 3200, 3300], [-5, np.nan, np.nan, 5], [1.0] * 4)
    assert np.isnan(found.speed_rpm)
    assert (found.low_rpm, found.high_rpm) == (3000, 3300)


# ---- boost against back pressure ------------------------------------------------------------


def test_both_ratios_and_the_crossing():
    """30 psi of back pressure on 15 psi of boost at 14.7 psi: 2.00 gauge, 1.505 absolute."""
    back = np.interp(SPEED, [3000, 6000], [10, 30])
    pressures = {
        "p_cell_pa": 14.7 * PSI,
        "p_manifold_pa": 29.7 * PSI,
        "p_exhaust_pa": (14.7 + back) * PSI,
    }
    c = compare(three("A", 400.0, **pressures), three("B", 410.0))
    assert c.pressures_a.ratio_gauge[-1] == pytest.approx(2.0, abs=0.005)
    assert c.pressures_a.ratio_absolute[-1] == pytest.approx(1.505, abs=0.005)
    (found,) = c.pressures_a.crossings
    assert found.speed_rpm == pytest.approx(3750, abs=1)
    said = texts(c)
    assert "passes boost at 3750 rpm" in said["back pressure A"].text
    assert "ratio 2.00 gauge and 1.51 absolute" in said["back pressure A"].text
    assert said["back pressure B"].evidence == CANNOT_TELL


def test_without_a_barometer_the_gauge_ratio_is_not_known():
    c = compare(three("A", 400.0, p_manifold_pa=2e5, p_exhaust_pa=2.5e5), three("B", 410.0))
    assert np.isnan(c.pressures_a.ratio_gauge).all()
    assert c.pressures_a.ratio_absolute == pytest.approx(1.25)
    assert "not known gauge and 1.25 absolute" in texts(c)["back pressure A"].text


def test_case_of_absolute_and_gauge(shared_cases):
    case = pd.read_csv(shared_cases / "c01_abs_or_gauge.csv", comment="#")
    barometer = 14.20 * PSI
    frame = pd.DataFrame(
        {
            "time_s": case.t_s,
            "speed_rpm": case.engine_rpm.astype(float),
            "p_manifold_pa": case.intake_pressure_psi * PSI,
            "p_exhaust_pa": case.exhaust_pressure_psi * PSI + barometer,
            "p_cell_pa": barometer,
            "torque_nm": 500.0,
        }
    )
    repeats = repeats_of("c01", frame, find_pulls(frame), 50)
    p = compare(Side("A", repeats), Side("A", repeats)).pressures_a
    at = np.flatnonzero(repeats[0].grid.speed_rpm == 6000)
    assert p.boost_gauge_pa[at] / PSI == pytest.approx([14.4], abs=0.05)
    assert p.ratio_gauge[at] == pytest.approx([1.607], abs=0.01)
    assert p.ratio_absolute[at] == pytest.approx([1.306], abs=0.01)


# ---- like with like -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("channel", "shift", "word"), [("spark_deg", 1.4, "spark"), ("lam", -0.03, "lambda")]
)
def test_unequal_spark_or_mixture_is_no_like_for_like_test(channel, shift, word):
    base = {"spark_deg": 14.0, "lam": 0.85}
    other = base | {channel: base[channel] + np.where(SPEED >= 5000, shift, 0.0)}
    c = compare(three("A", 400.0, **base), three("B", 410.0, **other))
    assert c.like_for_like is False
    verdict = texts(c)[f"equal {word}"]
    assert verdict.text.startswith("Not a like-for-like test")
    assert "5000 to 6000 rpm" in verdict.text
    loose = Settings(spark_limit_deg=2, lam_limit=0.05)
    assert compare(c.a, c.b, loose).like_for_like is True


def test_what_was_not_logged_is_not_assumed_equal():
    c = compare(three("A", 400.0, lam=0.85), three("B", 410.0, lam=0.85))
    assert c.like_for_like is None
    assert texts(c)["equal spark"].evidence == CANNOT_TELL


def test_sweep_rates_apart_by_more_than_ten_percent_warn():
    def pair(rate):
        fast = side("B", grid(torque_nm=400.0), sweep=rate)
        return compare(side("A", grid(torque_nm=400.0)), fast).warnings

    assert not any("sweep rates" in w for w in pair(436))
    assert any("A 400 rpm/s, B 445 rpm/s" in w for w in pair(445))


def test_different_reference_states_are_refused_until_converted():
    a = side("A", grid(torque_nm=400.0, p_manifold_pa=2e5))
    b = side("B", grid(torque_nm=390.0, p_manifold_pa=2e5), reference="SAE J1349")
    with pytest.raises(ReferenceMismatch, match=r"runs/A.csv is observed, runs/B.csv is SAE J1349"):
        compare(a, b)
    (repeat,) = a.repeats
    c = compare(Side("A", (converted(repeat, 0.96, "SAE J1349"),)), b)
    assert c.gains["torque_nm"].difference == pytest.approx(390 - 384)
    assert not c.gains["p_manifold_pa"].difference.any()  # only torque and power are converted
    assert c.reference == "SAE J1349"


def test_grids_of_different_steps_and_empty_sides_are_refused():
    coarse = grid(np.arange(3000.0, 6001, 200), torque_nm=1.0)
    with pytest.raises(ValueError, match="grids of 100 and 200 rpm"):
        compare(three("A", 400.0), side("B", coarse))
    with pytest.raises(ValueError, match="B has no accepted pull"):
        compare(three("A", 400.0), Side("B", ()))


def test_an_unknown_sweep_rate_is_not_called_equal():
    c = compare(three("A", 400.0), side("B", grid(torque_nm=400.0), sweep=np.nan))
    assert any("sweep rate is not known" in w for w in c.warnings)


def test_without_torque_pressures_are_still_compared():
    bare = {"p_manifold_pa": 2e5, "p_exhaust_pa": 2.2e5, "p_cell_pa": 1e5}
    sides = (side(n, *(grid(**bare) for _ in range(3))) for n in "AB")
    c = compare(*sides)
    assert headline(c, "SI") == "A against B: torque was not logged on both sides"
    assert "ratio 1.20 gauge and 1.10 absolute" in texts(c, "SI")["back pressure A"].text


def test_nothing_in_common_is_said():
    with pytest.raises(ValueError, match="A and B have no channel in common"):
        compare(side("A", grid(lam=0.85)), side("B", grid(torque_nm=400.0)))


# ---- A-B-A ----------------------------------------------------------------------------------


def drifting(hours):
    return [grid(torque_nm=400.0 - 3 * h) for h in hours]


def test_a_return_to_the_first_set_up_takes_out_linear_drift():
    a = side("A", *drifting([0, 0.1, 4.0, 4.2]), hours=[0, 0.1, 4.0, 4.2])
    b = side("B", *(grid(torque_nm=412.0 - 3 * h) for h in (2.0, 2.6)), hours=[2.0, 2.6])
    c = compare(a, b)
    assert c.drift_corrected
    assert c.gains["torque_nm"].difference == pytest.approx(12.0)
    said = texts(c, "SI")
    assert said["average torque"].evidence == WORKED_OUT
    assert "run before and after the other" in said["drift"].text
    plain = compare(a, b, Settings(correct_drift=False))
    assert plain.gains["torque_nm"].difference == pytest.approx(12 - 3 * (2.3 - 2.075))


def test_heat_soak_is_named_where_the_charge_warmed_and_power_fell():
    def soaked(name, level, hours):
        pulls = (grid(torque_nm=level - h, t_charge_k=310.0 + 2 * h) for h in hours)
        return side(name, *pulls, hours=hours)

    a, b = soaked("A", 400.0, [0, 1, 4, 5]), soaked("B", 412.0, [2, 3])
    text = texts(compare(a, b), "US")["drift"].text
    assert "over 5.0 h both fell" in text
    assert "the charge became 18 °F warmer, which is heat soak" in text
    unlogged = side("A", *drifting([0, 1, 4, 5]), hours=[0, 1, 4, 5])
    assert "heat soak" not in texts(compare(unlogged, b))["drift"].text


def test_without_a_return_the_person_is_asked_for_one():
    early = side("A", *drifting([0, 0.1]), hours=[0, 0.1])
    late = side("B", *drifting([1.0, 1.1]), hours=[1.0, 1.1])
    assert any("no pull on A after" in w for w in compare(early, late).warnings)
    assert any("no pull on A after" in w for w in compare(late, early).warnings)


def test_no_drift_is_taken_out_of_different_days_or_without_a_return():
    hours = [0, 0.1, 4.0, 4.2]
    a = side("A", *drifting(hours), hours=hours)
    other_day = side("B", *drifting([2.0, 2.6]), hours=[2.0, 2.6], session="tuesday")
    after = side("B", *drifting([6.0, 6.6]), hours=[6.0, 6.6])
    assert not compare(a, other_day).drift_corrected
    assert any("different days" in w for w in compare(a, other_day).warnings)
    assert not compare(a, after).drift_corrected


# ---- the demo bench -------------------------------------------------------------------------


def demo_side(name, *logs):
    repeats = []
    for log, started in logs:
        raw = pd.read_csv(DEMO / f"runs/{log}_dyno.csv", comment="#")
        barometer = raw["Barometer (inHg)"] * 3386.389
        frame = pd.DataFrame(
            {
                "time_s": raw["Time (s)"],
                "speed_rpm": raw["Engine Speed (rpm)"].astype(float),
                "torque_nm": raw["Torque (lb-ft)"] * LBFT,
                "p_manifold_pa": raw["Manifold Pressure (psig)"] * PSI + barometer,
                "p_exhaust_pa": raw["Exhaust Manifold Pressure (psig)"] * PSI + barometer,
                "p_cell_pa": barometer,
            }
        )
        repeats += repeats_of(log, frame, find_pulls(frame), 100, started=started)
    return Side(name, tuple(repeats))


SMALL = ("2026-04-18_2_small_14psi", "2026-04-18 09:50")
LARGE = ("2026-04-18_5_large_14psi", "2026-04-18 13:40")
RETURN = ("2026-04-18_7_small_14psi_return", "2026-04-18 16:00")


@pytest.fixture(scope="module")
def demo():
    return compare(demo_side("Small", SMALL), demo_side("Large", LARGE))


def test_demo_difference_is_the_true_one(demo):
    """Where the turbo is up, the true difference lies in the band at 19 of 20 speeds or so."""
    truth = pd.read_csv(DEMO / "truth/curves.csv")
    small, large = (
        truth[truth.run == log].set_index("speed_rpm").torque_nm for log in (SMALL[0], LARGE[0])
    )
    gain = demo.gains["torque_nm"]
    at = (demo.speed_rpm >= 4000) & (demo.speed_rpm <= 6500)
    true = (large - small)[demo.speed_rpm[at]].to_numpy()
    # The true curves hold this day's scatter; the torque cell's own drift (0.4 %) is not in them.
    missed = np.abs(gain.difference[at] - true) > gain.half_width[at] + 0.004 * 500
    assert missed.mean() < 0.1


def test_demo_story_is_told(demo):
    said = texts(demo)
    (small,), (large,) = (
        [x for x in p.crossings if x.rising][-1:] for p in (demo.pressures_a, demo.pressures_b)
    )
    assert 3200 < small.speed_rpm < 3700
    assert 5300 < large.speed_rpm < 5900
    (crossover,) = demo.crossovers["power_w"]
    assert crossover.speed_rpm == pytest.approx(3550, abs=100)
    assert "Small leads below" in said["crossover power"].text
    assert "Large makes" in headline(demo, "US")
    assert "hp more at" in headline(demo, "US")
    assert "kW more at" in headline(demo, "SI")


def test_demo_spark_and_mixture_come_from_the_other_logger(demo):
    """The controller's log of the same pulls, on its own clock and at another rate."""

    def with_ecu(side, log):
        raw = pd.read_csv(DEMO / f"runs/{log}_ecu.csv")
        names = {"Time [s]": "time_s", "RPM": "speed_rpm", "TPS [%]": "throttle"}
        names |= {"Lambda": "lam", "Ignition [°BTDC]": "spark_deg"}
        frame = raw.rename(columns=names)[list(names.values())].astype(float)
        others = repeats_of(f"{log}_ecu", frame, find_pulls(frame), 100)
        return Side(side.name, joined(side.repeats, others))

    c = compare(with_ecu(demo.a, SMALL[0]), with_ecu(demo.b, LARGE[0]))
    assert c.like_for_like is False  # while Small is on boost and Large is not
    truth = pd.read_csv(DEMO / "truth/curves.csv")
    true = truth[truth.run == LARGE[0]].set_index("speed_rpm")
    at = (c.speed_rpm >= 4000) & (c.speed_rpm <= 6500)
    np.testing.assert_allclose(c.channels_b["lam"][at], true.lam[c.speed_rpm[at]], atol=0.02)
    np.testing.assert_allclose(
        c.channels_b["spark_deg"][at], true.spark_deg[c.speed_rpm[at]], atol=0.15
    )
    assert all(u.ranges[-1][1] < 3900 for u in c.unlike)
    held = compare(c.a, c.b, Settings(low_rpm=4000, high_rpm=6500))
    assert held.like_for_like is True
    assert c.a.repeats[0].also == ((f"{SMALL[0]}_ecu", ""),)


def test_other_pulls_are_not_joined():
    one = three("A", 400.0).repeats
    with pytest.raises(ValueError, match="accept the same ones in both"):
        joined(one, side("B", grid(lam=0.85)).repeats)
    fast = side("B", *(grid(lam=0.85) for _ in range(3)), sweep=450.0).repeats
    with pytest.raises(ValueError, match=r"pull 1 of runs/B\.csv is not pull 1 of runs/A\.csv"):
        joined(one, fast)


def test_demo_return_corrects_drift(demo):
    c = compare(demo_side("Small", SMALL, RETURN), demo_side("Large", LARGE))
    assert c.drift_corrected
    assert c.average["power_w"].drift < 0  # the day gets warmer
    assert c.average["power_w"].difference > demo.average["power_w"].difference


def test_demo_single_pull_day_says_what_is_wrong_with_it():
    large = demo_side("Large", ("2026-04-18_6_large_20psi", "2026-04-18 14:10"))
    june = demo_side("Retuned", ("2026-06-06_1_large_20psi_retuned", "2026-06-06 11:30"))
    c = compare(large, june)
    assert texts(c)["average power"].evidence == CANNOT_TELL
    assert any("sweep rates differ" in w for w in c.warnings)
    assert any("different days" in w for w in c.warnings)


def test_a_date_that_cannot_be_read_is_said(demo):
    with pytest.raises(ValueError, match="started 'last week': write date and time like"):
        repeats_of("x", pd.DataFrame({"speed_rpm": [1.0]}), [], started="last week")


def test_smoothing_is_for_charts_only(demo):
    smooth = compare(demo.a, demo.b, Settings(smoothing=9))
    np.testing.assert_array_equal(
        smooth.gains["torque_nm"].difference, demo.gains["torque_nm"].difference
    )
    assert smooth.peaks == demo.peaks
    assert Settings().smoothing == 1


# ---- boost against back pressure in words ---------------------------------------------------


def back_words(boost_pa, back_pa):
    """What is said of a side with this boost and back pressure (gauge), along SPEED."""
    cell = 98e3
    channels = {"p_manifold_pa": cell + boost_pa, "p_exhaust_pa": cell + back_pa}
    sides = (three(n, 400.0, p_cell_pa=cell, **channels) for n in "AB")
    return texts(compare(*sides))["back pressure A"].text


def test_every_crossing_of_boost_and_back_pressure_is_told():
    x = (SPEED - 3000) / 3000
    boost = np.full(len(SPEED), 100e3)
    assert "is above boost throughout" in back_words(boost, boost + 30e3)
    assert "stays below boost" in back_words(boost, boost - 30e3)
    falls = back_words(boost, boost + 60e3 - 80e3 * x)
    assert "back pressure falls below boost at 5250 rpm;" in falls
    both = back_words(boost, boost + 100e3 * (x - 0.25) * (x - 0.75))
    assert "falls below boost at 3752 rpm and passes boost at 5248 rpm;" in both


def test_without_boost_nothing_is_said_of_passing_it():
    words = back_words(np.full(len(SPEED), -20e3), np.full(len(SPEED), 15e3))
    assert "cannot be judged: there was no boost in the range" in words


# ---- a range of averages with too few speeds ------------------------------------------------


@pytest.mark.parametrize("low, high", [(4010, 4050), (3990, 4010)])
def test_a_range_with_fewer_than_two_speeds_is_refused_in_words(low, high):
    with pytest.raises(ValueError, match=f"from {low} to {high} rpm: fewer than two .*wider range"):
        compare(three("A", 400.0), three("B", 412.0), Settings(low_rpm=low, high_rpm=high))


def test_pulls_that_share_one_speed_are_refused_in_words():
    below = side("A", grid(SPEED[SPEED <= 4000], torque_nm=400.0))
    above = side("B", grid(SPEED[SPEED >= 4000], torque_nm=412.0))
    with pytest.raises(ValueError, match="every pull covers 4000 rpm and no other engine speed"):
        compare(below, above)
