"""The desk of a review: what is kept, what is forgotten, and what is never written."""

import shutil
from dataclasses import replace

import numpy as np
import pytest

from toolkit import preferences
from toolkit.analysis.sides import opened
from toolkit.bench import Bench, BenchError
from toolkit.logs.asking import NONE
from toolkit.logs.decided_pulls import candidates
from toolkit.logs.notes import CurveNote
from toolkit.logs.question import LogError
from toolkit.logs.review import Review
from toolkit.logs.signs import Limits
from toolkit.panels.base import UNITS
from toolkit.panels.log_air import AirPanel
from toolkit.panels.log_clocks import ClocksPanel
from toolkit.panels.log_curves import CurvesPanel
from toolkit.panels.log_desk import Desk
from toolkit.panels.log_pulls import PullsPanel
from toolkit.panels.log_signs import SignsPanel

SMALL = "runs/2026-04-18_3_small_20psi_dyno.csv"
TWICE = "runs/bad/duplicate_names.csv"


@pytest.fixture
def bench(tmp_path):
    shutil.copytree(preferences.DEMO_BENCH / "runs", tmp_path / "runs")
    return Bench(tmp_path)


@pytest.fixture
def desk(bench):
    desk = Desk(bench)
    desk.open(SMALL)
    return desk


def place_of_pull(desk, number):
    return [i for i, s in enumerate(desk.state.stretches) if s.label == "pull"][number - 1]


def test_opening_and_deciding_write_nothing(desk, bench):
    before = {p: p.read_bytes() for p in bench.folder.rglob("*") if p.is_file()}
    desk.accept(place_of_pull(desk, 2), False)
    assert desk.unsaved and desk.state.pulls.numbers == (1, 3)
    assert {p: p.read_bytes() for p in bench.folder.rglob("*") if p.is_file()} == before


def test_what_is_saved_is_found_again(desk, bench):
    note = CurveNote("soft here", "torque_nm", "speed_rpm", 4000.0, 4000.0, 600.0, 1)
    desk.accept(place_of_pull(desk, 2), False)
    desk.change(desk.state.with_notes(desk.state.notes.add(note)))
    desk.save("SI")
    assert not desk.unsaved
    again = Desk(bench)
    again.open(SMALL)
    assert again.state.pulls.numbers == (1, 3)
    assert again.state.notes.items[-1].words == "soft here"
    assert not again.unsaved


def test_decisions_on_columns_leave_pulls_and_notes(desk):
    desk.accept(place_of_pull(desk, 1), False)
    desk.answer(("columns", "Torque (lb-ft)", "unit"), "N*m")
    assert desk.state.pulls.numbers == (2, 3)
    assert desk.state.run.source("torque_nm").unit == "N*m"


def test_a_log_that_cannot_be_read_leaves_the_last_one(desk):
    state = desk.state
    with pytest.raises(LogError, match="row 2 has 3 cells"):
        desk.open("runs/bad/extra_cells.csv")
    assert desk.state is state and desk.asked == ()


def test_another_log_keeps_what_was_decided_about_the_first(desk):
    desk.accept(place_of_pull(desk, 1), False)
    desk.open(TWICE)
    assert len(desk.asked) == 2
    desk.open(SMALL)
    assert desk.state.pulls.numbers == (2, 3) and desk.unsaved
    desk.open(SMALL, afresh=True)
    assert desk.state.pulls.numbers == (1, 2, 3) and not desk.unsaved


def test_an_answer_closes_its_question(desk):
    desk.open(TWICE)
    key = desk.asked[0].key
    desk.answer(key, "p_exhaust_pa")
    assert key not in [q.key for q in desk.asked]
    assert desk.unsaved


def test_a_file_that_asks_before_it_can_be_read_is_read_once_answered(desk, bench):
    (bench.folder / "runs/open.csv").write_text(
        "time_s;torque_nm\n" + "".join(f"{i};1,{100 + i}\n" for i in range(9))
    )
    state = desk.state
    desk.open("runs/open.csv")
    assert desk.state is state
    [question] = desk.asked
    assert question.key == ("file", "decimal")
    desk.answer(question.key, "comma")
    assert desk.state.run.name == "runs/open.csv"
    assert desk.state.run.frame["torque_nm"].iloc[0] == pytest.approx(1.1)
    assert desk.unsaved


def test_saving_without_a_log_or_into_a_folder_that_refuses_is_a_sentence(bench, desk, monkeypatch):
    with pytest.raises(LogError, match="no log is open"):
        Desk(bench).save("SI")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("toolkit.bench.atomic_save", refuse)
    desk.accept(place_of_pull(desk, 2), False)
    with pytest.raises(BenchError, match=r"could not be saved .*nothing was changed"):
        desk.save("SI")
    assert desk.unsaved


def test_limits_of_signs_are_saved_and_used_wherever_the_log_is_opened(desk, bench):
    desk.open(SMALL)
    limits = replace(desk.state.limits, flutter_pa=12e3, lean=0.95)
    desk.change(replace(desk.state, limits=limits))
    assert desk.unsaved
    desk.save("US")
    assert not desk.unsaved
    kept = Review.load(bench, SMALL).limits
    assert kept == {"lean": "0.95", "flutter_pa": "12 kPa"}
    again = Desk(bench)
    again.open(SMALL)
    assert again.state.limits == limits
    assert Limits.from_strings(opened(bench, SMALL).run.review.limits) == limits
    for wrong, words in (({"leaner": "1"}, "no 'leaner'"), ({"lean": "often"}, "limits: ")):
        with pytest.raises(LogError, match=words):
            Limits.from_strings(wrong)


def test_a_note_on_the_trace_keeps_its_time_and_the_value_under_it(desk, bench):
    desk.open(SMALL)
    pulls, curves = PullsPanel(desk), CurvesPanel(desk)
    form, frame = pulls.form, desk.state.run.frame
    before = len(desk.state.notes.items)
    form.channel.value = "p_exhaust_pa"
    form.at.type("12.5 s")
    form.words.value = "gate rattles"
    form.put.click()
    assert pulls.trouble.value == ""
    note = desk.state.notes.items[-1]
    row = np.argmin(np.abs(frame["time_s"] - 12.5))
    assert (note.axis, note.start, note.pull) == ("time_s", 12.5, 0)
    assert note.value == pytest.approx(frame["p_exhaust_pa"].iloc[row])
    drawn = [m.text for p in pulls.slot.drawn.picture.panels for m in p.marks]
    assert "gate rattles" in drawn
    assert "gate rattles" not in str(curves.form.which.control.options)
    # A sweep takes a range; undo and redo by their buttons, which the keys reach as well.
    pulls._sweep(0, 10.004, 12.006)
    assert (form.at.value, form.to.value) == (10.0, 12.01)
    form.undo.click()
    assert len(desk.state.notes.items) == before
    form.redo.click()
    desk.save("US")
    kept = Review.load(bench, SMALL).notes[-1]
    assert kept["axis"] == "time_s" and kept["at"].startswith("12.5")
    # What was edited is not left standing, to be put a second time.
    form.which.value = len(desk.state.notes.items) - 1
    form.words.value += ", then stops"
    form.put.click()
    assert desk.state.notes.items[-1].words == "gate rattles, then stops"
    assert (form.words.value, len(desk.state.notes.items)) == ("", before + 1)
    form.which.value = len(desk.state.notes.items) - 1
    form.delete.click()
    assert len(desk.state.notes.items) == before


def test_a_tap_on_the_trace_takes_the_nearest_curve(desk):
    desk.open(SMALL)
    pulls = PullsPanel(desk)
    curve = pulls.slot.drawn.curves[0][0]
    place = len(curve.x) // 2
    pulls._tap(0, curve.x[place], curve.y[place])
    assert pulls.form.channel.value == curve.channel
    assert pulls.form.at.value == pytest.approx(curve.x[place])


def test_signs_count_pulls_as_the_list_does_and_use_the_barometer_that_was_typed(desk, bench):
    desk.accept(place_of_pull(desk, 1), False)
    said = [s.sentence for s in desk.signs("US") if s.name == "boost falls"]
    assert [text.split(" boost")[0] for text in said] == ["In pull 2", "In pull 3"]
    desk.answer(("columns", "Barometer (inHg)", "channel"), NONE)
    desk.answer(("weather", "barometer"), "29.8 inHg")
    typed = [s.sentence for s in desk.signs("US") if s.name == "boost falls"]
    assert typed == said
    desk.save("US")
    again = [s.sentence for s in opened(bench, SMALL).signs("US") if s.name == "boost falls"]
    assert again == typed


def test_a_note_keeps_its_pull_when_another_stretch_is_used(desk, bench):
    pulls = PullsPanel(desk)
    for place in (5, 1):  # idle and idle, the later first
        before = {p: n for n, p in candidates(desk.state.stretches)}
        pulls.other.control.value = place
        assert {p: n for n, p in candidates(desk.state.stretches)}.items() >= before.items()
    assert desk.state.pulls.numbers == (5, 1, 8, 2, 3)
    desk.save("SI")
    again = Desk(bench)
    again.open(SMALL)
    assert again.state.pulls.numbers == (5, 1, 8, 2, 3)


def test_what_is_decided_while_another_log_waits_is_about_the_one_that_is_shown(desk, bench):
    (bench.folder / "runs/open.csv").write_text(
        "time_s;torque_nm\n" + "".join(f"{i};1,{100 + i}\n" for i in range(9))
    )
    desk.open("runs/open.csv")
    asked = desk.asked
    desk.answer(("columns", "Torque (lb-ft)", "unit"), "N*m")
    assert desk.state.run.name == SMALL and desk.state.run.source("torque_nm").unit == "N*m"
    desk.accept(place_of_pull(desk, 1), False)
    assert desk.asked == asked
    desk.answer(asked[0].key, "comma")
    assert desk.state.run.name == "runs/open.csv"
    assert desk.state.run.review.columns == {}


def test_pulls_stay_refused_while_no_column_is_the_engine_speed(desk, bench):
    speed = ("columns", "Engine Speed (rpm)", "channel")
    desk.accept(place_of_pull(desk, 2), False)
    desk.answer(speed, NONE)
    assert desk.state.no_pulls
    desk.answer(("columns", "Torque (lb-ft)", "unit"), "N*m")
    desk.save("SI")
    assert [p["accepted"] for p in Review.load(bench, SMALL).pulls] == ["yes", "no", "yes"]
    again = Desk(bench)
    again.open(SMALL)
    for one in (desk, again):
        one.answer(speed, "speed_rpm")
        assert one.state.pulls.numbers == (1, 3)


def test_how_the_engine_is_fired_is_saved(desk, bench):
    air = AirPanel(desk)
    air.diesel.control.value = True
    assert air.trouble.value == "" and desk.state.tested.compression_ignition and desk.unsaved
    desk.save("SI")
    assert Review.load(bench, SMALL).test["ignition"] == "compression"
    again = Desk(bench)
    other = AirPanel(again)
    again.open(SMALL)
    assert other.diesel.value is True and not again.unsaved
    other.diesel.control.value = False
    assert "ignition" not in again.state.run.review.test
    wrong = again.state.run.review.answered(("test", "ignition"), "glow")
    with pytest.raises(LogError, match="ignition 'glow': write spark or compression"):
        again.decide(wrong)


def test_air_that_cannot_be_shown_leaves_the_fields_in_use(desk):
    air = AirPanel(desk)
    wrong = replace(desk.state.run.review, power_reference="SAE J9999")
    desk.decide(wrong)
    assert not air._quiet


def test_a_note_needs_a_curve_under_it(desk):
    curves = CurvesPanel(desk)
    form, before = curves.form, len(desk.state.notes.items)
    form.words.value = "far out"
    form.at.type("12000 rpm")
    form.put.click()
    assert "no value at 12000 rpm: choose a place on it" in curves.trouble.value
    assert len(desk.state.notes.items) == before


def test_a_note_on_a_refused_pull_can_be_chosen_and_reworded(desk):
    note = CurveNote("soft here", "torque_nm", "speed_rpm", 4000.0, 4000.0, 600.0, 2)
    desk.change(desk.state.with_notes(desk.state.notes.add(note)))
    desk.accept(place_of_pull(desk, 2), False)
    curves = CurvesPanel(desk)
    form, place = curves.form, len(desk.state.notes.items) - 1
    form.which.value = place
    assert (curves.trouble.value, form.pull.value, form.words.value) == ("", 2, "soft here")
    form.words.value = "soft, as the gate opens"
    form.put.click()
    assert curves.trouble.value == ""
    assert desk.state.notes.items[place] == replace(note, words="soft, as the gate opens")
    form.which.value = place
    form.at.type("4200 rpm")
    form.put.click()
    assert "pull 2 is not used: tick it in the list" in curves.trouble.value
    assert desk.state.notes.items[place].start == 4000.0
    lost = replace(note, channel="lam", pull=0)
    desk.change(desk.state.with_notes(desk.state.notes.edit(place, lost)))
    form.which.value = -1
    form.which.value = place
    assert "stands on lambda, which is not drawn here" in curves.trouble.value
    form.delete.click()
    assert len(desk.state.notes.items) == place


def test_a_standard_that_is_not_for_this_engine_is_a_sentence(desk):
    curves, air = CurvesPanel(desk), AirPanel(desk)
    curves.beside.control.value = "SAE J1349"
    air.diesel.control.value = True
    assert curves.trouble.value == ""
    assert curves.beside.words == (
        "SAE J1349 is not for this engine: choose another, or change its ignition."
    )


def test_a_clock_moved_by_hand_shows_its_own_misfit(desk):
    clocks = ClocksPanel(desk)
    clocks._take(None)
    assert clocks.trouble.value == "" and clocks.other.value.endswith("_ecu.csv")
    fitted = clocks.fit.misfit_rpm
    clocks.by.type("0.5 s")
    assert clocks.fit.misfit_rpm > 5 * fitted
    assert f"misfit {clocks.fit.misfit_rpm:.0f} rpm" in clocks.slot.drawn.picture.method


def test_a_saved_clock_that_cannot_be_read_is_a_sentence(desk):
    clocks = ClocksPanel(desk)
    desk.decide(replace(desk.state.run.review, clock={"rate": "1"}))
    clocks._take(None)
    clocks.redraw()
    assert clocks.trouble.value == ""
    assert "The review&#x27;s clock has no offset" in clocks.status.value


def test_the_list_of_pulls_tells_the_speeds_in_force(desk):
    pulls = PullsPanel(desk)
    assert pulls.boxes[1].description == "pull 1: 2198 to 6702 rpm"
    desk.answer(("columns", "Engine Speed (rpm)", "offset"), "100 rpm")
    assert pulls.boxes[1].description == "pull 1: 2298 to 6802 rpm"
    desk.change(replace(desk.state, lost=("The pull saved as lines 3 to 9 is not found.",)))
    assert "lines 3 to 9" in str([getattr(row, "value", "") for row in pulls.list.children])


def test_a_limit_is_shown_as_it_is(desk):
    signs, system = SignsPanel(desk), UNITS.system
    try:
        UNITS.system = "US"
        signs.limit.control.value = "flutter_pa"
        field = signs.value.control
        field.value = "0.24 psi"
        assert field.value == "0.24 psi"
        field.value = "0.2 psi"
        assert desk.state.limits.flutter_pa == pytest.approx(0.2 * 6894.757)
        field.value = "abc"
        assert "abc" in signs.trouble.value and field.value == "0.2 psi"
        field.value = "-1 psi"
        assert "no limit" in signs.trouble.value and field.value == "0.2 psi"
    finally:
        UNITS.system = system
