"""The weather of a run and every correction on it, on a thousand measured hours."""

import json

import numpy as np
import pandas as pd
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.logs.corrected import (
    CANNOT_TELL,
    INSIDE,
    NO_RANGE,
    OUTSIDE,
    UnderTest,
    caveats,
    corrections,
)
from toolkit.logs.question import LogError
from toolkit.logs.read import read
from toolkit.logs.review import Review
from toolkit.logs.run import Run
from toolkit.logs.weather import Weather

psychrolib.SetUnitSystem(psychrolib.SI)
DAY = {"barometer": "29.10 inHg", "temperature": "92 °F", "humidity": "60 %"}
PSI = 6894.757


def by_name(lines):
    return {line.name: line for line in lines}


# --- a thousand hours at an airport: NREL TMY3, station 723170 ---


@pytest.fixture
def hours(shared_data):
    path = shared_data / "weather" / "tmy3_723170TYA_first1000h.csv"
    frame = pd.read_csv(path, skiprows=1)
    frame.columns = [name.split(" (")[0] for name in frame.columns]
    return frame[["Dry-bulb", "Dew-point", "RHum", "Pressure"]]


def weather_of(hour, moisture):
    strings = {"barometer": f"{hour.Pressure} mbar", "temperature": f"{hour['Dry-bulb']} °C"}
    value = f"{hour.RHum} %" if moisture == "humidity" else f"{hour['Dew-point']} °C"
    return Weather.from_strings(strings | {moisture: value})


@pytest.mark.parametrize("moisture", ["humidity", "dew_point"])
def test_every_hour_s_dry_pressure_is_the_libraries(hours, moisture):
    """psychrolib by either measure; CoolProp, with real vapour, by the humidity above freezing.

    Below freezing psychrolib counts over ice: 28 Pa is what that can move at these temperatures.
    """
    assert len(hours) == 1000
    for _, hour in hours.iterrows():
        t_c, p_pa = hour["Dry-bulb"], hour.Pressure * 100
        ours = weather_of(hour, moisture).dry_pressure_pa
        if moisture == "humidity":
            vapour = psychrolib.GetVapPresFromRelHum(t_c, hour.RHum / 100)
        else:
            vapour = psychrolib.GetVapPresFromTDewPoint(hour["Dew-point"])
        frozen = (t_c if moisture == "humidity" else hour["Dew-point"]) <= 0
        assert ours == pytest.approx(p_pa - vapour, abs=28 if frozen else 1)
        if moisture == "humidity" and t_c > 0.01:
            real = HAPropsSI("P_w", "T", t_c + 273.15, "P", p_pa, "R", hour.RHum / 100)
            assert ours == pytest.approx(p_pa - real, abs=10)


def test_the_station_counts_humidity_over_liquid_water_as_we_do(hours):
    """Its own humidity, to the rounding of its dew point to 0.1 K; over ice it would miss."""
    cold = hours[hours["Dry-bulb"] < -3]
    ours = np.array([weather_of(hour, "dew_point").humidity for _, hour in cold.iterrows()])
    ice = np.array(
        [
            psychrolib.GetRelHumFromTDewPoint(h["Dry-bulb"], h["Dew-point"])
            for _, h in cold.iterrows()
        ]
    )
    stated = cold.RHum.to_numpy() / 100
    assert np.median(np.abs(ours - stated)) < 0.008
    assert np.median(np.abs(ice - stated)) > 0.02


def test_every_hour_s_corrections(hours):
    """Each factor by the standard's printed form on psychrolib's dry pressure; each range."""
    verdicts = set()
    for _, hour in hours.iterrows():
        t_c = hour["Dry-bulb"]
        dry_kpa = hour.Pressure / 10
        dry_kpa -= psychrolib.GetVapPresFromRelHum(t_c, hour.RHum / 100) / 1e3
        lines = by_name(corrections(100e3, weather_of(hour, "humidity")))
        k = (t_c + 273) / 298
        printed = {
            "SAE J1349": 1.18 * 99 / dry_kpa * np.sqrt(k) - 0.18,
            "ISO 1585": (99 / dry_kpa) ** 1.2 * k**0.6,
            "STD (SAE J607)": 101.3208 / dry_kpa * np.sqrt((1.8 * t_c + 491.67) / 519.67),
            "DIN 70020": 1013 / hour.Pressure * np.sqrt((t_c + 273) / 293),
        }
        for name, factor in printed.items():
            assert lines[name].factor == pytest.approx(factor, abs=4e-4)
            assert lines[name].value == lines[name].factor * 100e3
        inside = 15 <= t_c <= 35 and 90 <= dry_kpa <= 105
        assert (lines["SAE J1349"].verdict == INSIDE) == inside
        verdicts.add(lines["SAE J1349"].verdict)
    assert verdicts == {INSIDE, OUTSIDE}


# --- four test days ---


def test_the_outside_case(shared_cases):
    asked = json.loads((shared_cases / "c07_correction.params.json").read_text())
    wanted = json.loads((shared_cases / "c07_correction.expect.json").read_text())
    for day, expected in zip(asked["conditions"], wanted["values"], strict=True):
        weather = Weather.from_strings(
            {
                "barometer": f"{day['baro_inHg_station']} inHg",
                "temperature": f"{day['air_F']} °F",
                "humidity": f"{day['rel_humidity'] * 100} %",
            }
        )
        assert weather.dry_pressure_pa == pytest.approx(expected["dry_mbar"] * 100, abs=15)
        observed, *_ = lines = corrections(asked["observed_hp"], weather, UnderTest(15 * PSI))
        assert (observed.name, observed.value) == ("observed", 800.0)
        lines = by_name(lines)
        sae, std = lines["SAE J1349"], lines["STD (SAE J607)"]
        new, old = expected["factor_25C_990mbar_85pct_mech"], expected["factor_60F_29.92"]
        assert sae.factor == pytest.approx(new, abs=2e-3)
        assert std.factor == pytest.approx(old, abs=2e-3)
        assert (sae.verdict == OUTSIDE) == (day["name"] in ("mile-high", "cool dry"))
        assert any("suspect" in r for r in sae.reasons) == (abs(new - 1) > 0.03)
    unboosted, held, _ = caveats(weather, UnderTest(15 * PSI), "US")
    assert "unboosted" in unboosted
    assert "7.6 % less" in held and "15.5 % less" in held and "15.0 psi gauge" in held


# Our own days in the same shape: kPa, C, humidity, and whether SAE J1349 is meant for them.
OUR_DAYS = [
    (99.0, 25, 0.0, INSIDE),
    (97.2, 31, 0.7, INSIDE),
    (102.1, 8, 0.5, OUTSIDE),
    (84.0, 22, 0.3, OUTSIDE),
]


@pytest.mark.parametrize("kpa, t_c, humidity, verdict", OUR_DAYS)
def test_our_own_days(kpa, t_c, humidity, verdict):
    weather = Weather.from_strings(
        {
            "barometer": f"{kpa} kPa",
            "temperature": f"{1.8 * t_c + 32:.4f} °F",
            "humidity": f"{humidity * 100} %",
        }
    )
    line = by_name(corrections(500.0, weather))["SAE J1349"]
    dry = kpa - psychrolib.GetVapPresFromRelHum(t_c, humidity) / 1e3
    assert line.factor == pytest.approx(
        1.18 * 99 / dry * np.sqrt((t_c + 273) / 298) - 0.18, abs=1e-4
    )
    assert line.verdict == verdict


def test_every_line_says_its_reference():
    lines = corrections(500.0, Weather.from_strings(DAY))
    assert lines[0].name == "observed"
    assert len(lines) == 6
    assert all(line.reference for line in lines)
    assert all(line.formula and line.source for line in lines[1:])
    assert by_name(lines)["DIN 70020"].verdict == NO_RANGE


def test_reasons_are_in_the_person_s_units():
    high = Weather.from_strings(DAY | {"barometer": "24.70 inHg"})
    (us, _), (si, _) = (
        by_name(corrections(1.0, high, system=s))["SAE J1349"].reasons for s in ("US", "SI")
    )
    assert "inHg" in us and "kPa" in si


def test_compression_ignition():
    weather = Weather.from_strings(DAY)
    diesel = UnderTest(
        boost_gauge_pa=weather.p_cell_pa, compression_ignition=True, fuel_mg=114, t_coolant_k=310
    )
    lines = by_name(corrections(200e3, weather, diesel))
    dry = weather.dry_pressure_pa / 1e3
    fa = (99 / dry) ** 0.7 * (weather.t_cell_k / 298.15) ** 1.5
    line = lines["ISO 1585, compression ignition"]
    assert line.factor == pytest.approx(fa**0.912, rel=1e-9)
    assert line.verdict == INSIDE
    assert "SAE J1349" not in lines  # its spark-ignition form
    k = (weather.p_cell_pa / 100e3) ** 0.7 * (298 / weather.t_cell_k) ** 1.2 * (298 / 310)
    alpha = k - 0.7 * (1 - k) * 0.15 / 0.85
    site = lines["ISO 3046-1, compression ignition, turbocharged and cooled"]
    assert site.factor == pytest.approx(1 / alpha, rel=1e-9)
    unknown = by_name(corrections(200e3, weather, UnderTest(1e5, compression_ignition=True)))
    line = unknown["ISO 1585, compression ignition"]
    assert line.verdict == CANNOT_TELL and "fuel" in line.reasons[0]
    cold = Weather.from_strings(DAY | {"temperature": "-15 °C", "barometer": "104 kPa"})
    assert by_name(corrections(1.0, cold, diesel))[line.name].verdict == OUTSIDE


def test_caveats_only_where_boosted():
    weather = Weather.from_strings(DAY)
    assert caveats(weather, UnderTest()) == ()
    assert len(caveats(weather, UnderTest(1e5))) == 3
    assert "cannot be told" in caveats(weather, UnderTest(np.nan))[1]
    assert "cannot be told" in caveats(Weather(), UnderTest(1e5))[1]


# --- what is not known is said ---


@pytest.mark.parametrize("key, word", [("barometer", "barometer"), ("temperature", "temperature")])
def test_without_pressure_or_temperature_no_factor(key, word):
    strings = {k: v for k, v in DAY.items() if k != key}
    weather = Weather.from_strings(strings)
    assert any(word in sentence for sentence in weather.unknown)
    assert np.isnan(weather.dry_pressure_pa) and np.isnan(weather.density_altitude_m)
    for line in corrections(500.0, weather)[1:]:
        assert np.isnan(line.value) and line.verdict == CANNOT_TELL
        assert word in line.reasons[0]


def test_without_humidity_the_factor_is_a_range():
    weather = Weather.from_strings({k: v for k, v in DAY.items() if k != "humidity"})
    lines = by_name(corrections(500.0, weather))
    line = lines["SAE J1349"]
    assert line.verdict == CANNOT_TELL and np.isnan(line.value)
    dry, wet = (
        by_name(corrections(1.0, Weather.from_strings(DAY | {"humidity": h})))["SAE J1349"].factor
        for h in ("0 %", "100 %")
    )
    assert f"{dry:.3f}" in line.reasons[0] and f"{wet:.3f}" in line.reasons[0]
    assert np.isfinite(lines["DIN 70020"].factor)  # total pressure is all it asks


def test_where_it_was_measured_is_asked():
    assert "compressor inlet" in Weather.from_strings(DAY).unknown[-1]
    assert Weather.from_strings(DAY | {"measured_at": "air filter"}).unknown == ()
    assert len(Weather().unknown) == 4


# --- barometers ---


def test_sea_level_and_altitude_make_a_station_barometer():
    strings = {"barometer_sea_level": "29.92 inHg", "altitude": "5280 ft"}
    weather = Weather.from_strings(DAY | strings | {"barometer": ""})
    assert weather.p_cell_pa == pytest.approx(24.64 * 3386.389, rel=1e-3)
    assert "worked out" in weather.evidence["p_cell_pa"].evidence
    assert "0.3 %" in weather.remarks[0]


def test_a_sea_level_barometer_written_as_the_station_s_is_noticed():
    suspect = Weather.from_strings(DAY | {"barometer": "29.92 inHg", "altitude": "5280 ft"})
    assert "barometer_sea_level" in suspect.remarks[0]
    honest = Weather.from_strings(DAY | {"barometer": "24.60 inHg", "altitude": "5280 ft"})
    assert honest.remarks == ()


# --- moisture three ways ---


def test_dew_point_and_wet_bulb_are_psychrolib_s():
    base = {"barometer": "100 kPa", "temperature": "30 °C"}
    wet = Weather.from_strings(base | {"wet_bulb": "20 °C"})
    assert wet.humidity == pytest.approx(psychrolib.GetRelHumFromTWetBulb(30, 20, 1e5), abs=2e-4)
    dew = Weather.from_strings(base | {"dew_point": "58.8 °F"})
    assert dew.humidity == pytest.approx(
        psychrolib.GetRelHumFromTDewPoint(30, (58.8 - 32) / 1.8), abs=2e-4
    )


def test_a_wet_bulb_alone_tells_nothing():
    weather = Weather.from_strings({"wet_bulb": "15 °C"})
    assert np.isnan(weather.humidity)
    assert "temperature and the barometer" in weather.remarks[0]


@pytest.mark.parametrize(
    "strings, words",
    [
        ({"pressure": "1 bar"}, "no 'pressure'"),
        ({"barometer": "29.92"}, "barometer: '29.92' has no unit"),
        ({"barometer": "14 psi gauge"}, "gauge"),
        ({"barometer": "2 bar"}, "2 bar is no barometer"),
        ({"temperature": "300 °C"}, "300 °C is no cell air temperature"),
        ({"humidity": "140 %"}, "140 % is no relative humidity"),
        ({"humidity": "40 %", "dew_point": "3 °C"}, "humidity and dew_point"),
        ({"barometer": "1 bar", "barometer_sea_level": "1 bar"}, "keep the one"),
        ({"barometer_sea_level": "29.92 inHg"}, "needs the altitude"),
        ({"barometer_sea_level": "29.92 inHg", "altitude": "90000 ft"}, "altitude_m is"),
        ({"temperature": "20 °C", "dew_point": "25 °C"}, "dew_point '25 °C' cannot go"),
        (
            {"temperature": "20 °C", "wet_bulb": "-1 °C", "barometer": "1 bar"},
            "wet_bulb '-1 °C' cannot go",
        ),
    ],
)
def test_impossible_strings_are_one_sentence(strings, words):
    with pytest.raises(LogError) as caught:
        Weather.from_strings(strings)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# --- to and from a run ---


@given(
    st.floats(60e3, 108e3),
    st.floats(250, 325),
    st.one_of(st.just(np.nan), st.floats(0, 1)),
    st.sampled_from(["US", "SI"]),
)
@settings(derandomize=True, max_examples=80, deadline=None)
def test_strings_return(p_pa, t_k, humidity, system):
    there = Weather(p_pa, t_k, humidity, "air filter")
    back = Weather.from_strings(there.to_strings(system))
    assert back.p_cell_pa == pytest.approx(p_pa, abs=2)
    assert back.t_cell_k == pytest.approx(t_k, abs=0.006)
    assert back.humidity == pytest.approx(humidity, abs=6e-5, nan_ok=True)
    assert back.measured_at == "air filter"


LOG = """time s,speed rpm,cell temperature °C,barometer kPa,humidity %
0,2000,24,98.1,40
1,2500,25,98.1,42
2,3000,26,98.1,44
3,3500,27,98.1,46
"""


@pytest.fixture
def run(tmp_path):
    def opened(**weather):
        path = tmp_path / "cell.csv"
        path.write_text(LOG, encoding="utf-8")
        return Run.of(read(path, {}), Review(log="cell.csv", weather=weather))

    return opened


def test_the_log_speaks_where_the_review_is_silent(run):
    weather = Weather.of(run())
    assert weather.p_cell_pa == pytest.approx(98.1e3)
    assert weather.t_cell_k == pytest.approx(25.5 + 273.15)
    assert weather.humidity == pytest.approx(0.43)
    assert "mean of column" in weather.evidence["humidity"].evidence


def test_the_review_speaks_first(run):
    stated = Weather.of(run(temperature="20 °C", barometer="97 kPa", humidity="50 %"))
    assert (stated.t_cell_k, stated.p_cell_pa) == (pytest.approx(293.15), pytest.approx(97e3))
    assert stated.humidity == pytest.approx(0.5)
    assert stated.evidence["t_cell_k"].value == "20 °C"
