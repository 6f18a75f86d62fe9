"""Ink, colours and strokes: one place for both renderers.

A run is a colour (Okabe and Ito, "Color Universal Design", 2008: told apart by colour-blind
readers). How a number was come by is a stroke: measured solid, worked out dashed, extrapolated
dotted.
"""

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
CHART_PX, LABEL_ROOM_PX = 920, 150


def run_colour(index):
    """The colour of the run at this place in the list; a seventh run takes the first again."""
    return RUN_COLOURS[index % len(RUN_COLOURS)]
