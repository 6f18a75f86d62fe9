"""Writes what was made into explain/<finding>/, and never over what a person changed there.

A manifest keeps the digest of every file as it was written; a file that no longer has it was
edited by somebody and stays, unless replacing it was asked for.
"""

from dataclasses import dataclass, field, replace

from toolkit.bench import BenchError, digest, read_toml, write_bytes, write_toml
from toolkit.explain.clip import Cancelled, Timing, write_clip
from toolkit.explain.looks import LOOKS, PublishError, checked_size
from toolkit.explain.page import csv_of, page
from toolkit.explain.series import placed, save_series, series_page
from toolkit.explain.still import png, svg
from toolkit.explain.talk import as_markdown, as_webvtt, talk_track

MANIFEST = "published.toml"


@dataclass(frozen=True)
class Choice:
    """What to publish. size: a place's name or (width, height) in px; look: of LOOKS.

    card: the method card on the pictures. clip: "", "mp4", or "mov" for the transparent one.
    """

    size: str | tuple[int, int] = "video"
    look: str = "light"
    card: bool = True
    picture: bool = True
    vector: bool = False
    why: bool = True
    page: bool = True
    talk: bool = True
    poster: bool = True
    clip: str = ""
    timing: Timing = field(default_factory=Timing)

    @property
    def tag(self):
        """The part of a file's name that says its size and look."""
        width, height = checked_size(self.size)
        return f"{width}x{height}-{self.look}"


@dataclass(frozen=True)
class Published:
    """The names written, and those kept because somebody changed them since."""

    written: tuple[str, ...]
    kept: tuple[str, ...]


def files(story, choice):
    """(name, function that makes its bytes) of every file but the clip."""
    if choice.look not in LOOKS:
        raise PublishError(f"there is no look '{choice.look}': choose one of {', '.join(LOOKS)}")
    card = story.card if choice.card else ()
    how = choice.size, choice.look
    if choice.picture:
        yield f"picture-{choice.tag}.png", lambda: png(story.picture, *how, card)
    if choice.vector:
        yield f"picture-{choice.tag}.svg", lambda: svg(story.picture, *how, card)
    if choice.why and story.why:
        yield f"why-{choice.tag}.png", lambda: png(story.why, *how, card)
    if choice.poster and story.poster:
        poster = story.poster(checked_size(choice.size))
        yield f"circle-{choice.tag}.png", lambda: png(poster, *how)
    if choice.page:
        yield "page.html", lambda: page(story)
        yield "numbers.csv", lambda: csv_of(story.table)
    if choice.talk:
        cues = talk_track(story, choice.timing)
        yield "talk.md", lambda: as_markdown(cues, story.headline).encode("utf-8")
        yield "talk.vtt", lambda: as_webvtt(cues, choice.timing.seconds).encode("utf-8")


def edited(bench, story, choice):
    """The files that publishing would write but that somebody changed since: names."""
    known = _manifest(bench, story)
    names = [*(name for name, _ in files(story, choice)), *_clip_names(choice)]
    return tuple(n for n in names if _is_edited(_path(bench, story, n), known.get(n)))


def publish(bench, story, choice, replace_edited=False, progress=None, stop=None):
    """Write the chosen files; returns what was written and what was kept.

    progress(done, of, words); stop() True ends the work: files that are whole by then stay.
    Raises PublishError while the headline contradicts the finding, BenchError where the folder
    cannot be written, and Cancelled when stopped.
    """
    if story.troubles:
        raise PublishError(f"the headline contradicts the finding: {story.troubles[0]}")
    keep = () if replace_edited else edited(bench, story, choice)
    makers, clips = list(files(story, choice)), _clip_names(choice)
    # A file counts as much as twenty frames: about what it takes.
    made, total = 20 * len(makers), 20 * len(makers) + choice.timing.frames * len(clips)

    def tell(done, words=""):
        if progress is not None:
            progress(done, total, words)
        if stop is not None and stop():
            raise Cancelled

    for number, (name, make) in enumerate(makers):
        tell(20 * number, name)
        if name not in keep:
            _write(bench, story, name, make())
    for name in set(clips) - set(keep):
        _film(bench, story, choice, name, lambda frame, _: tell(made + frame, "the clip"))
    tell(total)
    names = [*(name for name, _ in makers), *clips]
    return Published(tuple(n for n in names if n not in keep), keep)


def publish_series(bench, series, replace_edited=False, known=None):
    """Write the page of a series.Series, and its choice; returns its Words and a Published.

    known: as series.placed takes it.

    Raises PublishError where it has no chapter or says what a chapter contradicts.
    """
    if not series.stories:
        raise PublishError("choose the finding of the first chapter")
    if series.troubles:
        raise PublishError(f"this contradicts the findings: {series.troubles[0]}")
    made = replace(series, words=placed(bench, series.words, known))
    name, written, kept = "page.html", (), ()
    path = _path(bench, made, name)
    if not replace_edited and _is_edited(path, _manifest(bench, made).get(name)):
        kept = (name,)
    else:
        _write(bench, made, name, series_page(made))
        written = (name,)
    save_series(bench, made.words)  # last: without it it is no series
    return made.words, Published(written, kept)


def _film(bench, story, choice, name, progress):
    card = story.card if choice.card else ()
    look = "transparent" if name.endswith(".mov") else choice.look
    path, timing = _path(bench, story, name), choice.timing
    write_clip(path, story.picture, timing, choice.size, look, card, progress=progress)
    _remember(bench, story, name)


def _clip_names(choice):
    return [f"clip-{choice.tag}.{choice.clip}"] if choice.clip else []


def _path(bench, story, name):
    return bench.file(f"explain/{story.slug}/{name}")


def _manifest(bench, story):
    try:
        return read_toml(_path(bench, story, MANIFEST)).unwrap().get("files", {})
    except BenchError:
        return {}  # nothing was published yet, or nobody can tell: then no file is ours


def _write(bench, story, name, data):
    write_bytes(_path(bench, story, name), data)
    _remember(bench, story, name)


def _remember(bench, story, name):
    known = _manifest(bench, story) | {name: digest(_path(bench, story, name))}
    write_toml(_path(bench, story, MANIFEST), {"files": dict(sorted(known.items()))})


def _is_edited(path, known):
    return path.exists() and digest(path) != known
