"""Any bytes give a result, a question or one clear sentence; any table comes back exactly."""

import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.read import read
from toolkit.logs.run import Run

CALM = settings(
    max_examples=150,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def outcome(path, content):
    """What reading gives: a run, or the one-sentence error."""
    path.write_bytes(content)
    try:
        run = Run.of(read(path))
        assert run.frame.shape[0] == len(run.reading.frame)
        assert set(run.reading.frame.dtypes.astype(str)) <= {"float64"}
        return run
    except LogError as error:
        assert "\n" not in str(error) and len(str(error)) < 600
        return error


TABLE_LIKE = st.text(
    st.sampled_from(list("0123456789.,;:\t |'\"-+eE#\r\n\x00abrpmsNTKkPa°µ()[]=/é\u00a0\u2212")),
    max_size=200,
)


@CALM
@given(st.binary(max_size=300))
@example(b"\xff\xfe")
@example(b"\xff\xfe\x00")
@example(b"\x00\x00\x00\x00")
@example(b'a,b\n"1,2\n')
def test_any_bytes(tmp_path, content):
    outcome(tmp_path / "log.csv", content)


@CALM
@given(TABLE_LIKE, st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]))
def test_any_text_that_looks_like_a_table(tmp_path, text, encoding):
    outcome(tmp_path / "log.csv", text.encode(encoding, "replace"))


@settings(CALM, max_examples=30)  # a damaged file makes some libraries slow
@given(st.binary(max_size=200), st.sampled_from([b"PK\x03\x04", b"PAR1", b"MDF     4.10"]))
def test_any_bytes_behind_a_known_beginning(tmp_path, content, start):
    outcome(tmp_path / "log.csv", start + content)


HEADERS = st.sampled_from(
    """time time_s Zeit rpm Drehzahl torque Drehmoment torque_lbft power hp kW boost_psi MAP_kPa
    Druck pressure exhaust_pressure_psi Baro_hPa AFR Lambda throttle TPS_% IAT_C egt n
    fuel_flow_ccps Air_kg/h turbo_rpm Oil_Press_bar humidity x""".split()  # noqa: SIM905
)
EXTREME = st.one_of(
    st.sampled_from(
        ["", "---", "0", "-0.0", "1e308", "-1e308", "1e-320", "12:00:01", "1551551063922557209"]
    ),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.integers(-9000, 9000).map(str),
)


@settings(CALM, max_examples=80)
@given(st.data(), st.integers(1, 5), st.integers(1, 6))
def test_any_numbers_under_any_headers(tmp_path, data, width, height):
    headers = data.draw(st.lists(HEADERS, min_size=width, max_size=width))
    row = st.lists(EXTREME, min_size=width, max_size=width)
    table = data.draw(st.lists(row, min_size=height, max_size=height))
    text = "\n".join(";".join(r) for r in [headers, *table])
    found = outcome(tmp_path / "log.csv", text.encode())
    for question in getattr(found, "questions", ()):  # every answer offered can be used
        for answer, _ in question.choices:
            found.answer(question.key, answer)


NUMBERS = st.one_of(
    st.integers(-99_999, 99_999).map(float),
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda v: round(v, 3)),
    st.floats(-1e60, 1e60).map(lambda v: float(f"{v:.6e}")),
)
# No four accents in a row: such a word is taken for one of another alphabet.
WORDS = st.text(st.sampled_from("abcdeghijkloquvwxyzäößéñ°µ"), min_size=2, max_size=8).filter(
    lambda word: not re.search(r"[^a-z]{4}", word)
)


@st.composite
def tables(draw):
    """Headers and rows of numbers, with gaps."""
    width = draw(st.integers(2, 5))
    headers = draw(st.lists(WORDS, min_size=width, max_size=width))
    cell = st.one_of(NUMBERS, NUMBERS, NUMBERS, st.just(math.nan))
    row = st.lists(cell, min_size=width, max_size=width)
    rows = draw(st.lists(row, min_size=2, max_size=12))
    return headers, rows


@st.composite
def dialects(draw):
    """How to write it: separator, decimal mark, thousands mark, line end, encoding, preamble."""
    separator = draw(st.sampled_from(";\t|,"))
    decimal = draw(st.sampled_from(".,"))
    thousands = draw(st.sampled_from(["", ".", ",", "'", "\u00a0"]))
    return {
        "separator": separator,
        "decimal": decimal,
        "thousands": "" if thousands == decimal else thousands,
        "newline": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        "preamble": draw(st.sampled_from(["", "# bench 2", "Halle 2\n\nDatum: 1. Mai"])),
        "trailing": draw(st.booleans()),
    }


def cell_text(value, form):
    """A number as this dialect writes it, quoted where it holds the separator."""
    if math.isnan(value):
        return ""
    text = f"{value:,.10g}" if abs(value) < 1e6 else repr(value)
    text = repr(float(text.replace(",", ""))) if "e" in text else text
    marks = {",": form["thousands"], ".": form["decimal"]}
    text = "".join(marks.get(c, c) for c in text)
    return f'"{text}"' if form["separator"] in text else text


def written(headers, rows, form):
    end = form["separator"] if form["trailing"] else ""
    lines = form["preamble"].split("\n") if form["preamble"] else []
    lines.append(form["separator"].join(headers) + end)
    lines += [form["separator"].join(cell_text(v, form) for v in row) + end for row in rows]
    return (form["newline"].join(lines) + form["newline"]).encode(form["encoding"])


def value_in(text, form):
    """The number a person would see, given how the dialect writes."""
    if not text:
        return math.nan
    plain = text.strip('"').replace(form["thousands"] or "\0", "").replace(form["decimal"], ".")
    return float(plain)


@CALM
@given(tables(), dialects())
def test_a_table_comes_back_exactly_or_is_asked_about(tmp_path, table, form):
    headers, rows = table
    path = tmp_path / "log.csv"
    path.write_bytes(written(headers, rows, form))
    expected = np.array([[value_in(cell_text(v, form), form) for v in row] for row in rows])
    if np.isnan(expected).all():
        return  # nothing but names
    try:
        reading = read(path)
    except Unanswered as asked:
        answer = {"decimal": "point" if form["decimal"] == "." else "comma"}
        names = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma"}
        answer["separator"] = names[form["separator"]]
        assert asked.question.key[1] in answer
        reading = read(path, answer)
    blank = np.isnan(expected).all(axis=1)
    kept = [c.header for c in reading.columns]
    shown = {h: reading.frame[c.id].to_numpy() for h, c in zip(kept, reading.columns, strict=True)}
    assert kept == headers or len(set(headers)) < len(headers) or not any(kept)
    if not any(kept):
        return
    lost = reading.rejected[reading.rejected["column"] == ""]
    assert lost.empty
    for i, header in enumerate(headers):
        if headers.count(header) == 1:
            np.testing.assert_array_equal(shown[header], expected[~blank][:, i])


def test_plain_dialects_are_never_refused(tmp_path):
    path = tmp_path / "log.csv"
    rng = np.random.default_rng(7)
    for separator in ";\t|,":
        for decimal in ".,":
            rows = rng.uniform(-10, 10, (8, 3)).round(2).tolist()
            form = {
                "separator": separator,
                "decimal": decimal,
                "thousands": "",
                "newline": "\n",
                "encoding": "utf-8",
                "preamble": "",
                "trailing": False,
            }
            path.write_bytes(written(["aa", "bb", "cc"], rows, form))
            assert read(path).frame.to_numpy().tolist() == rows


@pytest.mark.parametrize("damage", ["cell", "row", "column"])
def test_damage_is_seen(tmp_path, damage):
    lines = ["time,rpm,boost"] + [f"{i}.5,{3000 + i},{i}.25" for i in range(30)]
    lines[12] = {"cell": "11.5,30a1,11.25", "row": "11.5,3011", "column": "11.5,3011,11,25"}[damage]
    found = outcome(tmp_path / "log.csv", "\n".join(lines).encode())
    if damage == "column":
        assert "row 13" in str(found)
    else:
        assert found.reading.rejected["row"].tolist() == [13]
