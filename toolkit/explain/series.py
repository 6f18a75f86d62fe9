"""Several findings told one after the other on one page, as chapters of one story.

    explain/<slug>/series.toml   title, words around, the findings in their order
    explain/<slug>/page.html     the page, once it is published

The page holds pictures and words and no script; a chapter whose finding has a page of its own,
with live charts, links to it.
"""

from dataclasses import dataclass, replace

import tomlkit

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


_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)


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
        own = [f"chapter {k}: {t}" for k, s in enumerate(self.stories, 1) for t in s.troubles]
        return [*self._against(self.words.title), *own]

    @property
    def remarks(self):
        """Where opening and closing words do not go with the numbers of the chapters."""
        texts = {"before": self.words.opening, "after": self.words.closing}
        return [f"In the words {n}: {t}" for n, text in texts.items() for t in self._against(text)]

    def _against(self, text):
        system = self.stories[0].system if self.stories else "US"
        names = {name for story in self.stories for name, _ in story.runs}
        return contradictions(text, self.cited, system, names) if text else []


def read_series(bench, slug):
    """The Words saved under this slug. BenchError in one sentence where they cannot be used."""
    data = read_toml(finding.file_of(bench, slug, CHOSEN)).unwrap()
    texts = [data.get(name, "") for name in ("title", "opening", "closing")]
    chapters = data.get("chapters")
    if not isinstance(chapters, list) or not all(isinstance(c, str) for c in chapters):
        raise BenchError(
            f'explain/{slug}/{CHOSEN} cannot be used: write its findings like chapters = ["demo"]'
        )
    if not all(isinstance(text, str) for text in texts):
        raise BenchError(
            f"explain/{slug}/{CHOSEN} cannot be used: write title, opening and closing in quotes"
        )
    title, opening, closing = texts
    return Words(title, tuple(chapters), opening, closing, slug)


def placed(bench, words, known=None):
    """The Words with the folder that they will be saved in; one made from the title if new.

    known: the Words that were read or saved here last. BenchError where the file says something
    else by now: somebody changed it, and nothing is to be written over it.
    """
    if not words.slug:
        return replace(words, slug=finding.free_slug(bench, words.title))
    if read_series(bench, words.slug) != known:
        raise BenchError(
            f"explain/{words.slug}/{CHOSEN} was changed since it was opened here: open it again, "
            "or choose another page; nothing was written over"
        )
    return words


def save_series(bench, words):
    """Write the Words into their folder; comments of a person in the file stay."""
    path = finding.file_of(bench, words.slug, CHOSEN)
    document = read_toml(path) if path.exists() else tomlkit.document()
    document |= {"title": words.title, "opening": words.opening, "closing": words.closing,
                 "chapters": list(words.chapters)}  # fmt: skip
    write_toml(path, document)


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
        title=series.words.title,
        policy=_POLICY,
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
