"""The fit against a measured engine's other half, a closed form, its own inverse and its limits."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from toolkit.analysis.fit import CHANNELS, Stopped, Trust, error_sentence, fit, rows
from toolkit.analysis.fit_model import Model, parameters_of, thousands
from toolkit.analysis.fit_points import points_of
from toolkit.build.parts import Build, Curve, Engine, FuelSystem, Turbo

# The published table's columns under our names.
_SAME = {
    "speed_rpm": "speed_rpm", "torque_nm": "torque_nm", "t1_k": "t_compressor_in_k",
    "t_manifold_k": "t_charge_k", "t3_k": "t_exhaust_k", "air_kg_s": "air_flow_kg_s", "lam": "lam",
}  # fmt: skip
_KPA = {
    "p1_kpa": "p_compressor_in_pa", "p2_after_cooler_kpa": "p_compressor_out_pa",
    "p_manifold_kpa": "p_manifold_pa", "p3_kpa": "p_exhaust_pa", "p4_kpa": "p_turbine_out_pa",
}  # fmt: skip


def plain_engine(**changes):
    """Somebody's first guess at an engine of that size: nothing in it was looked up."""
    engine = Engine("2.3-litre four", 2.3e-3, 4, 0.09, 0.09, 9.0, (1000.0, 5000.0), Curve(0.9),
                    Curve(1150.0))  # fmt: skip
    return Build("measured", replace(engine, **changes), FuelSystem("gasoline"),
                 (Turbo("as run", "", 4.5e-4, 0.5),))  # fmt: skip


def read_measured(shared_data):
    """Linköping University, course TSFS09: 29 steady points of a 2.3-litre turbocharged engine."""
    d = pd.read_csv(shared_data / "published" / "turbo_si_2p3l_steady_points.csv")
    table = {to: d[name].to_numpy() for name, to in _SAME.items()}
    table |= {to: d[name].to_numpy() * 1e3 for name, to in _KPA.items()}
    return points_of(table, plain_engine())


def lower_and_upper(measured):
    """Its halves by manifold pressure."""
    order = np.argsort(measured.p_manifold_pa, kind="stable")
    half = measured.size // 2
    return measured.take(order[:half]), measured.take(order[half:])


@pytest.fixture
def measured(shared_data):
    return read_measured(shared_data)


@pytest.fixture
def halves(measured):
    return lower_and_upper(measured)


@pytest.fixture
def lower(halves):
    return fit(halves[0], plain_engine())


def predicted(fitted, points):
    """Air, exhaust pressure and torque at a measured state of the intake, none of them read."""
    model, p3 = Model(points, fitted.builds), 1.3 * points.p_turbine_out_pa
    for _ in range(40):
        p3 = model.p_exhaust(fitted.best, model.air(fitted.best, p3))
    air = model.air(fitted.best, p3)
    return air, p3, model.torque(fitted.best, air, p3)


def rms(model, truth):
    return float(np.sqrt(np.mean((model / truth - 1) ** 2)))


def test_lower_half_of_a_measured_engine_predicts_the_upper(lower, halves):
    points = halves[1]
    air, p3, torque = predicted(lower, points)
    assert points.p_manifold_pa.max() > 1.4 * halves[0].p_manifold_pa.max()
    assert rms(torque, points.torque_nm) < 0.05
    assert rms(p3, points.p_exhaust_pa) < 0.03
    assert rms(air, points.air_flow_kg_s) < 0.06


def test_the_points_do_not_hold_up_every_unknown(lower):
    assert lower.told_by("ve") == "the data"
    assert lower.told_by("friction") == "data and prior together"
    assert lower.rms("torque") < 0.02 and lower.rms("p_exhaust") < 0.02
    assert np.isnan(lower.rms("t_charge"))
    said = error_sentence(lower, "US")
    assert "torque" in said and "charge" not in said and " °F rms" in said


def synthetic(measured, values, noise=0.0, seed=1):
    """Points whose air, torque and exhaust pressure are the model's own, with noise."""
    model, rng = Model(measured, (plain_engine(),)), np.random.default_rng(seed)
    air = model.air(values, measured.p_exhaust_pa)
    p3 = model.p_exhaust(values, air)
    for _ in range(40):
        model = Model(replace(measured, p_exhaust_pa=p3), (plain_engine(),))
        air = model.air(values, p3)
        p3 = model.p_exhaust(values, air)
    torque = model.torque(values, air, p3)
    air, torque = (a * np.exp(noise * rng.standard_normal(a.size)) for a in (air, torque))
    p3 = p3 * np.exp(0.2 * noise * rng.standard_normal(p3.size))
    return replace(measured, air_flow_kg_s=air, p_exhaust_pa=p3, torque_nm=torque)


def without_priors(parameters):
    """The same unknowns for the data alone to tell."""
    return tuple(replace(p, free=True) for p in parameters)


def test_recovers_what_made_the_points(measured):
    build = plain_engine()
    parameters = without_priors(parameters_of((build,), 0.15))
    true = {p.name: p.value(x) for p, x in zip(parameters, np.linspace(-0.6, 0.6, 11), strict=True)}
    found = fit(synthetic(measured, true), build, priors=parameters)
    for name in ("ve", "ve_slope", "ve_bend", "breathing", "indicated", "indicated_slope"):
        assert found.best[name] == pytest.approx(true[name], rel=1e-3, abs=1e-5), name
    product = found.best["area_0"] * found.best["efficiency_0"]
    assert product == pytest.approx(true["area_0"] * true["efficiency_0"], rel=2e-3)


def test_air_alone_is_the_closed_form_of_a_straight_line_with_priors(measured):
    """ln VE is linear in its unknowns: Gelman et al., Bayesian Data Analysis, sec. 14.8."""
    build, only_air = plain_engine(), Trust(1e-3, *[1e9] * 5)
    found = fit(measured, build, trust=only_air)
    four = [p for p in found.parameters if p.name in ("ve", "ve_slope", "ve_bend", "breathing")]
    u = thousands(measured.speed_rpm, build)
    over = measured.p_exhaust_pa / measured.p_manifold_pa - 1
    columns = np.stack([np.ones_like(u), u, u**2, over], axis=1) * [p.sd for p in four] / 1e-3
    filled = measured.air_flow_kg_s / Model(measured, (build,)).swept
    wanted = (np.log(filled) - four[3].prior * over) / 1e-3
    inverse = np.linalg.inv(columns.T @ columns + np.eye(4))
    exact = inverse @ columns.T @ wanted
    for k, p in enumerate(four):
        assert (found.best[p.name] - p.prior) / p.sd == pytest.approx(exact[k], abs=0.08) or p.log
        assert found.spread[p.name] == pytest.approx(np.sqrt(inverse[k, k]), rel=0.05)
    assert found.spread["friction"] == pytest.approx(1, abs=1e-6)


def test_the_band_holds_the_truth_as_often_as_it_says(measured):
    build = plain_engine()
    true = {p.name: p.prior for p in parameters_of((build,), 0.15)}
    names = ("ve", "breathing", "indicated")
    inside = []
    for seed in range(20):
        points = synthetic(measured, true, 0.02, seed)
        found = fit(points, build)
        inside += [found.band(n)[0] <= true[n] <= found.band(n)[1] for n in names]
    assert np.mean(inside) >= 0.9


def test_without_air_flow_breathing_and_efficiency_are_not_told_apart(measured):
    blind = replace(measured, air_flow_kg_s=np.full(measured.size, np.nan))
    build = plain_engine()
    found = fit(blind, build)
    seen = fit(measured, build)
    assert found.spread["indicated"] > 1.3 * seen.spread["indicated"]
    assert np.isnan(found.rms("air"))


def test_an_unsettled_fit_prints_no_confident_number(measured):
    build = plain_engine()
    free = without_priors(parameters_of((build,), 0.15))
    one_speed = measured.take(np.zeros(6, dtype=int))
    found = fit(one_speed, build, priors=free)
    assert not found.settled
    said = {row[0]: row for row in rows(found, "SI")}
    lost = said["VE, change per 1000 rpm"]
    assert lost[1] == "not known" and lost[4].startswith("cannot tell")
    assert found.band("ve_slope") == (-np.inf, np.inf)
    with pytest.raises(ValueError, match="neither the runs nor a prior settle"):
        found.samples()


def test_with_priors_the_same_points_are_said_to_be_the_prior(measured):
    found = fit(measured.take(np.zeros(2, dtype=int)), plain_engine())
    assert found.settled
    assert found.told_by("friction") == "the prior, not the data"
    assert found.best["friction"] == pytest.approx(1.0, abs=0.2)


def test_draws_have_the_spread_that_the_fit_states(lower):
    drawn = lower.samples(400)
    for p in lower.parameters:
        x = drawn[p.name][1:]
        x = np.log(x / p.prior) / p.sd if p.log else (x - p.prior) / p.sd
        assert x.std() == pytest.approx(lower.spread[p.name], rel=0.06), p.name
        assert drawn[p.name][0] == pytest.approx(lower.best[p.name])


def test_progress_is_told_and_can_stop(halves):
    told = []

    def stop(share):
        told.append(share)
        if len(told) == 3:
            raise Stopped

    with pytest.raises(Stopped):
        fit(halves[0], plain_engine(), progress=stop)
    assert told == sorted(told) and 0 < told[0] < told[-1] <= 1


def test_rows_speak_the_persons_units(lower):
    us, si = ({r[0]: r for r in rows(lower, s)} for s in ("US", "SI"))
    name = "turbine effective area, as run"
    assert "in²" in us[name][1] and "cm²" in si[name][1]
    assert len(us) == len(lower.parameters)


def test_what_is_missing_is_named():
    build = plain_engine()
    speed = np.array([2000.0, 3000.0])
    with pytest.raises(ValueError, match="not logged here: charge temperature, exhaust manifold"):
        points_of({"speed_rpm": speed, "torque_nm": speed, "p_manifold_pa": speed * 50}, build)


def test_a_turbine_without_an_area_is_refused(halves):
    build = plain_engine()
    build = replace(build, turbos=(replace(build.turbo, turbine_area_m2=None),))
    with pytest.raises(ValueError, match="needs turbine_area"):
        fit(halves[0], build)


def test_builds_of_two_engines_are_refused(halves):
    with pytest.raises(ValueError, match="differ in engine or fuel"):
        fit(halves[0], (plain_engine(), plain_engine(stroke_m=0.08)))


def test_no_point_left_is_said(halves):
    with pytest.raises(ValueError, match="no point is left"):
        fit(halves[0].take(np.zeros(0, dtype=int)), plain_engine())


def test_every_channel_has_words_and_a_trust():
    assert set(CHANNELS) == set(vars(Trust()))
