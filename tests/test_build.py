"""Build files and maps: what is read, what is refused in which words, what is kept on writing."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from toolkit.bench import Bench, BenchError
from toolkit.build import BuildError, Curve, Tank, read_build, write_build

PSI = 6894.757293168361
MAP = """# invented
# reference_temperature: 298.15 K
# reference_pressure: 100 kPa
corrected_speed [rpm],corrected_flow [lb/min],pressure_ratio,efficiency [%]
60000,10,1.5,68
60000,20,1.4,70
60000,25,1.2,55
120000,25,3.0,70
120000,40,2.8,74
120000,50,2.0,60
"""
CURVE = """# reference_temperature: 15 °C
# reference_pressure: 101.325 kPa
expansion_ratio,corrected_flow [lb/min],efficiency [%]
1.2,10,60
2.0,14,70
"""
BUILD = """# the team's own engine
name = "Straight six"

[engine]
name = "3.0 litre"
displacement = "2.997 L"   # measured twice
cylinders = 6
bore = "84 mm"
stroke = "90.2 mm"
compression_ratio = 9.5
speed_range = ["2000 rpm", "7000 rpm"]
volumetric_efficiency = [["2000 rpm", "85 %"], ["4500 rpm", "96 %"], ["7000 rpm", "88 %"]]
exhaust_temperature = "900 °C"
lambda = 0.82

[fuel]
name = "gasoline"

[[turbo]]
name = "Large"
compressor_map = "maps/large.csv"
turbine_area = "8.2 cm²"
turbine_efficiency = "70 %"

[turbo.gate]
valve_area = "11.3 cm²"
diaphragm_area = "45 cm²"
spring = "7 psi" # the yellow one
spring_rate = "12 N/mm"
max_lift = "12 mm"
ports = 2

[target]
boost = "14 psi"

[vehicle]
mass = "2600 lb" # with driver
gears = [3.2, 2.0, 1.4]
final_drive = 3.5
tyre_radius = "310 mm"
"""


@pytest.fixture
def bench(tmp_path):
    for name, text in {
        "maps/large.csv": MAP, "maps/curve.csv": CURVE, "builds/large.toml": BUILD,
    }.items():  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return Bench(tmp_path)


def rewritten(bench, old, new):
    text = BUILD.replace(old, new)
    assert text != BUILD
    bench.file("builds/large.toml").write_text(text, encoding="utf-8")
    return bench


def test_values_arrive_in_si_with_their_maps(bench):
    build = read_build(bench, "builds/large.toml")
    assert build.engine.displacement_m3 == pytest.approx(2.997e-3)
    assert build.engine.t_exhaust_k(3000.0) == pytest.approx(1173.15)
    assert build.engine.volumetric_efficiency([2000, 4500]) == pytest.approx([0.85, 0.96])
    assert np.isnan(build.engine.volumetric_efficiency(1500.0))
    assert build.turbo.gate.gate.rating_gauge_pa == pytest.approx(7 * PSI)
    assert build.turbo.compressor.line_speeds_rpm == pytest.approx([60e3, 120e3])
    assert build.turbo.compressor.t_ref_k == pytest.approx(298.15)
    assert build.fuel.properties.name == "gasoline"
    assert build.vehicle.gear_ratios == (3.2, 2.0, 1.4)
    third = build.vehicle.in_gear(1.4, air_density_kg_m3=1.1, grade=0.05)
    assert (third.gear_ratio, third.mass_kg) == (1.4 * 3.5, pytest.approx(2600 * 0.45359237))
    assert (third.air_density_kg_m3, third.grade, third.efficiency) == (1.1, 0.05, 0.9)


# What is written, and which words the refusal must hold: file, line, key and what to write.
REFUSED = [
    ('"2.997 L"', "2.997", ["builds/large.toml", "line 6", "engine.displacement", '"4.8 L"']),
    ('"84 mm"', '"84 psi"', ["line 8", "engine.bore", "not a length"]),
    ('"84 mm"', '"84"', ["line 8", "engine.bore", "no unit"]),
    ("cylinders", "cylnders", ["line 7", "engine.cylnders", "not known", "cylinders"]),
    ("cylinders = 6", "cylinders = 6.5", ["engine.cylinders", "whole number"]),
    ("= 9.5", "= 95", ["engine.compression_ratio", "possible", "25"]),
    ('"7 psi" #', "7 #", ["line 28", "gate.spring", '"14 psi"']),
    ("maps/large.csv", "../maps/large.csv", ["compressor_map", "outside the bench"]),
    ("maps/large.csv", "maps/none.csv", ["compressor_map", "no file"]),
    ('"7000 rpm", "88 %"', '"6000 rpm", "88 %"', ["volumetric_efficiency", "speed_range", "7000"]),
    ('"4500 rpm", "96 %"', '"1500 rpm", "96 %"', ["volumetric_efficiency", "rising"]),
    ('["2000 rpm", "7000 rpm"]', '["7000 rpm", "2000 rpm"]', ["speed_range", "below the second"]),
    ('"gasoline"', '"jet"', ["fuel.name", "'jet'", "E85"]),
    ('turbine_area = "8.2 cm²"\n', "", ["turbine_area", "turbine_curve"]),
    ('boost = "14 psi"', 'boost = "14 psia"', ["target.boost", "absolute"]),
    ("[fuel]\n", "[petrol]\n", ["petrol"]),
    ("[3.2, 2.0, 1.4]", "3.2", ["vehicle.gears", "a list is meant", "write gears = ["]),
    ("[3.2, 2.0, 1.4]", "[]", ["vehicle.gears", "a list is meant"]),
    ("[3.2, 2.0, 1.4]", "[3.2, -1]", ["vehicle.gears", "'-1'", "possible"]),
    ('name = "3.0 litre"\n', "", ["line 4", "engine.name", "this is missing"]),
    ('"2600 lb"', '"2600"', ["line 37", "vehicle.mass", "no unit"]),
]


@pytest.mark.parametrize("old, new, words", REFUSED)
def test_refused_in_one_sentence_that_says_where(bench, old, new, words):
    with pytest.raises(BuildError) as caught:
        read_build(rewritten(bench, old, new), "builds/large.toml")
    for word in words:
        assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_a_person_wrote_stays(bench):
    build = read_build(bench, "builds/large.toml")
    write_build(bench, "builds/large.toml", build)
    assert bench.file("builds/large.toml").read_text(encoding="utf-8") == BUILD
    gate = replace(build.turbo.gate, spring_gauge_pa=10 * PSI)
    write_build(
        bench, "builds/large.toml", replace(build, turbos=(replace(build.turbo, gate=gate),))
    )
    text = bench.file("builds/large.toml").read_text(encoding="utf-8")
    assert text == BUILD.replace('"7 psi"', '"10 psi"')
    build = read_build(bench, "builds/large.toml")
    five = replace(build.vehicle, gear_ratios=(*build.vehicle.gear_ratios, 1.1, 0.9))
    write_build(bench, "builds/large.toml", replace(build, vehicle=five))
    again = bench.file("builds/large.toml").read_text(encoding="utf-8")
    assert again == text.replace("2.0, 1.4]", "2.0, 1.4, 1.1, 0.9]")


def test_candidates_come_and_go(bench):
    build = read_build(bench, "builds/large.toml")
    small = replace(build.turbo, name="Small", turbine_area_m2=6e-4, gate=None)
    both = replace(build, turbos=(build.turbo, small))
    write_build(bench, "builds/large.toml", both, "SI")
    again = read_build(bench, "builds/large.toml")
    assert [t.name for t in again.turbos] == ["Large", "Small"]
    assert again.turbos[1].gate is None
    assert "the yellow one" in bench.file("builds/large.toml").read_text(encoding="utf-8")
    write_build(bench, "builds/large.toml", replace(again, turbos=again.turbos[1:]))
    assert [t.name for t in read_build(bench, "builds/large.toml").turbos] == ["Small"]


def test_a_new_file_reads_back_equal(bench):
    build = read_build(bench, "builds/large.toml", load_maps=False)
    cooler_tank = Tank(10.0, 10.0)
    engine = replace(build.engine, lam=Curve((0.9, 0.8), (2000.0, 7000.0)), breathing_slope=-0.3)
    build = replace(build, engine=engine, notes="typed by hand")
    assert cooler_tank.start_k == 273.15
    for system in ("US", "SI"):
        name = f"builds/new_{system}.toml"
        write_build(bench, name, build, system)
        again = read_build(bench, name, load_maps=False)
        assert again.engine.lam == engine.lam
        assert again.engine.bore_m == pytest.approx(build.engine.bore_m, rel=1e-12)
        assert again.turbo.turbine_area_m2 == pytest.approx(8.2e-4, rel=1e-12)
        assert again.notes == "typed by hand" and again.engine.breathing_slope == -0.3


def test_a_turbine_curve_in_place_of_an_area(bench):
    rewritten(bench, 'turbine_area = "8.2 cm²"\nturbine_efficiency = "70 %"',
              'turbine_curve = "maps/curve.csv"')  # fmt: skip
    turbo = read_build(bench, "builds/large.toml").turbo
    assert turbo.turbine.expansion_ratio == pytest.approx((1.2, 2.0))
    assert turbo.turbine.flow_kg_s[0] == pytest.approx(10 * 0.45359237 / 60)


BAD_MAPS = [
    (("# reference_pressure: 100 kPa\n", ""), ["reference_pressure", "8 %"]),
    (("corrected_flow [lb/min]", "corrected_flow"), ["corrected_flow", "no unit"]),
    (("corrected_flow [lb/min]", "flow [lb/min]"), ["no column corrected_flow"]),
    (("60000,20,1.4,70", "60000,20,1.4"), ["line 6", "3 cells", "4 columns"]),
    (("60000,20,1.4,70", "60000,twenty,1.4,70"), ["line 6", "twenty"]),
    (("120000,40,2.8,74", "120000,25,3.0,74"), ["120000 rpm"]),
    (("[%]", "[furlong]"), ["line 5", "not a fraction"]),
]


@pytest.mark.parametrize("change, words", BAD_MAPS)
def test_a_map_that_cannot_be_is_refused_in_words(bench, change, words):
    bench.file("maps/large.csv").write_text(MAP.replace(*change), encoding="utf-8")
    with pytest.raises((BuildError, BenchError)) as caught:
        read_build(bench, "builds/large.toml")
    for word in ("large.csv", *words):
        assert word in str(caught.value)


def test_the_demo_builds_read_and_write_back_unchanged(tmp_path):
    demo = Path(__file__).parent.parent / "data_demo"
    shutil.copytree(demo / "builds", tmp_path / "builds")
    shutil.copytree(demo / "maps", tmp_path / "maps")
    bench = Bench(tmp_path)
    assert bench.builds()
    for name in bench.builds():
        before = bench.file(name).read_bytes()
        write_build(bench, name, read_build(bench, name))
        assert bench.file(name).read_bytes() == before
