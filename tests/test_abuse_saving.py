"""No decision is lost: killed, full, read-only, changed outside, opened twice."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from toolkit.bench import Bench, BenchError, write_bytes
from toolkit.logs.review import Review, review_name
from toolkit.panels.log_review import LogReview

ROOT = Path(__file__).resolve().parent.parent
DEMO_LOG = "runs/2026-04-18_3_small_20psi_dyno.csv"
LOG = "runs/monday.csv"
SLOW = pytest.mark.slow
posix = pytest.mark.skipif(os.name != "posix", reason="signals and limits as POSIX has them")


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "runs").mkdir()
    return Bench(tmp_path)


def run(*arguments):
    """What a Python process prints."""
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout


@posix
@pytest.mark.parametrize("how", ["review", "bytes", "two"])
@pytest.mark.parametrize("kills", [50, pytest.param(1000, marks=SLOW)])
def test_a_killed_writer_leaves_the_old_file_or_the_new(bench, kills, how):
    found = json.loads(run("-m", "tests.killed_writer", bench.folder, str(kills), "7", how))
    assert found["broken"] == 0 and found["whole"] == kills
    if how == "bytes":
        assert found["struck"] > kills / 20  # else the kills missed the writing
    if how == "two":
        assert found["steady"], "the other writer fell over"


FULL = """
import resource, sys
from toolkit.bench import Bench, BenchError
from toolkit.logs.review import Review
bench = Bench(sys.argv[1])
old = Review(log="monday.csv", notes=({"words": "kept"},))
old.save(bench, "runs/monday.csv")
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
try:
    Review(log="monday.csv", notes=({"words": "x" * 100_000},)).save(bench, "runs/monday.csv")
except BenchError as error:
    print(error)
assert Review.load(bench, "runs/monday.csv") == old
"""
READ_ONLY = """
import os, sys
from toolkit.bench import Bench, BenchError
from toolkit.logs.review import Review
bench = Bench(sys.argv[1])
if os.geteuid() == 0:
    os.seteuid(65534)  # a superuser may write anywhere
try:
    Review(log="monday.csv").save(bench, "runs/monday.csv")
except BenchError as error:
    print(error)
"""


@posix
def test_a_write_that_stops_half_way_is_said_and_the_old_review_stays(bench):
    assert run("-c", FULL, bench.folder) == (
        "monday.csv.review.toml could not be saved (file too large): nothing was changed\n"
    )


@posix
def test_a_read_only_folder_is_said(bench):
    for folder in (bench.folder, *bench.folder.parents[:3]):
        folder.chmod(0o755)
    bench.file("runs").chmod(0o555)
    said = run("-c", READ_ONLY, bench.folder)
    assert said == (
        "monday.csv.review.toml could not be saved (permission denied): nothing was changed\n"
    )


def test_a_review_changed_outside_is_not_overwritten(bench):
    mine = Review.load(bench, LOG).answered(("weather", "barometer"), "29.2 inHg")
    mine = mine.save(bench, LOG)
    mine = mine.answered(("weather", "humidity"), "40 %").save(bench, LOG)  # its own save is known
    path = bench.file(review_name(LOG))
    theirs = path.read_text(encoding="utf-8").replace("29.2 inHg", "29.9 inHg")
    path.write_text(theirs, encoding="utf-8")
    with pytest.raises(BenchError, match=r"changed elsewhere .* read the log again"):
        mine.answered(("weather", "humidity"), "50 %").save(bench, LOG)
    assert path.read_text(encoding="utf-8") == theirs
    again = Review.load(bench, LOG).answered(("weather", "humidity"), "50 %").save(bench, LOG)
    assert again.weather == {"barometer": "29.9 inHg", "humidity": "50 %"}


@pytest.mark.parametrize("then", ["made", "deleted"])
def test_a_review_made_or_deleted_outside_is_not_overwritten(bench, then):
    path = bench.file(review_name(LOG))
    if then == "deleted":
        Review(log="monday.csv").save(bench, LOG)
    mine = Review.load(bench, LOG)
    path.unlink() if then == "deleted" else path.write_text('log = "monday.csv"\n')
    with pytest.raises(BenchError, match="changed elsewhere"):
        mine.answered(("weather", "humidity"), "50 %").save(bench, LOG)


def test_two_workbooks_on_one_bench(tmp_path):
    demo = Bench(ROOT / "data_demo")
    for name in (DEMO_LOG, review_name(DEMO_LOG)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        if demo.file(name).exists():
            shutil.copy(demo.file(name), tmp_path / name)
    log = (tmp_path / DEMO_LOG).read_bytes()
    first, second = (LogReview(DEMO_LOG, Bench(tmp_path)) for _ in range(2))
    first.desk.accept(0, not first.desk.state.stretches[0].accepted)
    first.save.button.click()
    assert "Everything that was decided" in first.save.status.value
    saved = (tmp_path / review_name(DEMO_LOG)).read_bytes()
    second.desk.accept(1, not second.desk.state.stretches[1].accepted)
    second.save.button.click()
    assert "changed elsewhere" in second.save.trouble.value
    assert (tmp_path / review_name(DEMO_LOG)).read_bytes() == saved
    assert second.desk.unsaved
    second.open.again.click()
    assert second.desk.state.stretches[0].accepted == first.desk.state.stretches[0].accepted
    second.desk.accept(1, not second.desk.state.stretches[1].accepted)
    second.save.button.click()
    assert "Everything that was decided" in second.save.status.value
    assert (tmp_path / DEMO_LOG).read_bytes() == log


def test_a_part_left_by_a_killed_writer_is_in_nobodys_way(bench):
    bench.file("runs/monday.csv").write_text("rpm\n1\n")
    (bench.folder / "runs" / f"monday.csv.review.toml.{os.getpid()}.part").write_text("half")
    (bench.folder / "runs" / "monday.csv.review.toml.1.part").write_text("half")
    Review(log="monday.csv").save(bench, LOG)
    assert bench.logs() == [LOG]
    write_bytes(bench.file("runs/other.toml"), b"")
