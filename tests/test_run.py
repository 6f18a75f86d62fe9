"""A log with its review as channels in SI: what is proven, what is asked, what is decided."""

import json

import numpy as np
import pytest

from toolkit.bench import Bench
from toolkit.logs.delays import delay_s, undelayed
from toolkit.logs.power_check import power_identity
from toolkit.logs.question import LogError, Unanswered
from toolkit.logs.read import read
from toolkit.logs.review import Review
from toolkit.logs.run import Run
from toolkit.logs.unit_inference import possible_units

PSI = 6894.757


@pytest.fixture
def run(tmp_path):
    """A run of a log with this text; decisions as keyword arguments of Review."""

    def of(text, **review):
        path = tmp_path / "log.csv"
        path.write_text(text, encoding="utf-8")
        return Run.of(read(path, review.get("file")), Review(log="log.csv", **review))

    return of


def rows(header, *columns):
    lines = [header] + [",".join(f"{v:g}" for v in row) for row in zip(*columns, strict=True)]
    return "\n".join(lines) + "\n"


def keys(run):
    return [q.key for q in run.questions]


SPEED = np.array([0, 0, 0, *range(2000, 6100, 100)], dtype=float)
TIME = np.arange(SPEED.size) / 10 + 0.05
OFF = SPEED == 0


# Gauge or absolute.


def test_engine_off_rows_tell_gauge_from_absolute(run):
    manifold = np.where(OFF, 14.6, 25.0)
    exhaust = np.where(OFF, 0.02, 14.0 + TIME)
    text = "# cell barometer 14.60 psi\n" + rows(
        "time_s,rpm,intake_pressure_psi,exhaust_pressure_psi", TIME, SPEED, manifold, exhaust
    )
    found = run(text)
    assert found.source("p_manifold_pa").reference == "absolute"
    assert found.source("p_exhaust_pa").reference == "gauge"
    assert "engine off" in found.source("p_exhaust_pa").why
    assert found.questions == ()
    assert found.barometer[0] == pytest.approx(14.6 * PSI, rel=1e-6)
    last = found.frame.iloc[-1]
    assert last["p_exhaust_pa"] == pytest.approx((exhaust[-1] + 14.6) * PSI, rel=1e-5)


def test_an_absolute_sensor_at_rest_is_a_barometer(run):
    found = run(rows("rpm,MAP_kPa,boost_psi", SPEED, np.where(OFF, 98.2, 210), np.where(OFF, 0, 9)))
    assert found.questions[0].key == ("columns", "MAP_kPa", "channel")  # both are the manifold's
    settled = found.answer(("columns", "boost_psi", "channel"), "p_compressor_out_pa")
    assert settled.questions == ()
    assert settled.barometer[0] == pytest.approx(98200)
    assert settled.frame["p_compressor_out_pa"].iloc[-1] == pytest.approx(98200 + 9 * PSI, rel=1e-6)


@pytest.mark.parametrize(
    ("header", "values", "reference"),
    [
        ("boost_psi", [-9.5, 14.0], "gauge"),  # below zero
        ("boost_psi", [2.0, 14.0], "gauge"),  # as absolute there would be no boost at all
        ("boost_psi", [2.0, 24.0], ""),
        ("manifold_kPa", [140.0, 220.0], ""),
        ("manifold_kPa_abs", [140.0, 220.0], "absolute"),
        ("Manifold (kPa gauge)", [40.0, 120.0], "gauge"),
        ("manifold_kPa_abs", [-40.0, 120.0], ""),  # header and numbers disagree
    ],
)
def test_reference_without_rows_at_rest(run, header, values, reference):
    found = run(rows(f"rpm,{header}", [3000, 4000], values))
    assert found.settled[1].reference == reference
    asked = ("columns", header, "reference") in keys(found)
    assert asked == (reference == "")


def test_a_sensor_with_a_wrong_zero_is_not_believed(run):
    text = rows("rpm,Baro_kPa,MAP_kPa", SPEED, 0 * SPEED + 98, np.where(OFF, 71.1, 200))
    found = run(text)
    assert "p_manifold_pa" not in found.frame
    assert keys(found) == [("columns", "MAP_kPa", "offset")]
    assert [c for c, _ in found.questions[0].choices] == ["26.90 kPa", "-71.10 kPa"]
    assert "reads 71.10 kPa, the barometer 98.00 kPa" in found.questions[0].evidence
    mended = found.answer(("columns", "MAP_kPa", "offset"), "26.90 kPa")
    assert mended.questions == ()
    as_it_is = found.reviewed(found.review.with_column("MAP_kPa", offset="0 kPa"))
    assert keys(as_it_is) == [("columns", "MAP_kPa", "reference")]
    assert mended.frame["p_manifold_pa"].iloc[[0, -1]].tolist() == pytest.approx([98e3, 226.9e3])


def test_a_low_reading_at_rest_without_a_barometer_is_asked(run):
    found = run(rows("rpm,MAP_kPa", SPEED, np.where(OFF, 71.1, 200)))
    assert "high place" in found.questions[0].evidence


def test_without_a_barometer_gauge_stays_gauge_and_is_asked(run):
    found = run(rows("rpm,boost_psi", SPEED, np.where(OFF, 0, 12.0)))
    assert "p_manifold_pa" not in found.frame
    assert found.frame["p_manifold_gauge_pa"].iloc[-1] == pytest.approx(12 * PSI, rel=1e-6)
    assert keys(found) == [("weather", "barometer")]
    told = found.answer(("weather", "barometer"), "29.23 inHg")
    assert told.frame["p_manifold_pa"].iloc[-1] == pytest.approx(12 * PSI + 98984, rel=1e-4)
    assert told.questions == ()


# Units.


def test_a_column_without_numbers_is_not_asked_about(run):
    found = run("rpm,TPS\n3000,45%\n3100,50%\n")
    assert found.questions == ()
    assert "holds no number" in found.settled[1].why


def test_power_settles_units(run):
    torque = 400 + TIME
    for unit_of_torque, unit_of_power, constant in [
        ("lb-ft", "hp", 5252.113),
        ("N*m", "kW", 9549.297),
        ("N*m", "PS", 7023.52),
        ("N*m", "hp", 7120.91),
        ("lb-ft", "kW", 7043.2),
    ]:
        power = torque * SPEED / constant
        found = run(rows("rpm,torque,power", SPEED, torque, np.round(power, 2)))
        assert found.source("torque_nm").unit == unit_of_torque
        assert found.source("power_w").unit == unit_of_power
        assert found.questions == ()


def test_units_that_nothing_settles_are_asked(run):
    found = run(rows("rpm,torque", SPEED, 400 + TIME))
    assert keys(found) == [("columns", "torque", "unit")]
    assert [c for c, _ in found.questions[0].choices] == ["N*m", "lb-ft"]
    assert "torque_nm" not in found.frame
    answered = found.answer(("columns", "torque", "unit"), "lb-ft")
    assert answered.frame["torque_nm"].iloc[0] == pytest.approx(400.05 * 1.3558179, rel=1e-6)
    with pytest.raises(LogError, match="is no answer"):
        found.answer(("columns", "torque", "unit"), "psi")


@pytest.mark.parametrize("power", [0 * SPEED, SPEED * np.nan, -100 + 0 * SPEED])
def test_a_power_column_without_load_proves_nothing(run, power):
    found = run(rows("rpm,torque_Nm,power_kW", SPEED, 0 * SPEED + 100, power).replace("nan", ""))
    assert found.remarks == ()


def test_power_of_another_shaft_is_flagged(run):
    found = run(rows("rpm,torque_Nm,load_W", SPEED, 0 * SPEED + 100, 2000 + 500 * TIME**2))
    assert "power_w" not in found.frame
    assert "are not the torque and power of one shaft" in found.remarks[0].sentence


def test_the_engines_torque_is_the_one_that_gives_the_power(run):
    torque = 40 + TIME
    power = np.round(torque * SPEED / 5252.113, 3)
    found = run(rows("rpm,dyno_torque,torque,hp", SPEED, 2.5 * torque, torque, power))
    assert found.source("torque_nm").column == "torque"
    assert "2.500 times 'torque'" in found.remarks[0].sentence
    assert found.frame["dyno_torque"].iloc[0] == pytest.approx(2.5 * torque[0])


def test_rows_off_the_identity_are_named(run):
    torque = 40 + TIME
    power = torque * SPEED / 5252.113
    power[20] *= 1.02
    found = run(rows("rpm,torque_lbft,power_hp", SPEED, torque, power))
    assert found.remarks[0].rows == (22,)
    held = power_identity([620.0, 620.0], [6000.0, 6000.0], [708.3, 708.3], ("lb-ft",), ("hp",))
    assert held.holds and abs(held.share[0] - 1) < 1e-4  # 620 lb-ft at 6000 is 708.3 hp


@pytest.mark.parametrize(
    ("channel", "values", "units"),
    [
        ("t_coolant_k", [60, 90], ("°C",)),
        ("t_coolant_k", [150, 195], ("°F",)),
        ("t_exhaust_k", [600, 850], ("°C", "°F", "K")),
        ("p_manifold_pa", [100, 220], ("kPa",)),
        ("p_manifold_pa", [14, 29], ("psi",)),
        ("p_manifold_pa", [1000, 2200], ("mbar",)),
        ("p_manifold_pa", [20, 45], ("kPa", "psi")),
        ("throttle", [0, 100], ("%",)),
        ("throttle", [0, 1], ("fraction",)),
        ("lam", [0.8, 1.1], ("lambda",)),
        ("speed_rpm", [800, 6500], ("rpm",)),
        ("shaft_speed_rpm", [20e3, 120e3], ("rpm",)),
        ("time_s", [0, 0.01, 0.02, 20], ("s",)),
        ("time_s", [0, 10, 20, 20_000], ("ms",)),
        ("time_s", [1551551063922557209, 1551551064922557209], ("ns",)),
        ("time_s", [0, 1, 2, 3600], ("s", "ms")),
        ("air_flow_kg_s", [], ()),
    ],
)
def test_units_that_the_numbers_allow(channel, values, units):
    assert possible_units(values, channel) == units


def test_an_air_fuel_ratio_needs_its_scale(run):
    found = run(rows("rpm,AFR", [3000, 4000], [11.8, 12.5]))
    assert keys(found) == [("columns", "AFR", "unit")]
    gasoline = found.answer(("columns", "AFR", "unit"), "AFR 14.7")
    assert gasoline.frame["lam"].iloc[0] == pytest.approx(0.803, abs=5e-4)


def test_a_fuel_flow_by_volume_asks_for_the_fuel(run):
    found = run(rows("rpm,fuel_flow_ccps", [3000, 4000], [2.0, 3.0]))
    choice = next(c for c, name in found.questions[0].choices if name == "gasoline")
    assert found.answer(found.questions[0].key, choice).frame["fuel_flow_kg_s"].iloc[
        0
    ] == pytest.approx(1.49e-3)


# Names.


def test_equal_names_are_asked_about(run):
    found = run("t;rpm;boost;boost\n" + "0,5;3000;1,5;2,5\n1,0;3100;1,6;2,6\n")
    assert keys(found)[:2] == [
        ("columns", "boost", "channel"),
        ("columns", "boost (2)", "channel"),
    ]
    assert "more than one column" in found.questions[0].evidence
    assert {"boost", "boost (2)"} <= set(found.frame)


def test_unknown_columns_stay_under_their_own_name(run):
    found = run(rows("rpm,Flux capacitor [GW]", [3000, 4000], [1.21, 1.22]))
    assert found.frame["Flux capacitor [GW]"].tolist() == [1.21, 1.22]
    assert "torque_nm" in found.missing
    with pytest.raises(LogError, match="has no torque"):
        found.source("torque_nm")


def test_one_channel_for_two_columns_is_refused(run):
    found = run("rpm;Druck;Druck\n3000;1,5;2,5\n4000;1,6;2,6\n")
    first = found.answer(("columns", "Druck", "channel"), "p_manifold_pa")
    with pytest.raises(LogError, match="'Druck' and 'Druck \\(2\\)' the same channel"):
        first.answer(("columns", "Druck (2)", "channel"), "p_manifold_pa")


def test_a_decided_column_is_not_asked_about_when_another_could_be_the_same(run):
    text = rows("rpm,torque_Nm,torque_lbft", [3000, 4000], [400, 410], [295, 303])
    assert len(run(text).questions) == 2
    settled = run(text, columns={"torque_Nm": {"channel": "torque_nm"}})
    assert keys(settled) == [("columns", "torque_lbft", "channel")]
    assert settled.frame["torque_nm"].tolist() == [400, 410]


# Decisions.


def test_a_sentinel_is_taken_out_by_rule_only(run):
    text = rows("rpm,egt_C", [3000, 4000, 5000], [700, 9999, 800])
    assert run(text).frame["t_exhaust_k"].iloc[1] == pytest.approx(9999 + 273.15)
    told = run(text, columns={"egt_C": {"sentinel": "9999, -1"}})
    assert np.isnan(told.frame["t_exhaust_k"].iloc[1])
    assert "1 cells hold 9999" in told.remarks[0].sentence
    assert told.reading.values("egt_C")[1] == 9999
    with pytest.raises(LogError, match="write numbers, like 9999"):
        run(text, columns={"egt_C": {"sentinel": "none"}})
    with pytest.raises(LogError, match="the sentinel '9999, nan': write"):
        run(text, columns={"egt_C": {"sentinel": "9999, nan"}})


def test_a_delay_shifts_a_channel_by_hand_and_only_there(run):
    lam = 0.8 + 0.1 * (SPEED > 4000)
    text = rows("time_s,rpm,lambda", TIME, SPEED, lam)
    late = run(text, columns={"lambda": {"delay": "0.25 s"}}).frame
    first = {
        name: f["speed_rpm"][f["lam"] > 0.85].min()
        for name, f in (("raw", run(text).frame), ("shifted", late))
    }
    # 1000 rpm/s x 0.25 s = 250 rpm, to the row
    assert first["raw"] - first["shifted"] == pytest.approx(250, abs=50)
    assert late["lam"].isna().sum() == 3  # the log ends before the sensor has answered
    with pytest.raises(LogError, match="the log has no time"):
        run(rows("rpm,lambda", SPEED, lam), columns={"lambda": {"delay": "0.25 s"}})
    with pytest.raises(LogError, match="'5 turns'"):
        run(text, columns={"lambda": {"delay": "5 turns"}})


def test_delay_in_revolutions():
    # 10 revolutions: 100 ms at 6000 rpm, 300 ms at 2000 rpm
    assert delay_s("10 rev", np.array([6000.0, 2000.0, 0.0]), 3)[:2].tolist() == [0.1, 0.3]
    assert np.isnan(delay_s("10 rev", np.array([0.0]), 1)[0])
    with pytest.raises(LogError, match="needs the engine speed"):
        delay_s("10 rev", None, 3)


def test_undelayed_fills_no_gap():
    t = np.arange(6.0)
    values = np.array([0, 1, np.nan, 3, 4, 5.0])
    shifted = undelayed(t, values, 0.5)
    assert np.isnan(shifted).tolist() == [False, True, True, False, False, True]
    assert undelayed(t, values, 0.0).tolist()[3:] == [3, 4, 5]


def test_a_delay_stays_inside_the_pull_where_the_clock_starts_again():
    t = np.tile(np.arange(5.0), 2)
    values = np.concatenate([np.arange(5.0), 100 + np.arange(5.0)])
    shifted = undelayed(t, values, 0.5)
    assert shifted[:4].tolist() == [0.5, 1.5, 2.5, 3.5]
    assert shifted[5:9].tolist() == [100.5, 101.5, 102.5, 103.5]
    assert np.isnan(shifted[[4, 9]]).all()


@pytest.mark.parametrize("column", ["time_s", "rpm"])
def test_a_delay_of_what_delays_are_counted_on_is_refused(run, column):
    text = rows("time_s,rpm,lambda", TIME, SPEED, 0.8 + 0 * TIME)
    with pytest.raises(LogError, match=f"column '{column}' has a delay .* take its delay out of"):
        run(text, columns={column: {"delay": "0.2 s"}})


@pytest.mark.parametrize(
    ("item", "value", "sentence"),
    [
        ("channel", "p_boost", "the channel 'p_boost', which is not known"),
        ("unit", "kg", "the unit 'kg', which does not fit"),
        ("reference", "relative", "write gauge or absolute"),
        ("offset", "3", "has no unit"),
    ],
)
def test_a_decision_that_cannot_be_used_is_named(run, item, value, sentence):
    with pytest.raises(LogError, match=sentence):
        run(rows("rpm,MAP_kPa", [0, 4000], [98, 200]), columns={"MAP_kPa": {item: value}})


def test_decisions_overrule_the_header(run):
    text = rows("rpm,Druck", [0, 4000], [1.0, 2.0])
    decided = {"channel": "p_exhaust_pa", "unit": "bar", "reference": "absolute"}
    found = run(text, columns={"Druck": decided})
    assert found.frame["p_exhaust_pa"].tolist() == [1e5, 2e5]
    assert found.questions == ()
    assert run(text, columns={"Druck": {"channel": "none"}}).questions == ()


# Clocks and flat tops.


def test_a_clock_of_the_day_starts_at_nought_and_a_counter_stays(run):
    assert run("time,rpm\n23:59:59,3000\n00:00:01,3100\n").frame["time_s"].tolist() == [0, 2]
    assert run("time_s,rpm\n5.5,3000\n6.5,3100\n").frame["time_s"].tolist() == [5.5, 6.5]


def test_a_clock_that_runs_backwards_is_remarked(run):
    found = run(rows("time_s,rpm", [0, 0.5, 0.2, 0.7], [1, 2, 3, 4]))
    assert found.remarks[0].rows == (4,)


def test_rows_without_a_time_are_remarked(run):
    found = run("time_s,rpm,torque_Nm\n0.5,3000,400\n1.0,4000,410\nAverage,3500,405\n")
    assert found.remarks[0].rows == (4,)
    assert found.reading.rejected["text"].tolist() == ["Average"]


# The bench.


def test_open_save_and_open_again(tmp_path):
    (tmp_path / "runs").mkdir()
    log = tmp_path / "runs" / "a.csv"
    log.write_text(rows("time_s,rpm,torque", TIME, SPEED, 400 + TIME))
    before = log.read_bytes()
    bench = Bench(tmp_path)
    run = Run.open(bench, "runs/a.csv").answer(("columns", "torque", "unit"), "N*m").save(bench)
    again = Run.open(bench, "runs/a.csv")
    assert again.review == run.review
    assert again.frame.equals(run.frame)
    assert again.source("speed_rpm").confidence == "certain"
    assert again.save(bench).review == again.review  # reasons do not pile up
    assert log.read_bytes() == before
    log.write_text(rows("time_s,rpm,torque", TIME, SPEED, 410 + TIME))
    changed = Run.open(bench, "runs/a.csv")
    assert "no longer the file that was reviewed" in changed.remarks[0].sentence


def test_a_question_about_the_file_is_answered_and_replayed(tmp_path):
    (tmp_path / "runs").mkdir()
    (tmp_path / "runs" / "a.csv").write_text("t;x\n1;4.000\n2;5.500\n")
    bench = Bench(tmp_path)
    with pytest.raises(Unanswered) as asked:
        Run.open(bench, "runs/a.csv")
    key = asked.value.question.key
    Review.load(bench, "runs/a.csv").answered(key, "comma").save(bench, "runs/a.csv")
    assert Run.open(bench, "runs/a.csv").frame["x"].tolist() == [4000, 5500]


# Logs and cases of others.


def test_case_absolute_or_gauge(shared_cases):
    found = Run.of(read(shared_cases / "c01_abs_or_gauge.csv"))
    expected = json.loads((shared_cases / "c01_abs_or_gauge.expect.json").read_text())["expect"]
    manifold, exhaust = found.source("p_manifold_pa"), found.source("p_exhaust_pa")
    assert expected[manifold.column].startswith(manifold.reference)
    assert expected[exhaust.column].startswith(exhaust.reference)
    at = found.frame[found.frame["speed_rpm"] == 6000].iloc[0]
    barometer = found.barometer[0]
    boost = (at["p_manifold_pa"] - barometer) / PSI
    back = (at["p_exhaust_pa"] - barometer) / PSI
    assert boost == pytest.approx(expected["gauge_boost_at_6000_psi"], abs=0.05)
    assert back / boost == pytest.approx(expected["exhaust_to_boost_gauge_ratio_at_6000"], abs=0.01)
    assert at["p_exhaust_pa"] / at["p_manifold_pa"] == pytest.approx(
        expected["exhaust_to_intake_absolute_ratio_at_6000"], abs=0.01
    )
    assert found.barometer[1].evidence == "stated in the file"


def test_case_messy_import(shared_cases):
    found = Run.of(read(shared_cases / "c02_messy_import.csv"))
    at = found.frame[found.frame["speed_rpm"] == 6000].iloc[0]
    power_hp = at["torque_nm"] * 6000 * 2 * np.pi / 60 / 745.69987
    assert power_hp == pytest.approx(674.1, abs=0.5)
    assert keys(found) == [("columns", "Druck", "channel"), ("columns", "Druck (2)", "channel")]


def test_dyno_log_without_units(shared_data):
    """A student race team's log: nanosecond clock, no units, one torque 1.504 times the other."""
    found = Run.of(read(shared_data / "logs" / "fsae_engineData.csv"))
    assert found.questions == ()
    assert found.source("time_s").unit == "ns"
    assert (found.source("torque_nm").column, found.source("torque_nm").unit) == ("torque", "lb-ft")
    assert found.source("power_w").unit == "hp"
    assert "1.504 times 'torque'" in found.remarks[0].sentence
    frame = found.frame
    assert frame["time_s"].iloc[0] == 0 and 35 < frame["time_s"].iloc[-1] < 36
    loaded = frame[frame["power_w"] > 0.1 * frame["power_w"].max()]
    share = loaded["torque_nm"] * loaded["speed_rpm"] * np.pi / 30 / loaded["power_w"]
    assert share.between(0.998, 1.002).all()


def test_torque_that_does_not_give_the_load(shared_data):
    found = Run.of(read(shared_data / "logs" / "riim_diesel_biodiesel.csv"))
    assert "17 to 66 %" in found.remarks[0].sentence
    assert "power_w" not in found.frame
    assert found.frame["torque_nm"].iloc[0] == pytest.approx(3.09)


def test_a_chassis_log_says_what_it_lacks(shared_data):
    found = Run.of(read(shared_data / "logs" / "anl_d3_61811013.txt"))
    assert {"speed_rpm", "torque_nm", "power_w"} <= set(found.missing)
    assert "no pull can be found" in found.remarks[-1].sentence
    assert found.frame["vehicle_speed_m_s"].max() > 10
    assert found.questions[0].key == ("columns", "Eng_FuelFlow_Direct_DI[ccps]", "unit")


def test_every_station_of_a_simulated_engine(shared_data):
    found = Run.of(read(shared_data / "logs" / "sim_turbo_si_step.csv"))
    for question in found.questions:
        found = found.answer(question.key, "absolute")
    assert found.questions == ()
    last = found.frame.iloc[-1]
    assert last["speed_rpm"] == pytest.approx(157.08 * 30 / np.pi)
    assert last["p_exhaust_pa"] > last["p_turbine_out_pa"] > 1e5


def test_an_air_fuel_ratio_under_the_name_of_lambda_is_asked_about(run):
    text = rows("time_s,rpm,Lambda", TIME, SPEED, 12.4 + 0.01 * TIME)
    found = run(text)
    assert keys(found) == [("columns", "Lambda", "unit")]
    assert "lam" not in found.frame
    assert {c for c, _ in found.questions[0].choices} >= {"AFR 14.7", "lambda"}
    told = found.answer(found.questions[0].key, "AFR 14.7")
    assert told.frame["lam"].iloc[0] == pytest.approx(12.4 / 14.7, rel=1e-3)
    assert keys(run(rows("time_s,rpm,Lambda", TIME, SPEED, np.where(OFF, 8.0, 0.85)))) == []


def test_milliseconds_under_seconds_are_remarked(run):
    def said(time):
        return [r.sentence for r in run(rows("Time (s),rpm", time, SPEED)).remarks]

    assert any("50 s apart: if the clock counts milliseconds" in s for s in said(TIME * 500))
    assert not any("milliseconds" in s for s in said(TIME))
