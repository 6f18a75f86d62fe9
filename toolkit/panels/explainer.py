"""The explainer: choose a finding, write its headline, place it, and publish the files."""

import threading
from contextlib import contextmanager
from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit import preferences
from toolkit.analysis.breathing import cam_of
from toolkit.analysis.compare import Settings, compare
from toolkit.analysis.finding import changed_logs, save_finding, slug_of
from toolkit.analysis.review_notes import notes_of
from toolkit.analysis.sides import opened, short_names, side
from toolkit.analysis.split import split
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.explain.clip import Cancelled, Timing
from toolkit.explain.kept import Kept, changed_sources, open_finding
from toolkit.explain.lettering import missing_letters
from toolkit.explain.looks import LOOKS, PLACES, PublishError, checked_size
from toolkit.explain.publish import Choice as Publication
from toolkit.explain.publish import publish
from toolkit.explain.still import png
from toolkit.explain.talk import needed_s
from toolkit.explain.telling import told
from toolkit.panels.base import UNITS, Choice, Quantity, Workpanel, group, named, offer, paragraph

_OWN_SIZE = "own size"
_PREVIEW_PX = 860
_CSS = """<style>
.dp-over-video { background: #64717d; }
.dp-preview img { border: 1px solid #e4e7eb; }
.dp-headline textarea { font-size: 15px; font-weight: 600; line-height: 1.35; }
.dp-headline-wrong textarea { color: #9b1c1c; border-color: #9b1c1c; }
</style>"""


def demo_finding(base, against, low_rpm=None, slug="demo"):
    """On the demo bench, save the comparison of these logs as a finding, unless it is there.

    low_rpm: where the range of averages begins. Returns the slug, "" on any other bench.
    """
    bench = Bench(preferences.load().bench)
    if bench.folder != preferences.DEMO_BENCH:
        return ""
    if f"explain/{slug}/finding.toml" not in bench.findings():
        logs = [[opened(bench, name) for name in names] for names in (base, against)]
        names = short_names(*(group[0].setup for group in logs))
        sides = [side(n, group, step_rpm=100.0) for n, group in zip(names, logs, strict=True)]
        found = compare(*sides, Settings(low_rpm=low_rpm))
        save_finding(bench, found, UNITS.system, slug=slug)
    return slug


def slugs_of(bench):
    """The folders of the findings of a bench, by name."""
    return [slug_of(name) for name in bench.findings()]


class Splits:
    """The splits of findings with a build of the bench, each kept: its model takes a moment.

    why_not: why the last one asked for was not made, "" where it was or none is due.
    """

    def __init__(self, bench):
        self.bench, self.why_not, self._known = bench, "", {}

    def of(self, slug, loaded, build):
        """The Split of a loaded finding; None without a build and for what is no comparison."""
        self.why_not = ""
        if not build or isinstance(loaded, Kept):
            return None
        # What is kept belongs to these very numbers: a finding may be saved anew under its slug.
        numbers = _numbers(loaded.comparison)
        known, found = self._known.get((slug, build), (None, None))
        if known != numbers:
            made = read_build(self.bench, build)
            try:
                found = split(loaded.comparison, made, cam_of(made.engine.valves))
            except ValueError as error:
                self.why_not = f"The causes are not split: {error}."
                return None
            self._known[slug, build] = numbers, found
        return found


def _numbers(comparison):
    """What a split is worked out from, to be compared with what it was worked out from before."""
    c = comparison
    gains = [(name, v) for name, g in c.gains.items() for v in (g.level_a, g.level_b, g.half_width)]
    columns = [*c.channels_a.items(), *c.channels_b.items(), *gains]
    names = c.a.name, c.b.name, c.settings, c.reference
    return *names, *((name, np.asarray(v).tobytes()) for name, v in columns)


class ExplainerPanel(Workpanel):
    """Choose, write, place, look, publish. `story` is what is shown and would be published.

    It is None while the finding that was chosen could not be opened.
    """

    def __init__(self, bench=None, finding="", build=""):
        """finding: the slug to open on; "" for the first that the bench has. build: a build file
        of the bench, for the split."""
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self.story = self.loaded = None
        self._opened, self._notes, self._own_headline = None, (), ""
        self._work, self._stopped, self._stands = None, threading.Event(), {}
        # The files are written on a thread of their own, which draws when it is done.
        self._drawing, self._writing, self._filling = threading.RLock(), False, False
        slugs = slugs_of(self.bench)
        start = finding if finding in slugs else None
        self.finding = Choice("Finding", [(slug, slug) for slug in slugs], start)
        self.again = w.Button(description="Look for new findings", layout=w.Layout(width="284px"))
        self.again.on_click(self.handler(lambda _: self._look_again()))
        self.finding.control.layout.width = "190px"
        self.finding.layout.width = "350px"
        builds = self.bench.builds()
        options = [*named(builds), ("none: no split", "")]
        self.build = Choice("Build", options, build if build in builds else None,
                            hint="splits the gap among its causes")  # fmt: skip
        self._splits = Splits(self.bench)
        self._make_words()
        self._make_places()
        self._make_notes()
        self._make_output()
        self.preview = w.Image(format="png", layout=w.Layout(align_self="flex-start"))
        self._frame = w.Box([self.preview], layout=w.Layout(width=f"{_PREVIEW_PX}px"))
        self._frame.add_class("dp-preview")
        self.tells, self.remarks = w.HTML(), w.HTML()
        self.watch(
            self.finding, self.build,
            self.headline, self.quantity, self.place, self.width, self.height, self.look,
            self.card, self.show, self.seconds, self.fps, *self.parts.values(), self.clip,
        )  # fmt: skip
        self.compose(
            [
                group("What to tell", self.finding, self.again, self.build, self.quantity),
                group("Headline", self._headline_box),
                group("Where it goes", self.place, self._own, self.look, self.card),
                self._note_group,
                group("Clip", self.clip, self.seconds, self.fps),
                group("Files", *self.parts.values(), self.over, self._buttons, self.progress),
            ],
            [
                self.result, self.show, self._frame, self.tells, self.remarks,
            ],
        )  # fmt: skip

    # ---- fields -----------------------------------------------------------------------------

    def _make_words(self):
        self.quantity = Choice(
            "Show", [("as in headline", ""), ("power", "power_w"), ("torque", "torque_nm")]
        )
        self.headline = w.Textarea(
            continuous_update=False, layout=w.Layout(width="280px", height="96px")
        )
        self.headline.add_class("dp-headline")
        self.wrong = w.HTML(layout=w.Layout(width="280px"))
        self.own_headline = w.Button(
            description="Back to the finding's own", layout=w.Layout(width="200px")
        )
        self.own_headline.on_click(self.handler(lambda _: self._reset_headline()))
        self._headline_box = w.VBox([self.headline, self.wrong, self.own_headline])

    def _make_places(self):
        named = [(f"{n}, {x} x {y}", n) for n, (x, y) in PLACES.items()]
        self.place = Choice("Place", [*named, (_OWN_SIZE, _OWN_SIZE)])
        self.place.control.layout.width = "150px"
        self.width, self.height = (
            w.IntText(px, continuous_update=False, layout=w.Layout(width="72px"))
            for px in (1080, 1080)
        )
        self._own = w.HBox([w.Label("width, height in px"), self.width, self.height])
        self.look = Choice("Ground", list(LOOKS))
        self.card = w.Checkbox(True, description="Method card", indent=False)

    def _make_notes(self):
        self.note = Choice("Note", [("none", -1)])
        self.across = w.IntSlider(0, -50, 50, description="left, right", readout=False)
        self.up = w.IntSlider(0, -50, 50, description="down, up", readout=False)
        self._moves = w.VBox([self.across, self.up])
        for slider in (self.across, self.up):
            slider.layout.width = "270px"
            slider.observe(self._moved, "value")
        self.note.observe(self._note_chosen, "value")
        self._note_group = group("Notes of the log review", self.note, self._moves)

    def _make_output(self):
        self.clip = Choice(
            "Make", [("no clip", ""), ("MP4", "mp4"), ("transparent, for an editor", "mov")]
        )
        self.clip.control.layout.width = "150px"
        self.seconds = Quantity("Length", "time", 10.0, low=2.0, high=300.0)
        self.fps = Choice("Frames a second", [24, 25, 30, 50, 60], 30)
        words = {
            "picture": "picture, PNG",
            "vector": "picture, SVG",
            "why": "the causes, PNG",
            "poster": "circle of stations, PNG",
            "page": "page with live charts",
            "talk": "talk track and captions",
        }
        self.parts = {
            name: w.Checkbox(name != "vector", description=text, indent=False)
            for name, text in words.items()
        }
        self.over = w.Checkbox(False, description="replace files that I changed", indent=False)
        self.go = w.Button(description="Publish", button_style="primary")
        self.stop = w.Button(description="Stop", disabled=True)
        self.go.on_click(self.handler(lambda _: self.start()))
        self.stop.on_click(self.handler(lambda _: self._stopped.set()))
        self._buttons = w.HBox([self.go, self.stop])
        self.progress = w.IntProgress(0, 0, 1, layout=w.Layout(width="280px"))
        self.result = w.HTML()
        self.show = w.ToggleButtons(
            options=[("Picture", "picture"), ("Causes", "why"), ("Circle of stations", "poster")],
            style={"button_width": "150px"},
        )

    # ---- what changes -----------------------------------------------------------------------

    def _look_again(self):
        """Offer what was saved since the page was opened; what was written stays."""
        with self._filled():
            offer(self.finding, [(slug, slug) for slug in slugs_of(self.bench)])
        self.redraw()

    @contextmanager
    def _filled(self):
        """Fields are filled inside: no redraw at each."""
        self._filling = True
        try:
            yield
        finally:
            self._filling = False

    def _new_finding(self):
        """Load what was chosen, with its own headline and the notes of its logs.

        Until that went well there is no story: what is shown and published is what is chosen.
        """
        self.story = self.loaded = self._opened = None
        self._notes, self._stands, self.go.disabled = (), {}, True
        self._frame.layout.display = "none"
        for words in (self.tells, self.remarks, self.wrong, self.result, self.headline):
            words.value = ""
        if not self.finding.value:
            raise PublishError(
                "this bench has no finding yet: save one in Back to back, or in "
                "the sizing worksheet, the spring check or What if"
            )
        found = open_finding(self.bench, self.finding.value)
        compared = not isinstance(found, Kept)
        self._notes = notes_of(self.bench, found.comparison) if compared else ()
        of_pulls = (self.parts["why"], self.parts["poster"])
        for part in (self.build, self.quantity, self._note_group, self.show, *of_pulls):
            part.layout.display = None if compared else "none"
        self.show.value = self.show.value if compared else "picture"
        titles = [(n.note.words[:40], i) for i, n in enumerate(self._notes)]
        self.note.control.options = titles or [("none", -1)]
        self._moves.layout.display = None if titles else "none"
        self.loaded, self._opened = found, self.finding.value
        self._reset_headline()

    def _reset_headline(self):
        """The finding's own headline, in the units in force."""
        self._own_headline = told(self.loaded, UNITS.system).headline
        self.headline.value = self._own_headline

    def _follow(self, change):
        # The finding's own headline follows the units; the person's own words stay.
        if self.loaded is not None and self.headline.value == self._own_headline:
            with self._filled():
                self._reset_headline()
        super()._follow(change)

    def _note_chosen(self, _change):
        across, up = self._stands.get(self.note.value, (0, 0))
        self.across.value, self.up.value = across, up

    def _moved(self, _change):
        if self.note.value is None or self.note.value < 0:
            return
        self._stands[self.note.value] = (self.across.value, self.up.value)
        with self.guarded():
            self.redraw()

    def _placed_notes(self):
        """The notes with the words of those that were moved where the sliders say."""
        if not self._notes:
            return
        low, high = self.loaded.comparison.speed_rpm[[0, -1]]
        for index, placed in enumerate(self._notes):
            across, up = self._stands.get(index, (0, 0))
            if across or up:
                x = placed.note.middle + across / 100 * (high - low)
                placed = replace(placed, stands=(x, 0.5 + up / 100))
            yield placed

    # ---- show -------------------------------------------------------------------------------

    def redraw(self):
        """Tell the story anew and show the chosen picture of it."""
        if self._filling:
            return
        self._own.layout.display = None if self.place.value == _OWN_SIZE else "none"
        with self._drawing:
            if self._opened is None or self._opened != self.finding.value:
                with self._filled():
                    self._new_finding()
            if not self._writing:  # else drawn once the files are written
                self._tell()

    def _tell(self):
        self.result.value = ""  # it told of what was there before
        cause = self._splits.of(self.finding.value, self.loaded, self.build.value)
        self.story = told(
            self.loaded, UNITS.system, quantity=self.quantity.value, title=self.headline.value,
            notes=tuple(self._placed_notes()),
            split=cause, demo=self.bench.folder == preferences.DEMO_BENCH,
        )  # fmt: skip
        self._show_troubles()
        self._show_preview(self.publication())
        self._show_words()

    def publication(self):
        """The Choice that the fields describe."""
        own = (self.width.value, self.height.value)
        return Publication(
            size=own if self.place.value == _OWN_SIZE else self.place.value,
            look=self.look.value,
            card=self.card.value,
            clip=self.clip.value,
            timing=Timing(self.seconds.value, self.fps.value),
            **{name: box.value for name, box in self.parts.items()},
        )

    def _show_troubles(self):
        troubles = self.story.troubles
        self.wrong.value = "".join(paragraph(f"{t}.", "dp-wrong") for t in troubles)
        (self.headline.add_class if troubles else self.headline.remove_class)("dp-headline-wrong")
        self.go.disabled = bool(troubles)

    def _show_preview(self, choice):
        width, height = checked_size(choice.size)
        share = min(1.0, _PREVIEW_PX / width, 1.2 * _PREVIEW_PX / height)
        small = max(320, round(width * share)), max(320, round(height * share))
        card = self.story.card * choice.card
        if self.show.value == "poster" and self.story.poster is not None:
            data = png(self.story.poster((width, height)), small, choice.look)
        elif self.show.value == "why" and self.story.why is not None:
            data = png(self.story.why, small, choice.look, card)
        else:
            data = png(self.story.picture, small, choice.look, card)
        self.preview.value = data
        self._frame.layout.display = None
        self.preview.layout.width, self.preview.layout.height = (f"{px}px" for px in small)
        over = LOOKS[choice.look].ground is None
        (self._frame.add_class if over else self._frame.remove_class)("dp-over-video")

    def _show_words(self):
        story = self.story
        said_words = "".join(
            paragraph(f"{s.text} [{s.evidence}]", "dp-message") for s in story.spoken
        )
        described = paragraph(story.picture.description, "dp-message")
        self.tells.value = (
            f"{_CSS}<details><summary>What is said over the clip</summary>{said_words}</details>"
            f"<details><summary>The picture in words</summary>{described}</details>"
        )
        self.remarks.value = "".join(paragraph(t, "dp-message") for t in self._remarks())

    def _remarks(self):
        kept = isinstance(self.loaded, Kept)
        yield from (changed_sources if kept else changed_logs)(self.bench, self.loaded)
        yield from filter(None, (self._splits.why_not,))
        unknown = missing_letters(f"{self.story.headline}{self.story.picture.description}")
        if unknown:
            yield f"The pictures' font has no {unknown}: boxes stand there; the page shows them."
        if self.clip.value:
            timing = Timing(self.seconds.value, self.fps.value)
            needed = needed_s(self.story, timing)
            if needed > timing.seconds:
                yield (
                    f"At a calm pace the words need {needed:.0f} s: captions hold what fits into "
                    f"{timing.seconds:g} s, the talk track holds all."
                )

    # ---- publish ----------------------------------------------------------------------------

    def start(self):
        """Begin to publish beside the page, so that it can be stopped."""
        if self._writing:
            return
        if self.story is None:
            raise PublishError("there is nothing to publish: choose a finding that can be opened")
        self._stopped.clear()
        self.result.value = ""
        story, choice, over = self.story, self.publication(), self.over.value
        self.go.disabled, self.stop.disabled, self._writing = True, False, True
        self._work = threading.Thread(target=self._publish, args=(story, choice, over))
        self._work.start()

    def wait(self):
        """Return when the files are written."""
        if self._work is not None:
            self._work.join()

    def _publish(self, story, choice, over):
        said = ""
        with self.guarded():
            try:
                done = publish(
                    self.bench, story, choice, over, self._tell_progress, self._stopped.is_set
                )
                said = _told(story, done)
            except Cancelled:
                said = paragraph("Stopped: only whole files were kept.", "dp-verdict")
            finally:
                self._draw_again()
        self.result.value = said

    def _draw_again(self):
        """What was changed while the files were written is drawn now."""
        with self._drawing:
            self._writing, self.stop.disabled = False, True
            if self.comm is not None:  # the panel is still on its page
                self.redraw()

    def _tell_progress(self, done, total, words):
        self.progress.max, self.progress.value = total, done
        self.progress.tooltip = words


def _told(story, done):
    """What was written and what was kept, in words."""
    written = ", ".join(done.written) or "nothing"
    words = paragraph(f"Written to explain/{story.slug}/: {written}.", "dp-verdict")
    if done.kept:
        kept = ", ".join(done.kept)
        words += paragraph(
            f"Kept as you changed them: {kept}. Tick 'replace files that I changed' to write them "
            "anew.", "dp-wrong",
        )  # fmt: skip
    return words
