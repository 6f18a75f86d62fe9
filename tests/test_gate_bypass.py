"""What the gate must pass against what it can, by hand and by the demo build's match."""

from dataclasses import replace

import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit.analysis.gate_bypass import bypass, demand
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.build.pull import pull
from toolkit.physics import gate as g
from toolkit.physics.gate import Gate

PSI = 6894.757293168361
GATE = Gate(16e-4, 36e-4, 7 * PSI * 36e-4, 6000.0, 0.011, ports=2)


def test_creep_is_what_the_open_gate_cannot_pass():
    p3, p4 = 1.9e5, 1.05e5
    found = bypass(GATE, np.array([0.01, 0.05, 0.4]), 8 * PSI, p3, p4, 1100.0, 0.85)
    assert (found.most_kg_s <= found.open_kg_s).all()
    assert found.creeps.tolist() == [False, False, True]
    # The lift with the control off balances the forces, and its curtain passes that flow.
    lift = g.lift_m(GATE, p3 - p4, 8 * PSI)
    share = g.flow_area_m2(GATE, lift) / g.flow_area_m2(GATE, GATE.max_lift_m)
    assert found.most_kg_s / found.open_kg_s == pytest.approx(share)


def test_unknown_demand_is_not_called_creep():
    found = bypass(GATE, np.nan, 8 * PSI, 1.9e5, 1.05e5, 1100.0, 0.85)
    assert not found.creeps


@pytest.fixture(scope="module")
def build():
    return read_build(Bench(ROOT / "data_demo"), "builds/small.toml")


def test_demand_is_what_the_matched_gate_passes(build):
    # Second route: where the gated match holds its target, its gate passes just the demand.
    speed, target = np.arange(3200.0, 5000, 200), 14 * PSI
    asked = demand(build, speed, target)
    m = pull(build, speed, target).match
    passed = m.turbine_flow_kg_s[:, 0] * m.bypass_share[:, 0] / (1 - m.bypass_share[:, 0])
    assert (m.regime == 2).all()
    assert asked.needed_kg_s == pytest.approx(passed, rel=1e-5)
    flow = g.flow_kg_s(
        build.turbo.gate.gate, m.gate_lift_m[:, 0], m.p_exhaust_pa[:, 0], m.p_turbine_out_pa[:, 0],
        asked.t_exhaust_k, 1.31, 288.0,
    )  # fmt: skip
    assert flow == pytest.approx(passed, rel=0.03)  # round gas numbers by hand
    assert not asked.against(build.turbo.gate.gate).creeps.any()


def test_a_small_gate_creeps_in_the_same_demand(build):
    asked = demand(build, np.arange(3200.0, 6600, 200), 8 * PSI)
    whole = build.turbo.gate.gate
    small = replace(whole, valve_area_m2=whole.valve_area_m2 / 8, preload_n=whole.preload_n / 4)
    assert asked.against(small).creeps[-1]
