"""Other places: a decimal comma in the locale, accents in a path, a bench that is only read."""

import hashlib
import json
import locale
import os
import shutil
import subprocess
import sys

import pytest

from tests.conftest import ROOT
from toolkit.bench import Bench
from toolkit.logs.run import Run

DEMO = ROOT / "data_demo"
LOG = "runs/2026-04-18_2_small_14psi_dyno.csv"
# What a person sees and gets, as text: run under another locale and in another place.
LOOK = """
import json, locale, sys
if sys.argv[2]:
    locale.setlocale(locale.LC_ALL, sys.argv[2])
    assert locale.localeconv()["decimal_point"] == ","
from toolkit import units
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.logs.run import Run
bench = Bench(sys.argv[1])
frame = Run.open(bench, sys.argv[3]).frame
print(json.dumps({
    "names": bench.logs(),
    "sum": float(frame.sum().sum()),
    "typed": [units.parse("14.5 psi", "boost"), units.parse("1.5", "angle", default_unit="degree")],
    "shown": units.text(98765.4, "boost", "US"),
    "build": repr(read_build(bench, "builds/small.toml"))[:2000],
}))
"""


def look(folder, locale_name="", **env):
    done = subprocess.run(
        [sys.executable, "-c", LOOK, str(folder), locale_name, LOG],
        cwd=ROOT, env=os.environ | env, capture_output=True, encoding="utf-8",
    )  # fmt: skip
    assert not done.returncode, done.stderr[-2000:]
    return json.loads(done.stdout)


def comma_locale():
    """A locale of this machine that writes 1,5; skips where there is none."""
    kept = locale.setlocale(locale.LC_ALL)
    try:
        for name in ("de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8", "sv_SE.UTF-8"):
            try:
                locale.setlocale(locale.LC_ALL, name)
            except locale.Error:
                continue
            return name
    finally:
        locale.setlocale(locale.LC_ALL, kept)
    return pytest.skip("this machine has no locale with a decimal comma")


@pytest.fixture(scope="module")
def plain():
    return look(DEMO)


def test_a_locale_with_decimal_commas_changes_no_number(plain):
    name = comma_locale()
    assert look(DEMO, name, LC_ALL=name) == plain


def test_a_plain_ascii_locale_changes_nothing(plain):
    assert look(DEMO, LC_ALL="C", PYTHONUTF8="0") == plain


def state(folder):
    """Names and contents of all files below."""
    files = sorted(p for p in folder.rglob("*") if p.is_file() and "__pycache__" not in p.parts)
    return {p.relative_to(folder): hashlib.sha256(p.read_bytes()).digest() for p in files}


def test_blanks_and_accents_in_the_path_and_a_bench_that_is_only_read(plain, tmp_path):
    folder = tmp_path / "Prüfstand 3 é — «test»"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("__pycache__"))
    before = state(folder)
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        assert look(folder) == plain
        assert state(folder) == before
    finally:
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)


def test_accents_and_blanks_in_the_names_of_files(tmp_path):
    (tmp_path / "runs/Mai 1").mkdir(parents=True)
    name = "runs/Mai 1/Prüfung №3 (é).csv"
    shutil.copy(DEMO / LOG, tmp_path / name)
    bench = Bench(tmp_path)
    assert bench.logs() == [name]
    Run.open(bench, name).save(bench)
    assert (tmp_path / f"{name}.review.toml").exists()
