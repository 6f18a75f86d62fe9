"""Hundreds of bad logs: a right reading, a question, or one sentence that says where.

What stands in a file is read here a second time by the standard library, which is told the
dialect (`bad_logs.seen`); the reader must find it out, and may not differ in any cell.
"""

import io
import itertools
import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from tests import bad_logs
from toolkit.bench import Bench
from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.review import Review
from toolkit.logs.run import Run

ROOT = Path(__file__).resolve().parent.parent
CORPUS = bad_logs.corpus()
SI = {  # the channels of the corpus' own header, from the written number
    "speed_rpm": (1, lambda v: v),
    "torque_nm": (2, lambda v: v),
    "p_manifold_pa": (3, lambda v: v * 1e3),
    "t_oil_k": (4, lambda v: v + 273.15),
}


@pytest.fixture
def opened(tmp_path):
    """Put a file into a bench and open it as a panel does; questions get `answers`."""
    (tmp_path / "runs").mkdir()
    bench = Bench(tmp_path)

    def open_one(content, suffix=".csv", **answers):
        name = f"runs/log{suffix}"
        bench.file(name).write_bytes(content)
        given = {}
        for _ in range(5):
            try:
                return Run.open(bench, name, Review(log=f"log{suffix}", file=given))
            except Unanswered as asked:
                part, item = asked.question.key
                if part != "file" or item not in answers:
                    raise
                assert item not in given, f"asked twice about {item}"
                given[item] = answers[item]
        raise AssertionError("asked for ever")

    return open_one


def is_one_sentence(error):
    """One line of bounded length that names the file, a row or a column."""
    text = str(error)
    named = re.search(r"\brow \d+|\bbyte \d+|column|log\.\w+|cell", text)
    return "\n" not in text and len(text) < 700 and bool(named or isinstance(error, Unanswered))


def compare(case, run):
    """Every cell of the reading is what stands in the file, or is listed as left out."""
    reading, truth = run.reading, bad_logs.seen(case)
    listed = {
        (r, c) for r, c in zip(reading.rejected["row"], reading.rejected["column"], strict=True)
    }
    ids = {c.id: c.name for c in reading.columns}
    for line, row in reading.frame.iterrows():
        assert line in truth, f"line {line} is no row of the file"
        for place, cell in enumerate(truth[line]):
            name = ids.get(f"c{place}")
            if name is None:
                assert cell in ("", None) or not bad_logs.HEADER, f"column {place} was dropped"
                continue
            value = row[f"c{place}"]
            if isinstance(cell, float):
                right = value == cell or (line, name) in listed
            else:
                right = np.isnan(value) and (cell == "" or (line, name) in listed)
            assert right or is_other_number(case, line, place, value), (line, place, cell, value)
    for line in set(truth) - set(reading.frame.index):
        assert (line, "") in listed or not any(truth[line]), f"line {line} was dropped in silence"


def is_other_number(case, line, place, value):
    """What the plain reading here cannot read: a true minus sign, a blank that groups, a time."""
    text = case.text.splitlines()[line - 1].split(bad_logs.SEPARATORS[case.form.separator])[place]
    plain = text.strip("\u00a0\ufeff ").replace("\u2212", "-")
    clock = re.fullmatch(r"(\d+):(\d+)", plain)
    if clock:
        return value in (
            60.0 * int(clock[1]) + int(clock[2]),
            3600.0 * int(clock[1]) + 60.0 * int(clock[2]),
        )
    return plain != text and float(plain) == value


def test_the_corpus_is_large_and_every_case_is_its_own():
    names = [case.name for cases in CORPUS.values() for case in cases]
    assert len(names) >= 400
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("group", CORPUS)
def test_right_or_asked_or_one_sentence(opened, group):
    counts = {"read": 0, "asked": 0, "refused": 0}
    for case in CORPUS[group]:
        answers = {"separator": case.form.separator, "decimal": case.form.decimal,
                   "clock": "minutes:seconds"}  # fmt: skip
        try:
            run = opened(case.content, case.suffix, **answers)
        except LogError as error:
            assert not case.good, f"{case.name}: {error}"
            assert is_one_sentence(error), f"{case.name}: {error}"
            counts["asked" if isinstance(error, Unanswered) else "refused"] += 1
            continue
        except Exception as error:
            raise AssertionError(f"{case.name}: {type(error).__name__}: {error}") from error
        counts["read"] += 1
        run.frame  # noqa: B018  (channels and units are worked out here)
        assert case.text is not None, f"{case.name} was read as a log"
        try:
            compare(case, run)
        except AssertionError as error:
            raise AssertionError(f"{case.name}: {error}") from error
    assert counts["read"] or group == "garbage", counts


def test_channels_of_every_dialect_are_right_in_si(opened):
    for case in CORPUS["dialects"]:
        run = opened(case.content, separator=case.form.separator, decimal=case.form.decimal)
        for channel, (place, to_si) in SI.items():
            expected = [to_si(round(row[place], 2)) for row in bad_logs.ROWS]
            np.testing.assert_allclose(run.frame[channel], expected, rtol=1e-12, err_msg=case.name)


# Workbooks, measurement files and sizes that are meant to hurt.


def workbook(path, rows, **sheets):
    """A workbook with these rows on its first sheet, as bytes."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for name, more in sheets.items():
        sheet = book.create_sheet(name)
        for row in more:
            sheet.append(row)
    book.save(path)
    return path.read_bytes()


GOOD = [list(bad_logs.HEADER), *[list(row) for row in bad_logs.ROWS]]


def test_a_workbook_in_pieces_or_with_odd_cells(opened, tmp_path):
    whole = workbook(tmp_path / "x.xlsx", GOOD)
    assert opened(whole, ".xlsx").frame["speed_rpm"].tolist() == [r[1] for r in bad_logs.ROWS]
    for tenth in range(1, 10):
        with pytest.raises(LogError, match=r"log\.xlsx"):
            opened(whole[: len(whole) * tenth // 10], ".xlsx")
    rows = [list(row) for row in GOOD]
    for k, cell in enumerate(["=1+1", "#DIV/0!", True, None, "<b>", "1e999", "nan"], start=4):
        rows[k][2] = cell
    run = opened(workbook(tmp_path / "x.xlsx", rows), ".xlsx")
    torque = run.frame["torque_nm"].to_numpy()
    assert np.isnan(torque[[3, 4, 6, 7, 8, 9]]).all() and torque[5] == 1
    assert run.reading.rejected["row"].tolist() == [5, 6, 9, 10, 11]
    with pytest.raises(Unanswered, match="Which sheet"):
        opened(workbook(tmp_path / "x.xlsx", GOOD, other=GOOD), ".xlsx")
    with pytest.raises(LogError, match="no sheet with anything"):
        opened(workbook(tmp_path / "x.xlsx", []), ".xlsx")


def with_part(content, name, data, said_bytes=None):
    """A workbook with one part put in its place; said_bytes: the size its directory claims."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            new.writestr(part, data if part.filename == name else old.read(part))
        if said_bytes:
            new.getinfo(name).file_size = said_bytes
    return out.getvalue()


BILLION_LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {chr(98 + k)} "{f"&{chr(97 + k)};" * 10}">' for k in range(9))
    + "]><worksheet><sheetData><row><c t='str'><v>&j;</v></c></row></sheetData></worksheet>"
)


def test_bombs_in_a_workbook_are_not_unpacked(opened, tmp_path):
    whole, sheet = workbook(tmp_path / "x.xlsx", GOOD), "xl/worksheets/sheet1.xml"
    with pytest.raises(LogError, match=r"would unpack to 1\d\d MB"):
        opened(with_part(whole, sheet, b" " * (150 << 20)), ".xlsx")
    for data, said in ((b" " * (64 << 20), 1000), (BILLION_LAUGHS, None)):
        with pytest.raises(LogError, match=r"log\.xlsx is a damaged workbook"):
            opened(with_part(whole, sheet, data, said), ".xlsx")
    outside = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>' + BILLION_LAUGHS[
        BILLION_LAUGHS.index("<worksheet") :
    ].replace("&j;", "&e;")
    with pytest.raises(LogError) as refused:
        opened(with_part(whole, sheet, outside), ".xlsx")
    assert "root:" not in str(refused.value)


# Peak memory above the start, per byte of the numbers (8 per cell), for a long text log; the
# fixed part is what the readers' libraries keep for themselves.
PER_NUMBER_BYTE, FIXED = 4.0, 120e6
MEASURED = """
import json, resource, sys
from toolkit.bench import Bench
from toolkit.logs.question import LogError
from toolkit.logs.run import Run
bench = Bench(sys.argv[1])
Run.open(bench, "runs/small.csv")
def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
before, said, rows = peak(), "", 0
try:
    rows = len(Run.open(bench, sys.argv[2]).reading.frame)
except LogError as error:
    said = str(error)
print(json.dumps({"bytes": peak() - before, "rows": rows, "said": said}))
"""


def measured(folder, name):
    """Peak memory that opening one log of a bench costs, in a process of its own."""
    (folder / "runs/small.csv").write_text(bad_logs.table_text(bad_logs.Form()))
    found = subprocess.run(
        [sys.executable, "-c", MEASURED, str(folder), name],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(found.stdout)


@pytest.mark.parametrize("rows", [400_000, pytest.param(10_000_000, marks=pytest.mark.slow)])
def test_memory_is_bounded_by_the_numbers(tmp_path, rows):
    (tmp_path / "runs").mkdir()
    block = "".join(
        f"{k / 100};{2000 + k % 5000};{300 + k % 97}.5;{k % 7};0\n" for k in range(10_000)
    )
    with (tmp_path / "runs/long.csv").open("w") as file:
        file.write("time_s;speed_rpm;torque_Nm;aa;bb\n")
        file.writelines(itertools.repeat(block, rows // 10_000))
    found = measured(tmp_path, "runs/long.csv")
    assert found["rows"] == rows
    assert found["bytes"] < PER_NUMBER_BYTE * 8 * 5 * rows + FIXED, found


def test_a_file_of_one_endless_line_and_absurd_claims_cost_little(tmp_path):
    (tmp_path / "runs").mkdir()
    (tmp_path / "runs/line.csv").write_bytes(b"1;" * 20_000_000)
    found = measured(tmp_path, "runs/line.csv")
    assert found["said"] and found["bytes"] < 600e6, found


def test_measurement_files_cut_or_absurd(opened, tmp_path):
    asammdf = pytest.importorskip("asammdf")
    times = np.arange(50) / 10
    speed = asammdf.Signal(2000 + 10 * np.arange(50.0), times, unit="rpm", name="speed_rpm")
    with asammdf.MDF(version="4.10") as file:
        file.append([speed])
        path = file.save(tmp_path / "x.mf4", overwrite=True)
    whole = Path(path).read_bytes()
    assert opened(whole, ".mf4").frame["speed_rpm"].tolist() == speed.samples.tolist()
    for tenth in range(10):
        try:
            run = opened(whole[: len(whole) * tenth // 10], ".mf4")
        except LogError as error:
            assert is_one_sentence(error), str(error)
        else:  # what is there must be what was written
            found = run.frame["speed_rpm"].to_numpy()
            assert np.array_equal(found, speed.samples[: len(found)])
    place = whole.index(np.uint64(50).tobytes(), whole.index(b"##CG"))
    for count in (10**9, 2**63):
        absurd = whole[:place] + np.uint64(count).tobytes() + whole[place + 8 :]
        with pytest.raises(LogError, match=r"log\.mf4"):
            opened(absurd, ".mf4")
