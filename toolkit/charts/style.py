"""Ink, colours and strokes: one place for both renderers.

A run is a colour (Okabe and Ito, "Color Universal Design", 2008: told apart by colour-blind
readers). How a number was come by is a stroke: measured solid, worked out dashed, extrapolated
dotted.
"""

from functools import cache

INK = "#1f2933"
QUIET = "#616e7c"
GRID = "#e4e7eb"
PAPER = "#ffffff"
WARN = "#9b1c1c"

RUN_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")

DASHES = {"measured": (), "worked out": (6, 4), "extrapolated": (2, 4), "estimated": (2, 4)}

FONT = "Helvetica, Arial, sans-serif"
FINDING_PX, TITLE_PX, NUMBER_PX = 20, 14, 13
LINE_PX, THIN_PX = 3, 1.6
CHART_PX, LABEL_ROOM_PX = 880, 150


def run_colour(index):
    """The colour of the run at this place in the list; a seventh run takes the first again."""
    return RUN_COLOURS[index % len(RUN_COLOURS)]


def contrast(one, other):
    """Contrast ratio of two #rrggbb colours, 1 to 21.

    Source: W3C, Web Content Accessibility Guidelines 2.1, definition of contrast ratio.

    >>> contrast("#000000", "#ffffff")
    21.0
    """
    dark, bright = sorted((_luminance(one), _luminance(other)))
    return (bright + 0.05) / (dark + 0.05)


@cache
def readable(colour, ground=PAPER, least=4.5):
    """The colour, mixed with black or white just so far that words in it can be read.

    4.5:1 is what WCAG 2.1, 1.4.3 asks of words; lines need 3:1 (1.4.11).

    >>> readable("#56B4E9"), readable("#0072B2")
    ('#3b7ca1', '#0072B2')
    """
    if contrast(colour, ground) >= least:
        return colour
    end = "#ffffff" if _luminance(ground) < 0.18 else "#000000"
    for share in range(1, 101):
        mixed = _mixed(colour, end, share / 100)
        if contrast(mixed, ground) >= least:
            break
    return mixed


def _mixed(one, other, share):
    pairs = zip(_channels(one), _channels(other), strict=True)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def _channels(colour):
    return [int(colour[i : i + 2], 16) for i in (1, 3, 5)]


def _luminance(colour):
    srgb = [c / 255 for c in _channels(colour)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in srgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
