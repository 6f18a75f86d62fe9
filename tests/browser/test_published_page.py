"""The published page in a real browser, opened from the disk as a viewer would open it."""

from dataclasses import replace

import pytest
from conftest import SHOTS, chromium

from tests.test_explain_telling import finding, review_note
from toolkit.explain import page as published
from toolkit.explain.page import csv_of
from toolkit.explain.still import svg
from toolkit.explain.telling import story_of

PAYLOADS = (
    "<script>window.fired=1</script>",
    "<img src=x onerror='window.fired=1'>",
    "<svg onload='window.fired=1'></svg>",
    "<svg><script>window.fired=1</script></svg>",
    "\"><details open ontoggle='window.fired=1'>x</details>",
    "'><a href='javascript:window.fired=1' autofocus onfocus='window.fired=1'>x</a>",
    "</script><script>window.fired=1</script>",
    "</style></title><script>window.fired=1</script>",
    "]]>--><script>window.fired=1</script>",
    "$$\\href{javascript:window.fired=1}{x}$$ \\(x\\) {{ 7*7 }} ${window.fired=1}",
)
EVERY = " ".join(PAYLOADS)


def told(**names):
    return story_of(finding(**names), "US", notes=[review_note()], demo=True)


def opened(browser, folder, data, name="page.html"):
    path = folder / name
    path.write_bytes(data)
    browser.goto(path.as_uri())
    browser.wait_for_selector("html[data-ready]", state="attached", timeout=60_000)
    browser.wait_for_function("Bokeh.documents.every(d => d.is_idle)")


def shot(browser, name):
    SHOTS.mkdir(exist_ok=True)
    browser.wait_for_timeout(300)
    browser.screenshot(path=SHOTS / f"{name}.png", full_page=True)


def readout(browser):
    rows = browser.locator("#readout tbody tr").all()
    return {r.locator("th").inner_text(): r.locator("td").all_inner_texts() for r in rows}


def test_the_page_stands_alone_and_reads_out_both_runs(page, tmp_path):
    data = published.page(told())
    opened(page, tmp_path, data)
    shot(page, "published_page_1440")
    before = readout(page)
    assert set(before) >= {"Power [hp]", "Boost [psi]", "Back pressure [psi]"}
    small, large, gap = (float(t.replace("−", "-")) for t in before["Power [hp]"])
    assert abs(large - small - gap) <= 1
    page.locator("#cursor").focus()
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    assert readout(page) != before
    place = page.locator("#place").inner_text()
    assert page.locator("#cursor").get_attribute("aria-valuetext") == place


def test_a_run_can_be_hidden_and_shown_by_keyboard(page, tmp_path):
    opened(page, tmp_path, published.page(told()))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.run") == "0"
    drawn = """() => { const story = JSON.parse(document.getElementById('story').textContent);
      const doc = Bokeh.documents.at(-1);
      return story.sources.map(id => doc.get_model_by_id(id).data)
        .filter(d => d.xs).flatMap(d => Array.from(d.xs)).filter(x => x.length).length }"""
    all_curves = page.evaluate(drawn)
    page.keyboard.press("Space")
    assert page.evaluate(drawn) < all_curves
    assert readout(page)["Power [hp]"][0] == ""
    page.keyboard.press("Space")
    assert page.evaluate(drawn) == all_curves
    assert readout(page)["Power [hp]"][0] != ""


def test_the_line_in_the_chart_can_be_dragged(page, tmp_path):
    opened(page, tmp_path, published.page(told()))
    before = page.locator("#place").inner_text()
    box = page.locator("#chart").bounding_box()
    at = page.evaluate(
        """() => { const story = JSON.parse(document.getElementById('story').textContent);
        const figure = Bokeh.documents.at(-1).get_model_by_id(story.shared[0].id);
        const span = Bokeh.documents.at(-1).get_model_by_id(story.cursors[0]);
        const range = figure.x_range, width = figure.inner_width;
        return 58 + width * (span.location - range.start) / (range.end - range.start) }"""
    )
    x, y = box["x"] + at, box["y"] + 120
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 60, y, steps=6)
    page.mouse.move(x - 120, y, steps=6)
    page.mouse.up()
    after = page.locator("#place").inner_text()
    assert float(after.split()[0]) < float(before.split()[0]) - 100


def test_on_a_phone_nothing_scrolls_sideways(tmp_path):
    with chromium(390, 844, is_mobile=True, has_touch=True, device_scale_factor=2) as browser:
        opened(browser, tmp_path, published.page(told()))
        shot(browser, "published_page_390")
        for summary in browser.locator("summary").all():
            summary.click()
        wide = browser.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1] == 390
        sizes = browser.evaluate(
            """[...document.querySelectorAll('main *')]
            .filter(e => e.innerText && !e.children.length)
            .map(e => parseFloat(getComputedStyle(e).fontSize))"""
        )
        assert min(sizes) >= 12
        assert not browser.errors and not browser.outside


def test_the_numbers_download(page, tmp_path):
    made = told()
    opened(page, tmp_path, published.page(made))
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download the numbers as CSV").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    assert waiting.value.suggested_filename == "large.csv"
    assert saved.read_bytes() == csv_of(made.table)


def poisoned():
    """A story with every payload in names of runs, channels, notes, files, headline and more."""
    base = story_of(
        finding(note=EVERY, a=f"A {EVERY}", b=f"B {EVERY}"), "US", notes=[review_note(words=EVERY)]
    )
    table = base.table.rename(columns={base.table.columns[0]: EVERY})
    table.index.name = EVERY
    titles = (PAYLOADS[0], PAYLOADS[2], PAYLOADS[-1])
    panels = tuple(replace(p, title=t) for p, t in zip(base.picture.panels, titles, strict=True))
    picture = replace(base.picture, finding=EVERY, panels=panels, x_label=PAYLOADS[1])
    poster = lambda size: replace(base.poster(size), finding=EVERY)  # noqa: E731
    card = tuple((EVERY, EVERY) for _ in base.card)
    return replace(
        base, headline=EVERY, card=card, method=(EVERY,), cautions=(EVERY,), table=table,
        picture=picture, poster=poster,
    )  # fmt: skip


@pytest.mark.parametrize("payload", PAYLOADS[:4])
def test_the_payloads_are_live(tmp_path, payload):
    """Control: written without escaping into a page without a policy, they do fire."""
    with chromium() as browser:
        path = tmp_path / "open.html"
        path.write_text(f"<!DOCTYPE html><body>{payload}")
        browser.goto(path.as_uri())
        browser.wait_for_timeout(200)
        assert browser.evaluate("window.fired") == 1


def test_no_payload_in_any_words_is_run(page, tmp_path):
    opened(page, tmp_path, published.page(poisoned()))
    dialogs = []
    page.on("dialog", lambda d: (dialogs.append(d.message), d.dismiss()))
    for box in page.locator("[data-run]").all():
        box.click()
        box.click()
    page.locator("#cursor").focus()
    page.keyboard.press("ArrowRight")
    for summary in page.locator("summary").all():
        summary.click()
    chart = page.locator("#chart").bounding_box()
    for share in (0.15, 0.3, 0.5):
        page.mouse.move(chart["x"] + share * chart["width"], chart["y"] + 150)
        page.wait_for_timeout(150)
    assert page.evaluate("window.fired") is None
    assert not dialogs
    assert page.title() == EVERY
    assert page.locator("h1").inner_text() == EVERY
    assert page.locator("main script, main iframe, main [onerror], main [onload]").count() == 0


def test_no_payload_in_a_published_svg_is_run(page, tmp_path):
    path = tmp_path / "picture.svg"
    short = replace(poisoned().picture, finding=PAYLOADS[0] + PAYLOADS[2])
    path.write_bytes(svg(short, (1080, 1920)))
    page.goto(path.as_uri())
    page.wait_for_timeout(300)
    assert page.evaluate("window.fired") is None
    assert page.evaluate("document.querySelectorAll('script').length") == 0
