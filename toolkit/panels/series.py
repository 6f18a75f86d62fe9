"""Several findings as the chapters of one page."""

import base64
import html

import ipywidgets as w

from toolkit import preferences
from toolkit.analysis.finding import changed_logs, slug_of
from toolkit.bench import Bench
from toolkit.explain.kept import Kept, changed_sources, open_finding
from toolkit.explain.publish import publish_series
from toolkit.explain.series import Series, Words, read_series
from toolkit.explain.still import png
from toolkit.explain.telling import told
from toolkit.panels.base import UNITS, Choice, Workpanel, group, named, offer, paragraph
from toolkit.panels.explainer import Splits, slugs_of

_MOST = 12  # chapters; an audience has left long before
_THUMB = (640, 360)
_NEW = "a new one"


class SeriesPanel(Workpanel):
    """Choose findings in their order, write the words around them, publish the page."""

    def __init__(self, bench=None, chapters=(), title="", build=""):
        """chapters: slugs of findings to begin with. title: of the page. build: a build file of
        the bench, which splits each comparison among its causes."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self.series, self._known, self._loaded, self._pictures = None, None, {}, {}
        self._splits = Splits(self.bench)
        self._make_fields(chapters, title, build)
        self.go = w.Button(description="Write the page", button_style="primary",
                           layout=w.Layout(width="284px"))  # fmt: skip
        self.go.on_click(self.handler(lambda _: self.publish()))
        self.again = w.Button(description="Look for new findings", layout=w.Layout(width="284px"))
        self.again.on_click(self.handler(lambda _: self._look_again()))
        self.over = w.Checkbox(False, description="replace a page that I changed", indent=False)
        self.result, self.shown, self.remarks = w.HTML(), w.HTML(), w.HTML()
        self.watch(self.title, self.opening, self.closing, self.build, *self.chapters)
        self.compose(
            [
                group("Page", self.which, self.build),
                group("Title", self.title),
                group("Chapters, in their order", *self.chapters, self.again),
                group("Words before", self.opening),
                group("Words after", self.closing),
                group("File", self.over, self.go),
            ],
            [self.result, self.shown, self.remarks],
        )  # fmt: skip

    def _make_fields(self, chapters, title, build):
        slugs = slugs_of(self.bench)
        self.which = Choice("Open", self._pages())
        self.which.observe(self.handler(lambda _: self._open()), "value")
        area = {"continuous_update": False}
        wide = w.Layout(width="284px", height="64px")
        self.title = w.Textarea(title, placeholder="title of the page", layout=wide, **area)
        self.opening, self.closing = (
            w.Textarea(placeholder=words, layout=w.Layout(width="284px", height="96px"), **area)
            for words in ("what the question was", "what you would do next")
        )
        builds = self.bench.builds()
        self.build = Choice("Build", [*named(builds), ("none: no causes", "")],
                            build if build in builds else "",
                            hint="splits comparisons among their causes")  # fmt: skip
        options = self._options(slugs)
        begin = [slug for slug in chapters if slug in slugs]
        begin += [""] * (_MOST - len(begin))
        self.chapters = [
            Choice(f"Chapter {n}", options, slug) for n, slug in enumerate(begin[:_MOST], 1)
        ]
        for field in (self.which, *self.chapters):  # names of findings are long
            field.control.layout.width, field.layout.width = "190px", "350px"
        for words in (self.title, self.opening, self.closing):
            words.add_class("dp-words")

    def _pages(self):
        kept = map(slug_of, self.bench.series())
        return [(_NEW, ""), *((slug, slug) for slug in kept)]

    @staticmethod
    def _options(slugs):
        return [("none", ""), *((slug, slug) for slug in slugs)]

    def _look_again(self):
        """Offer what was saved since the page was opened, and read again what is chosen."""
        self._loaded.clear()
        self._pictures.clear()
        for field in self.chapters:
            offer(field, self._options(slugs_of(self.bench)))
        self.redraw()

    def _open(self):
        """Fill the fields from a saved series; a new one leaves them as they are."""
        if not self.which.value:
            return
        try:
            words = self._known = self._read(self.which.value)
        except ValueError:
            self.which.value = ""  # or it would be written over
            raise
        there = slugs_of(self.bench)
        gone = [slug for slug in words.chapters if slug not in there]
        slugs = [slug for slug in words.chapters if slug in there]
        for field, slug in zip(self.chapters, slugs + [""] * _MOST, strict=False):
            field.value = slug
        self.title.value, self.opening.value = words.title, words.opening
        self.closing.value = words.closing
        if gone:
            names = ", ".join(f"'{slug}'" for slug in gone)
            raise ValueError(f"the bench has no finding {names} any more: left out here")

    def _read(self, slug):
        words = read_series(self.bench, slug)
        if len(words.chapters) > _MOST:
            raise ValueError(
                f"explain/{slug}/series.toml has {len(words.chapters)} chapters and this page can "
                f"hold {_MOST}: make two series of it in the file"
            )
        return words

    def redraw(self):
        """Tell the chapters anew and show them."""
        for before, field in zip(self.chapters, self.chapters[1:], strict=False):
            field.layout.display = None if before.value or field.value else "none"
        slugs = [field.value for field in self.chapters if field.value]
        self.result.value = ""
        self.series = self._tell(slugs)
        self.go.disabled = bool(self.series.troubles) or not slugs
        self._show()

    def _tell(self, slugs):
        demo = self.bench.folder == preferences.DEMO_BENCH
        stories, self._why_not = [], []
        for slug in slugs:
            if slug not in self._loaded:
                self._loaded[slug] = open_finding(self.bench, slug)
            loaded = self._loaded[slug]
            cause = self._splits.of(slug, loaded, self.build.value)
            if self._splits.why_not:
                self._why_not.append(f"{slug}: {self._splits.why_not}")
            stories.append(told(loaded, UNITS.system, split=cause, demo=demo))
        linked = [self.bench.file(f"explain/{slug}/page.html").is_file() for slug in slugs]
        words = Words(self.title.value.strip() or self._own_title(stories), tuple(slugs),
                      self.opening.value, self.closing.value, self.which.value)  # fmt: skip
        return Series(words, tuple(stories), tuple(linked))

    @staticmethod
    def _own_title(stories):
        return stories[0].headline if stories else ""

    def _show(self):
        made = self.series
        title = paragraph(made.words.title, "dp-finding")
        wrong = "".join(paragraph(f"{t}.", "dp-wrong") for t in made.troubles)
        opening, closing = (
            "".join(paragraph(t, "dp-method") for t in text.split("\n\n") if t.strip())
            for text in (made.words.opening, made.words.closing)
        )
        chapters = "".join(self._chapter(k, s) for k, s in enumerate(made.stories, 1))
        empty = "" if made.stories else paragraph(
            "No chapter is chosen yet: choose a finding as the first. Findings come from Back to "
            "back, and from the save boxes of the other workbooks.", "dp-message",
        )  # fmt: skip
        self.shown.value = title + wrong + opening + chapters + closing + empty
        said = [*self._why_not, *(f"{t}." for t in made.remarks)]
        for slug in made.words.chapters:
            loaded = self._loaded[slug]
            changed = changed_sources if isinstance(loaded, Kept) else changed_logs
            said += [f"{slug}: {t}" for t in changed(self.bench, loaded)]
        self.remarks.value = "".join(paragraph(t, "dp-message") for t in said)

    def _chapter(self, number, story):
        """A chapter in small, as the page will have it."""
        key = story.slug, story.system, self.build.value
        if key not in self._pictures:
            data = base64.b64encode(png(story.picture, _THUMB)).decode()
            self._pictures[key] = f"data:image/png;base64,{data}"
        words = html.escape(story.picture.description, quote=True)
        first = next(iter(story.spoken), None)
        said = paragraph(f"{first.text} [{first.evidence}]", "dp-method") if first else ""
        own = "links to its own page" if self.series.linked[number - 1] else (
            "has no page of its own yet: publish it above to link live charts"
        )  # fmt: skip
        return (
            f'<div style="display:flex;gap:16px;margin:16px 0">'
            f'<img src="{self._pictures[key]}" alt="{words}" width="320" height="180" '
            f'style="border:1px solid #e4e7eb;flex:none">'
            f"<div>{paragraph(f'{number}. {story.headline}', 'dp-group')}{said}"
            f"{paragraph(own, 'dp-message')}</div></div>"
        )

    def publish(self):
        """Write the page and the choice of its chapters."""
        self._loaded.clear()  # a finding may be gone, or have got a page of its own meanwhile
        self.redraw()
        words, done = publish_series(self.bench, self.series, self.over.value, self._known)
        slug, self._known = words.slug, words
        offer(self.which, self._pages())
        self.which.value = slug
        self.result.value = _told(slug, done)


def _told(slug, done):
    if done.kept:
        return paragraph(
            f"explain/{slug}/page.html was changed by somebody and stays. Tick 'replace a page "
            "that I changed' to write it anew.", "dp-wrong",
        )  # fmt: skip
    return paragraph(
        f"Written to explain/{slug}/page.html. Keep the folders beside it, so that its chapters "
        "find their own pages.", "dp-verdict",
    )  # fmt: skip
