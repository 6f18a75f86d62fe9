"""The talk track: what to say while the clip runs, with number, evidence word and time."""

import re
from dataclasses import dataclass, replace

from toolkit.explain.headline import first_number

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
    """The story's sentences as Cues in order, within the clip's length.

    The headline comes first, then what belongs to a place on the axis as the cursor passes it,
    then the rest. Where there is more to say than the clip has time for, all is said faster:
    `needed_s` tells the length at which it could be read.
    """
    cues = _spoken(story, timing)
    squeeze = min(1.0, timing.seconds / cues[-1].stop_s)
    return tuple(replace(c, start_s=c.start_s * squeeze, stop_s=c.stop_s * squeeze) for c in cues)


def needed_s(story, timing):
    """The length in s at which a calm reader can follow the words of a clip like this one."""
    return _spoken(story, timing)[-1].stop_s


def _spoken(story, timing):
    low, high = story.picture.x_limits
    placed = sorted((s for s in story.sentences if s.at_rpm is not None), key=lambda s: s.at_rpm)
    others = [s for s in story.sentences if s.at_rpm is None]
    evidence = story.sentences[0].evidence if story.sentences else "measured"
    cues, now = [], 0.0
    for text, word, at in [
        (f"{story.headline}.", evidence, None),
        *((s.text, s.evidence, s.at_rpm) for s in (*placed, *others)),
    ]:
        if at is not None:
            now = max(now, timing.time_at((at - low) / (high - low)))
        stop = now + max(_LEAST_S, len(text) / _LETTERS_PER_S)
        cues.append(Cue(text, word, now, stop))
        now = stop
    return cues


def as_markdown(cues, title):
    """The cues as a Markdown table; nothing in a sentence can break out of its cell."""
    rows = [
        f"| {_clock(c.start_s)[3:]} | {_plain(c.text)} | {_plain(c.number)} | {c.evidence} |"
        for c in cues
    ]
    head = ["| time | say | number | evidence |", "|---|---|---|---|"]
    return "\n".join([f"# {_plain(title)}", "", *head, *rows, ""])


def as_webvtt(cues):
    """The cues as captions. Source of the format: W3C, WebVTT, the Web Video Text Tracks format.

    >>> print(as_webvtt([Cue("More <air> --> more power", "measured", 0, 1.5)]))
    WEBVTT
    <BLANKLINE>
    1
    00:00:00.000 --> 00:00:01.500
    More &lt;air&gt; --&gt; more power [measured]
    <BLANKLINE>
    """
    blocks = [
        f"{number}\n{_clock(c.start_s)} --> {_clock(c.stop_s)}\n{_caption(c.text)} [{c.evidence}]\n"
        for number, c in enumerate(cues, start=1)
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
