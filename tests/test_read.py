"""The reader on files in the wild: what it decides, what it asks, what it refuses."""

import datetime
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest

from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.read import read
from toolkit.logs.reading import unique_names


@pytest.fixture
def log(tmp_path):
    """Write bytes or text (UTF-8) to a file and read it."""

    def written(content, name="log.csv", **answers):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read(path, answers)

    return written


BENCH_HALL = (
    "Prüfstand Nord\r\nDatum;03.06.2024\r\nMotor;R6 3,0 l\r\n\r\n"
    "Zeit;Drehzahl;Drehmoment;Druck;Druck;Öltemperatur\r\n"
    "s;1/min;Nm;psi;psi;°C\r\n"
    "0,00;3.500;410,5;10,0;12,0;88,0\r\n0,25;3.650;---;10,5;12,8;88,2\r\n"
    "0,50;3.800;431,0;11,0;13,5;88,4\r\n"
)


def test_a_bench_file_with_everything_at_once(log):
    reading = log(BENCH_HALL.encode("cp1252"))
    found = {k: d.value for k, d in reading.decisions.items()}
    assert found == {
        "encoding": "cp1252",
        "separator": "semicolon",
        "decimal": "comma",
        "thousands": ".",
        "header": "5",
        "units": "6",
    }
    assert [c.name for c in reading.columns][3:5] == ["Druck", "Druck (2)"]
    assert reading.repeated == ("Druck",)
    assert reading.column("Öltemperatur").unit == "°C"
    assert reading.values("Drehzahl").tolist() == [3500, 3650, 3800]
    assert reading.rejected.to_dict("records") == [
        {"row": 8, "column": "Drehmoment", "text": "---"}
    ]
    assert reading.frame.index.tolist() == [7, 8, 9]
    assert reading.pairs == {"Datum": "03.06.2024", "Motor": "R6 3,0 l"}
    assert all(d.evidence for d in reading.decisions.values())


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "cp1252"),
    ],
)
def test_encodings(log, encoding, said):
    reading = log("Zeit;Kühlwasser °C\n0,5;88,25\n1,0;88,5\n".encode(encoding))
    assert reading.decisions["encoding"].value == said
    assert [c.header for c in reading.columns] == ["Zeit", "Kühlwasser °C"]
    assert reading.values("Kühlwasser °C").tolist() == [88.25, 88.5]


def test_letters_that_no_western_page_has_are_guessed_and_the_numbers_stand(log):
    text = "время;обороты двигателя;крутящий момент\n" + "0,5;3500;410,25\n" * 5
    reading = log(text.encode("cp1251"))
    assert reading.decisions["encoding"].value.replace("_", "") in ("cp1251", "maccyrillic")
    assert reading.frame["c2"].tolist() == [410.25] * 5


def test_bytes_that_stop_being_utf8_beyond_the_sample(log):
    rows = b"1.5,2.5\n" * 20_000 + b"1.5,\xb0\n"
    reading = log(b"time,x\n" + rows)
    assert reading.decisions["encoding"].value == "cp1252"
    assert reading.rejected.to_dict("records") == [{"row": 20_002, "column": "x", "text": "°"}]


def test_bytes_that_no_western_page_has_far_down(log):
    reading = log("Zeit;Öl\n".encode("cp1252") + b"1,5;2,5\n" * 20_000 + b"1,5;\x81\n")
    assert reading.decisions["encoding"].value == "latin-1"
    assert len(reading.rejected) == 1
    reading = log("Zeit;x\n" + "1,5;2,5\n" * 20_000 + "1,5;Ö\n", encoding="ascii")
    assert reading.rejected["text"].tolist() == ["Ö"]
    assert reading.frame["c1"].iloc[0] == 2.5


def test_a_header_longer_than_the_sample(log):
    names = [f"channel with quite a long name {i}" for i in range(2000)]
    rows = [",".join(f"{i + k}.5" for i in range(2000)) for k in range(5)]
    reading = log("\n".join([",".join(names), *rows]))
    assert reading.frame.shape == (5, 2000)
    assert reading.columns[-1].header == names[-1]


@pytest.mark.parametrize("separator", [";", "\t", "|", ",", " ", "   "])
def test_separators(log, separator):
    rows = [("time", "speed", "torque"), ("0.5", "3000", "400.5"), ("1.0", "3100", "-405.25")]
    reading = log("\n".join(separator.join(r) for r in rows) + "\n")
    assert [c.name for c in reading.columns] == ["time", "speed", "torque"]
    assert reading.values("torque").tolist() == [400.5, -405.25]


def test_a_stated_separator_and_trailing_ones(log):
    reading = log("sep=;\nrpm;boost;\n3000;1,5;\n3100;1,75;\n")
    assert [c.name for c in reading.columns] == ["rpm", "boost"]
    assert reading.values("boost").tolist() == [1.5, 1.75]
    reading = log("rpm,boost\n3000,1.5,\n3100,1.75,\n")
    assert reading.values("boost").tolist() == [1.5, 1.75]


def test_comma_as_separator_and_decimal_mark_is_refused_not_shifted(log):
    with pytest.raises(LogError, match="row 2 has 3 cells but the header has 2"):
        log("rpm,boost\n4000,10,1\n")
    with pytest.raises(LogError, match="row 903 has 3 cells but the header has 2"):
        log("rpm,boost\n" + "4000,10\n" * 901 + "4000,10,1\n" + "4000,10\n" * 20_000)


def test_a_trailing_separator_does_not_hide_a_cell_too_many(log):
    with pytest.raises(LogError, match="row 4 has 3 cells but the header has 2"):
        log("rpm,boost\n3000,10,\n3500,10,\n4000,10,1\n")


def test_rows_of_nothing_are_no_rows(log):
    reading = log("rpm;boost\n3000;1.5\n;\n3200;1.5\n" + ";\n" * 5)
    assert reading.frame.index.tolist() == [2, 4]


def test_a_row_cut_short_is_listed_and_not_used(log):
    reading = log("t,rpm,boost\n0.0,3000,1.5\n0.1,3050,1.6\n0.2,31")
    assert len(reading.frame) == 2
    assert reading.rejected.to_dict("records") == [
        {"row": 4, "column": "", "text": "2 of 3 cells: 0.2 | 31"}
    ]


@pytest.mark.parametrize(
    ("cells", "answer"),
    [
        (["4.000", "5.500", "0,5"], [4000, 5500, 0.5]),
        (["4,000.5", "5,500.5", "6,000.0"], [4000.5, 5500.5, 6000]),
        (["4'000", "5'500", "0.5"], [4000, 5500, 0.5]),
        (["4\u202f000", "5\u00a0500", "6 000,5"], [4000, 5500, 6000.5]),
        (["1.234.567", "1", "2"], [1234567, 1, 2]),
        (["4000", "1.234", "2.345"], [4000, 1.234, 2.345]),
        (["1,5", "-0,25", "1,5e3"], [1.5, -0.25, 1500]),
        ([".5", "5.", "+3.5"], [0.5, 5, 3.5]),
        (["\u22121,5", "2,5", "\u22120,25"], [-1.5, 2.5, -0.25]),
    ],
)
def test_number_formats_that_prove_themselves(log, cells, answer):
    reading = log("t;x\n" + "".join(f"{i};{c}\n" for i, c in enumerate(cells)))
    assert reading.values("x").tolist() == answer


def rising(end, last="512.25", rows=40):
    body = [f"{i / 10:.1f};{3000 + i};{400 + i / 4:.2f}" for i in range(rows)]
    return end.join(["time_s;rpm;torque_Nm", *body, f"9.9;3900;{last}"])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_last_number_that_was_cut_short_is_left_out_and_said(log, end, encoding):
    for last in ("512.2", "51", "5"):
        cut = log(rising(end, last).encode(encoding))
        assert np.isnan(cut.values("torque_Nm")[-1])
        assert cut.values("rpm")[-1] == 3900 and np.isfinite(cut.values("torque_Nm")[:-1]).all()
        assert cut.rejected.to_dict("records") == [{"row": 42, "column": "torque_Nm", "text": last}]
        assert cut.decisions["end"].value == "cut short"
        assert f"'{last}' in row 42" in cut.decisions["end"].evidence
    # Near misses: a line end follows, the number is whole, or too few rows to tell by.
    for text in (rising(end, "51") + end, rising(end), rising(end, "51", rows=9)):
        whole = log(text.encode(encoding))
        assert "end" not in whole.decisions and whole.rejected.empty
        assert np.isfinite(whole.values("torque_Nm")).all()


def test_a_last_cell_is_not_cut_where_a_separator_follows_or_columns_are_ragged(log):
    followed = rising(";\n", "51;")
    assert log(followed).values("torque_Nm")[-1] == 51
    plain = "\n".join(["x", *("123456" for _ in range(20)), "12"])
    assert np.isnan(log(plain).values("x")[-1])
    uneven = rising("\n", "51").replace("409.75", "5")
    assert log(uneven).values("torque_Nm")[-1] == 51


def test_thousands_or_decimals_is_asked(log):
    text = "t;x\n1;4.000\n2;5.500\n"
    with pytest.raises(Unanswered) as raised:
        log(text)
    question = raised.value.question
    assert question.key == ("file", "decimal")
    assert [c for c, _ in question.choices] == ["point", "comma"]
    assert "4 or 4000" in question.evidence
    assert log(text, decimal="point").values("x").tolist() == [4.0, 5.5]
    assert log(text, decimal="comma").values("x").tolist() == [4000, 5500]


def test_an_engine_speed_answers_it(log):
    reading = log("t;Drehzahl\n1;4.000\n2;5.500\n")
    assert reading.values("Drehzahl").tolist() == [4000, 5500]
    assert "never passes 5.5 rpm" in reading.decisions["decimal"].evidence


def test_the_proof_may_come_long_after_the_sample(log):
    text = "t;x\n" + "1;4.000\n" * 30_000
    with pytest.raises(Unanswered):
        log(text)
    assert log(text + "1;2,5\n").values("x")[[0, -1]].tolist() == [4000, 2.5]
    assert log(text + "1;2.5\n").values("x")[[0, -1]].tolist() == [4, 2.5]
    late = "t;x\n" + "1;400\n" * 30_000 + "1;4.000\n"
    with pytest.raises(Unanswered):
        log(late)


def test_two_decimal_marks_are_asked(log):
    with pytest.raises(Unanswered, match=r"decimal point.*decimal comma"):
        log("t;x\n1;4.25\n2;5,5\n")


def test_headerless_commas_are_asked(log):
    with pytest.raises(Unanswered, match="What separates"):
        log("10,5\n11,5\n12,5\n")
    assert log("10,5\n11,5\n", separator="none").frame["c0"].tolist() == [10.5, 11.5]
    assert log("10,5\n11,5\n", separator="comma").frame["c1"].tolist() == [5, 5]


def test_a_file_without_header_gives_its_columns_numbers_for_names(log):
    reading = log("0.0;3000;1.5\n0.1;3100;1.6\n")
    assert [c.name for c in reading.columns] == ["column 1", "column 2", "column 3"]
    assert reading.decisions["header"].value == "none"


@pytest.mark.parametrize(
    "junk", ["---", "-", "#N/A", "NaN", "inf", "1e200", "=1+2", "0x1F", "1_000", "12:3"]
)
def test_what_is_no_number_is_listed_by_row(log, junk):
    rows = [f"{i}.5,{i}" for i in range(40)]
    rows[25] = f"25.5,{junk}"
    reading = log("t,x\n" + "\n".join(rows) + "\n")
    assert reading.rejected.to_dict("records") == [{"row": 27, "column": "x", "text": junk}]
    assert np.isnan(reading.values("x")[25])
    assert np.isfinite(reading.values("x")).sum() == 39


def test_sentinels_and_empty_cells_stay_what_they_are(log):
    reading = log("t,x,y\n0.5,9999,1\n1.5,,2\n2.5,3,4\n")
    assert reading.values("x")[0] == 9999
    assert reading.rejected.empty
    assert reading.column("x").empty == 1


def test_the_same_cells_the_fast_and_the_exact_way(log):
    clean = "t,x\n" + "".join(f"{i}.25,{i * 7}\n" for i in range(50))
    gap = clean.replace("10.25", "\n10.25")  # a blank line: rows no longer count like lines
    fast, exact = log(clean), log(gap)
    assert np.array_equal(fast.frame.to_numpy(), exact.frame.to_numpy())
    assert fast.frame.index[-1] == 51
    assert exact.frame.index[-1] == 52


@pytest.mark.parametrize("end", ["", "\n", "\n\n\n", "\r\n\r\n"])
@pytest.mark.parametrize("width", [1, 2])
def test_lines_are_counted_as_an_editor_does(log, end, width):
    rows = [f"{k}.5" + f",{k}" * (width - 1) for k in range(6)]
    text = "\n".join(["a,b"[: 2 * width - 1], *rows]) + end
    assert log(text).frame.index.tolist() == [2, 3, 4, 5, 6, 7]
    broken = text.replace("3.5", '"x\ny"' if width > 1 else "\n3.5")
    assert log(broken).frame.index.tolist()[-1] == 8


@pytest.mark.parametrize(
    ("cells", "answer"),
    [
        (["00:01:30.500", "00:01:31.000"], [90.5, 91]),
        (["01:30.5", "01:31.0"], [90.5, 91]),
        (["90.5", "91.0"], [90.5, 91]),
        (["23:59:59", "00:00:01"], [86399, 86401]),
        (["11:59:59 PM", "12:00:01 AM"], [86399, 86401]),
        (["12:00:00 pm", "01:00:00 p.m."], [43200, 46800]),
        (["59:59.5", "00:00.5"], [3599.5, 3600.5]),
        (["12:30:01:250", "12:30:01:500"], [45001.25, 45001.5]),
        (["-0.0", "1.0"], [0, 1]),
    ],
)
def test_times(log, cells, answer):
    reading = log("time;x\n" + "".join(f"{c};{i}.5\n" for i, c in enumerate(cells)))
    assert reading.values("time").tolist() == answer


def test_dates(log):
    reading = log("time,x\n2024-02-29T23:59:59.5Z,1.5\n2024-03-01T00:00:00.5Z,2\n")
    assert np.diff(reading.values("time")).tolist() == [1.0]
    day_first = "time;x\n28.02.2024 23:59:59;1\n01.03.2024 00:00:00;2\n"
    assert np.diff(log(day_first).values("time")).tolist() == [86401.0]
    either = "time;x\n1/2/2024 23:00:00;1\n2/2/2024 01:00:00;2\n"
    with pytest.raises(Unanswered, match="dates"):
        log(either)
    assert np.diff(log(either, date_order="day").values("time")).tolist() == [7200.0]
    same_day = "time;x\n1/2/2024 10:00:00;1\n1/2/2024 10:00:01;2\n"
    assert np.diff(log(same_day).values("time")).tolist() == [1.0]


def test_times_of_two_parts_are_asked(log):
    text = "time;x\n01:30;1.5\n01:31;2.5\n"
    with pytest.raises(Unanswered, match="'01:30' could be two things"):
        log(text)
    assert log(text, clock="minutes:seconds").values("time").tolist() == [90, 91]
    assert log(text, clock="hours:minutes").values("time").tolist() == [5400, 5460]
    assert log(text.replace("time", "time (HH:MM)")).frame["c0"].tolist() == [5400, 5460]


def test_units_in_headers_stay_with_the_header_and_a_units_row_does_not_hide_numbers(log):
    reading = log("time,rpm,boost\n[s],[1/min],[psi]\n0.5,3000,1.5\n")
    assert [c.unit for c in reading.columns] == ["s", "1/min", "psi"]
    reading = log("rpm,hp\n3000,150.5\n")  # names that are units are still names
    assert [c.name for c in reading.columns] == ["rpm", "hp"]
    reading = log("Monday, second test\nrpm,hp\n3000,150.5\n")
    assert [c.name for c in reading.columns] == ["rpm", "hp"]


def test_a_units_row_may_hold_units_that_no_model_uses(log):
    reading = log("time,rpm,Sensor 5,Gear\ns,1/min,V,-\n0.5,3000,1.5,3\n")
    assert [c.name for c in reading.columns] == ["time", "rpm", "Sensor 5", "Gear"]
    assert [c.unit for c in reading.columns] == ["s", "1/min", "V", "-"]


def test_preamble_with_numbers_does_not_pass_for_the_table(log):
    reading = log("Rate;100\nCount;5\n\ntime;rpm\n0,5;3000\n1,0;3100\n1,5;3200\n")
    assert [c.name for c in reading.columns] == ["time", "rpm"]
    assert reading.pairs == {"Rate": "100", "Count": "5"}


def test_names_never_collide():
    names = unique_names(["x", "x", "x (2)", "x", "", "column 5"])
    assert len(set(names)) == 6
    assert names[2] == "x (2)" and names[5] == "column 5"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"time,rpm\n", "no rows of numbers"),
        (b"hello\nworld\n", "no rows of numbers"),
        (bytes(range(256)) * 20, "is not a text table: byte 1 is 0x00"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "save it as .xlsx"),
        (b"PK\x03\x04 nonsense", "damaged zip archive"),
        (b"PAR1 nonsense", "damaged or not Parquet"),
        (b"\x1f\x8b\x08" + b"\0" * 60, "unpack it first"),
        (b"a,b\n1,2,3\n4,5,6\n", "row 2 has 3 cells but the header has 2"),
    ],
)
def test_what_is_no_log_is_refused_in_one_sentence(log, content, sentence):
    with pytest.raises(LogError, match=sentence) as raised:
        log(content)
    assert "\n" not in str(raised.value)
    assert type(raised.value) is LogError


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LogError, match="cannot be opened"):
        read(tmp_path / "nothing.csv")
    with pytest.raises(LogError, match="cannot be opened"):
        read(tmp_path)


def test_an_unknown_encoding_in_the_review_is_refused(log):
    with pytest.raises(LogError, match="'klingon', which is not known"):
        log("a,b\n1,2\n", encoding="klingon")


def workbook(tmp_path, sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    path = tmp_path / "log.xlsx"
    book.save(path)
    return path


ROWS = [
    ["Test cell 2"],
    ["barometer", "99.1 kPa"],
    ["time", "rpm", "torque", "boost"],
    ["s", "1/min", "Nm", "kPa"],
    [0.0, 3000, 401.25, 35],
    [0.5, 3100, "---", 36.5],
    [1.0, 3200, "=C5*2", None],
]


def test_a_workbook(tmp_path):
    reading = read(workbook(tmp_path, {"log": ROWS, "blank": []}))
    assert [c.name for c in reading.columns] == ["time", "rpm", "torque", "boost"]
    assert reading.column("torque").unit == "Nm"
    assert reading.values("rpm").tolist() == [3000, 3100, 3200]
    assert reading.rejected.to_dict("records") == [
        {"row": 6, "column": "torque", "text": "---"},
        {"row": 7, "column": "torque", "text": "=C5*2"},
    ]
    assert reading.decisions["sheet"].value == "log"
    assert [n.line for n in reading.notes] == [1, 2]


def test_a_sheet_with_one_cell_far_away_does_not_take_forever(tmp_path):
    path = workbook(tmp_path, {"log": [*ROWS[2:5], *[[k / 2, 3100, 400, 36] for k in range(5)]]})
    book = openpyxl.load_workbook(path)
    book["log"]["XFD900000"] = "here"
    book.save(path)
    with pytest.raises(LogError, match="row 900000 has 16384 cells but the header has 4"):
        read(path)


def test_a_long_sheet_whose_last_cells_are_empty(tmp_path):
    rows = [[i / 10, 3000 + i, None if i % 2 else i] for i in range(4500)]
    reading = read(workbook(tmp_path, {"log": [["time", "rpm", "boost"], *rows]}))
    assert reading.frame.shape == (4500, 3)
    assert reading.column("boost").empty == 2250
    assert reading.rejected.empty
    assert reading.frame.index[-1] == 4501


def test_a_workbook_with_two_sheets_is_asked_about(tmp_path):
    path = workbook(tmp_path, {"pull 1": ROWS, "pull 2": ROWS})
    with pytest.raises(Unanswered, match="Which sheet"):
        read(path)
    assert read(path, {"sheet": "pull 2"}).decisions["sheet"].value == "pull 2"


def test_times_in_a_workbook(tmp_path):
    start = datetime.datetime(2024, 5, 1, 23, 59, 59, 500_000)
    rows = [["time", "rpm"]] + [[start + datetime.timedelta(seconds=k), 3000 + k] for k in range(3)]
    assert np.diff(read(workbook(tmp_path, {"a": rows})).values("time")).tolist() == [1, 1]


def test_a_workbook_that_would_unpack_to_something_absurd(tmp_path):
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 50_000_000)
    with pytest.raises(LogError, match="would unpack to 50 MB"):
        read(path)


def test_a_zip_that_is_no_workbook(tmp_path):
    path = tmp_path / "log.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("log.csv", "a,b\n1,2\n")
    with pytest.raises(LogError, match="not a workbook"):
        read(path)


def test_parquet(tmp_path):
    path = tmp_path / "log.parquet"
    pd.DataFrame(
        {
            "time": pd.to_datetime([1_700_000_000_250, 1_700_000_000_500], unit="ms"),
            "rpm": np.array([3000, 3100], dtype="int16"),
            "torque": [400.5, None],
            "gear": ["4", "N"],
            "on": [True, False],
        }
    ).to_parquet(path)
    reading = read(path)
    assert np.diff(reading.values("time")).tolist() == [0.25]
    assert reading.values("rpm").tolist() == [3000, 3100]
    assert reading.column("torque").empty == 1
    assert reading.rejected.to_dict("records") == [{"row": 2, "column": "gear", "text": "N"}]
    assert reading.values("on").tolist() == [1, 0]


def test_the_logs_of_others(shared_data):
    """Shapes and first cells, as the files print them."""
    logs = shared_data / "logs"
    fsae = read(logs / "fsae_engineData.csv")
    assert fsae.frame.shape == (370, 5)
    assert fsae.values("torque")[0] == 10.170
    fky = read(logs / "fky_cbr_dat.csv")
    assert fky.decisions["encoding"].value == "utf-8-sig"
    assert fky.columns[0].header == "rpm"
    assert fky.column("gearing").empty == 23
    diesel = read(logs / "riim_diesel_biodiesel.csv")
    assert diesel.decisions["decimal"].value == "comma"
    assert diesel.values("Torque (Nm)")[:2].tolist() == [3.09, 5.72]
    chassis = read(logs / "anl_d3_61811013.txt")
    assert chassis.frame.shape == (1575, 3)
    assert chassis.values("Time[s]")[0] == 0
    step = read(logs / "sim_turbo_si_step.csv")
    assert step.frame.shape == (514, 17)
    assert step.values("time_s")[1] == 8.06699e-12
    assert all(r.rejected.empty for r in (fsae, fky, diesel, chassis, step))


def test_case_messy_import(shared_cases):
    reading = read(shared_cases / "c02_messy_import.csv")
    assert len(reading.frame) == 21
    assert reading.values("Drehzahl")[[0, -1]].tolist() == [4000, 6000]
    assert reading.values("Drehmoment")[[0, -1]].tolist() == [700, 800]
    assert reading.values("Druck (2)")[[0, -1]].tolist() == [12, 24]
    assert reading.repeated == ("Druck",)
    assert reading.column("Ladelufttemperatur").unit == "°C"
    found = {k: d.value for k, d in reading.decisions.items()}
    assert found == {
        "encoding": "cp1252",
        "separator": "semicolon",
        "decimal": "comma",
        "thousands": ".",
        "header": "5",
        "units": "6",
    }
