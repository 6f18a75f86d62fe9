"""A page that is used for long: its nodes, detached ones counted, do not pile up."""

import time

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


@pytest.mark.parametrize(
    ("workbook", "label", "moves"),
    [
        ("01_sizing_worksheet", "Boost above target", 300),
        *(
            pytest.param(workbook, label, 2000, marks=pytest.mark.slow)
            for workbook, label in (
                ("01_sizing_worksheet", "Boost above target"),
                ("03_back_to_back", "Intake opens BTDC"),
                ("04_spring_check", "Engine speed"),
                ("05_what_if", "Size, first to second"),
            )
        ),
    ],
)
def test_moves_leave_no_node_behind_and_take_no_longer(
    open_workbook, page, nodes, workbook, label, moves
):
    open_workbook(workbook)
    row = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))"
    handle = page.locator(row).first.locator(".noUi-handle")

    def move(times):
        """Seconds that each block of ten moves took, to the last picture drawn."""
        taken = []
        for _ in range(times // 10):
            begun = time.perf_counter()
            for k in range(10):
                handle.press("ArrowLeft" if k % 2 else "ArrowRight")
            settle(page)
            taken.append(time.perf_counter() - begun)
        return taken

    move(40)
    before = nodes()
    taken = move(moves)
    assert nodes() <= 1.05 * before
    if moves >= 2000:
        first, last = (min(part) for part in (taken[:20], taken[-20:]))
        print(f"{workbook}: ten moves after 2,000 over before {last / first:.2f}")
        assert last <= 1.3 * first, (first, last)


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
