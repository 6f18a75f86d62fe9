import pytest
from conftest import OPEN, chromium, settle, shoot, wait_for, wait_until_run
from playwright.sync_api import expect

PATIENCE_MS = 60_000  # for a busy machine; a quiet one needs a second
BOOK = "02_log_review"
OPENED, CHANNELS, PULLS, SIGNS, ANSWERS, CURVES, AIR, CLOCKS, DAY, SAVE = range(1, 11)


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
        expect(panel(page, number)).to_contain_text(sentence, timeout=PATIENCE_MS)


def press(page, number, name):
    """Press a button by the keys alone."""
    panel(page, number).get_by_role("button", name=name).press("Enter")


DRAWN = """() => Bokeh.documents.flatMap(d => [...d._all_models.values()])
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
    choose(opened, OPENED, "Log", "2026-04-18_3_small_20psi_dyno.csv")
    press(opened, OPENED, "Read it again")
    sees(opened, PULLS, "3 of 3 pulls are used", "2026-04-18_3_small_20psi_dyno.csv")
    settle(opened)
    return opened


def test_opens_with_a_log_and_its_pulls(book):
    sees(book, OPENED, "1158 rows, 13 columns")
    sees(book, PULLS, "3 of 3 pulls are used")
    sees(book, CURVES, "The mean of 3 pulls peaks at")
    sees(book, AIR, "observed")
    shoot(book, BOOK)


def test_a_pull_is_refused_and_picture_and_words_follow(book):
    before = book.evaluate(DRAWN)
    panel(book, PULLS).locator("input[type=checkbox]").nth(1).click()
    sees(book, PULLS, "2 of 3 pulls are used")
    sees(book, CURVES, "The mean of 2 pulls")
    sees(book, SAVE, "not saved yet")
    settle(book)
    assert book.evaluate(DRAWN) < before


def test_a_question_is_answered_and_a_pull_cut_short_is_taken(book):
    choose(book, OPENED, "Log", "bad/merged_pulls.csv")
    sees(book, PULLS, "2 of 3 pulls are used; 1 cut short")
    panel(book, PULLS).locator("input[type=checkbox]").nth(1).click()
    sees(book, PULLS, "3 of 3 pulls are used")
    choose(book, OPENED, "Log", "bad/duplicate_names.csv")
    sees(book, OPENED, "2 questions to answer")
    question = panel(book, OPENED).locator("select:has(option:text-is('choose ...'))").first
    question.select_option(label="p_manifold_pa: intake manifold pressure")
    sees(book, OPENED, "What did the barometer in the cell read?")
    barometer = panel(book, OPENED).locator("input[placeholder^='like']")
    barometer.fill("14.6 psi")
    barometer.press("Enter")
    expect(panel(book, OPENED)).not_to_contain_text("What did the barometer", timeout=PATIENCE_MS)
    sees(book, CURVES, "The pull peaks at boost")


def us(page):
    """Whether US units are in force."""
    chosen = panel(page, OPENED).locator(".widget-toggle-buttons button.mod-active")
    return chosen.inner_text() == "US"


def test_a_file_that_cannot_be_used_ends_in_a_sentence_and_the_picture_stays(book):
    choose(book, OPENED, "Log", "bad/extra_cells.csv")
    sees(book, OPENED, "row 2 has 3 cells but the header has 2")
    sees(book, OPENED, "Shown below is still runs/2026-04-18_3_small_20psi_dyno.csv")
    sees(book, PULLS, "3 of 3 pulls are used")
    expect(panel(book, OPENED)).not_to_contain_text("Traceback")


def test_units_change_every_number_and_axis_at_once(book):
    before, after = (" hp at", " kW at") if us(book) else (" kW at", " hp at")
    sees(book, CURVES, before)
    panel(book, OPENED).locator(".widget-toggle-buttons button:not(.mod-active)").click()
    sees(book, CURVES, after)
    sees(book, AIR, after.split()[0])
    settle(book)
    titles = book.evaluate(
        "() => Bokeh.documents.flatMap(d => [...d._all_models.values()])"
        ".filter(m => m.type === 'Title').map(m => m.text).join()"
    )
    assert ("Torque [N m]" if before == " hp at" else "Torque [lb-ft]") in titles


def test_a_note_is_put_by_a_tap_and_by_the_keys_undone_and_done_again(book):
    figure = panel(book, CURVES).locator(".bk-Figure").first
    figure.scroll_into_view_if_needed()
    box = figure.bounding_box()
    book.mouse.click(box["x"] + 0.4 * box["width"], box["y"] + 0.3 * box["height"])
    sees(book, CURVES, "There it is")
    words = panel(book, CURVES).locator("input[placeholder='what you see there']")
    words.fill("steady <b>here</b>")
    words.press("Tab")
    press(book, CURVES, "Put the note")
    sees(book, CURVES, "steady <b>here</b>")
    settle(book)
    shoot(book, f"{BOOK}_note")
    press(book, CURVES, "Undo")
    expect(panel(book, CURVES)).not_to_contain_text("steady <b>here</b>", timeout=PATIENCE_MS)
    press(book, CURVES, "Redo")
    sees(book, CURVES, "steady <b>here</b>")


def field(page, number, label):
    """The text field of a label."""
    return panel(page, number).locator(
        f".widget-hbox:has(> .widget-label:text-is('{label}')) input"
    )


def test_a_note_on_the_time_trace_is_written_edited_and_deleted_by_the_keys_alone(book):
    choose(book, PULLS, "On", "torque")
    at = field(book, PULLS, "At").first
    at.focus()
    book.keyboard.type("12.5 s")
    book.keyboard.press("Enter")
    sees(book, PULLS, "There it is")
    words = panel(book, PULLS).locator("input[placeholder='what you see there']")
    words.focus()
    book.keyboard.type("gate rattles")
    book.keyboard.press("Tab")
    press(book, PULLS, "Put the note")
    chosen = panel(book, PULLS).locator("select:has(option:text-is('a new one'))").first
    expect(chosen.locator("option")).to_contain_text(["a new one", "gate rattles"])
    settle(book)
    shoot(book, f"{BOOK}_time_note")
    chosen.select_option(index=1)
    expect(words).to_have_value("gate rattles", timeout=PATIENCE_MS)
    words.fill("gate rattles, then stops")
    words.press("Tab")
    press(book, PULLS, "Put the note")
    expect(chosen.locator("option")).to_contain_text(["a new one", "then stops"])
    expect(words).to_have_value("")
    chosen.select_option(index=1)
    expect(panel(book, PULLS).get_by_role("button", name="Delete it")).to_be_enabled(
        timeout=PATIENCE_MS
    )
    press(book, PULLS, "Delete it")
    expect(chosen.locator("option")).to_have_count(1, timeout=PATIENCE_MS)
    press(book, PULLS, "Undo")
    expect(chosen.locator("option")).to_have_count(2, timeout=PATIENCE_MS)
    sees(book, SAVE, "not saved yet")


def test_a_sign_of_trouble_is_marked_and_its_limit_is_the_persons(book):
    choose(book, OPENED, "Log", "bad/clipped_sensor.csv")
    sees(book, SIGNS, "clipped sensor", "stops a verdict", "boost, power")
    sees(book, ANSWERS, "cannot tell")
    choose(book, SIGNS, "What counts", "a slower log hides spikes and flutter")
    limit = panel(book, SIGNS).locator("input[type=text]")
    limit.fill("50 Hz")
    limit.press("Enter")
    sees(book, SIGNS, "slow log")
    limit.fill("ten")
    limit.press("Enter")
    sees(book, SIGNS, "'ten' is not a number with a unit")


def test_two_clocks_are_matched_and_moved_by_hand(book):
    sees(book, CLOCKS, "The clock of 'dyno' starts", "rate 1.000")
    by = panel(book, CLOCKS).locator("input[type=text]")
    by.fill("0.5 s")
    by.press("Enter")
    sees(book, CLOCKS, "moved by hand by +0.500 s")
    press(book, CLOCKS, "Use this clock")
    sees(book, CLOCKS, "In the review: offset")
    sees(book, SAVE, "not saved yet")


def test_a_late_sensor_is_stated_and_printed_on_the_charts(book):
    choose(book, CHANNELS, "Sensor", "Torque (lb-ft)")
    late = panel(book, CHANNELS).locator("input[type=text]").first
    late.fill("0.25 s")
    late.press("Enter")
    sees(book, PULLS, "torque put back by its delay of 0.25 s")
    sees(book, CURVES, "torque put back by its delay of 0.25 s")


def test_the_day_is_read_when_asked_for(book):
    press(book, DAY, "Read the day")
    sees(book, DAY, "21 pulls", "may be compared", "not like for like: ")


def test_a_range_is_swept_and_noted(book):
    figure = panel(book, CURVES).locator(".bk-Figure").first
    figure.scroll_into_view_if_needed()
    box = figure.bounding_box()
    height = box["y"] + 0.4 * box["height"]
    book.mouse.move(box["x"] + 0.3 * box["width"], height)
    book.mouse.down()
    book.mouse.move(box["x"] + 0.4 * box["width"], height, steps=5)
    book.mouse.move(box["x"] + 0.5 * box["width"], height, steps=5)
    book.mouse.up()
    sees(book, CURVES, "There it is")
    panel(book, CURVES).locator("input[placeholder='what you see there']").fill("a plateau")
    press(book, CURVES, "Put the note")
    sees(book, CURVES, "a plateau", "(mean)")


def test_saving_writes_the_review_and_never_the_log(book, lab):
    runs = lab.root / "data_demo" / "runs"
    log = runs / "2026-04-18_3_small_20psi_dyno.csv"
    before = log.read_bytes()
    review = runs / f"{log.name}.review.toml"
    assert "[[pulls]]" not in review.read_text(), "opening the page must not save anything"
    press(book, SAVE, "Save the review")
    wait_for(book, lambda: "[[pulls]]" in review.read_text())
    sees(book, SAVE, "Everything that was decided is in")
    saved = review.read_text()
    assert 'accepted = "yes"' in saved and 'speeds = "2198 to' in saved
    assert "boost leaves its target" in saved
    assert log.read_bytes() == before
