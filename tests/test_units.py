"""Units at the edge, against exact definitions, published tables and the round trip."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolkit import units
from toolkit.units import KINDS, SYSTEMS, UnitError, inside, parse, shown, text

# NIST Special Publication 811 (2008), appendix B.8; exact where the definitions make it so.
DEFINED = [
    ("1 psi", "boost", 0.45359237 * 9.80665 / 0.0254**2),
    ("1 lb-ft", "torque", 0.45359237 * 9.80665 * 0.3048),
    ("1 hp", "power", 550 * 0.45359237 * 9.80665 * 0.3048),
    ("1 PS", "power", 75 * 9.80665),
    ("1 lb/min", "air_flow", 0.45359237 / 60),
    ("1 lb", "force", 0.45359237 * 9.80665),
    ("1 lb", "mass", 0.45359237),
    ("1 cfm", "volume_flow", 0.3048**3 / 60),
    ("1 cid", "displacement", 0.0254**3),
    ("60 F", "temperature", (60 + 459.67) / 1.8),
    ("25 °C", "temperature", 298.15),
    ("18 °F", "temperature_difference", 10.0),
    ("1 lb/hp/h", "bsfc", 608.27739e-3 / 3.6e6),
    ("1 mbar", "pressure", 100.0),
]


@pytest.mark.parametrize(("written", "kind", "si"), DEFINED)
def test_defined_units(written, kind, si):
    assert parse(written, kind) == pytest.approx(si, rel=1e-7)


def test_inch_of_mercury_is_the_conventional_one():
    # NIST SP 811: conventional inch of mercury, 3.386389 kPa.
    assert parse("29.92 inHg", "barometer") == pytest.approx(29.92 * 3386.389, rel=2e-6)


@pytest.mark.parametrize(
    ("a", "b", "kind"),
    [
        ("500 lb-ft", "500 ft·lb", "torque"),
        ("500 lbft", "500 lb·ft", "torque"),
        ("680 N m", "680 Nm", "torque"),
        ("1000 cc/min", "1000 cm³/min", "injector_flow"),
        ("1000 cm3/min", "1 l/min", "injector_flow"),
        ("1.2 kg/m3", "1200 g/m³", "density"),
        ("10 m3/min", "10000 l/min", "volume_flow"),
        ("1.8 in2", "1.8 in²", "area"),
        ("30 kg mm2", "30 kg mm²", "inertia"),
        ("0,97 bar", "97 kPa", "boost"),
        ("14 psig", "14 psi", "boost"),
        ("200 kPa abs", "2 bar", "pressure"),
        ("6000 1/min", "6000 rpm", "engine_speed"),
        ("5,7 l", "5700 cm³", "displacement"),
        ("1.2 kg/m^3", "1200 g/m**3", "density"),
    ],
)
def test_spellings_of_the_trade(a, b, kind):
    assert parse(a, kind) == pytest.approx(parse(b, kind), rel=1e-12)


@pytest.mark.parametrize(
    ("written", "kind", "says"),
    [
        ("14", "boost", "has no unit"),
        ("14 hp", "boost", "is not a boost"),
        ("14 psia", "boost", "take the barometer off"),
        ("14 psig", "pressure", "add the barometer"),
        ("1,000 hp", "power", "could be 1000 or 1.000"),
        ("fast", "power", "is not a number with a unit"),
        ("", "power", "is not a number with a unit"),
        ("1e999 hp", "power", "too large"),
        ("3 cubits", "length", "not a unit known here"),
        ("__import__('os')", "power", "is not a number"),
        ("2 **2**2**2**9", "number", "unit"),
        ("1 9**9**9**9", "number", "cannot be read"),
        ("1 psi*9**9**9**9", "boost", "cannot be read"),
        ("1 psi**9**9**9", "boost", "cannot be read"),
        ("1 ((9)**9)**9", "boost", "cannot be read"),
        ("1 m**999999999", "length", "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(written, kind, says):
    with pytest.raises(UnitError, match=says) as caught:
        parse(written, kind)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_prints_what_it_reads(kind):
    assert math.isfinite(parse(KINDS[kind].example, kind))
    for system in SYSTEMS:
        printed = text(inside(12.0, kind, system), kind, system, decimals=6)
        assert shown(parse(printed, kind), kind, system) == pytest.approx(12.0, rel=1e-6)


@given(st.sampled_from(sorted(KINDS)), st.sampled_from(SYSTEMS),
       st.floats(-1e9, 1e9, allow_nan=False))  # fmt: skip
def test_shown_and_inside_are_inverse(kind, system, value):
    assert inside(shown(value, kind, system), kind, system) == pytest.approx(
        value, rel=1e-9, abs=1e-6
    )


@given(st.text(max_size=60), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_number_or_one_sentence(written, kind):
    try:
        assert math.isfinite(parse(written, kind))
    except UnitError as error:
        assert str(error)


def test_missing_numbers_say_so():
    assert text(np.nan, "boost", "US") == "not known"
    assert text(None, "boost", "US") == "not known"
    assert np.isnan(shown(np.nan, "boost", "SI"))


def test_arrays_are_converted_whole():
    assert shown([0.0, 6894.757293168361], "boost", "US") == pytest.approx([0, 1])


def test_no_minus_zero():
    assert text(-1e-9, "boost", "US") == "0.0 psi"


def test_an_unknown_system_is_refused():
    with pytest.raises(ValueError, match="'US' or 'SI'"):
        units.unit_of("boost", "metric")
