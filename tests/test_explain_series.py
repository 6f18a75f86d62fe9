"""Several findings on one page: chapters in order, words held to the numbers, nothing lost."""

import html
import re
import shutil
from dataclasses import replace

import pytest

from tests.conftest import ROOT
from toolkit.bench import Bench, BenchError
from toolkit.explain.kept import open_finding
from toolkit.explain.looks import PublishError
from toolkit.explain.publish import Choice as Publication
from toolkit.explain.publish import publish, publish_series
from toolkit.explain.series import Series, Words, placed, read_series, save_series, series_page
from toolkit.explain.telling import told
from toolkit.panels.base import UNITS
from toolkit.panels.explainer import ExplainerPanel
from toolkit.panels.series import SeriesPanel
from toolkit.panels.sizing import CandidatesPanel
from toolkit.panels.sizing_sheet import Sheet

HOSTILE = '<img src=x onerror="alert(1)"></title><script>alert(2)</script>'


@pytest.fixture
def bench(tmp_path):
    folder = tmp_path / "bench"
    skip = shutil.ignore_patterns("generator", "*.py", "__pycache__", "bad")
    shutil.copytree(ROOT / "data_demo", folder, ignore=skip)
    return Bench(folder)


@pytest.fixture
def match(bench):
    """The slug of a match saved beside the demo's comparison."""
    panel = CandidatesPanel(Sheet("builds/candidates.toml", bench.folder))
    panel.keep.title.value = "Three candidates on one engine"
    panel.keep.save.click()
    return "three-candidates-on-one-engine"


def a_series(bench, *slugs, title="Which one?", opening="", closing=""):
    stories = tuple(told(open_finding(bench, slug), "US") for slug in slugs)
    return Series(Words(title, slugs, opening, closing), stories, (False,) * len(slugs))


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.decode()))


def test_chapters_stand_in_their_order_with_words_and_pictures(bench, match):
    made = a_series(bench, match, "demo", opening="One.\n\nTwo.", closing="Then the spring.")
    page = series_page(made).decode()
    places = [page.index(f'id="chapter-{n}"') for n in (1, 2)]
    assert places == sorted(places) and page.index("Two.") < places[0]
    assert page.count("<img") == 2 and page.count("<source") == 2
    for story in made.stories:
        assert story.headline in page
        assert all(s.text in text_of(page.encode()) for s in story.spoken if "'" not in s.text)
    assert page.index("Then the spring.") > places[1]
    assert "can hurt and kill" in page and "boost threshold" in page
    assert series_page(made) == series_page(made)


def test_the_page_loads_nothing_and_runs_nothing(bench):
    page = series_page(a_series(bench, "demo", title=HOSTILE, opening=HOSTILE)).decode()
    assert "<script" not in page and 'onerror="alert' not in page
    assert "default-src 'none'" in html.unescape(page)
    addresses = re.findall(r'(?:src|srcset|href)="([^"]{0,40})', page)
    assert addresses and all(a.startswith(("data:image/svg+xml", "#chapter-")) for a in addresses)


def test_a_chapter_links_to_its_own_page_where_there_is_one(bench):
    story = told(open_finding(bench, "demo"), "US")
    publish(bench, story, Publication(picture=False, why=False, talk=False, poster=False))
    panel = SeriesPanel(bench.folder, ["demo"])
    panel.go.click()
    slug = panel.which.value
    page = bench.file(f"explain/{slug}/page.html")
    assert 'href="../demo/page.html"' in page.read_text(encoding="utf-8")
    assert (page.parent / "../demo/page.html").resolve().is_file()


@pytest.mark.parametrize(
    "title, wrong",
    [
        ("Large makes 24 hp more at 6500 rpm", ""),
        ("Large makes 400 hp more at 6500 rpm", "400 hp: the difference in power is"),
        ("What two turbos taught us", ""),
    ],
)
def test_a_title_is_held_to_the_chapters(bench, title, wrong):
    made = a_series(bench, "demo", title=title)
    assert len(made.troubles) == bool(wrong)
    if wrong:
        assert made.troubles[0].startswith(wrong)
        with pytest.raises(PublishError, match="this contradicts the findings: 400 hp"):
            publish_series(bench, made)
        assert not bench.series()


def test_words_around_may_say_more_and_it_is_remarked(bench):
    made = a_series(bench, "demo", closing="Next we try 999 hp.")
    assert made.troubles == [] and made.remarks[0].startswith("In the words after: 999 hp: ")
    _, done = publish_series(bench, made)
    assert done.written == ("page.html",)


def test_a_series_without_a_chapter_is_not_published(bench):
    with pytest.raises(PublishError, match="choose the finding of the first chapter"):
        publish_series(bench, a_series(bench))


def test_what_was_chosen_is_kept_and_read_back(bench):
    words = Words("Two, or one?", ("demo",), "a\n\nb", "c")
    saved = placed(bench, words)
    save_series(bench, saved)
    assert saved.slug == "two-or-one" and read_series(bench, saved.slug) == saved
    save_series(bench, again := placed(bench, words))
    assert again.slug == "two-or-one-2"
    assert [n.split("/")[1] for n in bench.series()] == ["two-or-one", "two-or-one-2"]
    file = bench.file("explain/two-or-one/series.toml")
    file.write_text("# for the spring meeting\n" + file.read_text("utf-8"), encoding="utf-8")
    save_series(bench, placed(bench, replace(saved, closing="d"), saved))
    assert file.read_text("utf-8").startswith("# for the spring meeting\n")
    assert read_series(bench, "two-or-one").closing == "d"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('title = "a"\n', 'write its findings like chapters = \\["demo"\\]'),
        ("chapters = 5\n", "write its findings like chapters"),
        ('chapters = "demo"\n', "write its findings like chapters"),
        ("chapters = []\ntitle = 3\n", "write title, opening and closing in quotes"),
        ("chapters = [\n", "series.toml"),
        (f"chapters = {[str(k) for k in range(14)]}\n", "14 chapters and this page can hold 12"),
    ],
)
def test_a_series_that_cannot_be_used_is_said_and_never_written_over(bench, text, words):
    file = bench.file("explain/mine/series.toml")
    file.parent.mkdir()
    file.write_text(text, encoding="utf-8")
    panel = SeriesPanel(bench.folder, ["demo"], title="Other")
    panel.which.value = "mine"
    assert re.search(words, html.unescape(panel.trouble.value)), panel.trouble.value
    panel.go.click()
    assert file.read_text(encoding="utf-8") == text
    assert panel.which.value == "other"


def test_a_write_that_fails_leaves_no_half_series(bench, monkeypatch):
    def full(*_):
        raise BenchError("page.html could not be saved: nothing was changed")

    panel = SeriesPanel(bench.folder, ["demo"], title="Two")
    monkeypatch.setattr("toolkit.explain.publish.write_bytes", full)
    panel.go.click()
    assert "could not be saved" in panel.trouble.value and panel.result.value == ""
    assert not bench.series()


def test_a_finding_that_is_gone_by_then_is_not_published(bench, match):
    panel = SeriesPanel(bench.folder, ["demo", match], title="Both")
    shutil.rmtree(bench.file(f"explain/{match}"))
    panel.go.click()
    assert match in panel.trouble.value and not bench.series()


@pytest.mark.parametrize(
    ("title", "slug"),
    [("Small → Large", "small-large"), ("10 µm — and why?", "10-m-and-why"), ("日本語", "finding"),
     ("???", "finding")],
)  # fmt: skip
def test_any_title_finds_a_folder(bench, title, slug):
    panel = SeriesPanel(bench.folder, ["demo"], title=title)
    panel.go.click()
    assert panel.trouble.value == "" and panel.which.value == slug


def test_a_page_that_somebody_changed_stays(bench):
    words, _ = publish_series(bench, a_series(bench, "demo"))
    slug, page = words.slug, bench.file(f"explain/{words.slug}/page.html")
    page.write_text("my own words", encoding="utf-8")
    panel = SeriesPanel(bench.folder)
    panel.which.value = slug
    assert panel.title.value == "Which one?" and panel.chapters[0].value == "demo"
    panel.go.click()
    assert page.read_text(encoding="utf-8") == "my own words"
    assert "was changed by somebody and stays" in panel.result.value
    panel.over.value = True
    panel.go.click()
    assert "Written to" in panel.result.value and "Which one?" in page.read_text(encoding="utf-8")


def test_two_pages_on_one_series_do_not_write_over_each_other(bench, match):
    first, second = (SeriesPanel(bench.folder, ["demo"]) for _ in range(2))
    first.go.click()
    slug = first.which.value
    again = SeriesPanel(bench.folder)
    again.which.value = slug
    again.chapters[1].value = match
    again.go.click()
    assert "Written to" in again.result.value
    first.title.value = "Mine"
    first.go.click()
    assert "was changed since it was opened here" in first.trouble.value
    assert read_series(bench, slug).chapters == ("demo", match)
    second.go.click()  # a new one gets a folder of its own
    assert second.which.value == f"{slug}-2"


def test_the_panel_follows_chapters_title_and_units(bench, match):
    panel = SeriesPanel(bench.folder, ["demo"], build="builds/small.toml")
    assert panel.trouble.value == "" and panel.series.stories[0].why is not None
    assert panel.chapters[1].layout.display is None
    assert panel.chapters[2].layout.display == "none"
    panel.chapters[1].value = match
    assert [s.slug for s in panel.series.stories] == ["demo", match]
    assert panel.chapters[2].layout.display is None
    panel.title.value = "Large makes 400 hp more at 6500 rpm"
    assert panel.go.disabled and "400 hp" in panel.shown.value
    panel.title.value = HOSTILE
    assert not panel.go.disabled and "<script" not in panel.shown.value
    UNITS.system = "SI"
    assert panel.series.stories[0].system == "SI" and "kW" in panel.shown.value
    UNITS.system = "US"
    panel.chapters[0].value = panel.chapters[1].value = ""
    assert panel.go.disabled and "No chapter is chosen yet" in panel.shown.value


def test_a_chapter_whose_finding_is_gone_is_said(bench, match):
    words = placed(bench, Words("Both", ("demo", match)))
    save_series(bench, words)
    slug = words.slug
    shutil.rmtree(bench.file(f"explain/{match}"))
    panel = SeriesPanel(bench.folder)
    panel.which.value = slug
    assert panel.chapters[0].value == "demo"
    assert f"the bench has no finding '{match}' any more" in html.unescape(panel.trouble.value)
    assert panel.chapters[0].value == "demo" and panel.chapters[1].value == ""


def test_a_log_changed_since_is_said_under_the_chapters(bench):
    log = bench.file("runs/2026-04-18_5_large_14psi_dyno.csv")
    log.write_bytes(log.read_bytes() + b"\n")
    panel = SeriesPanel(bench.folder, ["demo"])
    assert "2026-04-18_5_large_14psi_dyno.csv" in panel.remarks.value


def test_a_finding_saved_meanwhile_is_found(bench):
    series, one = SeriesPanel(bench.folder, ["demo"]), ExplainerPanel(bench.folder)
    sheet = CandidatesPanel(Sheet("builds/candidates.toml", bench.folder))
    sheet.keep.title.value = "Saved meanwhile"
    sheet.keep.save.click()
    for panel in (series, one):
        panel.again.click()
        assert panel.trouble.value == ""
    assert series.chapters[0].value == one.finding.value == "demo"
    series.chapters[1].value = one.finding.value = "saved-meanwhile"
    assert series.series.stories[1].headline == one.story.headline == "Saved meanwhile"
    shutil.rmtree(bench.file("explain/saved-meanwhile"))
    series.again.click()
    assert series.chapters[1].value == "" and len(series.series.stories) == 1
    one.again.click()
    assert one.finding.value == "demo" and one.trouble.value == ""
