import numpy as np
import pytest

from toolkit.analysis.typed_rows import as_lines, typed_rows
from toolkit.units import UnitError

KINDS = ("engine_speed", "boost")


@pytest.mark.parametrize(
    "text",
    [
        "3000 rpm; 14 psi\n4000 rpm; 13.5 psi",
        "3000, 14\n4000, 13.5",
        "3000\t14\n\n4000\t13,5  # late",
        "  3000 14\n4000 13.5",
        "3000; 96.527 kPa\n4000; 0.93079 bar",
    ],
)
def test_lines_are_read_with_or_without_units(text):
    speed, boost = typed_rows(text, KINDS, "US")
    assert speed.tolist() == [3000, 4000]
    assert boost == pytest.approx(np.array([14, 13.5]) * 6894.757, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing is typed"),
        ("# only a remark", "nothing is typed"),
        ("3000; 14\n4000", "line 2, '4000', holds 1 numbers, not 2"),
        ("3000; 14 lb", "line 1: '14 lb' is not a boost"),
        ("3000; fourteen", "line 1: 'fourteen' is not a number"),
    ],
)
def test_a_line_that_cannot_be_read_is_named(text, words):
    with pytest.raises(UnitError, match=words):
        typed_rows(text, KINDS, "US")


@pytest.mark.parametrize("system", ["US", "SI"])
def test_lines_written_are_lines_read(system):
    speed, boost = np.array([3000.0, 4500]), np.array([96527.0, 103421.0])
    again = typed_rows(as_lines((speed, boost), KINDS, system), KINDS, system)
    assert again[0] == pytest.approx(speed)
    assert again[1] == pytest.approx(boost, rel=5e-3)
