import re
from itertools import pairwise

import pytest

from tests.test_explain_telling import finding
from toolkit.explain.clip import Timing
from toolkit.explain.talk import Cue, as_markdown, as_webvtt, needed_s, talk_track
from toolkit.explain.telling import story_of

LONG = Timing(seconds=120)


def test_the_words_come_in_order_and_without_overlap():
    for timing in (Timing(5), Timing(10), LONG):
        cues = talk_track(story_of(finding(), "US"), timing)
        assert cues[0].start_s == 0
        assert len(cues) == 1 + len(story_of(finding(), "US").spoken) > 5
        assert all(a.stop_s <= b.start_s + 1e-9 for a, b in pairwise(cues))


def test_a_sentence_waits_for_the_cursor_to_reach_its_place():
    story = story_of(finding(), "US")
    low, high = story.picture.x_limits
    cues = {c.text: c for c in talk_track(story, LONG)}
    placed = [s for s in story.spoken if s.at_rpm is not None]
    assert len(placed) >= 4
    for sentence in placed:
        passed = LONG.time_at((sentence.at_rpm - low) / (high - low))
        assert cues[sentence.text].start_s >= passed


def test_each_has_its_number_and_its_evidence_word():
    cues = talk_track(story_of(finding(), "US"), LONG)
    assert re.search(r"\d+ (hp|lb-ft)", cues[0].number)
    assert {c.evidence for c in cues} <= {"measured", "worked out", "estimated", "cannot tell"}


def test_a_clip_of_the_needed_length_holds_all_and_a_shorter_one_not():
    story = story_of(finding(), "US")
    enough = Timing(needed_s(story, Timing(5)))
    assert enough.seconds > 5
    cues = talk_track(story, enough)
    assert cues[-1].stop_s <= enough.seconds
    assert as_webvtt(cues, enough.seconds).count("-->") == len(cues)
    short = as_webvtt(talk_track(story, Timing(5)), 5)
    assert 1 <= short.count("-->") < len(cues)
    assert "00:00:05.000" in short


def test_spoken_sentences_are_short():
    assert all(len(s.text) < 90 for s in story_of(finding(), "US").spoken)


CUES = (
    Cue("Large makes 46 lb-ft more | at 6000 rpm", "measured", 0.0, 2.5),
    Cue("a <script> --> & `code` [x](y)", "cannot tell", 2.5, 3723.0041),
)


def test_captions_follow_the_standard():
    # W3C, WebVTT: The Web Video Text Tracks Format, 4.1 and 4.2: header, timings, no "-->" in text.
    blocks = as_webvtt(CUES).split("\n\n")
    assert blocks[0] == "WEBVTT"
    stamp = r"\d{2}:\d{2}:\d{2}\.\d{3}"
    for number, block in enumerate(blocks[1:], start=1):
        name, times, words, *rest = block.split("\n")
        assert name == str(number) and rest in ([], [""])
        assert re.fullmatch(f"{stamp} --> {stamp}", times)
        assert "-->" not in words and "<" not in words
    assert "01:02:03.004" in blocks[2]
    assert blocks[1].endswith("[measured]")


def test_markdown_keeps_a_sentence_in_its_cell():
    rows = as_markdown(CUES, "# not *a* heading\nsecond").splitlines()
    assert rows[0] == r"# \# not \*a\* heading second"
    assert rows[4].count(" | ") == 3 and r"more \| at" in rows[4]
    assert "<script" not in rows[5] and "&lt;script" in rows[5]
    assert "46 lb-ft" in rows[4].split(" | ")[2]


def test_no_words_no_cues_but_the_headline():
    from dataclasses import replace

    story = replace(story_of(finding(), "US"), spoken=())
    (cue,) = talk_track(story, Timing(10))
    assert cue.text.startswith(story.headline)
    assert cue.stop_s == pytest.approx(max(1.2, len(cue.text) / 16))
