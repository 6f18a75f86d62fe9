from conftest import OPEN, sees, settle, shoot

from toolkit.units import SYSTEMS


def panel_text(page):
    return page.locator(f"{OPEN} .dp-panel").inner_text()


def test_lands_on_the_first_page_with_its_panel_standing(lab, page):
    page.goto(f"{lab.base}/?token={lab.token}")
    page.wait_for_selector(f"{OPEN} .dp-panel >> text=demo bench", timeout=90_000)
    assert "Start here" in page.locator(f"{OPEN} h1").inner_text()


def test_units_are_switched_and_remembered(open_workbook):
    page = open_workbook("00_start_here")
    shoot(page, "00_start_here")
    other = page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)")
    wanted = other.inner_text()
    assert wanted in SYSTEMS
    other.click()
    settle(page)
    page = open_workbook("00_start_here")
    chosen = page.locator(f"{OPEN} .widget-toggle-buttons button.mod-active").inner_text()
    assert chosen == wanted


SLOW_CELL = """from toolkit.panels.base import UNITS
import time
before = UNITS.system
time.sleep(2)
same = UNITS.system == before"""


def test_what_a_hand_does_while_a_cell_runs_waits_its_turn(open_workbook):
    page = open_workbook("00_start_here")
    other = page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)")
    other.click()  # an answered message decides where the kernel takes the next one
    settle(page)
    page.evaluate(
        """code => { const { sessionContext } = window.jupyterapp.shell.currentWidget;
        window.cell = sessionContext.session.kernel.requestExecute(
          {code, user_expressions: {same: 'same'}}).done;
        return null }""",
        SLOW_CELL,
    )
    other.click()
    cell = page.evaluate("window.cell.then(m => m.content.user_expressions.same.data)")
    assert cell == {"text/plain": "True"}
    settle(page)


def test_a_new_bench_is_made_and_a_wrong_one_refused_in_words(open_workbook, tmp_path):
    page = open_workbook("00_start_here")
    field = page.locator(f"{OPEN} .dp-panel input[type=text]")
    field.fill(str(tmp_path / "nowhere" / "at all"))
    field.press("Tab")
    page.get_by_role("button", name="Use this folder").click()
    sees(page, "there is no folder", ".dp-wrong")
    assert "This is the demo bench" in panel_text(page)

    field.fill(str(tmp_path / "my bench"))
    field.press("Tab")
    page.get_by_role("button", name="Make a new bench here").click()
    sees(page, "Drop your log files")
    assert (tmp_path / "my bench" / "runs").is_dir()
    page.get_by_role("button", name="Back to the demo bench").click()
    sees(page, "invented college team")
