"""Rules that every workbook keeps, checked by reading it; nbval executes them."""

import json
import re

import nbformat
import pytest

from tests.conftest import ROOT

WORKBOOKS = sorted((ROOT / "workbooks").glob("*.ipynb"))
pytestmark = pytest.mark.parametrize("path", WORKBOOKS, ids=lambda p: p.stem)


def read(path):
    return nbformat.read(path, as_version=4)


def code_of(path):
    return [c for c in read(path).cells if c.cell_type == "code"]


def test_is_stored_without_outputs(path):
    for cell in code_of(path):
        assert not cell.outputs and cell.execution_count is None
    assert "widgets" not in read(path).metadata


def test_opens_with_one_title_and_runs_by_itself(path):
    book = read(path)
    assert book.cells[0].cell_type == "markdown"
    assert re.match(r"# \S", book.cells[0].source)
    titles = [c for c in book.cells if c.cell_type == "markdown" and re.match(r"# ", c.source)]
    assert len(titles) == 1
    assert book.metadata["workbook"]["run_on_open"] is True


def test_code_is_folded_and_holds_single_calls(path):
    for cell in code_of(path):
        assert cell.metadata.get("jupyter", {}).get("source_hidden") is True
        assert not re.search(r"^\s*(def|class|for|while|try)\b", cell.source, re.MULTILINE)


def test_ends_with_a_check_that_asserts(path):
    assert "assert " in code_of(path)[-1].source


def test_links_lead_to_files_that_exist(path):
    for cell in read(path).cells:
        for link in re.findall(r"\]\(([^)#]+)\)", cell.source):
            assert (path.parent / link).exists(), link


def test_names_no_outside_address_and_no_machine(path):
    text = json.dumps(read(path))
    assert not re.search(r"https?://", text)
    assert not re.search(r"/home/|/work/|/tmp/|C:\\\\", text)
