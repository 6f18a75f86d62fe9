import json
import shutil
import time

import pytest
from conftest import OPEN, ROOT, sees, served, shoot

BOOK = {
    "cells": [
        ("markdown", "# The cycle panel by itself"),
        ("code", "from toolkit.panels import ready_page\n\nready_page()"),
        (
            "code",
            "from toolkit.panels.cycle import CyclePanel\n\n"
            "panel = CyclePanel(build='builds/small.toml', logs=[\n"
            "    'runs/2026-04-18_2_small_14psi_dyno.csv',\n"
            "    'runs/2026-04-18_5_large_14psi_dyno.csv'])\npanel",
        ),
    ]
}


def notebook():
    """A workbook that holds the panel alone."""
    cells = []
    for number, (kind, source) in enumerate(BOOK["cells"]):
        cell = {"cell_type": kind, "id": f"c{number}", "metadata": {}, "source": source}
        if kind == "code":
            cell |= {"outputs": [], "execution_count": None}
            cell["metadata"] = {"jupyter": {"source_hidden": True}}
        cells.append(cell)
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    metadata = {"workbook": {"run_on_open": True}, "kernelspec": kernel}
    return {"cells": cells, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    project = tmp_path_factory.mktemp("with_cycle") / "project"
    leave = shutil.ignore_patterns(".venv", ".git", "__pycache__", "shots", ".ruff_cache")
    shutil.copytree(ROOT, project, ignore=leave)
    (project / "workbooks" / "cycle_alone.ipynb").write_text(json.dumps(notebook()))
    with served(tmp_path_factory.mktemp("lab"), project) as server:
        yield server


def slider(page, label):
    row = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))").first
    return row, row.locator(".noUi-handle")


def lift_curve(page):
    """What the browser holds for the intake lift."""
    return page.evaluate(
        """() => { const d = Bokeh.documents.find(d => d.roots().length);
        const s = [...d._all_models.values()].find(m => m.type === 'ColumnDataSource'
          && m.data.ys && m.data.dash && m.data.ys.length == 2);
        return Array.from(s.data.ys[1]) }"""
    )


def test_moving_a_cam_angle_moves_everything(open_workbook):
    page = open_workbook("cycle_alone")
    sees(page, "This cam has both valves open for 54°", ".dp-verdict")
    row, handle = slider(page, "Intake opens BTDC")
    before = lift_curve(page)
    handle.focus()
    start = time.monotonic()
    handle.press("ArrowRight")
    sees(page, "This cam has both valves open for 55°", ".dp-verdict")
    print(f"angle to picture and words: {(time.monotonic() - start) * 1000:.0f} ms")
    assert "27.0°" in row.inner_text()
    assert lift_curve(page) != before
    shoot(page, "cycle_1440")


def test_an_unknown_cam_is_said_and_narrow_screens_hold_it(open_workbook):
    page = open_workbook("cycle_alone")
    page.set_viewport_size({"width": 1024, "height": 900})
    page.locator(
        f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Cam')) select"
    ).first.select_option("not known")
    sees(page, "Cam unknown", ".dp-finding")
    sees(page, "not known here", ".dp-verdict")
    shoot(page, "cycle_1024_unknown")
    wide = page.evaluate(
        f"() => document.querySelector('{OPEN} .jp-WindowedPanel-outer').scrollWidth"
    )
    assert wide <= 1024
