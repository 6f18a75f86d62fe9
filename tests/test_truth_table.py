"""No public function of the physics without a check against something outside it."""

from tests.truth_table import BLOCK, CITES, PAGE, checks, public, through


def test_every_public_function_is_called_by_a_test():
    found = checks()
    assert len(found) > 80
    called = [name for name, files in found.items() if files]
    served = through([name for name in found if name not in called], called)
    assert not [name for name, by in served.items() if not by]
    assert len(called) > 0.9 * len(found)


def test_each_of_them_rests_on_something_that_is_named():
    assert not [n for n, files in checks().items() if files and not any(files.values())]


def test_the_search_finds_calls_through_helpers_and_knows_a_source():
    found = checks()
    assert "test_air" in found["air.saturation_pressure_pa"]
    assert any("CoolProp" in s for s in found["gas.cp_air_j_kgk"]["test_gas"])
    assert not CITES.search("rises with speed") and CITES.search("Heywood (1988), sec. 5.5")


def test_the_page_shows_every_function_that_there_is():
    shown = BLOCK.search(PAGE.read_text(encoding="utf-8")).group()
    assert not [name for name in public() if f"`{name}`" not in shown]
