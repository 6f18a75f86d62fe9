"""Nobody let in: what is in a bench stays data, and what is outside it stays outside."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from toolkit import preferences
from toolkit.analysis.finding import load_finding
from toolkit.bench import Bench, BenchError
from toolkit.build import read_build
from toolkit.build.files import BuildError
from toolkit.logs.question import LogError
from toolkit.logs.review import Review
from toolkit.logs.run import Run

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted((ROOT / "toolkit").rglob("*.py"))
# What turns data into code, or starts another program.
CODE_FROM_DATA = {
    "eval", "exec", "compile", "__import__", "read_pickle", "to_pickle", "unsafe_load", "full_load",
    "system", "popen", "Popen", "check_output", "check_call", "import_module", "run_path",
    "run_module", "query",
}  # fmt: skip
LOADERS = {
    "pickle", "cPickle", "dill", "joblib", "marshal", "shelve", "yaml", "cloudpickle", "ctypes",
    "code", "runpy", "subprocess", "multiprocessing",
}  # fmt: skip
OUTSIDE = ("../secret.csv", "maps/../../secret.csv", "{absolute}", "maps/link.csv", "C:/secret.csv",
           "..\\secret.csv", "maps/away/secret.csv", "//host/share/x.csv", "a\\u0000b")  # fmt: skip
SECRET = "the secret of another folder"


@pytest.fixture
def bench(tmp_path):
    """A copy of the demo bench's small files, with a secret beside it and links to the secret."""
    (tmp_path / "secret.csv").write_text(SECRET)
    folder = tmp_path / "bench"
    for part in ("builds", "maps", "explain"):
        shutil.copytree(ROOT / "data_demo" / part, folder / part)
    (folder / "runs").mkdir()
    (folder / "maps/link.csv").symlink_to(tmp_path / "secret.csv")
    (folder / "maps/away").symlink_to(tmp_path)
    return Bench(folder)


def calls(tree):
    """(line, name) of everything that is called, by the last part of its name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node.lineno, getattr(node.func, "attr", getattr(node.func, "id", ""))


def imports(tree):
    """(line, top-level module) of everything that is imported."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, a.name.split(".")[0]) for a in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level:
            yield node.lineno, (node.module or "").split(".")[0]


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_no_source_turns_data_into_code(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [(line, name) for line, name in calls(tree) if name in CODE_FROM_DATA]
    found += [(line, name) for line, name in imports(tree) if name in LOADERS]
    # A regular expression is compiled, never Python.
    found = [f for f in found if f[1] != "compile" or "re.compile" not in _line(path, f[0])]
    assert not found
    keywords = {k.arg for n in ast.walk(tree) if isinstance(n, ast.Call) for k in n.keywords}
    assert not keywords & {"allow_pickle", "shell"}


def _line(path, number):
    return path.read_text(encoding="utf-8").splitlines()[number - 1]


def test_the_search_finds_what_it_looks_for():
    tree = ast.parse("import yaml\nfrom pickle import loads\nx = eval('1')\npd.read_pickle(p)\n")
    assert {n for _, n in calls(tree)} & CODE_FROM_DATA == {"eval", "read_pickle"}
    assert {n for _, n in imports(tree)} & LOADERS == {"yaml", "pickle"}


@pytest.mark.parametrize("name", OUTSIDE)
@pytest.mark.parametrize("key", ["compressor_map", "turbine_curve"])
def test_a_build_cannot_name_a_file_outside_its_bench(bench, tmp_path, key, name):
    name = name.replace("{absolute}", str(tmp_path / "secret.csv")).replace("\\", "\\\\")
    name = name.replace("\\\\u", "\\u")
    path = bench.file("builds/small.toml")
    lines = [x for x in path.read_text().splitlines() if not x.strip().startswith(key)]
    where = next(i for i, x in enumerate(lines) if x.strip().startswith("[[turbo]]"))
    lines.insert(where + 1, f'{key} = "{name}"')
    path.write_text("\n".join(lines))
    with pytest.raises((BuildError, BenchError)) as refused:
        read_build(bench, "builds/small.toml")
    assert SECRET not in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_finding_cannot_reach_outside_its_folder(bench, tmp_path):
    folder = bench.file("explain/demo")
    words = (folder / "finding.toml").read_text()
    load_finding(bench, "demo")
    for slug in ("../demo", "/etc", "demo/../..", "", "DEMO"):
        with pytest.raises(BenchError):
            load_finding(bench, slug)
    for name in ("finding.toml", "pulls.csv"):
        kept = (folder / name).read_bytes()
        (folder / name).unlink()
        (folder / name).symlink_to(tmp_path / "secret.csv")
        with pytest.raises(BenchError, match="link that leads outside") as refused:
            load_finding(bench, "demo")
        assert SECRET not in str(refused.value)
        (folder / name).unlink()
        (folder / name).write_bytes(kept)
    (folder / "finding.toml").write_text(words.replace('"pulls.csv"', '"../../../secret.csv"'))
    with pytest.raises(BenchError):
        load_finding(bench, "demo")


def test_a_review_behind_a_link_is_neither_read_nor_written(bench, tmp_path):
    bench.file("runs/x.csv").write_text("rpm\n1\n")
    (bench.folder / "runs/x.csv.review.toml").symlink_to(tmp_path / "secret.csv")
    for act in (
        lambda: Review.load(bench, "runs/x.csv"),
        lambda: Review().save(bench, "runs/x.csv"),
    ):
        with pytest.raises(BenchError, match="link that leads outside"):
            act()
    assert (tmp_path / "secret.csv").read_text() == SECRET


@pytest.mark.parametrize(
    "name", ["../secret.csv", "/etc/passwd", "maps/link.csv", "maps/away/secret.csv"]
)
def test_a_log_outside_is_not_opened(bench, name):
    with pytest.raises(BenchError, match="outside the bench"):
        Run.open(bench, name)


PREFERENCES = (
    "bench = 3", 'bench = ["a"]', 'bench = "a\\u0000b"', 'bench = "/no/such"', "bench = {a = 1}",
    'units = ["US"]', "units = 7",
)  # fmt: skip
REVIEWS = (
    "a = 1", "[columns]\nx = 1", "[[pulls]]\nx = [1]", "notes = 3", "\0", "[test]\nx = nan",
    "log = 2026-01-01", "[columns.x]\n__class__ = 'y'", "= =", "[" * 5000, "x = " + "[" * 3000,
)  # fmt: skip
TRAP = "import pathlib; pathlib.Path(r'{0}').write_text('ran')"
TRAPS = (
    "sitecustomize.py", "conftest.py", "toolkit.py", "numpy.py", "runs/x.py",
    "builds/__init__.py", "jupyter_server_config.py", "ipython_config.py",
)  # fmt: skip
LOOK = """
import sys
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.panels.log_review import LogReview
from toolkit.panels.start import StartPanel
bench = Bench(sys.argv[1])
bench.logs(), bench.builds(), bench.maps(), bench.findings()
read_build(bench, "builds/small.toml")
StartPanel(), LogReview("runs/x.csv", bench)
"""


def test_opening_somebody_elses_bench_runs_nothing_of_theirs(bench, tmp_path):
    ran = tmp_path / "ran"
    code = TRAP.format(ran)
    for name in TRAPS:
        bench.file(name).write_text(code)
    bench.file("runs/x.csv").write_text("time_s,speed_rpm,=cmd|' /C calc'!A0\n0,1000,1\n1,1100,2\n")
    bench.file("runs/x.csv.review.toml").write_text(f'[test]\nlabel = """{code}"""\n')
    env = os.environ | {"DRIVE_PRESSURE_CONFIG": str(tmp_path / "cfg")}
    subprocess.run([sys.executable, "-c", LOOK, bench.folder], cwd=ROOT, env=env, check=True)
    assert not ran.exists()


@pytest.mark.parametrize("bad", PREFERENCES)
def test_preferences_of_any_kind_do_not_lock_a_person_out(tmp_path, monkeypatch, bad):
    monkeypatch.setenv("DRIVE_PRESSURE_CONFIG", str(tmp_path))
    (tmp_path / "preferences.toml").write_text(bad + "\n")
    assert preferences.load() == preferences.Preferences()


def test_a_mistake_in_a_review_is_one_sentence_for_any_shape(bench):
    bench.file("runs/x.csv").write_text("rpm\n1\n")
    path = bench.file("runs/x.csv.review.toml")
    for text in REVIEWS:
        path.write_text(text)
        with pytest.raises((LogError, BenchError)) as refused:
            Review.load(bench, "runs/x.csv")
        assert "\n" not in str(refused.value) and "x.csv.review.toml" in str(refused.value)
