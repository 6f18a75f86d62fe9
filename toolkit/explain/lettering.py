"""Words on a drawn picture: the font, its measure and where lines break.

The font comes with matplotlib, so that the same words take the same room on every machine.
"""

import re
import warnings
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import matplotlib
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.textpath import text_to_path

# In hundredths of a sheet's short side: heights of letters, of which the smallest may not go
# below 2.2, and the margin round the sheet. LINE: from line to line, in heights of letters.
SMALL, PANEL, FINDING, MARGIN = 2.4, 2.8, 4.8, 3.6
LINE = 1.3

_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
_FILES = {"normal": _FONTS / "DejaVuSans.ttf", "bold": _FONTS / "DejaVuSans-Bold.ttf"}
_EM = 100.0


@cache
def font(px, dpi, weight="normal"):
    """The font at this height in px."""
    return FontProperties(fname=_FILES[weight], size=px * 72 / dpi)


@cache
def width_em(text, weight="normal"):
    """How wide the text is, in heights of its letters.

    >>> 0.4 < width_em("n") < 0.8 and width_em("nn") > width_em("n")
    True
    """
    if not text:
        return 0.0
    # A full stop closes the text, so that a blank at its end counts.
    prop = FontProperties(fname=_FILES[weight], size=_EM)
    with boxes_for_missing_letters():
        whole, stop = (
            text_to_path.get_text_width_height_descent(t, prop, ismath=False)[0]
            for t in (f"{text}.", ".")
        )
    return float(whole - stop) / _EM


def wrapped(text, width, px, weight="normal", indent=0.0):
    """The lines of a text that fit into a width in px; the first is `indent` px shorter.

    A line breaks at blanks, and inside a word only where the word alone is too long.

    >>> wrapped("more than fits", 110, 20)
    ['more than', 'fits']
    """
    lines = []
    for paragraph in clean(text).split("\n"):
        line, room = "", width - (indent if not lines else 0.0)
        for word in _pieces(paragraph, width, px, weight):
            longer = f"{line} {word}" if line else word
            if line and width_em(longer, weight) * px > room:
                lines.append(line)
                line, room = word, width
            else:
                line = longer
        lines.append(line)
    return lines


def shortened(text, width, px):
    """The text, or as much of it as fits with a sign that there is more."""
    text = clean(text).replace("\n", " ")
    if width_em(text) * px <= width:
        return text
    while text and width_em(f"{text}…") * px > width:
        text = text[:-1].rstrip()
    return f"{text}…"


def clean(text):
    """The text without control characters, which no font can draw; line breaks stay."""
    return re.sub(r"[^\S\n]+|[\x00-\x09\x0b-\x1f\x7f-\x9f]+", " ", str(text)).strip()


def missing_letters(text):
    """The letters that the font cannot draw, each once; a picture shows a box for them.

    >>> missing_letters("Gefäß 排気")
    '排気'
    """
    known = get_font(str(_FILES["normal"])).get_charmap()
    return "".join(dict.fromkeys(c for c in str(text) if ord(c) not in known and c != "\n"))


@contextmanager
def boxes_for_missing_letters():
    """Draw a box for a letter that the font lacks, without a warning on the person's page."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def _pieces(paragraph, width, px, weight):
    for word in paragraph.split(" "):
        while len(word) > 1 and width_em(word, weight) * px > width:
            fits = max(1, int(len(word) * width / (width_em(word, weight) * px)))
            yield word[:fits]
            word = word[fits:]
        yield word
