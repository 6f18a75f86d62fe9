import json
import re
import urllib.request

import pytest
from conftest import OPEN, sees, settle, shoot, wait_until_run
from playwright.sync_api import expect

NAME = "06_explainer"


@pytest.fixture(autouse=True)
def fresh_kernel(lab):
    """No kernel of an earlier test: a page that finds one asks it for panels just being closed."""
    ask = {"Authorization": f"token {lab.token}"}
    url = f"{lab.base}/api/sessions"
    with urllib.request.urlopen(urllib.request.Request(url, headers=ask)) as answer:
        sessions = json.load(answer)
    for session in sessions:
        gone = urllib.request.Request(f"{url}/{session['id']}", headers=ask, method="DELETE")
        urllib.request.urlopen(gone).close()


IMAGE = f"document.querySelector('{OPEN} .dp-preview img')"


def preview(page):
    """Width and height of what the preview shows, and its address, new with every picture."""
    page.wait_for_function(f"{IMAGE}.complete && {IMAGE}.naturalWidth > 0")
    return page.evaluate(f"[{IMAGE}.naturalWidth, {IMAGE}.naturalHeight, {IMAGE}.src]")


def changed(page, before):
    """The preview once it is another than it was; fails after 60 s."""
    page.wait_for_function(f"src => {IMAGE}.src !== src", arg=before[2], timeout=60_000)
    return preview(page)


def choose(page, label, text):
    row = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))"
    page.locator(f"{row} select").first.select_option(label=text)
    settle(page)


def write_headline(page, text):
    area = page.locator(f"{OPEN} .dp-headline textarea")
    area.fill(text)
    area.blur()
    settle(page)


def test_the_preview_follows_place_ground_and_units(open_workbook):
    page = open_workbook(NAME)
    first = preview(page)
    assert first[:2] == [860, 484]
    shoot(page, f"{NAME}_1440")
    page.set_viewport_size({"width": 1024, "height": 900})
    settle(page)
    shoot(page, f"{NAME}_1024")
    wide = page.evaluate(
        f"""() => {{ const image = document.querySelector('{OPEN} .dp-preview img');
        return image.getBoundingClientRect().right }}"""
    )
    assert wide <= 1024
    page.set_viewport_size({"width": 1440, "height": 1000})
    choose(page, "Place", "upright, 1080 x 1920")
    upright = changed(page, first)
    assert upright[1] > upright[0]
    choose(page, "Ground", "dark")
    dark = changed(page, upright)
    assert dark[:2] == upright[:2]
    page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)").first.click()
    changed(page, dark)
    words = page.locator(f"{OPEN} .dp-headline textarea").input_value()
    assert "kW" in words or "hp" in words


def test_a_headline_that_contradicts_turns_red_with_the_reason(open_workbook):
    page = open_workbook(NAME)
    write_headline(page, "Large makes 400 hp more at 6500 rpm")
    sees(page, "400 hp: the difference in power is", ".dp-wrong")
    assert page.locator(f"{OPEN} .dp-headline-wrong").count() == 1
    assert page.get_by_role("button", name="Publish").is_disabled()
    shoot(page, f"{NAME}_red")
    page.get_by_role("button", name="Back to the finding's own").click()
    sees(page, "400 hp", ".dp-wrong", gone=True)
    assert page.get_by_role("button", name="Publish").is_enabled()


def test_publishing_writes_the_files_and_keeps_what_was_edited(lab, open_workbook):
    page = open_workbook(NAME)
    page.get_by_role("button", name="Publish").click()
    sees(page, "Written to explain/demo/")
    folder = lab.root / "data_demo" / "explain" / "demo"
    made = {p.name for p in folder.iterdir()}
    assert {"page.html", "numbers.csv", "talk.md", "talk.vtt", "published.toml"} <= made
    assert {"picture-1920x1080-light.png", "circle-1920x1080-light.png"} <= made
    (folder / "talk.md").write_text("my own words")
    page.get_by_role("button", name="Publish").click()
    sees(page, "Kept as you changed them: talk.md")
    assert (folder / "talk.md").read_text() == "my own words"
    viewer = page.context.browser.new_page()
    viewer.goto((folder / "page.html").as_uri())
    viewer.wait_for_selector("html[data-ready]", state="attached", timeout=60_000)


def test_a_clip_shows_its_progress_and_can_be_stopped(lab, open_workbook):
    page = open_workbook(NAME)
    choose(page, "Make", "MP4")
    page.get_by_role("button", name="Publish").click()
    page.wait_for_function(
        f"""() => {{ const bar = document.querySelector('{OPEN} .widget-hprogress .progress-bar');
          return bar && parseFloat(bar.style.width) > 30 }}""",
        timeout=120_000,
    )
    page.get_by_role("button", name="Stop").click()
    sees(page, "Stopped: only whole files were kept.")
    folder = lab.root / "data_demo" / "explain" / "demo"
    assert not [p for p in folder.iterdir() if p.suffix == ".mp4"]


def test_words_of_the_person_are_never_markup(lab, page):
    bad = "<img src=x onerror='window.fired=1'><script>window.fired=1</script>"
    log = lab.root / "data_demo" / "runs" / "2026-04-18_2_small_14psi_dyno.csv.review.toml"
    was = log.read_text()
    note = f'\n[[notes]]\nwords = {json.dumps(bad)}\nchannel = "p_manifold_pa"\n'
    log.write_text(was + note + 'axis = "speed_rpm"\nat = "5000 rpm"\n')
    try:
        page.goto(f"{lab.base}/lab/tree/workbooks/{NAME}.ipynb?token={lab.token}&reset")
        wait_until_run(page)
        options = page.locator(f"{OPEN} .dp-panel select option").all_text_contents()
        assert any(o.startswith("<img") for o in options)
        write_headline(page, f"{bad} 9999 hp")
        sees(page, "9999 hp", ".dp-wrong")
        assert "<script>" in page.locator(f"{OPEN} .dp-headline textarea").input_value()
        page.locator(f"{OPEN} .dp-panel summary").first.click()
        assert page.evaluate("window.fired") is None
    finally:
        log.write_text(was)


@pytest.mark.parametrize(
    ("workbook", "headline"),
    [
        ("01_sizing_worksheet", "A match for the hill"),
        ("04_spring_check", "Why the boost falls away"),
        ("05_what_if", "A size nobody has run"),
    ],
)
def test_what_another_page_saved_is_told_here(lab, open_workbook, workbook, headline):
    there = lab.root / "data_demo" / "explain"
    before = set(there.glob("*"))
    page = open_workbook(workbook)
    box = page.locator(f"{OPEN} .widget-hbox:has(button:has-text('Save as a finding'))").last
    box.locator("input").fill(headline)
    box.locator("input").press("Enter")
    box.locator("button").press("Enter")
    sees(page, "Saved in explain/")
    (made,) = set(there.glob("*")) - before
    page = open_workbook(NAME)
    choose(page, "Finding", made.name)
    area = page.locator(f"{OPEN} .dp-headline textarea")
    expect(area).to_have_value(re.compile(re.escape(headline)), timeout=60_000)
    settle(page)
    assert preview(page)[:2] == [860, 484]
    shoot(page, f"{NAME}_of_{workbook[:2]}")
    page.get_by_role("button", name="Publish").press("Enter")
    sees(page, f"Written to explain/{made.name}/")
    assert headline in (made / "page.html").read_text(encoding="utf-8")


def test_several_findings_become_one_page(lab, open_workbook):
    page = open_workbook("01_sizing_worksheet")
    box = page.locator(f"{OPEN} .widget-hbox:has(button:has-text('Save as a finding'))").last
    box.locator("input").fill("Three on one engine")
    box.locator("input").press("Enter")
    box.locator("button").press("Enter")
    sees(page, "Saved in explain/three-on-one-engine/")
    page = open_workbook(NAME)
    choose(page, "Chapter 2", "three-on-one-engine")
    sees(page, "2. Three on one engine")
    title = page.get_by_placeholder("title of the page")
    title.fill("Large makes 400 hp more at 6500 rpm")
    title.blur()
    sees(page, "400 hp: the difference in power is", ".dp-wrong")
    go = page.get_by_role("button", name="Write the page")
    expect(go).to_be_disabled()
    title.fill("What one engine taught us")
    title.blur()
    expect(go).to_be_enabled(timeout=60_000)
    go.press("Enter")
    sees(page, "Written to explain/what-one-engine-taught-us/page.html")
    shoot(page, f"{NAME}_series")
    made = lab.root / "data_demo" / "explain" / "what-one-engine-taught-us" / "page.html"
    viewer = page.context.browser.new_page(viewport={"width": 390, "height": 800})
    errors = []
    viewer.on("console", lambda m: errors.append(m.text))
    viewer.goto(made.as_uri())
    assert viewer.locator("h2[id^=chapter-]").all_inner_texts()[1] == "2. Three on one engine"
    pictures = "[...document.images].every(i => i.complete && i.naturalWidth > 0)"
    viewer.wait_for_function(pictures)
    assert viewer.evaluate("document.documentElement.scrollWidth") <= 390
    assert errors == []
