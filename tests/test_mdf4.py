"""MDF files: of others, and engine channels of the demo bench written and read back."""

import sys

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.bench import Bench
from toolkit.logs.mdf4 import read_groups
from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.read import read
from toolkit.logs.run import Run

asammdf = pytest.importorskip("asammdf", reason="the optional MDF library is not installed")


def signal(name, unit, time_s, samples, **more):
    return asammdf.Signal(np.asarray(samples), np.asarray(time_s), name=name, unit=unit, **more)


@pytest.fixture
def written(tmp_path):
    """Write groups of signals to a file and give its path."""

    def of(*groups):
        path = tmp_path / "log.mf4"
        with asammdf.MDF(version="4.10") as file:
            for number, signals in enumerate(groups):
                file.append(signals, comment=f"group {number}", common_timebase=True)
            file.save(str(path), overwrite=True)
        return path

    return of


FAST, SLOW = np.arange(2.5, 12.5, 0.01), np.arange(2.55, 12.5, 0.1)


def test_engine_channels_of_the_demo_bench_come_back(written):
    """Everything a controller logged, through the file and the reader, to the same frame."""
    name = "runs/2026-04-18_2_small_14psi_ecu.csv"
    before = Run.open(Bench(ROOT / "data_demo"), name)
    time_s = before.reading.values("Time [s]")
    columns = [c for c in before.reading.columns if c.name != "Time [s]"]
    signals = [
        signal(
            c.header.split(" [")[0],
            c.header.split("[")[-1].rstrip("]") if "[" in c.header else "",
            time_s,
            before.reading.values(c.name),
        )
        for c in columns
    ]
    after = Run.of(read(written(signals)))
    assert after.questions == ()
    assert list(after.frame) == list(before.frame)
    np.testing.assert_allclose(after.frame.to_numpy(), before.frame.to_numpy(), rtol=1e-12)


def test_groups_at_different_rates_are_asked_about(written):
    path = written(
        [signal("Engine Speed", "1/min", FAST, 2000 + 300 * FAST)],
        [signal("EGT", "degC", SLOW, 500 + 10 * SLOW)],
    )
    with pytest.raises(Unanswered) as asked:
        read(path)
    question = asked.value.question
    assert [c for c, _ in question.choices] == ["0", "1", "all"]
    assert "1 channels at 100 Hz: Engine Speed" in question.choices[0][1]
    slow = read(path, {"group": "1"})
    assert slow.values("time")[0] == pytest.approx(2.55)  # offsets in time are kept
    assert len(slow.frame) == len(SLOW)
    both = Run.of(read(path, {"group": "all"}))
    assert len(both.frame) == len(FAST)
    shown = both.frame.loc[100]
    assert shown["t_exhaust_k"] == pytest.approx(500 + 10 * shown["time_s"] + 273.15)
    assert both.frame["t_exhaust_k"].iloc[:5].isna().all()  # before its first sample


def test_arrays_texts_and_invalid_values(written):
    grid = np.zeros(3, dtype=[("knock", "<f8", (2,))])
    grid["knock"] = np.arange(6.0).reshape(3, 2)
    states = {"val_0": 0, "text_0": b"off", "val_1": 1, "text_1": b"on", "default": b"?"}
    path = written(
        [
            signal("knock", "V", [0.0, 0.1, 0.2], grid),
            signal("pump", "", [0.0, 0.1, 0.2], np.array([0, 1, 1], "u1"), conversion=states),
            signal(
                "remark", "", [0.0, 0.1, 0.2], np.array([b"7.5", b"", b"hot"]), encoding="utf-8"
            ),
            signal(
                "rpm",
                "1/min",
                [0.0, 0.1, 0.2],
                [3000.0, 3100.0, 3200.0],
                invalidation_bits=np.array([False, True, False]),
            ),
        ]
    )
    reading = read(path)
    assert reading.values("knock[1]").tolist() == [1, 3, 5]
    assert reading.values("pump").tolist() == [0, 1, 1]
    assert any("'pump' is the number behind its texts" in n.text for n in reading.notes)
    assert reading.values("remark")[0] == 7.5
    assert reading.rejected.to_dict("records") == [{"row": 3, "column": "remark", "text": "hot"}]
    assert np.isnan(reading.values("rpm")).tolist() == [False, True, False]


def test_a_file_without_samples_and_damaged_ones(written, tmp_path):
    with pytest.raises(LogError, match="no channel of numbers"):
        read(written([signal("rpm", "1/min", np.array([]), np.array([]))]))
    whole = written([signal("rpm", "1/min", FAST, FAST)]).read_bytes()
    rng = np.random.default_rng(2)
    for cut in (64, 100, 500, len(whole) // 2):
        path = tmp_path / "cut.mf4"
        path.write_bytes(whole[:cut])
        with pytest.raises(LogError, match=r"cut\.mf4"):
            read(path)
    for _ in range(30):
        spoilt = bytearray(whole)
        spoilt[rng.integers(8, 1500)] = rng.integers(256)
        path.write_bytes(spoilt)
        try:
            read(path)
        except LogError as error:
            assert "\n" not in str(error)


def test_an_absurd_count_is_refused(written, monkeypatch):
    monkeypatch.setattr("toolkit.logs.mdf4.CELLS", 1000)
    with pytest.raises(LogError, match="claims"):
        read(written([signal("rpm", "1/min", FAST, FAST)]))


def test_the_missing_library_is_named(written, monkeypatch):
    path = written([signal("rpm", "1/min", FAST, FAST)])
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(LogError, match="run pip install asammdf"):
        read(path)


def test_files_of_others(shared_data):
    """Against the library's own reading of the same file."""
    path = shared_data / "mdf4" / "test_batch.mf4"
    reading = read(path)
    with asammdf.MDF(str(path)) as file:
        for column in reading.columns[1:]:
            expected = file.get(column.header)
            np.testing.assert_array_equal(reading.values(column.name), expected.samples)
            np.testing.assert_array_equal(reading.values("time"), expected.timestamps)
    groups, notes = read_groups(shared_data / "mdf4" / "test_metadata.mf4")
    assert [len(g.channels) for g in groups] == [1, 23]
    assert "2018-11-22" in notes[0].text
