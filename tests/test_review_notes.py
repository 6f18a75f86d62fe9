"""Notes of the log reviews in a comparison: along engine speed, and on the chart."""

from dataclasses import replace

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.analysis.compare import compare
from toolkit.analysis.review_notes import PlacedNote, along_speed, notes_of
from toolkit.analysis.sides import opened, side
from toolkit.bench import Bench
from toolkit.charts.comparison import picture
from toolkit.logs.notes import CurveNote, Notes
from toolkit.logs.pulls import pulls_of
from toolkit.logs.review import Review
from toolkit.panels.back_to_back import BackToBackPanel

DEMO = ROOT / "data_demo"
DYNO, ECU = (f"runs/2026-04-18_2_small_14psi_{logger}.csv" for logger in ("dyno", "ecu"))
OTHER = "runs/2026-04-18_5_large_14psi_dyno.csv"


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "runs").mkdir()
    for name in (DYNO, ECU, OTHER):
        (tmp_path / name).write_bytes((DEMO / name).read_bytes())
    return Bench(tmp_path)


def noted(bench, log, *notes):
    review = Review.load(bench, log)
    items = Notes.of(review)
    for note in notes:
        items = items.add(note)
    items.into(review, "SI").save(bench, log)


def at(words, channel, axis, start, stop=None):
    return CurveNote(words, channel, axis, start, start if stop is None else stop)


def test_a_time_becomes_the_speed_of_that_moment(bench):
    one = opened(bench, DYNO, with_partner=False)
    second = pulls_of(one.stretches)[1]
    frame = one.run.frame.iloc[second.rows]
    row = frame.iloc[len(frame) // 2]
    moved = along_speed(at("here", "torque_nm", "time_s", row.time_s), one)
    assert (moved.axis, moved.pull, moved.start) == ("speed_rpm", 2, row.speed_rpm)
    some = frame[(frame.speed_rpm > 4000) & (frame.speed_rpm < 5000)]
    wide = along_speed(at("dip", "lam", "time_s", some.time_s.min(), some.time_s.max()), one)
    assert (wide.start, wide.stop) == (some.speed_rpm.min(), some.speed_rpm.max())
    # Outside every pull, or along speed already: unchanged.
    for note in (at("off", "lam", "time_s", 0.1), at("there", "lam", "speed_rpm", 4000.0)):
        assert along_speed(note, one) is note


def test_notes_of_both_loggers_and_axes_reach_the_comparison(bench):
    one = opened(bench, DYNO)
    pull = pulls_of(one.stretches)[0]
    middle = one.run.frame.iloc[(pull.start + pull.stop) // 2]
    noted(bench, DYNO, at("soft here", "torque_nm", "time_s", middle.time_s))
    noted(bench, ECU, at("spark steps", "spark_deg", "speed_rpm", 4000.0, 4500.0))
    noted(bench, OTHER, at("before the pull", "torque_nm", "time_s", 0.2))
    made = compare(*(side(n, [opened(bench, log)], step_rpm=100.0)
                     for n, log in (("Small", DYNO), ("Large", OTHER))))  # fmt: skip
    notes = notes_of(bench, made)
    assert [(n.side, n.note.words) for n in notes] == [
        ("a", "soft here"), ("a", "spark steps"), ("b", "before the pull"),
    ]  # fmt: skip
    drawn = picture(made, "US", "torque_nm", notes)
    (mark,) = drawn.panels[0].marks
    assert (mark.text, mark.x) == ("soft here", middle.speed_rpm)
    level = np.interp(mark.x, made.speed_rpm, made.gains["torque_nm"].level_a)
    assert mark.y == pytest.approx(level / 1.3558179, rel=1e-6)
    assert drawn.notes == (
        "spark steps (Small, spark advance at 4000 to 4500 rpm)",
        "before the pull (Large, torque at 0.20 s)",
    )
    # A log that is gone: the words of its notes stay.
    bench.file(DYNO).unlink()
    assert next(n.note.words for n in notes_of(bench, made)) == "soft here"
    # A smoothed curve carries its notes.
    smooth = replace(made, settings=replace(made.settings, smoothing=9))
    placed = PlacedNote("a", at("top", "torque_nm", "speed_rpm", 3500.0))
    (high,), (low,) = (picture(c, "SI", "torque_nm", [placed]).panels[0].marks
                       for c in (made, smooth))  # fmt: skip
    assert high.y != low.y


def test_the_comparison_shows_them_and_they_can_be_hidden(bench):
    noted(bench, DYNO, at("soft here", "torque_nm", "speed_rpm", 4000.0),
          at("spark steps", "spark_deg", "speed_rpm", 4000.0))  # fmt: skip
    panel = BackToBackPanel(bench.folder, a=(DYNO,), b=(OTHER,))
    assert [m.text for m in panel.chart.picture.panels[0].marks] == ["soft here"]
    assert "Note: spark steps (" in panel.notes.value
    panel.with_notes.value = False
    assert not panel.chart.picture.panels[0].marks
    assert "Note:" not in panel.notes.value
    # Notes that were saved since are there when other runs are chosen.
    panel.with_notes.value = True
    noted(bench, DYNO, at("late", "torque_nm", "speed_rpm", 5000.0))
    panel.a.name.value = "Little"
    assert [m.text for m in panel.chart.picture.panels[0].marks] == ["soft here", "late"]
