"""The house: the top level, the dependency lists in step, nothing left over."""

import re
import subprocess
import tomllib

from tests.conftest import ROOT

TOP = {"README.md", "DEVELOPERS.md", "requirements.txt", "pyproject.toml",
       "workbooks", "toolkit", "data_demo", "tests"}  # fmt: skip


def tracked():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    return listed.stdout.split()


def names(lines):
    """Package names of requirement lines, in one spelling."""
    wanted = [re.match(r"[A-Za-z0-9._-]+", line) for line in lines]
    return {m.group().lower().replace("_", "-") for m in wanted if m and m.group() != "-e"}


def requirement_lines(path):
    lines = [line.split("#")[0].strip() for line in path.read_text().splitlines()]
    return [line for line in lines if line and not line.startswith("-e")]


def test_top_level_is_as_agreed():
    top = {name.split("/")[0] for name in tracked()}
    assert {t for t in top if not t.startswith(".")} <= TOP


def test_dependency_lists_are_in_step():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert names(requirement_lines(ROOT / "requirements.txt")) == names(project["dependencies"])
    extras = {n for extra in project["optional-dependencies"].values() for n in names(extra)}
    assert extras <= names(requirement_lines(ROOT / "tests" / "requirements.txt"))


def test_what_must_match_each_other_is_pinned():
    lines = requirement_lines(ROOT / "requirements.txt")
    for name in ("jupyterlab", "ipywidgets", "bokeh", "jupyter_bokeh"):
        assert any(re.fullmatch(rf"{name}==[\d.]+", line) for line in lines), name


def test_readme_opens_with_the_job_in_one_paragraph():
    _, title, first, *_ = re.split(r"^(# .*)$\n+", (ROOT / "README.md").read_text(), maxsplit=1,
                                   flags=re.MULTILINE)  # fmt: skip
    paragraph = first.split("\n\n")[0]
    assert title.startswith("# ")
    assert len(paragraph) > 200 and not paragraph.startswith(("#", "!", "`", "-"))


def test_readme_shows_every_workbook_that_exists():
    readme = (ROOT / "README.md").read_text()
    for book in (ROOT / "workbooks").glob("*.ipynb"):
        assert f"workbooks/screens/{book.stem}.png" in readme, book.stem
    for picture in re.findall(r"\((workbooks/screens/[^)]+)\)", readme):
        assert (ROOT / picture).exists(), picture


def test_no_import_of_a_package_that_is_not_listed():
    """What toolkit imports is in the lists, the standard library, or toolkit itself."""
    import ast
    import sys

    module_of = {"jupyter-bokeh": "jupyter_bokeh", "charset-normalizer": "charset_normalizer",
                 "imageio-ffmpeg": "imageio_ffmpeg"}  # fmt: skip
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    listed = names(project["dependencies"]) | names(project["optional-dependencies"]["mdf"])
    # These come with the listed packages: the first four with jupyterlab, the last with jinja2.
    allowed = {module_of.get(n, n) for n in listed} | {
        "toolkit", "traitlets", "nbformat", "jupyter_core", "IPython", "markupsafe",
    }  # fmt: skip
    for path in (ROOT / "toolkit").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            found = []
            if isinstance(node, ast.Import):
                found = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                found = [node.module]
            for name in found:
                package = name.split(".")[0]
                assert package in allowed or package in sys.stdlib_module_names, (path, name)
