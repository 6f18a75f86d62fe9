"""The explainer panel driven as a hand would, without a screen."""

import shutil
import threading

import pytest

from tests.conftest import ROOT
from tests.test_explain_telling import comparison
from toolkit.analysis.finding import save_finding
from toolkit.bench import Bench
from toolkit.panels import explainer
from toolkit.panels.base import UNITS
from toolkit.panels.explainer import ExplainerPanel, Splits

FEW = {"picture": False, "why": False, "poster": False, "page": False, "talk": True}


@pytest.fixture
def bench(tmp_path):
    UNITS.system = "US"
    bench = Bench(tmp_path)
    for folder in ("builds", "maps"):
        shutil.copytree(ROOT / "data_demo" / folder, tmp_path / folder)
    save_finding(bench, comparison(), "US", slug="first")
    save_finding(bench, comparison("Old", "New"), "US", slug="second")
    return bench


@pytest.fixture
def panel(bench):
    panel = ExplainerPanel(bench.folder, "first", "")
    panel.build.value = ""
    for name, chosen in FEW.items():
        panel.parts[name].value = chosen
    yield panel
    panel.wait()
    panel.close()


def damage(bench, slug):
    path = bench.file(f"explain/{slug}/pulls.csv")
    path.write_text(path.read_text().replace("600", "601", 1))


def test_a_finding_that_cannot_be_opened_is_not_told_and_not_published(panel, bench):
    damage(bench, "second")
    panel.finding.value = "second"
    for _ in range(2):
        assert "second/pulls.csv was changed" in panel.trouble.value
        assert panel.story is None and panel.go.disabled
        assert panel.headline.value == "" and panel._frame.layout.display == "none"
        panel.look.value = "dark" if panel.look.value == "light" else "light"
    panel.go.click()
    panel.wait()
    assert not list(bench.file("explain").glob("*/talk.md"))
    UNITS.system = "SI"
    assert panel.story is None and "second/pulls.csv was changed" in panel.trouble.value
    UNITS.system = "US"
    panel.finding.value = "first"
    assert panel.trouble.value == "" and panel.story.slug == "first" and not panel.go.disabled
    assert panel.headline.value == panel.story.headline
    assert panel._frame.layout.display is None


def test_opens_on_a_damaged_finding_with_the_reason_and_another_can_be_chosen(bench):
    damage(bench, "first")
    panel = ExplainerPanel(bench.folder, "first", "")
    assert "first/pulls.csv was changed" in panel.trouble.value and panel.go.disabled
    panel.finding.value = "second"
    assert panel.trouble.value == "" and panel.story.slug == "second"
    panel.close()


def test_a_split_belongs_to_the_numbers_it_was_made_from(bench):
    splits = Splits(bench)
    build = "builds/small.toml"
    before = explainer.open_finding(bench, "first")
    one = splits.of("first", before, build)
    assert splits.of("first", explainer.open_finding(bench, "first"), build) is one
    save_finding(bench, comparison("Old", "New"), "US", slug="first")
    other = splits.of("first", explainer.open_finding(bench, "first"), build)
    assert other.name_a == "Old"


def test_looking_for_new_findings_keeps_the_words_that_were_written(panel, bench):
    panel.finding.value = "second"
    panel.headline.value = "Where the old turbo runs out"
    save_finding(bench, comparison(), "US", slug="third")
    panel.again.click()
    assert panel.finding.value == "second"
    assert panel.story.headline == panel.headline.value == "Where the old turbo runs out"
    assert "third" in [slug for _, slug in panel.finding.control.options]


def test_what_is_changed_while_publishing_is_drawn_when_it_ends(panel, bench, monkeypatch):
    going, on = threading.Event(), threading.Event()
    plain = explainer.publish

    def slow(*args):
        going.set()
        assert on.wait(20)
        return plain(*args)

    monkeypatch.setattr(explainer, "publish", slow)
    panel.go.click()
    assert going.wait(20)
    panel.headline.value = "Where the small turbo runs out"
    on.set()
    panel.wait()
    assert panel.story.headline == panel.headline.value
    assert "Written to explain/first/" in panel.result.value and not panel.go.disabled
    panel.finding.value = "second"
    assert panel.result.value == ""

    going.clear(), on.clear()
    panel.go.click()
    assert going.wait(20)
    panel.finding.value = "first"
    on.set()
    panel.wait()
    assert panel.story.slug == "first" and panel.headline.value == panel.story.headline
    assert "Written to explain/second/" in panel.result.value


def test_an_error_of_a_later_publish_does_not_stand_beside_an_older_success(panel, monkeypatch):
    panel.go.click()
    panel.wait()
    assert "Written to" in panel.result.value

    def refused(*_args):
        raise ValueError("the disk is full")

    monkeypatch.setattr(explainer, "publish", refused)
    panel.go.click()
    panel.wait()
    assert panel.result.value == "" and "the disk is full" in panel.trouble.value
