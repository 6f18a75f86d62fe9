from dataclasses import replace

import pytest

from toolkit import preferences
from toolkit.bench import Bench
from toolkit.logs.decided_pulls import as_strings, stretches_of
from toolkit.logs.pulls import decided, pulls_of
from toolkit.logs.question import LogError
from toolkit.logs.run import Run

MERGED = "runs/bad/merged_pulls.csv"


@pytest.fixture(scope="module")
def run():
    return Run.open(Bench(preferences.DEMO_BENCH), MERGED)


def reviewed(run, pulls):
    return run.reviewed(replace(run.review, pulls=tuple(pulls)))


def test_without_a_saved_decision_the_proposals_stand(run):
    stretches, lost = stretches_of(run)
    assert [s.accepted for s in stretches if s.label in ("pull", "aborted")] == [True, False, True]
    assert lost == ()


def test_what_was_decided_is_found_again(run):
    stretches, _ = stretches_of(run)
    places = [i for i, s in enumerate(stretches) if s.label in ("pull", "aborted")]
    chosen = decided(decided(stretches, places[0], False), places[1], True)
    again, lost = stretches_of(reviewed(run, as_strings(run, chosen)))
    assert again == chosen and lost == ()


def test_lines_are_those_of_the_file(run):
    stretches, _ = stretches_of(run)
    first = pulls_of(stretches)[0]
    strings = as_strings(run, stretches)[0]
    # The header is line 1, so the first row of numbers is line 2.
    assert strings["lines"] == f"{first.start + 2} to {first.stop + 1}"
    assert strings["speeds"] == f"{first.low_rpm:.0f} to {first.high_rpm:.0f} rpm"


def test_a_decision_whose_pull_moved_a_little_still_counts(run):
    stretches, _ = stretches_of(run)
    first = pulls_of(stretches)[0]
    lines = f"{first.start + 8} to {first.stop - 9}"
    again, lost = stretches_of(reviewed(run, [{"lines": lines, "accepted": "no"}]))
    assert not next(s for s in again if s.start == first.start).accepted
    assert lost == ()


def test_a_decision_that_finds_no_pull_is_said(run):
    _, lost = stretches_of(reviewed(run, [{"lines": "9000 to 9100", "accepted": "yes"}]))
    assert lost == ("The pull saved as lines 9000 to 9100 is not found in this log.",)


@pytest.mark.parametrize("bad", [{}, {"lines": "4", "accepted": "yes"}, {"lines": "2 to 9"}])
def test_a_pull_that_cannot_be_read_is_named(run, bad):
    with pytest.raises(LogError, match="pull 1 of the review cannot be read"):
        stretches_of(reviewed(run, [bad]))
