"""How the bytes of a text file become letters.

Numbers are the same in every code page, so that a wrong page can spoil a name, never a value.
"""

import codecs
import re

from toolkit.logs.question import Decided, LogError

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_KNOWN = (
    (b"PK\x03\x04", "a zip archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook in the old binary form: save it as .xlsx or .csv"),
    (b"\x1f\x8b", "compressed: unpack it first"),
    (b"%PDF", "a PDF: export the table as .csv"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x19\x1b-\x1f\x7f]")


def decide(sample, whole, name):
    """The encoding of a text file and why, from its first bytes.

    whole: whether the sample is the whole file; else its end may cut a letter in two.
    Raises LogError for a file that is not text.

    >>> decide("°C".encode("cp1252"), True, "x.csv").value
    'cp1252'
    """
    for start, what in _KNOWN:
        if sample.startswith(start):
            raise LogError(f"{name} is not a text table but {what}")
    for mark, encoding in _MARKS:
        if sample.startswith(mark):
            return Decided(encoding, "the file starts with its byte-order mark")
    wide = _without_mark(sample)
    if wide:
        return Decided(wide, "every other byte is zero")
    found = _CONTROL.search(sample)
    if found:
        raise LogError(
            f"{name} is not a text table: byte {found.start() + 1} is 0x{found.group()[0]:02x}"
        )
    return _plain(sample, whole)


def _without_mark(sample):
    """UTF-16 that lacks its mark: Latin letters leave every other byte zero."""
    even, odd = sample[0:2000:2], sample[1:2000:2]
    if len(sample) < 4 or not odd:
        return ""
    if odd.count(0) > 0.8 * len(odd) and not even.count(0):
        return "utf-16-le"
    return "utf-16-be" if even.count(0) > 0.8 * len(even) and not odd.count(0) else ""


def _plain(sample, whole):
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample, final=whole)
    except UnicodeDecodeError as error:
        return code_page(sample, error.start)
    return Decided("utf-8", "every byte fits UTF-8" if not sample.isascii() else "plain ASCII")


def other_page(code, error):
    """The next encoding to try after one that did not hold to the end of the file."""
    if code.value.startswith("utf-8"):
        return code_page(error.object, error.start)
    return Decided("latin-1", f"a byte further down does not fit {code.value}")


def code_page(sample, where):
    """The single-byte code page of bytes that are not UTF-8 from `where` on."""
    reason = f"byte {where + 1} does not fit UTF-8"
    letters = re.search(rb"[\xc0-\xff]{4,}", sample)  # no western word has four accents in a row
    if letters:
        guess = _guessed(sample)
        if guess:
            return Decided(guess, f"{reason}; the letters fit {guess} best")
    try:
        sample.decode("cp1252")
    except UnicodeDecodeError:
        return Decided("latin-1", f"{reason}, and a byte is none of cp1252")
    return Decided("cp1252", f"{reason}; every byte is a letter of cp1252")


def _guessed(sample):
    """The page whose letters fit best, unless it would swallow a mark that separates cells."""
    from charset_normalizer import from_bytes

    best = from_bytes(sample[:20000]).best()
    if not best or "utf" in best.encoding:
        return ""
    text = sample.decode(best.encoding, "ignore")
    kept = all(text.count(mark) == sample.count(mark.encode()) for mark in ";,\t|\n")
    return best.encoding if kept else ""
