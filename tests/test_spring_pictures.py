"""What the pictures of gate, valves and coils say and hold, without a screen."""

import numpy as np
import pytest

from toolkit.analysis.gate_log import GateLog, along
from toolkit.analysis.valve_check import ClosedValve, Train
from toolkit.charts import coil_picture, gate_picture, valve_picture
from toolkit.charts.live import LiveChart
from toolkit.physics import gate as gates
from toolkit.physics.cam import Lobe
from toolkit.physics.gate import Gate
from toolkit.physics.springs import CoilSpring, fit_rate

PSI = 6894.757293168361
GATE = Gate(10e-4, 38e-4, 42e3 * 38e-4, 5e3, 0.01, ports=2, lever_ratio=1.2)
SPEED = np.arange(2500.0, 6600, 100)
LOG = GateLog(SPEED, 0 * SPEED + 20 * PSI, np.linspace(10, 32, SPEED.size) * PSI)


@pytest.mark.parametrize("lift", [0.0, 0.004])
def test_drawn_forces_are_the_balance(lift):
    forces = gate_picture.forces_n(GATE, 160e3, 120e3, 0.7, lift)
    opens, shuts = forces["back pressure"] + forces["boost"], forces["spring"] + forces["top port"]
    net = gates.net_force_n(GATE, 160e3, 120e3 * 0.3, lift)
    assert opens - shuts == pytest.approx(net)


def highest(panel):
    return max(s.y.max() for s in panel.shapes if s.colour == "#616e7c")


def test_sketch_moves_with_the_valve_and_says_what_it_does():
    shut = gate_picture.free_body(GATE, 60e3, 100e3, 1.0, "US", 4000)
    opened = gate_picture.free_body(GATE, 250e3, 100e3, 1.0, "US", 4000)
    assert "At 4000 rpm: held shut with" in shut.finding and "lb to spare" in shut.finding
    assert "open by" in opened.finding or "wide open" in opened.finding
    assert highest(opened.panels[0]) > highest(shut.panels[0])
    assert "lever ratio of 1.2" in shut.method
    assert " N to spare" in gate_picture.free_body(GATE, 60e3, 100e3, 1.0, "SI").finding


def test_window_shows_measured_solid_and_worked_out_dashed():
    fitted = along(GATE, LOG, 20 * PSI)
    tried = along(GATE.with_rating(90e3), LOG, 20 * PSI)
    picture = gate_picture.window(LOG, 20 * PSI, fitted, tried, "US", 6000)
    evidence = {ln.label: ln.evidence for p in picture.panels for ln in p.lines if ln.label}
    assert evidence["back pressure"] == "measured" and evidence["fitted spring"] == "worked out"
    assert evidence["spring alone"] == "estimated"
    over = picture.panels[1].bands[1]
    shaded = np.isfinite(over.high)
    assert (LOG.exhaust_drop_pa[shaded] > fitted.holding_drop_pa[0]).all() and shaded.any()
    assert "psi to" in picture.finding and "6500 rpm" in picture.finding
    alone = gate_picture.window(LOG, 20 * PSI, fitted, None, "SI")
    assert "fitted" in alone.finding and "kPa" in alone.finding
    LiveChart(picture).show(alone)


SPRING = CoilSpring(4e-3, 27e-3, 7.5, 50e-3)


def test_coil_picture_marks_the_heights_and_leaves_out_what_is_solid():
    picture = coil_picture.coil(SPRING, {"closed": 0.042, "open": 0.034, "too far": 0.02}, "SI")
    marks = [m.text for m in picture.panels[0].marks]
    assert len(marks) == 2 and marks[0].startswith("closed, 42.00 mm: ")
    load = picture.panels[0].lines[0]
    assert load.y[-1] == pytest.approx(float(SPRING.force_n(SPRING.solid_m)), rel=1e-6)
    labels = [ln.label for ln in picture.panels[1].lines]
    assert labels == ["Wahl", "Bergsträsser", "takes a set"]
    sketch = coil_picture.coil_sketch(SPRING, {"free": 0.05, "solid": 0.030}, "SI")
    LiveChart(sketch)
    assert "solid, 30.00 mm" in sketch.description
    wires = [s for s in sketch.panels[0].shapes if s.outline]
    free, solid = wires[: len(wires) // 2], wires[len(wires) // 2 :]
    assert max(s.y.max() for s in free) > max(s.y.max() for s in solid)
    # Solid, the wires of one side lie on each other: a wire apart from middle to middle.
    side = sorted(s.y.mean() for s in solid[::2])
    width = solid[0].y.max() - solid[0].y.min()
    assert np.diff(side) == pytest.approx(width, rel=0.02)


def test_closed_valves_name_the_one_in_trouble():
    valves = [
        ClosedValve("intake", 0.033, 20 * PSI, 0.0, 250.0, "late in the exhaust stroke"),
        ClosedValve("exhaust", 0.0285, 26 * PSI, 20 * PSI, 230.0, "in the intake stroke"),
    ]
    picture = valve_picture.closed_valves(valves, "US")
    assert "intake valve's seat load" in picture.finding
    words = [m.text for m in picture.panels[0].marks]
    assert "late in the exhaust stroke" in words
    weak = ClosedValve("exhaust", 0.0285, 60 * PSI, 0.0, 100.0)
    assert "lifts the exhaust valve" in valve_picture.closed_valves([weak, valves[0]], "SI").finding


def test_contact_picture_turns_when_the_valve_floats():
    angle = np.arange(-66.0, 67)
    lift = np.round(Lobe(334, 598, 0.0096).at(466 + 2 * angle), 5)
    one = Train(angle, lift, 1e-5, 250.0, 34e3, 0.13, surge_hz=480.0)
    slow = valve_picture.contact(one, 0.8 * one.limit_rpm, "US")
    fast = valve_picture.contact(one, 1.1 * one.limit_rpm, "US")
    assert "the cam keeps" in slow.finding and "leaves its cam" in fast.finding
    assert np.isnan(slow.panels[1].bands[1].high).all()
    assert np.isfinite(fast.panels[1].bands[1].high).any()
    # Stems stand at 120 f / n.
    assert [ln.x[0] for ln in slow.panels[2].lines][-1] == pytest.approx(120 * 480 / 40)
    unknown = Train(angle, lift, 1e-5, 250.0, 34e3, 0.13)
    assert "not known" in valve_picture.contact(unknown, 5000, "US").panels[2].title


def test_stand_picture_gives_the_rate_with_its_error():
    travel, force = [0, 2e-3, 4e-3, 6e-3], [101, 115, 133, 148]
    picture = coil_picture.stand(travel, force, fit_rate(travel, force), "SI")
    assert picture.finding == "Rate 7.95 N/mm, ± 1.12 N/mm (95 %)"
    two = coil_picture.stand(travel[:2], force[:2], fit_rate(travel[:2], force[:2]), "SI")
    assert "take a third" in two.finding
    assert np.isnan(two.panels[0].bands[0].low).all()
