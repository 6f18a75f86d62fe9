import pytest

from toolkit.explain.glossary import terms_in
from toolkit.explain.headline import Cited, contradictions

# 62.4 N m = 46.02 lb-ft; 96.5 kPa = 14.00 psi
CITED = (
    Cited("torque difference", 62.4, "torque", 6000.0, "Large", "Small"),
    Cited("highest torque of Large", 640.0, "torque", 4900.0),
    Cited("boost of Small", 96.5e3, "boost", 4000.0),
    Cited("crossing", 4850.0, "engine_speed"),
    Cited("gain in average torque", 0.043, "fraction"),
    Cited("number of pulls", 3, "number", noun="pull"),
)


@pytest.mark.parametrize(
    "text",
    [
        "Large makes 46 lb-ft more than Small at 6000 rpm",
        "Large makes 46.0 lb-ft more at 6,000 rpm",
        "Small makes 46 lb-ft less than Large at 6000 rpm",
        "62 N m more from Large",
        "Large gains 62,4 Nm at 6000 rpm",
        "about 50 lb-ft more with Large at 6000 rpm",
        "14 psi, and back pressure passes boost at 4850 rpm",
        "0.97 bar of boost",
        "3 pulls each: 4.3 percent more",
        "4 % on average",
        "Where the small turbo runs out",
        "472 lb-ft at 4900 rpm",
        "from 4000 to 6000 rpm",
        "",
    ],
)
def test_what_agrees_is_left_alone(text):
    assert contradictions(text, CITED) == []


@pytest.mark.parametrize(
    "text, said",
    [
        ("Large makes 50 lb-ft more", "50 lb-ft: the torque difference is 46 lb-ft at 6000 rpm"),
        ("46.5 lb-ft more for Large", "46.5 lb-ft: the torque difference is 46 lb-ft"),
        ("80 N m more", "80 N m: the torque difference is 46 lb-ft"),
        ("46 lb-ft more at 6500 rpm", "46 lb-ft at 6500 rpm: it is so at 6000 rpm"),
        ("Large makes 46 lb-ft less", "Large has more than Small there, not less"),
        ("Small makes 46 lb-ft more than Large", "Small has less than Large there, not more"),
        ("15 psi held", "15 psi: the boost of Small is 14.0 psi at 4000 rpm"),
        ("about 70 lb-ft more", "the torque difference is 46 lb-ft"),
        ("5 pulls each", "5 pulls: the number of pulls is 3 pulls"),
        ("12 % more", "12 %: the gain in average torque is 4.3 %"),
        ("120 °F cooler", "120 °F: this finding has no such number"),
        ("from 4000 to 7000 rpm", "7000 rpm: the engine speed is"),
    ],
)
def test_what_contradicts_is_said_with_the_reason(text, said):
    found = contradictions(text, CITED)
    assert len(found) >= 1
    assert any(said in sentence for sentence in found), found


def test_the_reason_is_in_the_persons_units():
    (found,) = contradictions("Large makes 50 lb-ft more", CITED, "SI")
    assert found == "50 lb-ft: the torque difference is 62 N m at 6000 rpm"


def test_rounding_is_that_of_the_number_written():
    gain = [Cited("gain", 46.4 * 1.3558179, "torque")]
    assert contradictions("46 lb-ft", gain) == []
    assert contradictions("47 lb-ft", gain)
    assert contradictions("46.4 lb-ft", gain) == []
    assert contradictions("46.6 lb-ft", gain)


def test_a_negative_difference_is_cited_by_its_size():
    less = [Cited("torque difference", -62.4, "torque", 3500.0, "Large", "Small")]
    assert contradictions("Large makes 46 lb-ft less than Small at 3500 rpm", less) == []
    assert contradictions("Large makes 46 lb-ft more than Small at 3500 rpm", less)


def test_glossary_finds_the_words_that_are_used():
    words = [w for w, _ in terms_in("The split of two runs: back pressure, not lambda; a BAND.")]
    assert words == ["back pressure", "band", "lambda", "run", "split"]
    assert terms_in("nothing of ours") == []


def test_a_number_in_a_name_is_no_claim():
    gap = Cited("last distance ahead", -0.7, "distance", None, "67 mm wheel", "62 mm wheel")
    text = "67 mm wheel is 2.3 ft behind 62 mm wheel"
    assert contradictions(text, [gap], names=("62 mm wheel", "67 mm wheel")) == []
    assert contradictions(text, [gap])
    assert contradictions("the 67 mm wheel is 9.9 ft behind", [gap], names=("67 mm wheel",))
