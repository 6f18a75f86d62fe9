import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.logs.channels import CHANNELS
from toolkit.logs.notes import Curve, CurveNote, Notes, nearest, value_under
from toolkit.logs.question import LogError
from toolkit.logs.review import Review

DIP = CurveNote("lean dip", "lam", "speed_rpm", 4200.0, 4200.0, 0.91, 2)
HILL = CurveNote("boost falls", "p_manifold_pa", "speed_rpm", 5000.0, 6500.0, 231.4e3)


def test_every_change_can_be_undone_and_done_again():
    states = [Notes()]
    states.append(states[-1].add(DIP))
    states.append(states[-1].add(HILL))
    states.append(states[-1].edit(0, HILL))
    states.append(states[-1].delete(1))
    assert [len(s.items) for s in states] == [0, 1, 2, 2, 1]
    now = states[-1]
    for before in reversed(states[:-1]):
        now = now.undo()
        assert now.items == before.items
    assert now.undo() is now
    for after in states[1:]:
        now = now.redo()
        assert now.items == after.items
    assert now.redo() is now


def test_a_change_after_an_undo_forgets_what_was_undone():
    notes = Notes().add(DIP).undo().add(HILL)
    assert notes.items == (HILL,)
    assert notes.redo() is notes


@settings(derandomize=True, max_examples=100)
@given(st.lists(st.sampled_from(["add", "delete", "undo", "redo"]), max_size=30))
def test_undo_after_any_change_gives_what_stood_before(steps):
    notes = Notes()
    for step in steps:
        if step == "delete" and not notes.items:
            continue
        before = notes.items
        args = {"add": (DIP,), "delete": (0,)}.get(step, ())
        notes = getattr(notes, step)(*args)
        if step in ("add", "delete"):
            assert notes.undo().items == before


@pytest.mark.parametrize("system", ["US", "SI"])
@pytest.mark.parametrize("note", [DIP, HILL], ids=["point", "range"])
def test_a_note_survives_the_review_file(note, system):
    [again] = Notes.of(Notes((note,)).into(Review(), system)).items
    assert (again.words, again.channel, again.axis, again.pull) == (
        note.words, note.channel, note.axis, note.pull,
    )  # fmt: skip
    assert (again.start, again.stop) == (note.start, note.stop)
    assert again.value == pytest.approx(note.value, rel=1e-9)


def test_a_note_stands_in_the_review_as_text_with_units():
    [strings] = Notes((HILL,)).into(Review(), "SI").notes
    assert strings["at"] == "5000 rpm" and strings["to"] == "6500 rpm"
    assert strings["value"] == "231.4 kPa"
    assert all(isinstance(v, str) for v in strings.values())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"words": ""}, "no 'words'"),
        ({"channel": "torque"}, "'torque'"),
        ({"axis": "row"}, "'row'"),
        ({"at": "4200 psi"}, "4200 psi"),
        ({"to": "4000 rpm"}, "must end after it starts"),
        ({"pull": "two"}, "pull 'two'"),
        ({"colour": "red"}, "'colour'"),
    ],
)
def test_a_note_that_cannot_be_used_is_named(changes, words):
    strings = DIP.to_strings() | changes
    with pytest.raises(LogError, match="note 2 of the review") as error:
        Notes.of(Review(notes=(DIP.to_strings(), strings)))
    assert words in str(error.value)


def test_a_place_that_is_not_there_is_refused():
    with pytest.raises(LogError, match="there is no note 3: there are 1"):
        Notes((DIP,)).delete(2)


def test_the_nearest_curve_is_the_one_nearest_in_value_at_that_place():
    x = np.array([2000.0, 3000.0, 4000.0])
    low = Curve("p_manifold_pa", 1, x, np.array([1.0, 2.0, 3.0]))
    high = Curve("p_exhaust_pa", 1, x, np.array([5.0, np.nan, 9.0]))
    assert nearest([low, high], 3900.0, 8.0) == (high, 4000.0, 9.0)
    assert nearest([low, high], 3100.0, 2.5) == (low, 3000.0, 2.0)  # the other is not known there
    empty = Curve("lam", 1, x, np.full(3, np.nan))
    assert nearest([empty], 3000.0, 1.0) is None and nearest([], 0.0, 0.0) is None


def test_the_value_of_a_range_is_the_mean_over_what_is_known():
    curve = Curve("lam", 1, np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.8, np.nan, 0.9, 5.0]))
    assert value_under(curve, 1.0, 3.0) == pytest.approx(0.85)
    assert value_under(curve, 3.2, 3.2) == pytest.approx(0.9)
    assert np.isnan(value_under(curve, 10.0, 12.0))


def test_a_place_without_a_curve_has_no_value():
    x = np.arange(2000.0, 6100.0, 100.0)
    curve = Curve("lam", 1, x, np.where((x > 3000) & (x < 4000), np.nan, 0.85))
    assert value_under(curve, 6050.0, 6050.0) == 0.85
    assert np.isnan([value_under(curve, at, at) for at in (12000.0, 1500.0, 3500.0)]).all()


@pytest.mark.parametrize("system", ["US", "SI"])
def test_a_place_is_not_rounded_when_it_is_saved(system):
    note = CurveNote("gate rattles", "p_manifold_pa", "time_s", 12.501, 12.504, 231456.789)
    [again] = Notes.of(Notes((note,)).into(Review(), system)).items
    assert (again.start, again.stop, again.is_range) == (12.501, 12.504, True)
    assert again.value == pytest.approx(note.value, rel=1e-9)


def test_every_channel_can_carry_a_note():
    for channel in CHANNELS:
        note = CurveNote("here", channel, "time_s", 1.5, 1.5, 1.0)
        assert CurveNote.from_strings(note.to_strings()).value == pytest.approx(1.0, rel=1e-3)
