"""A picture as a file for a place: exact pixels, and the same bytes from the same picture."""

import io
import re

from matplotlib.style import context as matplotlib_style

from toolkit.explain.lettering import boxes_for_missing_letters
from toolkit.explain.sheet import STYLE, Sheet


def png(picture, size="video", look="light", card=()):
    """The picture as a PNG file's bytes.

    size: a name of PLACES or (width, height) in px. look: light, dark or transparent.
    card: the method card's (word, text) rows, drawn below the panels.
    Raises PublishError where the size cannot hold the picture.
    """
    sheet = Sheet(picture, size, look, card)
    file = io.BytesIO()
    with matplotlib_style(STYLE), boxes_for_missing_letters():
        sheet.canvas.print_png(file, metadata={"Software": None, "Title": picture.finding})
    return file.getvalue()


def svg(picture, size="video", look="light", card=()):
    """The picture as an SVG file's bytes; its words are outlines and need no font."""
    sheet = Sheet(picture, size, look, card)
    file = io.StringIO()
    about = {"Date": None, "Creator": None, "Title": picture.finding}
    with matplotlib_style(STYLE), boxes_for_missing_letters():
        sheet.fig.savefig(file, format="svg", metadata=about)
    width, height = sheet.size
    in_px = f'width="{width}px" height="{height}px"'
    return re.sub(r'width="[\d.]+pt" height="[\d.]+pt"', in_px, file.getvalue(), count=1).encode()
