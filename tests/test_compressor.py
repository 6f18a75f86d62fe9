"""Compressor: published outlet temperatures, a measured map read back, the map's own inverse."""

import csv

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.match_cases import invented_map
from toolkit.physics import compressor
from toolkit.physics.compressor import CompressorMap, Region

LB = 0.45359237
T_REF_K, P_REF_PA = 288.15, 101325.0  # 518.67 R and 14.696 psia, the state of the measured map


def measured(shared_data, configuration):
    """NASA Glenn's high-efficiency centrifugal compressor: 142 measured points."""
    with (shared_data / "maps" / "hecc_map_compact.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["CONFIG"] == configuration]
    names = ("NC", "NCRPM", "NMECH", "MDOT", "MDOTC", "P00", "T00", "T07", "TPR70", "ETA70")
    return {n: np.array([float(r[n]) for r in rows]) for n in names}


def as_map(d, keep=slice(None)):
    return CompressorMap.from_points(
        np.round(d["NC"])[keep], d["NCRPM"][keep], d["MDOTC"][keep] * LB, d["TPR70"][keep],
        d["ETA70"][keep], T_REF_K, P_REF_PA,
    )  # fmt: skip


@pytest.mark.parametrize("configuration", ["vaned", "vaneless"])
def test_measured_map_is_read_back(shared_data, configuration):
    """Efficiency within 0.015 and flow within 0.6 % of the table's own."""
    d = measured(shared_data, configuration)
    m = as_map(d)
    read = m.read(d["MDOTC"] * LB, d["TPR70"])
    on = read.region == Region.ON_MAP
    assert on.sum() > 0.75 * len(on)  # the rest lie on the rim, off it by the speeds' scatter
    assert np.abs(read.efficiency - d["ETA70"])[on].max() < 0.015
    assert np.abs(read.speed_rpm / d["NCRPM"] - 1)[on].max() < 0.003
    speed = np.clip(d["NCRPM"], *m.line_speeds_rpm[[0, -1]])
    setting = d["MDOTC"] / d["TPR70"]
    surge, choke = (np.interp(speed, np.linspace(*m.line_speeds_rpm[[0, -1]], len(n)), n)
                    for n in m.nodes[:2])  # fmt: skip
    place = np.clip((setting * LB - surge) / (choke - surge), 0, 1)
    flow, ratio, efficiency = m.at(speed, place)
    assert flow / LB == pytest.approx(d["MDOTC"], rel=0.006)
    assert np.abs(efficiency - d["ETA70"]).max() < 0.015
    assert ratio == pytest.approx(d["TPR70"], rel=0.006)


def test_measured_corrected_flow_and_speed(shared_data):
    """The table's own corrections: 518.67 R, 14.696 psia."""
    d = measured(shared_data, "vaned")
    t, p = d["T00"] / 1.8, d["P00"] * 6894.757
    flow = compressor.corrected_flow_kg_s(d["MDOT"], t, p, T_REF_K, P_REF_PA)
    assert flow == pytest.approx(d["MDOTC"], rel=0.006)
    speed = compressor.corrected_speed_rpm(d["NMECH"], t, T_REF_K)
    assert speed == pytest.approx(d["NCRPM"], rel=0.002)


@pytest.mark.parametrize("configuration", ["vaned", "vaneless"])
def test_measured_efficiency_from_temperatures(shared_data, configuration):
    """The table's efficiency uses varying properties; so does ours."""
    d = measured(shared_data, configuration)
    ours = compressor.efficiency(d["T00"] / 1.8, d["T07"] / 1.8, d["TPR70"])
    assert np.abs(ours - d["ETA70"]).max() < 0.015
    back = compressor.outlet_t_k(d["T00"] / 1.8, d["TPR70"], ours)
    assert back == pytest.approx(d["T07"] / 1.8, abs=1e-6)


def test_a_speed_line_left_out_is_still_found(shared_data):
    """What interpolating across speed costs: each inner line in turn is left out and read from
    its neighbours. Found: choke flow within 0.3 %; pressure ratio within 1.9 % on the line that
    stands in a gap of 15 % in speed, 1.1 % in gaps of 10 %; efficiency within 0.013 and 0.005."""
    d = measured(shared_data, "vaned")
    lines = np.round(d["NC"])
    for left_out, ratio, eta in (
        (75, 0.019, 0.013),
        *((n, 0.011, 0.005) for n in (85, 90, 95, 100)),
    ):
        m = as_map(d, lines != left_out)
        mine = lines == left_out
        speed = d["NCRPM"][mine]
        flow = d["MDOTC"][mine] * LB
        choke = m.choke_flow_kg_s(speed.mean())
        assert choke == pytest.approx(flow.max(), rel=0.003)
        inner = flow < 0.97 * flow.max()
        guess = np.array(
            [_ratio_at(m, n, w) for n, w in zip(speed[inner], flow[inner], strict=True)]
        )
        known = np.isfinite(guess[:, 0])
        assert known.sum() >= 3
        assert guess[known, 0] == pytest.approx(d["TPR70"][mine][inner][known], rel=ratio)
        assert guess[known, 1] == pytest.approx(d["ETA70"][mine][inner][known], abs=eta)


def _ratio_at(m, speed, flow):
    """Pressure ratio and efficiency where a line has a flow."""
    place = np.linspace(0, 1, 400)
    flows, ratios, efficiencies = m.at(speed, place)
    if not flows[0] <= flow <= flows.max():
        return np.nan, np.nan
    upto = np.argmax(flows) + 1
    return tuple(np.interp(flow, flows[:upto], v[:upto]) for v in (ratios, efficiencies))


MAP = invented_map()


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.floats(0.001, 0.999), st.floats(0.001, 0.999))
def test_reading_undoes_placing(share, place):
    speed = MAP.line_speeds_rpm[0] + share * np.ptp(MAP.line_speeds_rpm)
    flow, ratio, efficiency = MAP.at(speed, place)
    read = MAP.read(flow, ratio)
    assert read.region == Region.ON_MAP
    assert float(read.speed_rpm) == pytest.approx(float(speed), rel=1e-9)
    assert float(read.position) == pytest.approx(place, abs=1e-7)
    assert float(read.efficiency) == pytest.approx(float(efficiency), abs=1e-9)


def test_the_fine_table_follows_the_points():
    for line in np.unique(MAP.line):
        on = MAP.line == line
        read = MAP.read(MAP.flow_kg_s[on] * (1 - 1e-9), MAP.pressure_ratio[on])
        known = read.region == Region.ON_MAP
        assert read.speed_rpm[known] == pytest.approx(MAP.speed_rpm[on][known], rel=2e-3)
        assert read.efficiency[known] == pytest.approx(MAP.efficiency[on][known], abs=2e-3)


def test_outside_there_is_only_a_reason():
    top, _, _ = MAP.at(MAP.line_speeds_rpm[-1], 0.5)
    read = MAP.read(
        [0.04, float(MAP.choke_flow_kg_s(90e3)) * 1.05, float(top), 0.12, np.nan],
        [2.5, 1.2, 4.5, 1.02, 2.0],
    )
    assert list(read.region[:4]) == [
        Region.SURGE, Region.CHOKE, Region.ABOVE_TOP_LINE, Region.BELOW_LOWEST_LINE,
    ]  # fmt: skip
    assert np.isnan(read.speed_rpm).all() and np.isnan(read.efficiency).all()
    assert all(np.isnan(v).all() for v in MAP.at([1e3, 1e6, 90e3], [0.5, 0.5, 1.2]))


def test_margins_are_what_their_words_say():
    flow, ratio, _ = MAP.at(95e3, 0.4)
    margin = MAP.surge_margin(flow, ratio)
    at_surge = flow * (1 - margin)
    assert MAP.read(at_surge * 1.0001, ratio).region == Region.ON_MAP
    assert MAP.read(at_surge * 0.999, ratio).region == Region.SURGE
    grown = flow * (1 + MAP.choke_margin(flow, 95e3))
    assert grown == pytest.approx(float(MAP.choke_flow_kg_s(95e3)))
    assert np.isnan(MAP.surge_margin(flow, 10.0))


# Kelvin and bar; p1, T1, p2, efficiency, published T2 in Celsius. The books use constant cp.
BOOKS = [
    # P. K. Nag, Power Plant Engineering, ex. 11.2
    (0.97, 303.0, 2.1, 0.75, 129.76),
    # H. N. Gupta, Fundamentals of Internal Combustion Engines, ch. 15, turbocharger example
    (0.98, 290.0, 1.8, 0.80, 86.0),
    # Arithmetic on the definition with gamma 1.4, 298.15 K
    (1.0, 298.15, 2.0, 0.70, 391.434 - 273.15),
    (1.0, 298.15, 3.0, 0.78, 439.098 - 273.15),
]


@pytest.mark.parametrize("p1, t1, p2, eta, t2_c", BOOKS)
def test_outlet_temperature_against_books(p1, t1, p2, eta, t2_c):
    ours = compressor.outlet_t_k(t1, p2 / p1, eta)
    assert float(ours) - 273.15 == pytest.approx(t2_c, abs=1.2)


# Air [kg/s], T1 [K], pressure ratio, efficiency, mechanical efficiency, published power [kW].
POWERS = [
    # H. N. Gupta, Fundamentals of Internal Combustion Engines, ex. 15.5
    (0.2703352, 290.0, 1.8, 0.90, 0.85, 18.8),
    # R. K. Rajput, Internal Combustion Engines, ex. 16.1
    (1.214177, 325.0, 1.6, 0.70, 0.90, 90.47),
    # V. Arasu, Turbomachines, ex. 3.1: 10 kg/s, total inlet state from 150 m/s
    (10.0, 304.194, 4.5 / 1.140225, 0.80, 1.0, 1835.4),
]


@pytest.mark.parametrize("air, t1, ratio, eta, bearings, published", POWERS)
def test_power_against_books(air, t1, ratio, eta, bearings, published):
    ours = air * compressor.isentropic_work_j_kg(t1, ratio) / eta / bearings / 1e3
    assert float(ours) == pytest.approx(published, rel=0.01)


# Varying cp, from CoolProp's ideal air: PR and T2 at efficiency 0.75 from 298.15 K.
@pytest.mark.parametrize("ratio", [1.5, 2.0, 2.5, 3.0])
def test_outlet_temperature_against_coolprop(ratio):
    props = pytest.importorskip("CoolProp.CoolProp")
    t1, p1 = 298.15, 101325.0
    h1, s1 = (props.PropsSI(q, "T", t1, "P", p1, "Air") for q in ("Hmass", "Smass"))
    ideal = props.PropsSI("Hmass", "Smass", s1, "P", p1 * ratio, "Air")
    real = props.PropsSI("T", "Hmass", h1 + (ideal - h1) / 0.75, "P", p1 * ratio, "Air")
    assert float(compressor.outlet_t_k(t1, ratio, 0.75)) == pytest.approx(real, abs=0.15)


def test_corrected_flow_depends_on_the_convention():
    """Arithmetic on the definition: one flow, four reference states in use, 8 % apart."""
    given = (0.20, 308.15, 95e3)
    states = {
        (298.15, 100e3): 0.2140277,
        (298.0, 100e3): 0.2140816,
        (288.15, 101325.0): 0.2205945,
        (545 / 1.8, 13.95 * 6894.757293): 0.2042766,
    }
    for (t, p), expected in states.items():
        ours = float(compressor.corrected_flow_kg_s(*given, t, p))
        assert ours == pytest.approx(expected, rel=1e-6)
        assert float(compressor.physical_flow_kg_s(ours, *given[1:], t, p)) == pytest.approx(0.2)
    assert float(compressor.corrected_speed_rpm(150e3, 308.15, 298.15)) == pytest.approx(147546.05)
    assert float(compressor.corrected_speed_rpm(150e3, 308.15, 288.15)) == pytest.approx(145050.59)


@pytest.mark.parametrize(
    "points, words",
    [
        (([1, 1], [9e4, 9e4], [0.1, 0.2], [2, 1.9], [0.7, 0.7]), "two speed lines"),
        (([1, 1, 2], [8e4, 8e4, 9e4], [0.1, 0.2, 0.2], [2, 1.9, 2.5], [0.7] * 3), "90000 rpm"),
        (
            ([1, 1, 2, 2], [8e4, 8e4, 9e4, 9e4], [0.1, 0.2, 0.12, 0.22], [2, 1.5, 1.9, 1.8],
             [0.7] * 4),
            "cross",
        ),
        (([1, 1], [9e4, 9e4], [0.1, 0.2], [2, 1.9], [0.7, 1.7]), r"efficiency is 1\.7"),
    ],
)  # fmt: skip
def test_an_impossible_map_is_refused_in_words(points, words):
    with pytest.raises(ValueError, match=words):
        CompressorMap.from_points(*points, t_ref_k=298.15, p_ref_pa=100e3)


def test_impossible_arguments():
    with pytest.raises(ValueError, match=r"efficiency is 1\.5"):
        compressor.outlet_t_k(298, 2, 1.5)
    with pytest.raises(ValueError, match="p_in_pa is -1"):
        compressor.corrected_flow_kg_s(0.1, 298, -1, 298, 1e5)
    assert np.isnan(compressor.outlet_t_k(np.nan, 2, 0.7))
    assert np.isnan(compressor.efficiency(300, 300, 2))
