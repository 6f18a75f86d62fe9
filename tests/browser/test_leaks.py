"""A page that is used for long: its nodes, detached ones counted, do not pile up."""

import pytest
from conftest import OPEN, settle

RUN = """async (place) => { const book = window.jupyterapp.shell.currentWidget.content;
  book.activeCellIndex = place; book.deselectAll();
  await window.jupyterapp.commands.execute('notebook:run-cell') }"""
PLACE = """(words) => [...window.jupyterapp.shell.currentWidget.content.model.cells].findIndex(
  c => c.type === 'code' && c.sharedModel.getSource().includes(words))"""


@pytest.fixture
def nodes(page):
    """A function that counts every DOM node that is still held, after a garbage collection."""
    tools = page.context.new_cdp_session(page)
    tools.send("Performance.enable")

    def count():
        for _ in range(2):
            tools.send("HeapProfiler.collectGarbage")
            page.wait_for_timeout(200)
        metrics = tools.send("Performance.getMetrics")["metrics"]
        return next(m["value"] for m in metrics if m["name"] == "Nodes")

    return count


def test_three_hundred_moves_leave_no_node_behind(open_workbook, page, nodes):
    open_workbook("01_sizing_worksheet")
    label = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Boost above target'))"
    handle = page.locator(label).first.locator(".noUi-handle")

    def move(times):
        for k in range(times):
            handle.press("ArrowLeft" if k % 2 else "ArrowRight")
        settle(page)

    move(40)
    before = nodes()
    move(300)
    assert nodes() <= 1.05 * before


def test_figures_of_a_cell_run_again_are_let_go(open_workbook, page, nodes):
    open_workbook("01_sizing_worksheet")
    place = page.evaluate(PLACE, "MapPanel(sheet)\n")
    held = "[Bokeh.documents.length, Bokeh.index.roots.length]"
    shown = "document.getElementsByTagName('*').length"

    def rerun(times):
        for _ in range(times):
            page.evaluate(RUN, place)
            settle(page)

    rerun(2)
    before, drawn, standing = page.evaluate(held), nodes(), page.evaluate(shown)
    rerun(50)
    assert page.evaluate(held) == before
    assert page.evaluate(shown) <= 1.05 * standing
    # The widget library keeps what it drew for fields; a chart has more nodes than all of them.
    assert (nodes() - drawn) / 50 < 1000
