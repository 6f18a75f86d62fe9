"""Several findings told one after the other on one page, as chapters of one story.

    explain/<slug>/series.toml   title, words around, the findings in their order
    explain/<slug>/page.html     the page, once it is published

The page holds pictures and words and no script; a chapter whose finding has a page of its own,
with live charts, links to it.
"""

from dataclasses import dataclass, replace

from toolkit.analysis import finding
from toolkit.bench import BenchError, read_toml, write_toml
from toolkit.explain.glossary import terms_in
from toolkit.explain.headline import contradictions
from toolkit.explain.looks import PublishError
from toolkit.explain.page import LEGEND, data_url, template, text_of
from toolkit.explain.still import svg
from toolkit.explain.story import Story

CHOSEN = "series.toml"
# Wide for a desk, upright for a phone and for more panels than a wide picture holds.
_WIDE, _UPRIGHT = (1600, 900), (720, 1080)


@dataclass(frozen=True)
class Words:
    """What a person chose and wrote: title, opening and closing words ("" for none), the slugs of
    the findings in their order; slug: the series' own folder, "" before it is saved."""

    title: str
    chapters: tuple[str, ...]
    opening: str = ""
    closing: str = ""
    slug: str = ""


@dataclass(frozen=True)
class Series:
    """A series ready to be published: its Words and the Story of each chapter.

    linked: whether each chapter has a page of its own beside it.
    """

    words: Words
    stories: tuple[Story, ...]
    linked: tuple[bool, ...]

    @property
    def slug(self):
        return self.words.slug

    @property
    def cited(self):
        """Every number of its chapters that the words around them may cite."""
        return tuple(dict.fromkeys(c for story in self.stories for c in story.cited))

    @property
    def troubles(self):
        """What keeps it from being published, as sentences."""
        own = [f"chapter {k}, {t}" for k, s in enumerate(self.stories, 1) for t in s.troubles]
        return [*self._against(self.words.title), *own]

    @property
    def remarks(self):
        """Where opening and closing words say a number that no chapter has."""
        return [t for text in (self.words.opening, self.words.closing) for t in self._against(text)]

    def _against(self, text):
        system = self.stories[0].system if self.stories else "US"
        return contradictions(text, self.cited, system) if text else []


def read_series(bench, slug):
    """The Words saved under this slug. BenchError in one sentence where they cannot be used."""
    data = read_toml(finding.file_of(bench, slug, CHOSEN)).unwrap()
    try:
        title, opening, closing = (str(data[k]) for k in ("title", "opening", "closing"))
        chapters = tuple(map(str, data["chapters"]))
    except (KeyError, TypeError) as error:
        raise BenchError(f"{slug}/{CHOSEN} cannot be used: {error} is missing") from None
    return Words(title, chapters, opening, closing, slug)


def save_series(bench, words, known=None):
    """Write the Words; those without a slug get one made from the title. Returns them with it.

    known: the Words that were read or saved here last. BenchError where the file says something
    else by now: somebody changed it, and nothing is written over.
    """
    slug = words.slug or finding.free_slug(bench, words.title)
    if words.slug and known is not None and read_series(bench, slug) != known:
        raise BenchError(
            f"explain/{slug}/{CHOSEN} was changed since it was opened here: open it again, or "
            f"choose another page; nothing was written over"
        )
    write_toml(
        finding.file_of(bench, slug, CHOSEN),
        {"title": words.title, "opening": words.opening, "closing": words.closing,
         "chapters": list(words.chapters)},
    )  # fmt: skip
    return replace(words, slug=slug)


def series_page(series):
    """The page of a series, as a file's bytes."""
    chapters = [
        {
            "story": story,
            "pictures": [_drawn(p) for p in (story.picture, story.why) if p is not None],
            "page": f"../{story.slug}/page.html" if linked else "",
        }
        for story, linked in zip(series.stories, series.linked, strict=True)
    ]
    made = template("series.html").render(
        words=series.words,
        chapters=chapters,
        style=text_of("page.css"),
        legend=LEGEND,
        cautions=dict.fromkeys(c for story in series.stories for c in story.cautions),
        glossary=terms_in(_every_word(series)),
    )
    return made.encode("utf-8")


def _drawn(picture):
    """A picture for either shape of screen, with its words; its finding is the page's heading."""
    bare = replace(picture, finding="")
    upright = data_url("image/svg+xml", svg(bare, _UPRIGHT))
    try:
        wide = data_url("image/svg+xml", svg(bare, _WIDE))
    except PublishError:
        wide = upright
    return {"wide": wide, "upright": upright, "words": picture.description}


def _every_word(series):
    words = series.words
    parts = [words.title, words.opening, words.closing]
    for story in series.stories:
        parts += [story.headline, story.whole.description, *story.method, *story.cautions]
        parts += [f"{s.text} {s.evidence}" for s in story.sentences]
        parts += [f"{word} {text}" for word, text in story.card]
    return " ".join(parts)
