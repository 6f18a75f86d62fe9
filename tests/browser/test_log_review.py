import pytest
from conftest import OPEN, chromium, settle, shoot, wait_until_run
from playwright.sync_api import expect

BOOK = "02_log_review"


def panel(page, number):
    """The panel of a step of the page, from 1."""
    return page.locator(f"{OPEN} .dp-panel").nth(number - 1)


def choose(page, number, label, words):
    """Choose in a dropdown by its label, as a hand would."""
    field = panel(page, number).locator(
        f".widget-hbox:has(> .widget-label:text-is('{label}')) select"
    )
    field.first.select_option(label=words)
    settle(page)


def sees(page, number, *sentences):
    """Wait until the panel says each of these."""
    for sentence in sentences:
        expect(panel(page, number)).to_contain_text(sentence, timeout=20_000)


def press(page, number, name):
    """Press a button by the keys alone."""
    panel(page, number).get_by_role("button", name=name).press("Enter")


CURVES = """() => Bokeh.documents.flatMap(d => [...d._all_models.values()])
  .filter(m => m.type === 'ColumnDataSource' && m.data.ys && m.data.width)
  .flatMap(m => [...m.data.ys]).length"""


@pytest.fixture(scope="module")
def opened(lab):
    """The workbook, opened once; a page that logs an error or asks outside fails the last test."""
    with chromium() as page:
        page.goto(f"{lab.base}/lab/tree/workbooks/{BOOK}.ipynb?token={lab.token}&reset")
        wait_until_run(page)
        yield page
        assert not page.outside, f"asked an outside address: {page.outside[:3]}"
        assert not page.errors, f"console errors: {page.errors[:3]}"


@pytest.fixture
def book(opened):
    """The page with the first log on the desk, as it was opened."""
    choose(opened, 1, "Log", "runs/2026-04-18_3_small_20psi_dyno.csv")
    press(opened, 1, "Read it again")
    sees(opened, 3, "3 of 3 pulls are used", "2026-04-18_3_small_20psi_dyno.csv")
    settle(opened)
    return opened


def test_opens_with_a_log_and_its_pulls(book):
    sees(book, 1, "1158 rows, 13 columns")
    sees(book, 3, "3 of 3 pulls are used")
    sees(book, 4, "The mean of 3 pulls peaks at")
    sees(book, 5, "observed")
    shoot(book, BOOK)


def test_a_pull_is_refused_and_picture_and_words_follow(book):
    before = book.evaluate(CURVES)
    panel(book, 3).locator("input[type=checkbox]").nth(1).click()
    sees(book, 3, "2 of 3 pulls are used")
    sees(book, 4, "The mean of 2 pulls")
    sees(book, 6, "not saved yet")
    settle(book)
    assert book.evaluate(CURVES) < before


def test_a_question_is_answered_and_a_pull_cut_short_is_taken(book):
    choose(book, 1, "Log", "runs/bad/merged_pulls.csv")
    sees(book, 3, "2 of 3 pulls are used; 1 cut short")
    panel(book, 3).locator("input[type=checkbox]").nth(1).click()
    sees(book, 3, "3 of 3 pulls are used")
    choose(book, 1, "Log", "runs/bad/duplicate_names.csv")
    sees(book, 1, "2 questions to answer")
    question = panel(book, 1).locator("select:has(option:text-is('choose ...'))").first
    question.select_option(label="p_manifold_pa: intake manifold pressure")
    sees(book, 1, "What did the barometer in the cell read?")
    barometer = panel(book, 1).locator("input[placeholder^='like']")
    barometer.fill("14.6 psi")
    barometer.press("Enter")
    expect(panel(book, 1)).not_to_contain_text("What did the barometer", timeout=20_000)
    sees(book, 4, "The pull peaks at boost")


def us(page):
    """Whether US units are in force."""
    chosen = panel(page, 1).locator(".widget-toggle-buttons button.mod-active")
    return chosen.inner_text() == "US"


def test_a_file_that_cannot_be_used_ends_in_a_sentence_and_the_picture_stays(book):
    choose(book, 1, "Log", "runs/bad/extra_cells.csv")
    sees(book, 1, "row 2 has 3 cells but the header has 2")
    sees(book, 1, "Shown below is still runs/2026-04-18_3_small_20psi_dyno.csv")
    sees(book, 3, "3 of 3 pulls are used")
    expect(panel(book, 1)).not_to_contain_text("Traceback")


def test_units_change_every_number_and_axis_at_once(book):
    before, after = (" hp at", " kW at") if us(book) else (" kW at", " hp at")
    sees(book, 4, before)
    panel(book, 1).locator(".widget-toggle-buttons button:not(.mod-active)").click()
    sees(book, 4, after)
    sees(book, 5, after.split()[0])
    settle(book)
    titles = book.evaluate(
        "() => Bokeh.documents.flatMap(d => [...d._all_models.values()])"
        ".filter(m => m.type === 'Title').map(m => m.text).join()"
    )
    assert ("Torque [N m]" if before == " hp at" else "Torque [lb-ft]") in titles


def test_a_note_is_put_by_a_tap_and_by_the_keys_undone_and_done_again(book):
    figure = panel(book, 4).locator(".bk-Figure").first
    figure.scroll_into_view_if_needed()
    box = figure.bounding_box()
    book.mouse.click(box["x"] + 0.4 * box["width"], box["y"] + 0.3 * box["height"])
    sees(book, 4, "There it is")
    words = panel(book, 4).locator("input[placeholder='what you see there']")
    words.fill("steady <b>here</b>")
    words.press("Tab")
    press(book, 4, "Put the note")
    sees(book, 4, "steady <b>here</b>")
    settle(book)
    shoot(book, f"{BOOK}_note")
    press(book, 4, "Undo")
    expect(panel(book, 4)).not_to_contain_text("steady <b>here</b>", timeout=20_000)
    press(book, 4, "Redo")
    sees(book, 4, "steady <b>here</b>")


def test_saving_writes_the_review_and_never_the_log(book, lab):
    runs = lab.root / "data_demo" / "runs"
    log = runs / "2026-04-18_3_small_20psi_dyno.csv"
    before = log.read_bytes()
    review = runs / f"{log.name}.review.toml"
    assert "[[pulls]]" not in review.read_text(), "opening the page must not save anything"
    press(book, 6, "Save the review")
    sees(book, 6, "Everything that was decided is in")
    saved = review.read_text()
    assert 'accepted = "yes"' in saved and '"2198 to 67' in saved
    assert "boost leaves its target" in saved
    assert log.read_bytes() == before
