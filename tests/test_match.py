"""The match: balances, a second solver, equivalences, regimes, random builds, trade facts."""

from dataclasses import fields, replace

import numpy as np
import pytest

from tests.match_cases import invented_map, random_points
from tests.scalar_match import residuals, solve
from toolkit.physics import compressor, gas, turbine
from toolkit.physics.gate import Gate, net_force_n
from toolkit.physics.match import TOLERANCE, match
from toolkit.physics.points import Points, Regime

PSI = 6894.757293168361
MAPS = [invented_map(), invented_map(0.25, 180e3, 3.2), invented_map(0.8, 100e3, 4.5)]
ATOMS = (gas.GASOLINE_H_TO_C, 0.0)


def plain(**changed):
    """A 3-litre engine at 5000 rpm on 14 psi, nothing in the way, bypass free."""
    given = {
        "volume_flow_m3_s": 0.95 * 3e-3 * 5000 / 120, "breathing_linear": 0, "breathing_log": 0,
        "p_cell_pa": 101325.0, "t_cell_k": 298.15, "r_intake_j_kgk": 287.05,
        "p_target_pa": 101325 + 14 * PSI, "intake_loss": 0, "cooler_loss": 0, "exhaust_loss": 0,
        "effectiveness": 0.7, "t_medium_k": 303.15, "exhaust_per_air": 1.08, "t_exhaust_k": 1150.0,
        "lam": 0.85, "map": 0, "turbine": 0, "turbine_area_m2": 8e-4, "turbine_efficiency": 0.7,
        "mechanical_efficiency": 0.97, "turbos": 1,
    }  # fmt: skip
    return Points(**(given | changed))


def test_energy_and_mass_balance_to_1e_9():
    p = random_points(3000, seed=5).flat()
    made = match(p, MAPS)
    ok = made.regime <= Regime.SPRING_ABOVE_TARGET
    assert ok.sum() > 1000
    ratio = made.p_exhaust_pa / made.p_turbine_out_pa
    work = p.turbine_efficiency[ok] * turbine.isentropic_work_j_kg(
        p.t_exhaust_k[ok], ratio[ok], p.lam[ok]
    )
    given = made.turbine_flow_kg_s[ok] * work * p.mechanical_efficiency[ok]
    assert given == pytest.approx(made.compressor_power_w[ok], rel=1e-9)
    heated = gas.h_air_j_kg(made.t_compressor_out_k) - gas.h_air_j_kg(p.t_cell_k)
    taken = made.air_flow_kg_s * heated
    assert taken[ok] == pytest.approx(made.compressor_power_w[ok], rel=1e-9)
    exhaust = made.air_flow_kg_s * p.exhaust_per_air
    assert (made.turbine_flow_kg_s + made.bypass_share * exhaust)[ok] == pytest.approx(
        exhaust[ok], rel=1e-12
    )


def test_flow_through_the_turbine_is_what_its_area_passes():
    p = random_points(2000, seed=6).flat()
    made = match(p, MAPS)
    ok = made.regime <= Regime.SPRING_ABOVE_TARGET
    passed = turbine.flow_kg_s(
        p.turbine_area_m2[ok] * p.turbos[ok], made.p_exhaust_pa[ok], made.p_turbine_out_pa[ok],
        p.t_exhaust_k[ok], p.lam[ok],
    )  # fmt: skip
    assert passed == pytest.approx(made.turbine_flow_kg_s[ok], rel=1e-8)


def test_engine_takes_in_what_comes():
    p = random_points(2000, seed=7).flat()
    made = match(p, MAPS)
    ok = made.regime <= Regime.SPRING_ABOVE_TARGET
    over = made.p_exhaust_pa / made.p_manifold_pa - 1
    factor = (1 + p.breathing_linear * over) * np.exp(p.breathing_log * over)
    volume = made.air_flow_kg_s * p.r_intake_j_kgk * made.t_charge_k / made.p_manifold_pa
    assert volume[ok] == pytest.approx((factor * p.volume_flow_m3_s)[ok], rel=TOLERANCE)


def test_against_a_scalar_solver_per_point():
    """scipy's brentq inside brentq, with the public functions instead of the tables."""
    p = random_points(200, seed=11).flat()
    p = replace(p, gated=np.zeros(p.map.size, bool))
    made = match(p, MAPS)
    ok = np.flatnonzero(made.regime <= Regime.HOLDING)[:8]
    assert len(ok) == 8
    for i in ok:
        one = p.take(i)
        _, _, state = solve(one, MAPS)
        # The scalar route divides by the map's efficiency, ours reads the map's work.
        assert state["p_manifold"] == pytest.approx(made.p_manifold_pa[i], rel=1e-3)
        assert state["p_exhaust"] == pytest.approx(made.p_exhaust_pa[i], rel=1e-3)
        assert state["air"] == pytest.approx(made.air_flow_kg_s[i], rel=1e-3)


def test_residuals_by_the_public_functions():
    """The solution put into the equations as the scalar route writes them."""
    p = random_points(1500, seed=12).flat()
    p = replace(p, gated=np.zeros(p.map.size, bool))
    made = match(p, MAPS)
    for i in np.flatnonzero(made.regime <= Regime.HOLDING)[:60]:
        m = MAPS[p.map[i]]
        low, high = m.line_speeds_rpm[[0, -1]]
        share = (made.corrected_speed_rpm[i] - low) / (high - low)
        breathing, control, _ = residuals(p.take(i), m, share, made.map_position[i])
        assert abs(breathing) < 1e-3
        assert abs(control) < 2e-3


# PR, efficiency product, T3, then p3/p4 and p3/p2: arithmetic on the closed form with constant
# gas properties (AFR 12.5, cp 1005 and 1150, gamma 1.4 and 1.33, T1 298.15 K), the form of
# Watson & Janota (1982) and Heywood (1988), ch. 6.
CLOSED_FORM = [
    (2.0, 0.40, 1150, 1.63520), (2.0, 0.45, 1150, 1.54352), (2.0, 0.50, 1000, 1.56853),
    (2.0, 0.50, 1150, 1.4747573), (2.0, 0.50, 1250, 1.42760), (2.0, 0.55, 1150, 1.42132),
    (1.5, 0.50, 1150, 1.2376836), (2.5, 0.50, 1150, 1.7173290), (3.0, 0.50, 1150, 1.9687800),
]  # fmt: skip


@pytest.mark.parametrize("ratio, product, t3, expansion", CLOSED_FORM)
def test_expansion_ratio_near_the_closed_form(ratio, product, t3, expansion):
    """Varying properties ask for a little less expansion than the constants do: rich exhaust
    gives more work, and air takes as good as the same."""
    work = compressor.isentropic_work_j_kg(298.15, ratio) / (product * (1 + 1 / 12.5))
    z = np.linspace(0.01, 1.2, 4000)
    given = turbine.isentropic_work_j_kg(t3, np.exp(z), 12.5 / 14.6)
    ours = float(np.exp(np.interp(work, given, z)))
    assert 0.93 < (ours - 1) / (expansion - 1) < 0.96


@pytest.mark.parametrize("bypass", [0.1, 0.2, 0.3])
def test_bypass_is_worth_as_much_efficiency(bypass):
    """A share x past the turbine equals a turbine worse by the factor 1 - x (one line of
    algebra on the energy balance), whatever the gas does."""
    m = invented_map(efficiency=0.75)
    base = match(plain(), [m])
    x = float(base.bypass_share[0])
    assert base.regime[0] == Regime.HOLDING and x > 0.3
    # The same work from all of the exhaust through a turbine larger and worse in proportion.
    other = match(plain(turbine_area_m2=8e-4 / (1 - x), turbine_efficiency=0.7 * (1 - x)), [m])
    assert float(other.bypass_share[0]) == pytest.approx(0, abs=1e-7)
    assert other.p_exhaust_pa == pytest.approx(base.p_exhaust_pa, rel=1e-8)
    part = match(
        plain(turbine_area_m2=8e-4 / (1 - bypass), turbine_efficiency=0.7 * (1 - bypass)), [m]
    )
    assert part.p_exhaust_pa == pytest.approx(base.p_exhaust_pa, rel=1e-8)


def test_two_turbos_are_one_of_twice_the_size():
    double = invented_map(scale_kg_s=0.9)
    one = match(plain(volume_flow_m3_s=0.2, turbine_area_m2=16e-4), [double])
    two = match(plain(volume_flow_m3_s=0.2, turbos=2), [invented_map(scale_kg_s=0.45)])
    assert one.regime[0] == Regime.HOLDING
    assert two.p_exhaust_pa == pytest.approx(one.p_exhaust_pa, rel=1e-9)
    assert two.corrected_flow_kg_s * 2 == pytest.approx(one.corrected_flow_kg_s, rel=1e-9)


def test_flow_curve_of_a_nozzle_gives_what_the_area_gives():
    """The turbine's level (b), fed with level (a)'s own curve at one gas state."""
    ratio = np.exp(np.linspace(np.log(1.02), np.log(4.0), 120))
    area, t3, lam = 8e-4, 1150.0, 0.85
    flow = turbine.flow_kg_s(area, ratio * 1e5, 1e5, t3, lam) * 1e5 / (ratio * 1e5)
    curve = turbine.TurbineCurve(ratio, flow, np.full(120, 0.7), t_ref_k=t3, p_ref_pa=1e5)
    target = 101325 + np.array([10, 14, 18]) * PSI
    ours = match(plain(p_target_pa=target), MAPS)
    theirs = match(
        plain(p_target_pa=target, turbine_area_m2=1.0, turbine_efficiency=1.0), MAPS, [curve]
    )
    assert theirs.p_exhaust_pa == pytest.approx(ours.p_exhaust_pa, rel=1e-5)
    short = replace(curve, expansion_ratio=ratio[80:], flow_kg_s=flow[80:], efficiency=[0.7] * 40)
    off = match(plain(turbine_area_m2=1.0, turbine_efficiency=1.0), MAPS, [short])
    assert off.regime[0] == Regime.OFF_TURBINE and np.isnan(off.p_exhaust_pa[0])


GATE = Gate(
    valve_area_m2=11.3e-4, diaphragm_area_m2=45e-4, preload_n=7 * PSI * 45e-4, rate_n_m=12e3,
    max_lift_m=12e-3, ports=2,
)  # fmt: skip


def gated(gate=GATE, **changed):
    return plain(gated=True, gate=gate, gate_share=gate.share_limit, **changed)


def test_regimes_each_by_its_own_build():
    small = match(gated(turbine_area_m2=5e-4, p_target_pa=101325 + 28 * PSI), MAPS)
    assert small.regime[0] == Regime.PUSHED_OPEN
    drop = small.p_exhaust_pa - small.p_turbine_out_pa
    force = net_force_n(GATE, drop, 0.0, small.gate_lift_m)
    assert force == pytest.approx(0, abs=1e-4 * 500)  # the forces balance, top port fully fed
    assert small.p_manifold_pa < 101325 + 28 * PSI

    late = match(gated(turbine_area_m2=14e-4, volume_flow_m3_s=0.07), MAPS)
    assert late.regime[0] == Regime.BELOW_TARGET
    assert late.bypass_share[0] == pytest.approx(0, abs=1e-7) and late.gate_lift_m[0] < 1e-9

    narrow = replace(GATE, port_area_m2=6e-4, preload_n=1.0, max_lift_m=5e-3)
    creep = match(gated(narrow, p_target_pa=101325 + 4 * PSI), MAPS)
    assert creep.regime[0] == Regime.CREEP and creep.p_manifold_pa[0] > 101325 + 5 * PSI

    stiff = match(gated(GATE.with_rating(12 * PSI), p_target_pa=101325 + 6 * PSI), MAPS)
    assert stiff.regime[0] == Regime.SPRING_ABOVE_TARGET
    boost = stiff.p_compressor_out_pa - 101325
    force = net_force_n(
        GATE.with_rating(12 * PSI), stiff.p_exhaust_pa - 101325, boost, stiff.gate_lift_m
    )
    assert force == pytest.approx(0, abs=1e-4 * 500)


def test_one_port_spring_alone_ignores_the_target():
    gate = replace(GATE, ports=1)
    made = [match(gated(gate, p_target_pa=101325 + t * PSI), MAPS) for t in (14, 20)]
    assert made[0].p_manifold_pa == pytest.approx(made[1].p_manifold_pa, rel=1e-7)
    assert {int(m.regime[0]) for m in made} <= {Regime.PUSHED_OPEN, Regime.SPRING_ABOVE_TARGET}


def test_edges_of_the_map_are_said():
    assert match(plain(volume_flow_m3_s=0.5), MAPS).regime[0] == Regime.CHOKE
    assert match(plain(volume_flow_m3_s=0.03, turbine_area_m2=4e-4), MAPS).regime[0] == Regime.SURGE
    assert match(plain(p_target_pa=101325 + 60 * PSI), MAPS).regime[0] == Regime.ABOVE_MAP
    weak = match(plain(turbine_area_m2=30e-4, volume_flow_m3_s=0.08), MAPS)
    assert weak.regime[0] == Regime.BELOW_MAP
    assert np.isnan(weak.p_manifold_pa[0])


def test_not_known_stays_not_known_and_the_rest_is_solved():
    made = match(plain(t_exhaust_k=np.array([1150.0, np.nan]), p_target_pa=200e3), MAPS)
    assert list(made.regime) == [Regime.HOLDING, Regime.UNKNOWN]
    assert np.isnan(made.p_exhaust_pa[1]) and made.p_exhaust_pa[0] > 1e5


@pytest.mark.parametrize(
    "name, value", [("effectiveness", 1.2), ("p_cell_pa", -1), ("turbine_efficiency", 0)]
)
def test_an_impossible_input_is_named(name, value):
    with pytest.raises(ValueError, match=name):
        plain(**{name: value})


def solved_or_said(count, seed):
    made = match(random_points(count, seed), MAPS)
    assert not np.any(made.regime == Regime.UNKNOWN)
    ok = made.regime <= Regime.SPRING_ABOVE_TARGET
    assert made.residual[ok].max() < TOLERANCE
    for field in fields(made):
        values = getattr(made, field.name)
        if field.name not in ("regime", "residual", "gate_lift_m"):
            assert np.isfinite(values[ok]).all() and np.isnan(values[~ok]).all()
    return made


def test_random_builds_are_solved_or_say_what_stopped_them():
    made = solved_or_said(3000, seed=2)
    assert len(np.unique(made.regime)) >= 9  # every regime and every edge occurs


@pytest.mark.slow
def test_a_hundred_thousand_random_builds():
    solved_or_said(100_000, seed=3)
