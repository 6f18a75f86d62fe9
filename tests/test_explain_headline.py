import pytest

from toolkit.explain.glossary import terms_in
from toolkit.explain.headline import Cited, cited_in, contradictions

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


# Large is 34 hp ahead at 6000 rpm, 4 hp at 5000, and 15 hp behind at 4000; they cross at 4800.
HP = 745.69987
BOTH = (
    Cited("difference in power", -15 * HP, "power", 4000.0, "Large", "Small"),
    Cited("difference in power", 4 * HP, "power", 5000.0, "Large", "Small"),
    Cited("difference in power", 34 * HP, "power", 6000.0, "Large", "Small"),
    Cited("crossover in power", 4800.0, "engine_speed", None, "Small", "Large"),
)


@pytest.mark.parametrize(
    "text",
    [
        "Swapping Small for Large gains 34 hp at 6000 rpm",
        "Swapping Large for Small loses 34 hp at 6000 rpm",
        "Going from Small to Large adds 34 hp at 6000 rpm",
        "The move away from Small gains 34 hp",
        "Small against Large: 34 hp more at 6000 rpm",
        "Small is down 34 hp, and Large up, at 6000 rpm",
        "Small gives up 34 hp to Large",
        "The gap between Large and Small is +34 hp",
        "Large is 34 hp up on Small at 6000 rpm",
        "Small trails Large by 34 hp",
        "Large never makes 34 hp less",
        "Small makes -34 hp at 6000 rpm",
        "Large makes 34 HP more at 6000 RPM",
        "Large makes 25 KW more",
        "Small leads below 4800 rpm, Large above it",
        "Large leads above 4800 rpm and makes 34 hp more at 6000 rpm",
        "Large gains 34 hp above 4800 rpm",
        "Small makes 15 hp more below 4800 rpm",
        "At 6000 rpm Large makes 34 hp more",
        "At 5000 rpm, Large makes 4 hp more",
        "At 5000 rpm Large is level and gains 34 hp by 6000 rpm",
        "At 5000 rpm Large makes 4 hp more, at 6000 rpm 34 hp",
    ],
)
def test_what_is_true_is_not_refused_however_it_is_put(text):
    assert contradictions(text, BOTH, names=("Small", "Large")) == []


@pytest.mark.parametrize(
    "text, said",
    [
        ("At 5000 rpm Large makes 34 hp more", "34 hp: the difference in power is 4 hp at 5000"),
        ("Large makes -34 hp at 6000 rpm", "-34 hp: Large has more than Small there, not less"),
        ("Large leads below 4800 rpm", "4800 rpm: Small leads below it"),
        ("Small is ahead above 4800 rpm", "4800 rpm: Large leads above it"),
        ("Small beats Large by 34 hp", "Small has less than Large there, not more"),
        ("Large trails Small by 34 hp", "Large has more than Small there, not less"),
        ("Large is down 34 hp", "Large has more than Small there, not less"),
        ("34 hp more with Small", "Small has less than Large there, not more"),
        ("Small is 34 hp up on Large", "Small has less than Large there, not more"),
    ],
)
def test_what_is_false_is_told_however_it_is_put(text, said):
    found = contradictions(text, BOTH, names=("Small", "Large"))
    assert any(said in sentence for sentence in found), found


@pytest.mark.parametrize(
    "more, less",
    [("Small", "Small (base)"), ("Turbo", "Turbo 2"), ("Turbo 2", "Turbo"), ("B", "A")],
)
def test_names_that_hold_each_other_are_told_apart(more, less):
    gap = [Cited("difference in power", 34 * HP, "power", 6000.0, more, less)]
    for text in (
        f"{more} makes 34 hp more than {less} at 6000 rpm",
        f"{less} makes 34 hp less than {more} at 6000 rpm",
        f"At 6000 rpm {more} makes 34 hp more",
    ):
        assert contradictions(text, gap, names=(more, less)) == []
    assert contradictions(f"{less} makes 34 hp more than {more}", gap, names=(more, less))
    assert contradictions(f"{more} makes 34 hp less than {less}", gap, names=(more, less))


def test_the_speed_said_first_is_where_the_number_is_marked():
    (found,) = cited_in("At 6000 rpm Large makes 34 hp more", BOTH)
    assert found.at_rpm == 6000


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
