"""Some four hundred log files as the wild has them, and what a person would see in each.

`corpus()` makes them from nothing but this code: every case knows its bytes and how it was
written, so that `seen` can read it by the standard library alone, knowing the dialect, and a test
can compare cell by cell.
"""

import csv
import io
import itertools
import random
from dataclasses import dataclass, field, replace

HEADER = ("time_s", "speed_rpm", "torque_Nm", "manifold_kPa_abs", "Öltemperatur °C")
ROWS = tuple(
    (0.05 + 0.1 * i, 2003.0 + 61 * i, 311.25 - 0.5 * i, 140.5 + 2.25 * i, 88.0 + 0.25 * i)
    for i in range(24)
)
SEPARATORS = {"semicolon": ";", "tab": "\t", "bar": "|", "comma": ",", "blank": " "}
MARKS = {"point": ".", "comma": ","}
PREAMBLES = {
    "none": (),
    "comments": ("# hall 2", "# no number stands here"),
    "pairs": ("Engine: six in a row", "Date: 2026-04-18", "", "Operator: somebody"),
}


@dataclass(frozen=True)
class Form:
    """How a table is written."""

    encoding: str = "utf-8"
    separator: str = "semicolon"
    decimal: str = "point"
    preamble: str = "none"
    newline: str = "\n"


@dataclass(frozen=True)
class Case:
    """One file. good: it must be read, perhaps after a question; else it may also be refused.

    rows: the first line of the table's body, from 1. text: what the file says, None for one that
    must be refused.
    """

    name: str
    content: bytes
    form: Form = field(default_factory=Form)
    good: bool = False
    text: str | None = None
    rows: int = 2
    suffix: str = ".csv"


def written(value, form):
    """A number as this form writes it."""
    return f"{value:.2f}".replace(".", MARKS[form.decimal])


def table_text(form, header=HEADER, rows=ROWS):
    """The whole file as text."""
    out = io.StringIO()
    out.writelines(line + form.newline for line in PREAMBLES[form.preamble])
    write = csv.writer(out, delimiter=SEPARATORS[form.separator], lineterminator=form.newline)
    write.writerow([h.replace(" ", "_") if form.separator == "blank" else h for h in header])
    write.writerows([v if isinstance(v, str) else written(v, form) for v in row] for row in rows)
    return out.getvalue()


def of_text(name, text, form=Form(), good=False, **more):
    """The case of a file with this text."""
    rows = more.pop("rows", len(PREAMBLES[form.preamble]) + 2)
    content = text.encode(form.encoding, "surrogatepass")
    return Case(name, content, form, good, text, rows, **more)


def seen(case):
    """{line: (float or None for what is no number, "" for an empty cell, ...)} of the body."""
    lines = io.StringIO(case.text, newline="")
    reader = csv.reader(lines, delimiter=SEPARATORS[case.form.separator])
    found, line = {}, 1
    for row in reader:
        if line >= case.rows and any(c.strip() for c in row):
            found[line] = tuple(_value(c.strip(), MARKS[case.form.decimal]) for c in row)
        line = reader.line_num + 1
    return found


def _value(cell, mark):
    other = "." if mark == "," else ","
    if not cell:
        return ""
    if other in cell or "_" in cell or not cell.isascii():
        return None
    try:
        value = float(cell.replace(mark, "."))
    except ValueError:
        return None
    return value if abs(value) < float("inf") else None


def dialects():
    """Encodings x separators x decimal marks x preambles."""
    encodings = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")
    for parts in itertools.product(encodings, SEPARATORS, MARKS, PREAMBLES):
        form = Form(*parts)
        if form.separator == "blank" and form.preamble == "pairs":
            continue  # words of a preamble and blanks between cells cannot be told apart
        yield of_text("-".join(parts), table_text(form), form, good=True)


HOSTILE = {
    "twice": ("time_s", "speed_rpm", "boost", "boost", "boost"),
    "all equal": ("x",) * 5,
    "no names": ("", "", "", "", ""),
    "one name": ("time_s", "", "", "", ""),
    "markup": ("<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "a", "b", "c"),
    "svg": ("<svg/onload=alert(1)>", "'\"><b>", "&amp;", "b", "c"),
    "formulas": ("=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3", "=HYPERLINK(1)"),
    "ids": ("c4", "c3", "c2", "c1", "c0"),
    "numbers": ("1", "2", "3", "4", "5"),
    "paths": ("../../etc/passwd", "/etc/shadow", "C:\\x", "..\\..", "~"),
    "python": ("__class__", "{0.__init__}", "%s%n", "${x}", "`ls`"),
    "long": ("x" * 5000, "speed_rpm", "a", "b", "c"),
    "lines": ("two\nlines", "speed_rpm", "a", "b", "c"),
    "quotes": ('he said ""', 'a"b', "it's", '"', "c"),
    "right to left": ("\u202etime", "\u200bspeed", "\ufeffx", "\u0000y".strip("\0"), "z"),
    "pictures": ("🏁", "🚗💨", "Drehmoment", "圧力", "温度"),
    "placeholders": ("nan", "inf", "null", "-", "#N/A"),
    "times": ("12:00", "2026-01-01", "s", "rpm", "Nm"),
    "units only": ("s", "rpm", "Nm", "kPa", "°C"),
    "same channel": ("speed_rpm", "Engine speed [rpm]", "RPM", "rpm", "n_motor"),
    "wrong case": ("TIME_S", "SPEED_RPM", "Torque_NM", "MANIFOLD_KPA_ABS", "öl"),
}


def headers():
    """Duplicate and hostile headers, under two separators."""
    for (name, header), separator in itertools.product(HOSTILE.items(), ("semicolon", "comma")):
        form = Form(separator=separator)
        lines = sum(h.count("\n") for h in header) + (name != "numbers")
        yield of_text(f"header {name} {separator}", table_text(form, header), form, rows=lines + 1)


def truncations():
    """Cut at every tenth of the bytes."""
    forms = [Form(), Form(separator="comma"), Form("cp1252", "tab", "comma", "pairs", "\r\n"),
             Form("utf-16"), Form(separator="bar", preamble="comments")]  # fmt: skip
    for (k, form), tenth in itertools.product(enumerate(forms), range(1, 10)):
        whole = table_text(form).encode(form.encoding)
        content = whole[: len(whole) * tenth // 10]
        text = content.decode(form.encoding, "ignore")
        yield Case(f"cut {k} at {tenth}", content, form, False, text, _body(form))


def _body(form):
    return len(PREAMBLES[form.preamble]) + 2


def swaps():
    """Two neighbouring bytes changed places, at seeded places of the body."""
    rng = random.Random(9)
    for k in range(40):
        form = Form(separator=("semicolon", "comma", "tab")[k % 3])
        text = table_text(form)
        body = bytearray(text.encode())
        place = rng.randrange(body.index(b"\n") + 1, len(body) - 2)
        body[place], body[place + 1] = body[place + 1], body[place]
        yield Case(f"swap {k}", bytes(body), form, False, body.decode(), 2)
    for encoding, other in (("utf-16-le", "utf-16-be"), ("utf-16-be", "utf-16-le")):
        marked = ("\ufeff" + table_text(Form())).encode(other)[:2]
        content = marked + table_text(Form()).encode(encoding)
        yield Case(f"wrong mark {encoding}", content)


CELLS = (
    "nan", "NaN", "inf", "-inf", "Infinity", "1e308", "-1e308", "1e309", "-1e999", "1e-320",
    "=1+1", "=2500", "+2500", "-2500", "@SUM(A1:A9)", "=HYPERLINK(\"http://x\")", "0x10", "1_000",
    "١٢٣", "１２３", "1e", "e5", "--5", "5-", "5%", "$5", "1/2", "true", "#REF!", "#DIV/0!",
    "12:30", "2026-04-18", "<script>alert(1)</script>", "", " ", "---", "null", "1.2.3", "9" * 400,
    "0." + "1" * 400, "1e0000000005", "\u22125", "5\u00a0", "\ufeff5", "a" * 3000,
)  # fmt: skip


def odd_cells():
    """One odd cell in the middle of a good table, and a whole column of it."""
    for k, cell in enumerate(CELLS):
        rows = [list(row) for row in ROWS]
        rows[11][2] = cell
        yield of_text(f"cell {k} {cell[:12]!r}", table_text(Form(), rows=rows))
        for row in rows:
            row[2] = cell
        yield of_text(f"column {k} {cell[:12]!r}", table_text(Form(), rows=rows))


def shapes():
    """No row, one row, ragged rows, 2000 columns, nothing but gaps, garbage between."""
    head, *body = table_text(Form()).splitlines(keepends=True)
    yield of_text("header only", head)
    yield of_text("one row", head + body[0], good=True)
    yield of_text("two rows", head + body[0] + body[1], good=True)
    yield of_text("no line end", (head + "".join(body)).rstrip(), good=True)
    yield of_text("blank lines", head + "\n\n".join(body), good=True)
    yield of_text("short row", head + body[0] + "1.5;2\n" + "".join(body))
    yield of_text("wide row", head + body[0] + body[1].strip() + ";7\n" + "".join(body))
    yield of_text("header again", head + "".join(body[:9]) + head + "".join(body[9:]))
    yield of_text("words after", head + "".join(body) + "end of test\n")
    yield of_text("open quote", head + body[0] + '"' + "".join(body[1:]))
    yield of_text("old line ends", (head + "".join(body)).replace("\n", "\r"), good=True)
    yield of_text("mixed line ends", head + body[0][:-1] + "\r\n" + "".join(body[1:]), good=True)
    wide = Form()
    names = tuple(f"ch{i}" for i in range(2000))
    rows = [[i + k / 4 for i in range(2000)] for k in range(6)]
    yield of_text("2000 columns", table_text(wide, names, rows), good=True)
    gaps = [["nan"] * 5] * 8
    yield of_text("all nan", table_text(wide, rows=gaps))
    yield of_text("all empty", table_text(wide, rows=[[""] * 5] * 8))
    both = table_text(wide) + table_text(replace(wide, decimal="comma")).split("\n", 1)[1]
    yield of_text("two decimal marks", both)
    yield of_text("json", '{"time": [1, 2, 3], "rpm": [4, 5, 6]}', Form(separator="comma"), rows=1)


def garbage():
    """What is no table of text at all."""
    rng = random.Random(4)
    starts = {
        "empty": b"", "newline": b"\n" * 50, "separators": b";;;;\n" * 50, "mark": b"\xef\xbb\xbf",
        "png": b"\x89PNG\r\n\x1a\n" + rng.randbytes(400),
        "pdf": b"%PDF-1.7\n" + rng.randbytes(400),
        "gzip": b"\x1f\x8b\x08" + rng.randbytes(400),
        "old workbook": b"\xd0\xcf\x11\xe0" + bytes(600),
        "zip": b"PK\x03\x04" + rng.randbytes(400), "empty zip": b"PK\x05\x06" + b"\0" * 18,
        "parquet": b"PAR1" + rng.randbytes(400) + b"PAR1",
        "mdf": b"MDF     4.10\0\0\0\0" + rng.randbytes(600),
        "mdf claims": b"MDF     4.10    " + b"\xff" * 600, "mdf start": b"MDF     ",
        "zeros": b"\0" * 4096, "random": rng.randbytes(4096), "prose": b"this is no log.\n" * 80,
        "html": b"<html><script>alert(1)</script>" * 9,
        "toml": b'log = "x"\n', "one long line": b"1;" * 300_000,
        "nul inside": b"a;b\n1;2\n3;\x004\n",
        "pickle": b"\x80\x04\x95\x1f\x00\x00\x00cposix\nsystem\n",
        "utf-7": b"+ADw-script+AD4-",
    }  # fmt: skip
    for name, content in starts.items():
        yield Case(f"garbage {name}", content)
        for suffix in (".xlsx", ".mf4", ".parquet"):
            yield Case(f"garbage {name}{suffix}", content, suffix=suffix)


KINDS = (dialects, headers, truncations, swaps, odd_cells, shapes, garbage)


def corpus():
    """Every case by its kind."""
    return {make.__name__: tuple(make()) for make in KINDS}
