import os
import sys

import pytest
import tomlkit

from toolkit import preferences
from toolkit.bench import Bench, BenchError, digest, read_toml, write_bytes, write_text, write_toml


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "bench" / "runs").mkdir(parents=True)
    (tmp_path / "bench" / "runs" / "monday.csv").write_text("rpm\n1\n")
    (tmp_path / "bench" / "runs" / "monday.review.toml").write_text("")
    (tmp_path / "outside.csv").write_text("secret")
    return Bench(tmp_path / "bench")


def test_lists_logs_and_leaves_the_reviews_out(bench):
    assert bench.logs() == ["runs/monday.csv"]


@pytest.mark.parametrize(
    "name", ["../outside.csv", "runs/../../outside.csv", "/etc/passwd", "C:\\x.csv", "a\0b"]
)
def test_a_name_that_leads_outside_is_refused(bench, name):
    with pytest.raises(BenchError, match="outside the bench"):
        bench.file(name)


def test_a_link_that_leads_outside_is_neither_offered_nor_opened(bench, tmp_path):
    (bench.folder / "runs" / "link.csv").symlink_to(tmp_path / "outside.csv")
    assert bench.logs() == ["runs/monday.csv"]
    with pytest.raises(BenchError, match="link"):
        bench.file("runs/link.csv")


def test_a_missing_folder_is_said():
    with pytest.raises(BenchError, match="make it, or choose another"):
        Bench("/no/such/folder")


def test_toml_keeps_a_persons_comments(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text('# mine\nboost = "14 psi" # light spring\n')
    data = read_toml(path)
    data["boost"] = "15 psi"
    write_toml(path, data)
    assert path.read_text() == '# mine\nboost = "15 psi" # light spring\n'


def test_broken_toml_names_file_and_line(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text("a = 1\nb = = 2\n")
    with pytest.raises(BenchError, match=r"x\.toml .*line 2"):
        read_toml(path)


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "x.toml"
    write_text(path, "old")

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "rename" if sys.platform != "win32" else "replace", full_disk)
    with pytest.raises(BenchError, match="no space left"):
        write_text(path, "new")
    assert path.read_text() == "old"


def test_digest_is_the_published_sha256_of_abc(tmp_path):
    # FIPS 180-2, appendix B.1: SHA-256 of "abc".
    write_bytes(tmp_path / "abc", b"abc")
    assert digest(tmp_path / "abc").startswith("ba7816bf8f01cfea414140de5dae2223")


def test_preferences_are_remembered_and_survive_nonsense(tmp_path, monkeypatch):
    monkeypatch.setenv("DRIVE_PRESSURE_CONFIG", str(tmp_path))
    assert preferences.load().units == "US"
    preferences.save(units="SI", bench=str(tmp_path))
    assert preferences.load() == preferences.Preferences("SI", str(tmp_path))
    write_toml(tmp_path / "preferences.toml", tomlkit.parse('units = "cubits"\nbench = "/gone"'))
    assert preferences.load() == preferences.Preferences()
