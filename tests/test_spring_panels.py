"""The panels of the spring check driven as a hand would, without a screen."""

import shutil

import pytest

from tests.conftest import ROOT
from toolkit.analysis import gate_check
from toolkit.explain.kept import open_finding
from toolkit.panels.base import UNITS
from toolkit.panels.coil_spring import CoilPanel, StandPanel, WirePanel
from toolkit.panels.spring_check import TYPED, GatePanel
from toolkit.panels.valve_springs import ValveSpringPanel

PSI = 6894.757293168361


@pytest.fixture(autouse=True)
def us():
    UNITS.system = "US"


@pytest.fixture
def gate():
    return GatePanel(
        ROOT / "data_demo", "runs/2026-04-18_3_small_20psi_dyno.csv", "builds/small.toml", 20 * PSI
    )


def test_gate_panel_follows_the_log_and_the_gate(gate):
    assert gate.trouble.value == ""
    assert gate.partner.value.endswith("small_20psi_ecu.csv")
    assert gate.result.kind == gate_check.PUSHED
    gate.source.value = "runs/2026-04-18_6_large_20psi_dyno.csv"
    assert gate.partner.value.endswith("large_20psi_ecu.csv")
    assert gate.result.kind == gate_check.HOLDS
    gate.source.value = "runs/2026-04-18_3_small_20psi_dyno.csv"
    gate.diaphragm.type("110 mm")
    assert gate.result.kind == gate_check.SHUT


def test_gate_panel_draws_the_tried_gate(gate):
    before = gate.sketch.picture.finding, gate.window.picture.finding, gate.flow.picture.finding
    gate.try_spring.value = 30e3
    after = gate.sketch.picture.finding, gate.window.picture.finding, gate.flow.picture.finding
    assert before[:2] != after[:2]
    assert "pushed open from" in gate.outlook.value
    assert gate.result.kind == gate_check.PUSHED  # the gate as it was run is judged, not the tried
    gate.try_valve.value = 0.0161
    assert gate.flow.picture.finding != before[2]


def test_typed_points_and_a_line_that_cannot_be_read(gate):
    gate.source.value = TYPED
    gate.target.type("14 psi")
    assert gate.result.kind == gate_check.CANNOT_TELL
    assert "Log top-port pressure" in gate.verdict.value
    picture = gate.window.picture
    gate.typed.control.value = "3000 rpm; 14 psi"
    assert "line 1" in gate.trouble.value and "not 3" in gate.trouble.value
    assert gate.window.picture is picture


def test_top_port_typed_as_a_fourth_number_settles_it(gate):
    gate.source.value = TYPED
    gate.target.type("14 psi")
    rows = [
        (4000, 14, 13, 14),
        (5000, 14, 17, 14),
        (6000, 13.2, 18.6, 13.2),
        (6500, 12.6, 19.2, 12.6),
    ]
    gate.typed.control.value = "\n".join("{}; {} psi; {} psi; {} psi".format(*r) for r in rows)
    assert gate.trouble.value == ""
    assert gate.result.kind == gate_check.SHUT
    gate.spring.type("4 psi")
    assert gate.result.kind == gate_check.PUSHED


def test_numbers_stand_side_by_side_and_follow_the_published_rule(gate):
    # Area ratio 0.25 and 14 psi: 16 psi of back pressure crack it at 10.0 psi (common practice).
    gate.source.value = TYPED
    gate.state.value = "as it was run"
    gate.valve.type("35 mm")
    gate.diaphragm.type("70 mm")
    gate.spring.type("14 psi")
    gate.typed.control.value = "5000; 10; 15.9\n6000; 10; 16"
    assert "<td>14.0 psi</td>" in gate.numbers.value
    assert "back pressure at 6000 rpm</td><td>10.0 psi</td>" in gate.numbers.value


def test_a_gate_nobody_described_is_asked_for(tmp_path):
    (tmp_path / "runs").mkdir()
    panel = GatePanel(tmp_path)
    assert "type its valve diameter, diaphragm diameter, spring" in panel.trouble.value
    for field, text in (
        (panel.valve, "36 mm"), (panel.diaphragm, "70 mm"), (panel.spring, "6 psi"),
        (panel.rate, "5 N/mm"), (panel.lift, "10 mm"),
    ):  # fmt: skip
        field.type(text)
    assert panel.trouble.value == "" and panel.window.picture is not None


def test_target_far_above_the_spring_is_cautioned(gate):
    assert "times the" in gate.notes.value and "invented" in gate.notes.value
    gate.alone.type("11 psi")
    assert "times the" not in gate.notes.value
    assert "11.0 psi measured" in gate.notes.value


def test_second_spring_adds_up_and_needs_its_rate(gate):
    alone = gate.gate
    gate.second.type("4 psi")
    assert "rate is not typed" in gate.trouble.value
    gate.second_rate.type("3 N/mm")
    assert gate.trouble.value == ""
    assert gate.gate.rating_gauge_pa - alone.rating_gauge_pa == pytest.approx(4 * PSI)
    assert gate.gate.rate_n_m - alone.rate_n_m == pytest.approx(3000)
    assert gate.result.kind != gate_check.PUSHED


def test_unit_system_changes_every_word(gate):
    UNITS.system = "SI"
    assert " kPa" in gate.verdict.value and " psi" not in gate.verdict.value
    assert "kPa" in gate.window.picture.panels[0].title
    assert " N " in gate.sketch.picture.description


def test_valve_panel_says_when_the_valve_floats_and_what_pressure_leaves():
    panel = ValveSpringPanel()
    assert panel.trouble.value == "" and "keeps" in panel.contact.picture.finding
    panel.intake.type("2.02 in")
    assert panel.valves[0].head_load_n / 4.4482216 == pytest.approx(64, abs=0.5)
    panel.cylinder.value = "strokes"
    assert panel.valves[0].head_load_n < 0 < panel.valves[1].head_load_n
    limit = panel.train.limit_rpm
    panel.inner.type("20 lb")
    assert "needs load and rate" in panel.trouble.value
    panel.inner_rate.type("100 lb/in")
    assert panel.train.limit_rpm > limit
    panel.bore.type("22 mm")
    panel.inner_outer.type("22.2 mm")
    assert "tight in the outer by 0.004 in" in panel.words.value
    panel.nose.type("4000 m/s²")
    assert "asks for" in panel.words.value
    panel.mass.type("300 g")
    assert "leaves its cam" in panel.contact.picture.finding
    panel.table.control.value = "0; 0\n1; 0.1"
    assert "8 rising cam angles" in panel.trouble.value


def test_crank_degrees_halve_the_cam():
    panel = ValveSpringPanel()
    limit = panel.train.limit_rpm
    panel.angles.value = 0.5
    assert panel.train.limit_rpm == pytest.approx(limit / 2, rel=0.02)


def test_coil_panel_refuses_heights_that_do_not_fall():
    panel = CoilPanel()
    rate = float(panel.spring.rate_n_m)
    panel.turns.type("8.2")
    assert float(panel.spring.rate_n_m) == pytest.approx(rate * 4.1 / 6.2)
    panel.open.type("2 in")
    assert "heights must fall" in panel.trouble.value
    panel.open.type("0.9 in")
    assert "bind before" in panel.words.value
    panel.outer.type("0.3 in")
    assert "more than two wires" in panel.trouble.value
    panel.outer.type("1.18 in")
    panel.open.type("1.4 in")
    panel.endurance.type("60 kpsi")
    assert "by yield and the endurance typed" in panel.words.value


def test_wire_panel_finds_wires_of_the_rate():
    panel = WirePanel()
    assert "fits" in panel.found.value
    assert panel.candidates.rate_n_m == pytest.approx(34e3)
    panel.stroke.type("1 in")
    assert "0 of " in panel.found.value


def test_stand_panel_takes_both_ways_of_reading():
    panel = StandPanel()
    forces = panel.fit.rate_n_m
    panel.way.value = "crack"
    assert panel.trouble.value == ""
    assert panel.fit.rate_n_m == pytest.approx(forces, rel=0.1)
    panel.readings.control.value = "0; 6.1"
    assert "two different travels" in panel.trouble.value


# ---- what stands together ----


@pytest.fixture
def own(tmp_path):
    """A copy of the demo bench, with a build that names no gate and a log without back pressure."""
    skip = shutil.ignore_patterns("generator", "*.py", "bad", "explain")
    shutil.copytree(ROOT / "data_demo", tmp_path / "bench", ignore=skip)
    bench = tmp_path / "bench"
    small = (bench / "builds/small.toml").read_text(encoding="utf-8")
    bare = small[: small.index("[turbo.gate]")]
    (bench / "builds/nogate.toml").write_text(bare, encoding="utf-8")
    rows = (bench / "runs/2026-04-18_3_small_20psi_dyno.csv").read_text().splitlines()
    head = next(k for k, row in enumerate(rows) if "Exhaust Manifold" in row)
    place = rows[head].split(",").index("Exhaust Manifold Pressure (psig)")
    cut = [
        ",".join(c for k, c in enumerate(row.split(",")) if k != place) if n >= head else row
        for n, row in enumerate(rows)
    ]
    (bench / "runs/nobp.csv").write_text("\n".join(cut))
    return bench


def test_what_is_saved_is_what_was_judged(own):
    panel = GatePanel(own, "runs/2026-04-18_3_small_20psi_dyno.csv", "builds/small.toml", 20 * PSI)
    said, drawn = panel.verdict.value, panel.window.picture.finding
    panel.partner.value = ""
    panel.source.value = "runs/nobp.csv"
    panel.target.type("10 psi")
    assert panel.trouble.value and panel.verdict.value != "" and "20.0 psi" in said
    panel.try_spring.value = 80e3
    panel.keep.save.click()
    (name,) = panel.bench.findings()
    kept = open_finding(panel.bench, name.split("/")[1])
    assert dict(kept.card)["Asked"] == "20.0 psi of boost"
    assert "runs/nobp.csv" not in [n for n, _ in kept.sources]
    assert drawn and panel.trouble.value  # the fields still cannot be judged


def test_a_build_without_a_gate_says_where_to_type(own):
    log = "runs/2026-04-18_3_small_20psi_dyno.csv"
    opened = GatePanel(own, log, "builds/nogate.toml", 20 * PSI)
    assert "names no gate: type it below" in opened.build.words
    assert "the gate is not described yet" in opened.trouble.value
    opened.try_spring.value = 50e3
    opened.keep.save.click()
    assert "nothing is judged yet" in opened.trouble.value
    opened.build.value = "builds/small.toml"
    assert opened.trouble.value == "" and opened.build.words == ""
    opened.build.value = "builds/nogate.toml"
    assert opened.valve.value is None and "not described yet" in opened.trouble.value


@pytest.mark.parametrize("old, new", [("10.2 cm²", "40 cm²"), ("38.5 cm²", "6.5 cm²")])
def test_an_odd_gate_is_shown_as_it_is(own, old, new):
    small = own / "builds/small.toml"
    small.write_text(small.read_text("utf-8").replace(old, new), encoding="utf-8")
    panel = GatePanel(own, "runs/2026-04-18_3_small_20psi_dyno.csv", "builds/small.toml", 20 * PSI)
    assert panel.trouble.value == ""
    assert panel.try_valve.value == panel.valve.value


def test_a_spring_that_holds_more_than_the_target_cannot_hold_it(gate):
    gate.target.type("5 psi")
    assert "It cannot hold 5.0 psi" in gate.outlook.value
    gate.alone.type("0 psi")
    assert gate.trouble.value == "" and "holds no boost" in gate.notes.value


def test_typed_rows_stay_the_same_quantities_in_other_units(gate):
    gate.source.value = TYPED
    gate.target.type("14 psi")
    gate.typed.control.value = "# my pull\n5500; 13; 19\n6500; 12.6; 19.2 psi"
    before = gate.seen.boost_gauge_pa
    UNITS.system = "SI"
    assert gate.trouble.value == "" and gate.seen.boost_gauge_pa == pytest.approx(before)
    assert gate.typed.control.value.startswith("# my pull\n5500 rpm; 13 psi; 19 psi\n")
    UNITS.system = "US"
    gate.typed.control.value = "5500; -13; 19"
    assert "no boost above zero" in gate.trouble.value


def test_creep_is_worked_out_at_the_speeds_of_the_log(gate):
    gate.source.value = TYPED
    gate.typed.control.value = "2000; 14; 9\n3000; 14; 13\n4000; 14; 17"
    low = gate.flow.picture.x_limits
    gate.typed.control.value = "5000; 14; 17\n6000; 14; 18\n6700; 14; 19"
    assert gate.flow.picture.x_limits != low


def test_a_coil_that_cannot_be_wound_is_said():
    panel = CoilPanel()
    panel.wire.type("14 mm")
    assert "this spring cannot be wound" in panel.trouble.value or "wire" in panel.wire.words


def test_a_retainer_that_touches_is_not_unknown():
    panel = ValveSpringPanel()
    panel.gap.type("0 mm")
    assert "not measured" not in panel.sheet.value.split("retainer")[-1][:200]
