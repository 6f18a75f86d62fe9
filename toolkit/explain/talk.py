"""The talk track: what to say while the clip runs, with number, evidence word and time."""

import re
from dataclasses import dataclass, replace

from toolkit.explain.headline import first_number
from toolkit.explain.story import Sentence

_LETTERS_PER_S, _LEAST_S = 16.0, 1.2  # a calm reader; common practice for captions


@dataclass(frozen=True)
class Cue:
    """A sentence with its evidence word, from start_s to stop_s of the clip."""

    text: str
    evidence: str
    start_s: float
    stop_s: float

    @property
    def number(self):
        """The first number with its unit that the sentence tells, "" if it tells none."""
        return first_number(self.text)


def talk_track(story, timing):
    """What is said as Cues in order, at a pace that can be followed.

    The headline comes first, then what belongs to a place on the axis, no sooner than the cursor
    passes it, then the rest. The last may lie beyond the clip: `needed_s` is how long a clip
    that holds all would be.
    """
    low, high = story.picture.x_limits
    placed = sorted((s for s in story.spoken if s.at_rpm is not None), key=lambda s: s.at_rpm)
    others = [s for s in story.spoken if s.at_rpm is None]
    cues, now = [], 0.0
    for sentence in (Sentence(f"{story.headline}.", story.evidence), *placed, *others):
        if sentence.at_rpm is not None:
            now = max(now, timing.time_at((sentence.at_rpm - low) / (high - low)))
        stop = now + max(_LEAST_S, len(sentence.text) / _LETTERS_PER_S)
        cues.append(Cue(sentence.text, sentence.evidence, now, stop))
        now = stop
    return tuple(cues)


def needed_s(story, timing):
    """The length in s of a clip in which all can be said at that pace."""
    seconds = timing.seconds
    while (stop := talk_track(story, replace(timing, seconds=seconds))[-1].stop_s) > seconds:
        seconds = stop + 0.5
    return seconds


def as_markdown(cues, title):
    """The cues as a Markdown table; nothing in a sentence can break out of its cell."""
    rows = [
        f"| {_clock(c.start_s)[3:]} | {_plain(c.text)} | {_plain(c.number)} | {c.evidence} |"
        for c in cues
    ]
    head = ["| time | say | number | evidence |", "|---|---|---|---|"]
    return "\n".join([f"# {_plain(title)}", "", *head, *rows, ""])


def as_webvtt(cues, seconds=float("inf")):
    """The cues that begin within the clip's seconds as captions.

    Source of the format: W3C, WebVTT, The Web Video Text Tracks Format.

    >>> print(as_webvtt([Cue("More <air> --> more power", "measured", 0, 1.5)]))
    WEBVTT
    <BLANKLINE>
    1
    00:00:00.000 --> 00:00:01.500
    More &lt;air&gt; --&gt; more power [measured]
    <BLANKLINE>
    """
    blocks = [
        f"{number}\n{_clock(c.start_s)} --> {_clock(min(c.stop_s, seconds))}\n"
        f"{_caption(c.text)} [{c.evidence}]\n"
        for number, c in enumerate(cues, start=1)
        if c.start_s < seconds
    ]
    return "\n".join(["WEBVTT\n", *blocks])


def _clock(seconds):
    ms = round(seconds * 1000)
    hours, ms = divmod(ms, 3_600_000)
    minutes, ms = divmod(ms, 60_000)
    return f"{hours:02d}:{minutes:02d}:{ms // 1000:02d}.{ms % 1000:03d}"


def _caption(text):
    text = " ".join(str(text).split())
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _plain(text):
    """Words as Markdown shows them literally: no markup, no table cell, no HTML."""
    text = " ".join(str(text).split()).replace("&", "&amp;").replace("<", "&lt;")
    return re.sub(r"([\\`*_{}\[\]()#!|~>])", r"\\\1", text)
