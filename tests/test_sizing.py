"""The sizing sheet's sums, its pictures and its panels without a browser."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from toolkit.analysis import sizing
from toolkit.bench import Bench
from toolkit.build import Tank, read_build
from toolkit.build.pull import pull
from toolkit.charts import sizing_pictures as pictures
from toolkit.physics.points import Regime

PSI, HP = 6894.757293168361, 745.69987158227022
DEMO = Path(__file__).parent.parent / "data_demo"


@pytest.fixture(scope="module")
def build():
    return sizing.complete(read_build(Bench(DEMO), "builds/candidates.toml"))


@pytest.fixture(scope="module")
def made(build):
    return pull(build, sizing.speeds_of(build))


def test_needed_air_makes_the_power_where_back_pressure_equals_boost(build):
    """The inverse of the torque model, at every speed."""
    from toolkit.build.pull import dry_share
    from toolkit.physics.output import output

    speed = np.array([3000.0, 5000.0, 6800.0])
    flow = sizing.air_needed_kg_s(build, 400 * HP, speed)
    e = build.engine
    back = output(
        flow * dry_share(build.weather), 2e5, 2e5, speed, e.displacement_m3, e.stroke_m,
        build.fuel.properties, e.lam(speed), e.spark_retard_deg(speed), e.indicated_efficiency,
        e.friction_scale,
    )  # fmt: skip
    assert back.power_w == pytest.approx(400 * HP, rel=1e-9)


def test_completing_a_build_changes_no_result(build):
    bare = replace(build, cooler=None, restrictions=replace(
        build.restrictions, intake=None, exhaust=None))  # fmt: skip
    whole = sizing.complete(bare)
    speeds = sizing.speeds_of(build, 12)
    assert pull(whole, speeds).match.p_exhaust_pa == pytest.approx(
        pull(bare, speeds).match.p_exhaust_pa, rel=1e-9, nan_ok=True
    )


@pytest.mark.parametrize("name", sizing.SHAPES)
def test_shapes_cover_the_range_they_are_asked_for(name):
    curve = sizing.shaped(name, (1500.0, 7000.0))
    ve = curve(np.linspace(1500, 7000, 50))
    assert np.all((ve > 0.6) & (ve < 1.1))


def test_candidates_say_what_limits_them(made):
    small, mid, large = found = sizing.candidates(made)
    assert [r for r, _, _ in small.limits][-1] == Regime.PUSHED_OPEN
    assert small.threshold_rpm < mid.threshold_rpm < large.threshold_rpm
    assert small.ratio_gauge == pytest.approx(small.back_gauge_pa / small.boost_gauge_pa)
    cell = made.weather.p_cell_pa
    absolute = (small.back_gauge_pa + cell) / (small.boost_gauge_pa + cell)
    assert small.ratio_absolute == pytest.approx(absolute)
    words = sizing.sentence(small, found, "US")
    assert "back pressure pushes the gate open" in words and "less power than Large" in words
    assert "later on target than Small" in sizing.sentence(large, found, "US")
    assert "kPa" in sizing.sentence(small, found, "SI")


def test_a_candidate_that_cannot_be_matched_is_said(build):
    lost = pull(build, sizing.speeds_of(build, 12), 200 * PSI)
    found = sizing.candidates(lost)
    for one in found:
        assert np.isnan(one.threshold_rpm)
        assert sizing.sentence(one, found, "US")


def test_fuelling_against_hand_sums(made):
    found = sizing.fuelling(made, 2)
    used = made.build.fuel.properties
    worst = np.nanmax(found.fuel_flow_kg_s)
    each = worst / used.density_kg_m3 / 6
    assert np.nanmax(found.duty) == pytest.approx(each / made.build.fuel.injector_flow_m3_s)
    assert found.size_m3_s == pytest.approx(each / 0.85)
    assert found.pump_gauge_pa == pytest.approx(300e3 + np.nanmax(made.boost_gauge_pa[:, 2]))
    still = replace(made.build.fuel, rail_follows_boost=False)
    other = sizing.fuelling(replace(made, build=replace(made.build, fuel=still)), 2)
    assert np.nanmax(other.duty) > np.nanmax(found.duty)


def test_a_rail_below_boost_gives_no_fuel(made):
    low = replace(made.build.fuel, rail_follows_boost=False, rail_gauge_pa=100e3)
    found = sizing.fuelling(replace(made, build=replace(made.build, fuel=low)), 2)
    assert np.isinf(np.nanmax(found.duty))


def test_tank_bears_the_pulls_it_says(made):
    pulls, after = sizing.tank_pulls(made, 2, Tank(15.0, 10.0), 12.0, 293.15)
    assert after[int(pulls)] <= 293.15 < after[int(pulls) + 1]
    assert np.all(np.diff(after) >= 0) and after[0] == 273.15


def test_pipes_get_narrower_as_the_air_gets_denser(made):
    sizes = [d for _, d in sizing.pipe_rows(made, 2, 80.0)]
    assert sizes[0] > sizes[1] > sizes[2]


@pytest.mark.parametrize("system", ["US", "SI"])
def test_pictures_say_the_unit_and_the_finding(made, system):
    drawn = [
        pictures.air_picture(made, 0, system), pictures.map_picture(made, 0, system),
        pictures.candidates_picture(made, system),
        pictures.fuel_picture(made, 0, sizing.fuelling(made, 0), 0.85, system),
        pictures.cooler_picture(made, 0, Tank(15.0), 12.0, 303.0, system),
    ]  # fmt: skip
    for picture in drawn:
        assert picture.finding and picture.description
        for panel in picture.panels:
            assert np.all(np.isfinite(panel.y_limits))
    unit = {"US": "lb/min", "SI": "g/s"}[system]
    assert unit in drawn[0].panels[0].title and unit in drawn[1].panels[0].x_label


def test_operating_line_is_drawn_in_pieces_that_meet(made):
    chart = pictures.map_picture(made, 0, "US").panels[0]
    pieces = [ln for ln in chart.lines if ln.width == 4]
    assert len(pieces) == 2  # on target, pushed open
    ends = [ln.x[np.isfinite(ln.x)] for ln in pieces]
    assert ends[1][0] == ends[0][-1]


@pytest.fixture
def sheet(tmp_path):
    from toolkit.panels.sizing_sheet import Sheet

    shutil.copytree(DEMO / "builds", tmp_path / "builds")
    shutil.copytree(DEMO / "maps", tmp_path / "maps")
    (tmp_path / "runs").mkdir()
    return Sheet("builds/candidates.toml", tmp_path)


def test_typing_changes_the_build_and_every_panel(sheet):
    from toolkit.panels.sizing import CandidatesPanel, EnginePanel, MapPanel
    from toolkit.panels.sizing_supply import SupplyPanel

    engine, compressor, candidates, supply = panels = [
        kind(sheet) for kind in (EnginePanel, MapPanel, CandidatesPanel, SupplyPanel)
    ]
    before = candidates.chart.picture.finding
    engine.boost.type("12 psi")
    assert sheet.made.target_gauge_pa[0, 0] == pytest.approx(12 * PSI, rel=1e-3)
    assert candidates.chart.picture.finding != before
    engine.boost.type("12 kg")
    assert "not a boost" in engine.boost.words
    assert sheet.build.target.boost_gauge_pa.values == pytest.approx(12 * PSI, rel=1e-3)
    engine.low.type("7500 rpm")
    assert "must be below" in engine.low.words and engine.low.value == 2000
    assert sheet.build.engine.speed_range_rpm[0] == pytest.approx(2000)
    engine.low.type("2000 rpm")
    engine.shape.value = "even"
    assert sheet.build.engine.volumetric_efficiency(6800.0) == pytest.approx(0.86)
    engine.shape.value = "typed points"
    engine.points.control.value = "2000 rpm; 80 %\n6000 rpm; 90 %"
    assert "must reach from 2000 to 6800" in engine.trouble.value
    engine.points.control.value = "2000 rpm; 80 %\n6800 rpm; 90 %"
    assert sheet.build.engine.volumetric_efficiency(6800.0) == pytest.approx(0.90)
    engine.altitude.type("5000 ft")
    assert sheet.build.weather.p_cell_pa == pytest.approx(84.3e3, rel=0.002)
    compressor.candidate.value = 2
    assert "Large" in supply.fuel_chart.picture.method
    assert not any(p.trouble.value for p in panels)
    for panel in panels:
        panel.close()


def test_another_build_brings_its_own_numbers(sheet):
    from toolkit.panels.sizing import EnginePanel, MapPanel

    engine, compressor = EnginePanel(sheet), MapPanel(sheet)
    compressor.candidate.value = 2
    engine.shape.value = "even"
    engine.high.type("6000 rpm")
    engine.start.value = "builds/small.toml"
    assert engine.shape.value != "even" and engine.high.value == pytest.approx(6800)
    assert sheet.build.engine.volumetric_efficiency(4500.0) == pytest.approx(0.98)
    assert [t for t, _ in compressor.candidate.control.options] == ["Small"] and sheet.chosen == 0
    assert not engine.trouble.value and not compressor.trouble.value
    for one in (engine, compressor):
        one.close()


def test_a_slider_tries_and_the_build_keeps_its_target(sheet):
    from toolkit.panels.sizing import MapPanel

    panel = MapPanel(sheet)
    before = panel.chart.picture.finding
    panel.more.slider.value = 8  # of 60 steps from -10 to 20 psi
    assert panel.chart.picture.finding != before and "at 14.0 psi" in panel.chart.picture.finding
    assert sheet.build.target.boost_gauge_pa.values == pytest.approx(20 * PSI)
    panel.close()


def test_the_build_is_saved_and_read_again(sheet):
    from toolkit.panels.sizing import CandidatesPanel, EnginePanel

    engine, panel = EnginePanel(sheet), CandidatesPanel(sheet)
    engine.boost.type("11 psi")
    panel.name.control.value = "../elsewhere.toml"
    panel.save.click()
    assert "builds/" in panel.trouble.value
    panel.name.control.value = "builds/mine.toml"
    panel.save.click()
    assert not panel.trouble.value and "Saved as builds/mine.toml" in panel.name.words
    again = read_build(sheet.bench, "builds/mine.toml")
    assert again.target.boost_gauge_pa.values == pytest.approx(11 * PSI, rel=1e-3)
    assert [t.name for t in again.turbos] == ["Small", "Mid", "Large"]
    for one in (engine, panel):
        one.close()


def panels_of(sheet):
    from toolkit.panels.sizing import CandidatesPanel, EnginePanel, MapPanel
    from toolkit.panels.sizing_supply import SupplyPanel

    return [kind(sheet) for kind in (EnginePanel, MapPanel, CandidatesPanel, SupplyPanel)]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda e: setattr(e.wheel, "value", True), "needs the loss in between"),
        (lambda e: e.low.type("1000 rpm"), "must reach over the whole speed_range"),
        (lambda e: e.high.type("9000 rpm"), "must reach over the whole speed_range"),
    ],
)
def test_a_build_that_could_not_be_read_again_is_not_saved(sheet, change, words):
    engine, _, candidates, _ = panels_of(sheet)
    change(engine)
    candidates.name.control.value = "builds/odd.toml"
    candidates.save.click()
    assert words in candidates.trouble.value
    assert not sheet.bench.file("builds/odd.toml").exists()


def test_a_filling_that_no_engine_has_is_refused(sheet):
    engine = panels_of(sheet)[0]
    engine.shape.value = "typed points"
    engine.points.control.value = "2000; 0.8\n6800; 0.9"
    assert "a filling of 0.8% is not possible" in engine.trouble.value
    engine.points.control.value = "2000; 80\n6800; 90"
    assert engine.trouble.value == ""


def test_another_fuel_brings_its_own_numbers(sheet):
    own = replace(
        sheet.build.fuel, name="club", h_to_c=1.9, o_to_c=0.0, lhv_j_kg=40e6, density_kg_m3=740.0
    )
    sheet.put(("fuel",), own)
    sheet.put(("fuel", "name"), "E85")
    assert sheet.build.fuel.own == {} and sheet.build.fuel.properties.name == "E85"


def test_saving_writes_no_part_that_nobody_typed(sheet):
    engine, _, candidates, supply = panels_of(sheet)
    engine.boost.type("12 psi")
    candidates.name.control.value = "builds/candidates.toml"
    candidates.save.click()
    text = sheet.bench.file("builds/candidates.toml").read_text(encoding="utf-8")
    assert "[cooler.tank]" not in text and 'boost = "12 psi"' in text
    water = next(f for f, path in supply._bound if path[-1] == "water_kg")
    water.type("20 kg")
    candidates.save.click()
    text = sheet.bench.file("builds/candidates.toml").read_text(encoding="utf-8")
    assert "[cooler.tank]" in text and 'water = "20 kg"' in text


def test_a_map_of_the_same_name_is_not_taken_for_ours(tmp_path):
    from toolkit.panels.sizing_sheet import Sheet

    (tmp_path / "maps").mkdir()
    (tmp_path / "runs").mkdir()
    other = (DEMO / "maps/large.csv").read_bytes()
    (tmp_path / "maps/small.csv").write_bytes(other)
    sheet = Sheet("builds/candidates.toml", tmp_path)
    sheet.save("builds/mine.toml", "US")
    assert (tmp_path / "maps/small.csv").read_bytes() == other
    again = read_build(sheet.bench, "builds/mine.toml")
    assert again.turbos[0].compressor_map == "maps/small-2.csv"
    ours = pull(again, sheet.made.speed_rpm[:, 0])
    np.testing.assert_allclose(ours.output.power_w, sheet.made.output.power_w, rtol=1e-6)


def test_a_candidate_with_and_without_a_gate(sheet):
    text = sheet.bench.file("builds/small.toml").read_text(encoding="utf-8")
    bare = text[: text.index("[turbo.gate]")]
    sheet.bench.file("builds/nogate.toml").write_text(bare, encoding="utf-8")
    engine, compressor, *_ = panels_of(sheet)
    for name, gated in (("builds/nogate.toml", False), ("builds/small.toml", True)):
        sheet.load(name)
        assert compressor.trouble.value == engine.trouble.value == ""
        assert (compressor.gate_fields.layout.display is None) == gated
        assert (compressor.no_gate.layout.display is None) != gated


def test_an_altitude_gives_way_to_a_barometer(sheet):
    engine = panels_of(sheet)[0]
    engine.altitude.type("5000 ft")
    assert sheet.build.weather.p_cell_pa == pytest.approx(84.3e3, rel=2e-3)
    barometer = next(f for f, path in engine._bound if path[-1] == "p_cell_pa")
    barometer.type("28.5 inHg")
    assert engine.altitude.value is None
    assert sheet.build.weather.p_cell_pa == pytest.approx(28.5 * 3386.389, rel=1e-3)


def test_a_map_that_cannot_be_read_is_not_left_chosen(sheet):
    sheet.bench.file("maps/broken.csv").write_text("no map", encoding="utf-8")
    _, compressor, *_ = panels_of(sheet)
    field = next(f for f, path in compressor._bound if path[-1] == "compressor_map")
    field.value = "maps/broken.csv" if "maps/broken.csv" in [
        v for _, v in field.control.options] else field.value  # fmt: skip
    assert field.value == sheet.build.turbos[sheet.chosen].compressor_map
