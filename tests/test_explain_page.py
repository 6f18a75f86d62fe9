import base64
import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from tests.test_explain_telling import finding, review_note, told_why
from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Zone
from toolkit.explain.page import csv_of, marked, page, readout_rows
from toolkit.explain.telling import story_of

BAD = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>${7*7}{{7*7}}</style>-->"


def story(**changed):
    return replace(story_of(finding(), "US"), **changed)


class Elements(HTMLParser):
    """The elements of a page with their attributes, and the text of its scripts and styles."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.found, self.texts, self._open = [], {"script": [], "style": [], "h1": []}, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        self._open.append(tag)
        if tag in self.texts:
            self.texts[tag].append("")

    def handle_endtag(self, tag):
        if tag in self._open:
            while self._open.pop() != tag:
                pass

    def handle_data(self, data):
        if self._open and self._open[-1] in self.texts:
            self.texts[self._open[-1]][-1] += data

    def of(self, tag):
        return [attrs for name, attrs in self.found if name == tag]


def test_the_policy_lets_only_the_pages_own_scripts_run():
    made = Elements(page(story()).decode())
    policy = made.of("meta")[1]["content"]
    scripts = [
        t for t, a in zip(made.texts["script"], made.of("script"), strict=True) if "type" not in a
    ]
    digests = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts]
    assert policy.startswith("default-src 'none'; script-src ")
    assert re.findall(r"'sha256-([^']+)'", policy) == digests
    assert "unsafe-eval" not in policy and "unsafe-inline" not in policy.split("style-src")[0]


def test_nothing_is_loaded_from_anywhere():
    text = page(story()).decode()
    made = Elements(text)
    for tag, attrs in made.found:
        for name in ("src", "href", "srcset", "action"):
            value = attrs.get(name, "data:") or "data:"
            assert value.startswith(("data:", "#")), (tag, value[:60])
        assert not any(name.startswith("on") for name in attrs), attrs
    assert not made.of("link") and not made.of("iframe") and not made.of("object")


def poisoned():
    base = story_of(finding(a=f"A{BAD}", b="B", note=BAD), "US", notes=[review_note(words=BAD)])
    table = base.table.rename(columns={base.table.columns[0]: BAD})
    return replace(base, headline=BAD, card=((BAD, BAD),), cautions=(BAD,), table=table)


def test_words_from_files_are_words_wherever_they_stand():
    text = page(poisoned()).decode()
    clean = Elements(page(story()).decode())
    made = Elements(text)
    allowed = {name for name, _ in clean.found}
    assert {name for name, _ in made.found} == allowed
    assert len(made.of("script")) == len(clean.of("script"))
    assert made.texts["h1"] == [BAD]
    assert not any(a.startswith("on") for _, attrs in made.found for a in attrs)


def test_words_in_the_data_cannot_end_the_script_element():
    made = Elements(page(poisoned()).decode())
    data = json.loads(made.texts["script"][0])
    assert any(BAD in words for words in data["names"])
    assert "<" not in made.texts["script"][0]


def test_every_part_has_a_heading_and_the_chart_is_described():
    made = Elements(page(story()).decode())
    assert len(made.of("h1")) == 1
    assert made.of("html")[0]["lang"] == "en"
    ids = {attrs["id"] for _, attrs in made.found if "id" in attrs}
    for _, attrs in made.found:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set(attrs.get(name, "").split()) <= ids
    sections = made.of("section")
    assert len(sections) == len(made.of("h2")) >= 6
    assert all("aria-labelledby" in s for s in sections)
    assert all(a.get("alt") for a in made.of("img"))
    assert made.of("figure")[0]["aria-describedby"] == "in-words"


def test_words_in_the_live_chart_can_be_read():
    # W3C, Web Content Accessibility Guidelines 2.1, 1.4.3: at least 4.5:1.
    data = json.loads(Elements(page(story()).decode()).texts["script"][0])
    colours = re.findall(r'"text_color": ?\{"type": ?"field", ?"field": ?"(\w+)"', json.dumps(data))
    assert set(colours) == {"colour"}
    worded = [m for m in models(data["item"]["doc"]) if "text" in columns(m)]
    assert len(worded) == 3
    inks = {c for m in worded for c in columns(m)["colour"]}
    assert len(inks) >= 3
    assert all(style.contrast(c, style.PAPER) >= 4.5 for c in inks)


def models(part):
    if isinstance(part, dict):
        if part.get("name") == "ColumnDataSource":
            yield part
        part = list(part.values())
    if isinstance(part, list):
        for item in part:
            yield from models(item)


def columns(source):
    return dict(source["attributes"]["data"]["entries"])


def test_the_numbers_can_be_downloaded_as_they_are():
    made = Elements(page(story()).decode())
    link = next(a for a in made.of("a") if "download" in a)
    assert link["download"] == "large.csv"
    kind, data = link["href"].split(",", 1)
    assert kind == "data:text/csv;charset=utf-8;base64"
    text = base64.b64decode(data).decode()
    assert text == csv_of(story().table).decode()
    assert text.splitlines()[0].startswith("Engine speed [rpm],Small: torque [lb-ft]")


def test_a_name_in_the_csv_cannot_become_a_formula():
    frame = pd.DataFrame({"=cmd|' /C calc'!A0": [1.0], "-3": [2.0]}, index=pd.Index([1], name="@x"))
    head = csv_of(frame).decode().splitlines()[0]
    assert head == "'@x,'=cmd|' /C calc'!A0,'-3"


def test_a_headline_that_contradicts_is_said_on_the_page():
    wrong = story_of(finding(), "US", title="Large makes 400 hp more at 6500 rpm")
    assert "The headline contradicts the numbers: 400 hp" in page(wrong).decode()
    assert "contradicts" not in page(story()).decode()


def test_the_same_story_gives_the_same_bytes_in_another_process():
    code = (
        "import hashlib; from tests.test_explain_page import story; "
        "from toolkit.explain.page import page; "
        "page(story()); print(hashlib.sha256(page(story())).hexdigest())"
    )
    root = Path(__file__).resolve().parent.parent
    env = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": str(root)}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, env=env, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == hashlib.sha256(page(story())).hexdigest()


def test_the_readout_pairs_the_runs_and_keeps_shares_apart():
    x = [1.0, 2.0]
    curves = Panel(
        "Boost and back [psi]; shaded where",
        (
            Line(x, [1, 2], "A boost", "#0072B2", decimals=1),
            Line(x, [3, None], "B boost", "#D55E00", decimals=1),
        ),
    )
    shares = Panel("Share [hp]", bands=(Band(x, [0, 1], [2, 4], "#111111", label="heat"),))
    own = Panel("Other", (Line(x, x, "A", "#0072B2"),), x_label="Time [s]")
    runs = (("A", "#0072B2"), ("B", "#D55E00"))
    drawn = replace(story(), picture=Picture("", "", (curves, shares, own), "rpm"), runs=runs)
    boost, heat = readout_rows(drawn)
    assert (boost["name"], boost["decimals"]) == ("Boost [psi]", 1)
    assert [r["y"] for r in boost["runs"]] == [[1.0, 2.0], [3.0, None]]
    assert heat["name"] == "Share [hp]" and heat["other"]["y"] == [2.0, 3.0]


def test_the_readout_has_a_row_for_every_cause():
    _, why = told_why()
    names = [row["name"] for row in readout_rows(why)]
    assert names[-len(why.shares.columns) :] == list(why.shares.columns)
    assert page(why).decode().count("Torque by breathing") == 1


def test_marks_are_told_with_their_place():
    panel = Panel(
        "T",
        marks=(Mark(6000, 1, "+46 at 6000 rpm"), Mark(4000, 1, "knock")),
        zones=(Zone(0.5, 2, "clipped"),),
    )
    told = marked(Picture("", "", (panel,), "Engine speed [rpm]"))
    assert told == ["+46 at 6000 rpm", "knock, at 4000 rpm", "clipped, at 0.5 rpm"]


@pytest.mark.parametrize("limits", [(0, 1), (2000, 7000), (-5, 5)])
def test_the_cursor_can_reach_both_ends(limits):
    panel = Panel("T", (Line([*limits], [0, 1], "run"),))
    made = Elements(page(replace(story(), picture=Picture("f", "", (panel,), "x"))).decode())
    slider = next(a for a in made.of("input") if a.get("id") == "cursor")
    low, high, step = (float(slider[k]) for k in ("min", "max", "step"))
    assert (low, high) == limits
    assert 0 < step < (high - low) / 100


def test_a_row_that_repeats_the_difference_of_another_is_left_out():
    x = np.array([3000.0, 4000.0, 5000.0])
    first, second = Line(x, x / 10, "Small", "#0072B2"), Line(x, x / 9, "Large", "#D55E00")
    panels = [
        Panel("Torque [lb-ft]", (first, second)),
        Panel("Difference in torque [lb-ft]", (Line(x, x / 9 - x / 10, "Large − Small"),)),
        Panel("Something else [psi]", (Line(x, x / 100, "boost"),)),
    ]
    runs = (("Small", "#0072B2"), ("Large", "#D55E00"))
    story = SimpleNamespace(
        runs=runs, whole=Picture("f", "m", tuple(panels), "Engine speed [rpm]"), shares=None
    )
    assert [r["name"] for r in readout_rows(story)] == ["Torque [lb-ft]", "Something else [psi]"]
