import numpy as np
import pytest

from toolkit.analysis.questions import QUESTIONS, answerable
from toolkit.analysis.repeats import Repeat, Side
from toolkit.analysis.session import session
from toolkit.logs.channels import CHANNELS
from toolkit.logs.grid import Grid

SPEED = np.arange(4000.0, 6600.0, 100.0)


def test_every_channel_a_question_names_is_one_of_ours():
    for need in QUESTIONS:
        assert {c for group in need.needs for c in group} | set(need.better) <= set(CHANNELS)


def test_a_question_without_its_channel_says_what_to_log():
    by_question = {a.question: a for a in answerable(["speed_rpm", "torque_nm", "p_manifold_pa"])}
    crossing = by_question["Where does back pressure pass boost?"]
    assert not crossing.can
    assert crossing.advice == "log exhaust manifold pressure"
    assert by_question["Which set-up makes more, and where?"].can


def test_either_of_a_group_is_enough():
    (fuel,) = (a for a in answerable(["injector_time_s"]) if a.question == "Is there fuel enough?")
    assert fuel.can


def repeat(power_hp, hour, oil_k=360.0, sweep=400.0):
    power = np.full(len(SPEED), power_hp * 745.7)
    mean = {"speed_rpm": SPEED, "power_w": power, "t_oil_k": np.full(len(SPEED), oil_k)}
    rows = np.full(len(SPEED), 5)
    grid = Grid(SPEED, rows, mean, mean, dict.fromkeys(mean, rows))
    return Repeat("runs/x.csv", 1, grid, sweep, hour, "2026-04-18")


@pytest.fixture
def day():
    # An A-B-A day of the team's: heat soak takes 1.5 hp an hour from A.
    a = [repeat(702.1, 9, 362), repeat(700.3, 10, 368), repeat(694.6, 14, 382)]
    return session([Side("A", tuple(a)), Side("B", (repeat(710.8, 11, sweep=460),))])


def test_pulls_stand_in_the_order_of_the_day(day):
    assert [p.setup for p in day.pulls] == ["A", "A", "B", "A"]
    assert day.pulls[0].power_w == pytest.approx(702.1 * 745.7)
    assert day.range_rpm == (4000, 6500)


def test_drift_is_the_least_squares_line(day):
    expected = np.polyfit([9, 10, 14], [702.1, 700.3, 694.6], 1)[0]
    drift, half = day.drift("A")
    assert drift / 745.7 == pytest.approx(expected, rel=1e-6) and half > 0
    assert np.isnan(day.drift("B")).all()
    assert np.isnan(day.drift("A", 5.1 * 3600)).all()  # the three pulls span five hours


def test_why_two_pulls_may_not_be_compared(day):
    assert day.apart(0, 1) == ()
    assert [words for _, words, _ in day.apart(0, 3)] == ["oil"]
    assert [words for _, words, _ in day.apart(0, 2)] == ["sweep rate"]
    assert day.apart(0, 2, sweep_limit=0.16) == ()


def test_pulls_that_share_no_speed_are_refused():
    low = repeat(700, 9)
    grid = Grid(SPEED - 4000 + 500, low.grid.rows, low.grid.mean, low.grid.sd, low.grid.count)
    with pytest.raises(ValueError, match="overlap"):
        session([Side("A", (low,)), Side("B", (Repeat("y", 1, grid, 400.0),))])
