"""A build's pull: shapes and channels, the weather, the facts of the trade."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.match_cases import invented_map
from toolkit.bench import Bench
from toolkit.build import (
    Build,
    Cooler,
    Curve,
    Engine,
    FuelSystem,
    Restriction,
    Restrictions,
    Turbo,
    Weather,
    read_build,
)  # fmt: skip
from toolkit.build.pull import dry_share, pull
from toolkit.physics import air
from toolkit.physics.output import output
from toolkit.physics.points import Regime

PSI, HP = 6894.757293168361, 745.69987158227022
DEMO = Bench(Path(__file__).parent.parent / "data_demo")
SPEEDS = np.linspace(2000, 6800, 49)


@pytest.fixture(scope="module")
def demo():
    return read_build(DEMO, "builds/candidates.toml")


def test_one_column_a_candidate(demo):
    made = pull(demo, SPEEDS)
    assert made.match.p_exhaust_pa.shape == (49, 3) == made.output.power_w.shape
    alone = pull(replace(demo, turbos=demo.turbos[1:2]), SPEEDS)
    assert alone.match.p_exhaust_pa[:, 0] == pytest.approx(
        made.match.p_exhaust_pa[:, 1], rel=1e-7, nan_ok=True
    )
    single = pull(demo, 5000.0, 14 * PSI)
    assert float(single.boost_gauge_pa[0, 2]) == pytest.approx(14 * PSI, rel=1e-7)


def test_a_larger_turbine_comes_later_and_pushes_back_less(demo):
    made = pull(demo, SPEEDS)
    thresholds = made.threshold_rpm()
    assert np.all(np.diff(thresholds) > 0)
    top = made.back_pressure_gauge_pa[-1]
    assert np.all(np.diff(top) < 0)
    held = made.match.regime == Regime.HOLDING
    assert held[-1, 2] and made.match.regime[-1, 0] == Regime.PUSHED_OPEN
    both = made.ratio_gauge, made.ratio_absolute
    assert np.all(both[0][-1] > both[1][-1])  # gauge and absolute ratios differ


def test_torque_power_and_fuel_belong_together(demo):
    made = pull(demo, SPEEDS)
    o = made.output
    assert o.power_w == pytest.approx(o.torque_nm * made.speed_rpm * np.pi / 30, nan_ok=True)
    assert o.bsfc_kg_j == pytest.approx(o.fuel_flow_kg_s / o.power_w, nan_ok=True)
    share = dry_share(demo.weather)
    fuel = made.match.air_flow_kg_s * share / demo.fuel.properties.afr(0.85)
    assert o.fuel_flow_kg_s == pytest.approx(fuel, nan_ok=True)


def test_moist_air_burns_less(demo):
    dry = Weather(100e3, 303.15, 0.0)
    moist = replace(dry, humidity=0.9)
    assert dry_share(dry) == pytest.approx(1.0, abs=1e-9)
    powers = [pull(demo, 5000.0, 10 * PSI, w).output.power_w[0, 2] for w in (dry, moist)]
    vapour = air.vapour_pressure_pa(303.15, 0.9) / 100e3
    assert 0.8 * vapour < 1 - powers[1] / powers[0] < 1.3 * vapour


def test_altitude_spins_the_shaft_faster_for_the_same_gauge_boost(demo):
    sea, high = Weather(101325.0, 288.15), Weather(84307.0, 278.24)
    made = [pull(demo, 5000.0, 12 * PSI, w) for w in (sea, high)]
    ratio = [float(m.match.pressure_ratio[0, 2]) for m in made]
    assert ratio[1] > ratio[0]
    assert made[1].match.corrected_speed_rpm[0, 2] > made[0].match.corrected_speed_rpm[0, 2]


def test_no_target_is_said(demo):
    with pytest.raises(ValueError, match="no target"):
        pull(replace(demo, target=None), SPEEDS)


# Common practice, no source: an engine of 4.8 litres and 409 hp unboosted made 575 hp at 6 to
# 6.5 psi and 829 hp at 16 psi. Back pressure of the smaller of two turbos 11.5 psi at the low
# boost and 19.1 at 12.5 psi, of the larger 7.8 and about 14 at 14 psi.
BACK_PRESSURE = [(0, 6.25, 11.5), (0, 12.5, 19.1), (1, 6.25, 7.8), (1, 14.0, 14.0)]
POWER = [(6.25, 575 / 409), (16.0, 829 / 409)]
TOP_RPM = 6400.0


def plain_eight(lam=0.80, retard=6.0):
    engine = Engine(
        "V8, 4.8 litres", 4.8e-3, 8, 0.096, 0.083, 9.5, (3000.0, 7000.0), Curve(1.05),
        Curve(1150.0), lam=Curve(lam), spark_retard_deg=Curve(retard), indicated_efficiency=0.39,
    )  # fmt: skip
    compressor = invented_map(scale_kg_s=0.85, top_rpm=110e3)
    turbos = tuple(
        Turbo(name, "", turbine_area_m2=area, turbine_efficiency=0.72, compressor=compressor)
        for name, area in (("smaller", 12.0e-4), ("larger", 24.5e-4))
    )
    pipe = Restriction(2 * PSI, 0.45, 1.1e5, 1100.0)
    cooler = Cooler(0.7, 300.0, Restriction(1 * PSI, 0.5, 2e5, 380.0))
    return Build(
        "V8", engine, FuelSystem("gasoline"), turbos, cooler, Restrictions(exhaust=pipe)
    )  # fmt: skip


def unboosted_w(build):
    e, w = build.engine, build.weather
    density = air.density_kg_m3(w.p_cell_pa, w.t_cell_k)
    flow = e.volumetric_efficiency(TOP_RPM) * e.displacement_m3 * TOP_RPM / 120 * density
    return float(
        output(
            flow, w.p_cell_pa, w.p_cell_pa + PSI, TOP_RPM, e.displacement_m3, e.stroke_m,
            build.fuel.properties, 0.88, 0.0, e.indicated_efficiency,
        ).power_w
    )  # fmt: skip


@pytest.mark.parametrize("turbo, boost, measured", BACK_PRESSURE)
def test_back_pressures_of_the_trade(turbo, boost, measured):
    made = pull(plain_eight(), TOP_RPM, boost * PSI)
    ours = float(made.back_pressure_gauge_pa[0, turbo]) / PSI
    assert ours == pytest.approx(measured, rel=0.15)


# Power of an eight at two boosts over its unboosted power, as measured: common practice.
@pytest.mark.parametrize("boost, ratio", POWER)
def test_power_ratios_of_the_trade(boost, ratio):
    build = plain_eight()
    base = unboosted_w(build)
    assert base / HP == pytest.approx(409, rel=0.08)
    ours = float(pull(build, TOP_RPM, boost * PSI).output.power_w[0, 1]) / base
    assert ours == pytest.approx(ratio, rel=0.08)
    bare = float(pull(plain_eight(0.88, 0.0), TOP_RPM, boost * PSI).output.power_w[0, 1]) / base
    assert bare > ours  # without enrichment and retard the forecast is rosier
