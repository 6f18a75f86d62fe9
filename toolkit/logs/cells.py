"""One cell of a table: is it a number, a time, a placeholder, and which number."""

import re

import numpy as np

LARGEST = 1e100  # no quantity is larger, and products of such numbers still fit a float
MARKS = {"point": ".", "comma": ","}
_BLANKS = "\u00a0\u202f\u2009 "  # a blank that groups digits may be one that does not break
_APOSTROPHES = "'\u2019"

# What loggers write where there is no value. Common practice.
PLACEHOLDERS = frozenset(
    """- -- --- ---- . .. * ** *** x na n/a n.a. #n/a #na #nv #value! #div/0! #ref! #name? #num!
    nan -nan nan(ind) -nan(ind) null none nil inf -inf +inf infinity -infinity error err ? ??
    """.split()  # noqa: SIM905  (a list would be a page long)
)

_EXPONENT = r"(?:[eE][+-]?\d{1,4})?"


def _number(decimal):
    """A number whose decimal mark is known; then the other mark can only group digits."""
    groups = f"[{re.escape('.' if decimal == ',' else ',')}{_BLANKS}{_APOSTROPHES}]"
    mark = re.escape(decimal)
    return re.compile(
        rf"[+-]?(?:\d+|[1-9]\d{{0,2}}({groups})\d{{3}}(?:\1\d{{3}})*)(?:{mark}\d*)?{_EXPONENT}"
        rf"|[+-]?{mark}\d+{_EXPONENT}",
        re.ASCII,  # the digits of other scripts are no numbers of a log
    )


_NUMBERS = {mark: _number(mark) for mark in MARKS.values()}
_GROUPING = {mark: re.compile(f"[{_BLANKS}{_APOSTROPHES}{other}]") for mark, other in (".,", ",.")}

_DATE = r"(?:(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})([-/.])(\d{1,2})\5(\d{4}))"
_CLOCK = (
    r"(\d{1,3}):(\d{2})(?::(\d{2}))?(?:(?:[.,]|:(?=\d{3}\b))(\d{1,9}))?\s*(?:([aApP])\.?[mM]\.?)?"
)
TIME = re.compile(rf"(?:{_DATE}(?:T|,?\s+))?{_CLOCK}(?:Z|[+-]\d\d:?\d\d)?", re.ASCII)


def plain(text):
    """A cell without blanks around it and with the hyphen for the typographic minus sign."""
    return text.strip().replace("\u2212", "-")


def is_number(cell):
    """Whether the text can be a number under either decimal mark, one that ends in a digit.

    >>> [is_number(c) for c in ("4.000", "-1,5", "1 234.5", "5 2", "---", "1e3")]
    [True, True, True, False, False, True]
    """
    cell = plain(cell)
    return cell[-1:].isdigit() and any(p.fullmatch(cell) for p in _NUMBERS.values())


def is_time(cell):
    """Whether the text is a time of day, a running time or a date with a time."""
    return bool(TIME.fullmatch(cell))


def is_placeholder(cell):
    """Whether the text stands for "no value"."""
    return cell.casefold() in PLACEHOLDERS


def number(text, decimal):
    """The number in a cell; None where the text is none. "" is not a number either.

    >>> number("4.000", ","), number("1,234.5", "."), number("0x10", "."), number("1_000", ".")
    (4000.0, 1234.5, None, None)
    """
    text = plain(text)
    if not _NUMBERS[decimal].fullmatch(text):
        return None
    value = float(_GROUPING[decimal].sub("", text).replace(",", "."))
    return value if abs(value) <= LARGEST else None


def grouping(text, decimal):
    """The mark that groups the digits of this number, "" if none does."""
    found = _NUMBERS[decimal].fullmatch(plain(text))
    return (found.group(1) or "") if found else ""


def numbers(cells, decimal):
    """(float64 array, places of cells that are neither empty nor a number)."""
    values, bad = np.full(len(cells), np.nan), []
    for place, cell in enumerate(cells):
        value = number(cell, decimal)
        if value is not None:
            values[place] = value
        elif cell.strip():
            bad.append(place)
    return values, bad


def usable(values):
    """Stored numbers with NaN for what no measurement is, and the places of those.

    >>> usable(np.array([1.0, np.nan, np.inf]))[1].tolist()
    [2]
    """
    with np.errstate(invalid="ignore"):
        bad = np.flatnonzero(np.abs(values) > LARGEST)
    if bad.size:
        values = values.copy()
        values[bad] = np.nan
    return values, bad
