"""What a panel keeps as a finding, of every kind: saved, opened again, published."""

import json
import shutil

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.bench import Bench, BenchError, digest, read_toml, write_toml
from toolkit.explain.keepable import GATE, MATCH, ROAD, WHAT_IF
from toolkit.explain.kept import changed_sources, open_finding
from toolkit.explain.page import page
from toolkit.explain.publish import Choice, files
from toolkit.explain.story import EVIDENCE
from toolkit.explain.telling import told
from toolkit.panels.base import UNITS
from toolkit.panels.explainer import ExplainerPanel
from toolkit.panels.road import RoadPanel
from toolkit.panels.sizing import CandidatesPanel
from toolkit.panels.sizing_sheet import Sheet
from toolkit.panels.spring_check import GatePanel
from toolkit.panels.what_if import WhatIfPanel

PSI = 6894.757
SMALL, LARGE = "builds/small.toml", "builds/large.toml"
PULL = "runs/2026-04-18_3_small_20psi_dyno.csv"


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept") / "bench"
    skip = shutil.ignore_patterns("explain", "generator", "*.py", "__pycache__")
    shutil.copytree(ROOT / "data_demo", folder, ignore=skip)
    return Bench(folder)


@pytest.fixture(scope="module")
def panels(bench):
    runs = [f"runs/2026-04-18_{n}_8psi_dyno.csv" for n in ("1_small", "4_large")]
    what_if = WhatIfPanel(bench.folder, runs[:1], runs[1:], (SMALL, LARGE), boost_gauge_pa=12 * PSI)
    return {
        MATCH: CandidatesPanel(Sheet("builds/candidates.toml", bench.folder)),
        GATE: GatePanel(bench.folder, log=PULL, build=SMALL, target_gauge_pa=20 * PSI),
        WHAT_IF: what_if,
        ROAD: RoadPanel(what_if),
    }


@pytest.fixture(scope="module")
def saved(bench, panels):
    """{kind: slug} of a finding saved by a click in each panel."""
    slugs = {}
    for kind, panel in panels.items():
        before = set(bench.findings())
        panel.keep.save.click()
        assert panel.trouble.value == "" and "The explainer can publish it" in (
            panel.keep.saved.value
        )
        (slugs[kind],) = (n.split("/")[1] for n in set(bench.findings()) - before)
    return slugs


KINDS = pytest.mark.parametrize("kind", [MATCH, GATE, WHAT_IF, ROAD])


@KINDS
def test_what_was_saved_is_what_was_shown(bench, panels, saved, kind):
    kept = open_finding(bench, saved[kind])
    assert kept.kind == kind and kept.system == UNITS.system
    assert changed_sources(bench, kept) == () and kept.sources
    panel = panels[kind]
    shown = panel.window.picture if kind == GATE else panel.chart.picture
    for ours, theirs in zip(kept.picture.panels, shown.panels, strict=False):
        assert ours.title == theirs.title and len(ours.lines) == len(theirs.lines)
        for a, b in zip(ours.lines, theirs.lines, strict=True):
            assert (a.label, a.colour, a.evidence) == (b.label, b.colour, b.evidence)
            np.testing.assert_allclose(a.y, b.y, rtol=1e-9)
        assert ours.y_limits == pytest.approx(theirs.y_limits)
    assert kept.sentences and all(s.evidence in EVIDENCE for s in kept.sentences)


@KINDS
def test_its_own_headline_holds_and_a_wrong_one_is_told(bench, saved, kind):
    kept = open_finding(bench, saved[kind])
    assert told(kept, kept.system).troubles == []
    wrong = told(kept, kept.system, title="It makes 999 psi of boost at 6000 rpm")
    assert any(t.startswith("999 psi") for t in wrong.troubles)


@KINDS
def test_the_same_finding_gives_the_same_files(bench, saved, kind):
    story = told(open_finding(bench, saved[kind]), "US")
    choice = Choice(size=(1280, 720), vector=True)
    made = [{name: make() for name, make in files(story, choice)} for _ in range(2)]
    assert made[0] == made[1]
    names = set(made[0])
    assert {"page.html", "numbers.csv", "talk.md", "talk.vtt"} <= names
    assert any(n.startswith("picture-") for n in names)
    html = made[0]["page.html"].decode()
    assert "What was not measured" in html or "Not measured" in html
    assert all(s.text.split(".")[0].replace("'", "&#39;") in html for s in story.sentences[:1])


def test_other_units_are_said(bench, saved):
    kept = open_finding(bench, saved[MATCH])
    other = "SI" if kept.system == "US" else "US"
    story = told(kept, other)
    assert story.system == kept.system
    assert f"Shown in {kept.system} units, as it was saved." in story.method


def test_the_explainer_tells_every_kind(bench, saved):
    panel = ExplainerPanel(bench.folder)
    for slug in saved.values():
        panel.finding.value = slug
        assert panel.trouble.value == "" and panel.preview.value
        assert panel.build.layout.display == "none" and not panel.go.disabled
    assert b"<html" in page(panel.story)[:200]


def rewritten(bench, slug, change):
    """The picture's file changed by a hand that also mends its digest."""
    path = bench.file(f"explain/{slug}/picture.json")
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    path.write_text(json.dumps(data), encoding="utf-8")
    words = read_toml(bench.file(f"explain/{slug}/finding.toml"))
    words["files"]["picture.json"] = digest(path)
    write_toml(bench.file(f"explain/{slug}/finding.toml"), words.unwrap())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.update(script="x"), "Picture has no 'script'"),
        (lambda d: d["panels"][0].update(title=3), "3 is not words"),
        (lambda d: d["panels"][0]["lines"][0].update(y=["x"]), "'x' is no number"),
        (lambda d: d["panels"][0]["lines"][0].update(colour="url(x)"), "'url.x.' is no colour"),
        (lambda d: d["panels"][0]["lines"][0].update(evidence="sure"), "'sure' is no evidence"),
        (lambda d: d.update(panels=5), "cannot be used as a finding"),
    ],
)
def test_a_picture_made_by_hand_is_refused_in_words(bench, panels, change, words):
    before = set(bench.findings())
    panels[MATCH].keep.save.click()
    (name,) = set(bench.findings()) - before
    slug = name.split("/")[1]
    rewritten(bench, slug, change)
    with pytest.raises(BenchError, match=words):
        open_finding(bench, slug)
    shutil.rmtree(bench.file(f"explain/{slug}"))


def test_a_changed_or_lost_picture_is_told(bench, panels):
    panels[MATCH].keep.save.click()
    slug = sorted(n.split("/")[1] for n in bench.findings())[-1]
    path = bench.file(f"explain/{slug}/picture.json")
    path.write_text(path.read_text(encoding="utf-8") + " ", encoding="utf-8")
    with pytest.raises(BenchError, match="changed after it was saved"):
        open_finding(bench, slug)
    path.unlink()
    with pytest.raises(BenchError, match="lost its file"):
        open_finding(bench, slug)
    shutil.rmtree(bench.file(f"explain/{slug}"))


def test_a_changed_source_is_told(bench, saved):
    kept = open_finding(bench, saved[GATE])
    build = bench.file(SMALL)
    text = build.read_bytes()
    try:
        build.write_bytes(text + b"\n# later\n")
        (said,) = changed_sources(bench, kept)
    finally:
        build.write_bytes(text)
    assert SMALL in said and "save it again" in said
