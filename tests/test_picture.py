import numpy as np
import pytest

from toolkit.charts import style
from toolkit.charts.live import LiveChart
from toolkit.charts.picture import Band, Line, Mark, Panel, Picture, limits

SPEED = np.linspace(3000, 6500, 71)


def torque_picture(*lines, **panel):
    panel = Panel("Torque [lb-ft]", tuple(lines), **panel)
    return Picture("Large leads", "3 pulls each", (panel,), "Engine speed [rpm]")


def test_axis_that_does_not_start_at_zero_says_so():
    line = Line(SPEED, 400 + SPEED / 100)
    assert Panel("Torque", (line,)).heading == "Torque"
    assert Panel("Torque", (line,), from_zero=False).heading == "Torque · axis from 425"


@pytest.mark.parametrize("values", [[5.0], [-3.0, 4.0], [np.nan, 7.0], [np.nan], [-9.0, -2.0]])
def test_limits_hold_every_value(values):
    low, high = limits([np.array(values)])
    finite = np.array(values)[np.isfinite(values)]
    assert low < high
    assert np.all((finite >= low) & (finite <= high))


def test_end_labels_never_overlap_and_stay_inside():
    lines = [Line(SPEED, np.full(71, 100.0 + i / 10), f"run {i}") for i in range(6)]
    panel = Panel("Torque", tuple(lines), height=200)
    places = sorted(p for _, _, p, _, _ in panel.end_labels(16))
    low, high = panel.y_limits
    step = 16 / 200 * (high - low)
    assert np.all(np.diff(places) > 0.98 * step)
    assert low <= places[0] and places[-1] <= high


def test_label_stands_at_the_last_known_point():
    y = np.where(SPEED > 5000, np.nan, 1.0)
    ((x, y_end, *_),) = Panel("T", (Line(SPEED, y, "run"),)).end_labels(16)
    assert (x, y_end) == (5000, 1.0)


def test_table_holds_the_curves():
    table = torque_picture(Line(SPEED, SPEED / 10, "Large")).table()
    assert table.loc[5000, "Large: Torque [lb-ft]"] == 500
    assert table.index.name == "Engine speed [rpm]"


def test_description_speaks_of_every_named_curve():
    words = torque_picture(Line(SPEED, SPEED / 10, "Large"), Line(SPEED, -SPEED)).description
    assert "Large: from 300 to 650, highest 650 at 6500" in words


def test_missing_values_stay_missing_in_the_drawn_data():
    chart = LiveChart(torque_picture(Line([1, 2, 3], [1, None, 3], "run", points=True)))
    sources = chart._panels[0].sources
    assert np.isnan(sources["lines"].data["ys"][0][1])
    assert np.isnan(sources["dots"].data["y"][1])
    assert "not known" in sources["probe"].data["readout"][1]


def test_band_breaks_where_an_edge_is_unknown():
    low = np.where((SPEED > 4000) & (SPEED < 5000), np.nan, 1.0)
    panel = Panel("T", bands=(Band(SPEED, low, low + 1),))
    chart = LiveChart(Picture("f", "m", (panel,)))
    assert len(chart._panels[0].sources["bands"].data["xs"]) == 2


def test_a_new_picture_replaces_the_data_and_keeps_the_models():
    chart = LiveChart(torque_picture(Line(SPEED, SPEED / 10, "Large")))
    models = set(chart.root.references())
    more = [Line(SPEED, SPEED / k, f"run {k}", style.run_colour(k)) for k in range(5, 12)]
    chart.show(torque_picture(*more, marks=(Mark(4000, 500, "here", at=(4500, 300)),)))
    kept = {m for m in models if "Ticker" not in type(m).__name__}
    assert kept <= set(chart.root.references())
    assert len(chart._panels[0].sources["lines"].data["xs"]) == 7


def test_text_contrast_is_readable():
    # W3C, Web Content Accessibility Guidelines 2.1, 1.4.3: at least 4.5:1.
    for ink in (style.INK, style.QUIET, style.WARN):
        assert contrast(ink, style.PAPER) >= 4.5


def contrast(one, other):
    """Contrast ratio of two #rrggbb colours (W3C, WCAG 2.1, definition of contrast ratio)."""
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def luminance(colour):
    srgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])
