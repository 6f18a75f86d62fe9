import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.physics.cam import (
    CAMS,
    Cam,
    LiftTable,
    Lobe,
    exhaust_lobe,
    intake_lobe,
    lobe_pair,
)


def test_opening_and_closing_angles_are_where_the_card_says():
    lobe = intake_lobe(opens_btdc=12, closes_abdc=48, lift_m=0.010)
    assert (lobe.opens_deg, lobe.closes_deg) == (348, 588)
    lobe = exhaust_lobe(opens_bbdc=50, closes_atdc=6, lift_m=0.009)
    assert (lobe.opens_deg, lobe.closes_deg) == (130, 366)


def test_duration_of_a_cam_card():
    # Definitions of the trade (common practice): duration = opening + 180 + closing,
    # intake centre = duration / 2 - opening, separation = mean of the two centres.
    lobe = intake_lobe(10, 50, 0.010)
    assert lobe.duration_deg == 10 + 180 + 50
    assert lobe.centre_deg - 360 == lobe.duration_deg / 2 - 10


@pytest.mark.parametrize(("lift_mm", "ramp"), [(1.0, 24), (1.27, 30), (0.15, 10)])
def test_timing_at_a_stated_lift_holds_at_that_lift(lift_mm, ramp):
    lobe = intake_lobe(4, 36, 0.0105, at_lift_m=lift_mm / 1000, ramp_deg=ramp)
    assert lobe.span_at(lift_mm / 1000) == pytest.approx((356, 576), abs=1e-9)
    assert lobe.at([356, 576]) == pytest.approx(lift_mm / 1000, rel=1e-9)
    assert (lobe.opens_deg, lobe.closes_deg) == (356 - ramp, 576 + ramp)


def test_an_unstated_ramp_is_a_plain_lobes():
    lobe = intake_lobe(4, 36, 0.0105, at_lift_m=0.001)
    assert lobe.fullness == intake_lobe(4, 36, 0.0105).fullness
    assert lobe.at([356, 576]) == pytest.approx(0.001, rel=1e-9)


def test_a_ramp_no_lobe_could_have_is_refused_by_name():
    with pytest.raises(ValueError, match="ramp_deg is 2 deg: too short"):
        intake_lobe(4, 36, 0.0105, at_lift_m=0.001, ramp_deg=2)
    with pytest.raises(ValueError, match="ramp_deg is 100 deg: too long"):
        intake_lobe(4, 36, 0.0105, at_lift_m=0.001, ramp_deg=100)


def test_lobe_centres_and_events_are_two_ways_to_say_one_cam():
    pair = lobe_pair(248, 252, separation=110, advance=4, lift_in_m=0.010, lift_ex_m=0.0095)
    opens, closes = pair.intake.opens_deg, pair.intake.closes_deg
    assert intake_lobe(360 - opens, closes - 540, 0.010) == pair.intake
    opens, closes = pair.exhaust.opens_deg, pair.exhaust.closes_deg
    assert exhaust_lobe(180 - opens, closes - 360, 0.0095) == pair.exhaust
    # Seat overlap in crank degrees = mean duration - 2 x separation (geometry).
    assert pair.overlap_deg == pytest.approx((248 + 252) / 2 - 2 * 110)


def test_lift_table_returns_its_rows_and_is_shut_between_cycles():
    angles = tuple(np.linspace(340, 600, 27))
    lobe = Lobe(340, 600, 0.011)
    lifts = lobe.at(angles)
    typed = LiftTable(angles, tuple(lifts))
    assert typed.at(angles) == pytest.approx(lifts)
    assert typed.at([0, 300, 620 - 720]) == pytest.approx(0)
    assert typed.at(-130) == pytest.approx(typed.at(590))  # the same crank position
    assert typed.span_at(0.001) == pytest.approx(lobe.span_at(0.001), abs=1)


@pytest.mark.parametrize(
    ("angles", "lifts", "words"),
    [
        ((0, 10), (0, 0), "three or more"),
        ((0, 10, 5), (0, 0.01, 0), "must rise"),
        ((0, 10, 20), (0, 0.01, 0.01), "valve shut"),
        ((0, 10, 20), (0, 0.2, 0), "lift is 0.2 m"),
    ],
)
def test_a_bad_lift_table_is_refused(angles, lifts, words):
    with pytest.raises(ValueError, match=words):
        LiftTable(angles, lifts)


def test_moving_a_cam_moves_every_angle():
    cam = CAMS["turbo"]
    moved = cam.moved(intake_deg=-10, exhaust_deg=5)
    assert moved.intake.opens_deg == cam.intake.opens_deg - 10
    assert moved.overlap_deg == cam.overlap_deg + 15
    typed = LiftTable((340.0, 470.0, 600.0), (0, 0.01, 0)).moved(7)
    assert typed.angle_deg == (347.0, 477.0, 607.0)


def test_described_shapes_span_from_mild_to_long_overlap():
    assert [CAMS[name].overlap_deg for name in CAMS] == [16, 40, 70]


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    opens=st.floats(-30, 60),
    closes=st.floats(0, 90),
    lift_mm=st.floats(4, 16),
    angle=st.floats(-180, 540),
)
def test_lift_stays_within_its_limits_and_repeats(opens, closes, lift_mm, angle):
    lobe = intake_lobe(opens, closes, lift_mm / 1000)
    assert 0 <= lobe.at(angle) <= lift_mm / 1000 * (1 + 1e-12)
    assert lobe.at(angle) == pytest.approx(float(lobe.at(angle + 720)), abs=1e-12)
    cam = Cam(lobe, exhaust_lobe(50, 10, 0.01))
    assert cam.overlap_deg == pytest.approx(opens + 10)
