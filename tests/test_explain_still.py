import io

import matplotlib
import numpy as np
import pytest
from PIL import Image

from toolkit.charts import style
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, Shape, Upright, Zone
from toolkit.explain import lettering, looks
from toolkit.explain.looks import LOOKS, PLACES, PublishError
from toolkit.explain.sheet import Sheet
from toolkit.explain.still import png, svg

SPEED = np.linspace(3000, 6500, 36)
ONE, TWO = style.RUN_COLOURS[:2]
CARD = (("Changed", "the turbo"), ("Pulls", "3 each"), ("Not measured", "shaft speed"))


def picture(**changed):
    torque = 470 - 11 * ((SPEED - 4900) / 1000) ** 2
    lines = (Line(SPEED, torque, "Large", ONE), Line(SPEED, torque - 30, "Small", TWO))
    marks = (Mark(6000, 457, "+30 lb-ft", at=(5000, 300)), Mark(6400, 440, "at the very end"))
    areas = {"uprights": (Upright(4000, "crossing"),), "zones": (Zone(6000, 6200, "clipped"),)}
    top = Panel("Torque [lb-ft]", lines, (Band(SPEED, torque - 9, torque, ONE),), (), marks)
    low = Panel("Boost [psi]", (Line(SPEED, SPEED / 500, "x", ONE, "worked out"),), **areas)
    given = {"finding": "Large makes 30 lb-ft more at 6000 rpm", "method": "3 pulls each"}
    return Picture(**{**given, "panels": (top, low), "x_label": "rpm", **changed})


def opened(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"))


@pytest.mark.parametrize("size", [*PLACES, (1080, 1080), (1921, 1083)])
def test_exact_pixels(size):
    width, height = PLACES.get(size, size)
    assert opened(png(picture(), size)).shape == (height, width, 4)


@pytest.mark.parametrize("look", LOOKS)
def test_the_ground_is_what_the_look_says(look):
    corner = opened(png(picture(), "article", look, CARD))[2, 2]
    ground = LOOKS[look].ground
    wanted = [*bytes.fromhex(ground[1:]), 255] if ground else [0] * 4
    assert corner[3] == wanted[3]
    assert not ground or list(corner) == wanted


@pytest.mark.parametrize("make", [png, svg])
def test_the_same_picture_gives_the_same_bytes(make):
    with matplotlib.rc_context({"lines.antialiased": False, "svg.hashsalt": "another"}):
        first = make(picture(), "article", "dark", CARD)
    assert make(picture(), "article", "dark", CARD) == first


def test_svg_has_the_size_and_carries_no_markup_from_words():
    bad = "</title><script>alert(1)</script>"
    text = svg(picture(finding=bad), "upright").decode()
    assert 'width="1080px" height="1920px"' in text
    assert "<script" not in text


def words_of(sheet):
    return [t for t in sheet.fig.texts if t.get_text()]


@pytest.mark.parametrize("size", PLACES)
def test_the_smallest_words_can_be_read_on_a_phone(size):
    sheet = Sheet(picture(), size, "light", CARD)
    px = [t.get_fontsize() * sheet.fig.dpi / 72 for t in words_of(sheet)]
    assert len(px) > 15
    assert min(px) >= 0.022 * min(sheet.size)


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("colour", style.RUN_COLOURS)
def test_words_stand_out_from_their_ground(look, colour):
    # W3C, Web Content Accessibility Guidelines 2.1: 1.4.3 words 4.5:1, 1.4.11 graphics 3:1.
    one = Panel("T", (Line(SPEED, SPEED, "run", colour),), marks=(Mark(4000, 1, "!", style.WARN),))
    sheet = Sheet(picture(panels=(one,)), "article", look, CARD)
    behind = LOOKS[look].behind
    assert all(style.contrast(t.get_color(), behind) >= 4.5 for t in words_of(sheet))
    assert style.contrast(LOOKS[look].stroke(colour), behind) >= 3


def test_on_video_every_word_has_its_own_edge():
    sheet = Sheet(picture(), "video", "transparent", CARD)
    assert all(t.get_path_effects() for t in words_of(sheet))


@pytest.mark.parametrize("size", [*PLACES, (1080, 1080)])
def test_no_word_leaves_the_sheet(size):
    long = "a very long name of a run that somebody typed " * 3
    given = picture(finding="Large makes 30 lb-ft more " * 4)
    top = given.panels[0]
    marks = (*top.marks, Mark(3000, 400, long, at=(3100, 200)), Mark(5000, 100, long))
    lines = (*top.lines, Line(SPEED, SPEED / 20, long, TWO))
    crowded = Panel(top.title, lines, top.bands, marks=marks, uprights=(Upright(6400, long),))
    sheet = Sheet(picture(finding=given.finding, panels=(crowded,)), size, "light", CARD)
    sheet.canvas.draw()
    for text in words_of(sheet):
        box = text.get_window_extent()
        assert box.x0 >= 0 and box.x1 <= sheet.size[0], text.get_text()
        assert box.y0 >= 0 and box.y1 <= sheet.size[1], text.get_text()


def test_dollars_and_backslashes_are_words():
    words = {t.get_text() for t in words_of(Sheet(picture(finding=r"$\frac{ costs $5"), "article"))}
    assert r"$\frac{ costs $5" in words
    assert png(picture(finding=r"$\frac{ costs $5"), "article")


def test_letters_that_the_font_lacks_are_boxes_and_known():
    assert opened(png(picture(finding="排気 pressure"), "article")).shape[0] == 675
    assert lettering.missing_letters("排気 pressure") == "排気"


def test_a_gap_in_a_curve_stays_a_gap():
    whole = Line([1, 2, 3, 4, 5], [1, 1, 1, 1, 1], "", ONE)
    broken = Line([1, 2, 3, 4, 5], [1, 1, np.nan, 1, 1], "", ONE)
    inked = []
    for line in (whole, broken):
        panel = Panel("", (line,), y_range=(0, 2))
        image = opened(png(picture(panels=(panel,), finding="", method=""), "article"))
        blue = [int(ONE[i : i + 2], 16) for i in (1, 3, 5)]
        inked.append(int((np.abs(image[..., :3].astype(int) - blue).sum(-1) < 30).sum()))
    assert 0.4 * inked[0] < inked[1] < 0.6 * inked[0]


def test_a_measured_outline_is_solid_and_a_worked_out_one_dashed():
    square = ([0, 1, 1, 0], [0, 0, 1, 1])
    shapes = tuple(
        Shape(*square, alpha=0, outline=ONE, evidence=word) for word in ("measured", "worked out")
    )
    sheet = Sheet(picture(panels=(Panel("", shapes=shapes, bare=True),)), "article")
    solid, dashed = (line for line in sheet.panels[0].ax.lines)
    assert solid.get_linestyle() == "-" and dashed.get_linestyle() == "--"


@pytest.mark.parametrize(
    "size, said",
    [
        ((100, 1080), "width of 100 px"),
        ((1920.5, 1080), "width of 1920.5 px"),
        ((1920, 20000), "height of 20000 px"),
        ((3000, 400), "within three times"),
        ("cinema", "there is no place 'cinema'"),
    ],
)
def test_a_size_that_cannot_be_used_is_refused_in_words(size, said):
    with pytest.raises(PublishError, match=said):
        png(picture(), size)


def test_a_size_too_small_for_the_panels_is_refused_in_words():
    with pytest.raises(PublishError, match="cannot hold 6 panels"):
        png(picture(panels=picture().panels * 3), (640, 360), card=CARD)


def test_an_unknown_look_is_refused_in_words():
    with pytest.raises(PublishError, match="there is no look 'sepia'"):
        png(picture(), "article", "sepia")


def test_looks_name_the_ground_their_words_are_read_against():
    assert all(look.behind.startswith("#") for look in looks.LOOKS.values())
