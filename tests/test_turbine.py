"""Turbine: published turbochargers, a reference library's isentrope, the fit to a measured one."""

import csv

import numpy as np
import pytest

from toolkit.physics import compressor, gas, turbine
from toolkit.physics.turbo_fit import fit_turbo


def rows_of(shared_data, example):
    with (shared_data / "published" / "worked_examples.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["id"] == example]
    return {r["input"]: float(r["value"]) for r in rows}


# H. N. Gupta, Fundamentals of Internal Combustion Engines, ch. 15 and P. K. Nag, Power Plant
# Engineering, ex. 11.2: a whole turbocharger, with constant gas properties. What the books'
# constants (cp 1.15, gamma 1.33) leave out is within 1.5 % of work for lean exhaust at 850 K.
@pytest.mark.parametrize(
    "example, p_keys, answer",
    [
        ("T1", ("p1 compressor inlet", "T1 compressor inlet", "p2 compressor outlet",
                "T3 turbine inlet", "p3 turbine inlet", "p4 turbine outlet"),
         "compressor power / turbine power"),
        ("T2", ("p1", "T1", "p2", "T3", "p3", "p4"), "mechanical loss / turbine power"),
    ],
)  # fmt: skip
def test_published_turbochargers(shared_data, example, p_keys, answer):
    d = rows_of(shared_data, example)
    p1, t1, p2, t3, p3, p4 = (d[k] for k in p_keys)
    fuel_air = 1 / d["air-fuel ratio"]
    lam = d["air-fuel ratio"] / 14.6
    eta_c, eta_t = d["compressor isentropic efficiency"], d["turbine isentropic efficiency"]
    t4 = turbine.outlet_t_k(t3, p3 / p4, eta_t, lam)
    published = next(v for k, v in d.items() if k.startswith("T4"))
    assert float(t4) - 273 == pytest.approx(published, abs=3)
    taken = compressor.isentropic_work_j_kg(t1, p2 / p1) / eta_c
    given = (1 + fuel_air) * eta_t * turbine.isentropic_work_j_kg(t3, p3 / p4, lam)
    share = 100 * float(taken / given)
    wanted = d[answer] if "loss" not in answer else 100 - d[answer]
    assert share == pytest.approx(wanted, rel=0.02)


def test_published_radial_turbine():
    """S. L. Dixon, Fluid Mechanics and Thermodynamics of Turbomachinery, ex. 8.3: 230 kJ/kg
    from 1050 K at efficiency 0.81 with cp 1150 and gamma 1.333 needs 2.92 to 1."""
    work = 0.81 * turbine.isentropic_work_j_kg(1050.0, 2.92, 1.6)
    assert float(work) == pytest.approx(230e3, rel=0.015)


def test_isentropic_work_against_cantera():
    ct = pytest.importorskip("cantera")
    every = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    species = [every[n] for n in ("O2", "N2", "CO2", "H2O")]
    air = ct.Solution(thermo="ideal-gas", species=species)
    for phi in (1.0, 0.9):
        air.TPX = 1150, 2e5, _burned(phi)
        h3 = air.enthalpy_mass
        air.SP = air.entropy_mass, 1e5
        reference = h3 - air.enthalpy_mass
        # iso-octane, as the reference's composition
        ours = float(turbine.isentropic_work_j_kg(1150, 2.0, 1 / phi, (18 / 8, 0.0)))
        assert ours == pytest.approx(reference, rel=2e-4)


def _burned(phi):
    """Lean or stoichiometric products of iso-octane in O2 + 3.773 N2."""
    oxygen = 12.5 / phi
    return {"CO2": 8, "H2O": 9, "O2": oxygen - 12.5, "N2": 3.773 * oxygen}


def test_constants_understate_rich_exhaust():
    """Textbook constants 1150 J/kgK and 1.33 against varying properties, rich, 1150 K, 2 to 1."""
    constant = 1150 * 1150 * (1 - 2 ** (-0.33 / 1.33))
    rich = float(turbine.isentropic_work_j_kg(1150, 2.0, 1 / 1.2, (18 / 8, 0.0)))
    assert 1 - constant / rich == pytest.approx(0.062, abs=0.004)


# The inverse of the flow, which a reference library's isentrope checks.
def test_area_and_flow_undo_each_other():
    p3 = np.array([105e3, 150e3, 250e3, 400e3])
    flow = turbine.flow_kg_s(7e-4, p3, 101e3, 1100, 0.85)
    assert turbine.effective_area_m2(flow, p3, 101e3, 1100, 0.85) == pytest.approx(7e-4, rel=1e-12)
    assert np.isnan(turbine.effective_area_m2(0.1, 101e3, 101e3, 1100, 0.85))


def test_flow_of_a_small_drop_and_of_a_choked_turbine():
    """Two nozzles in series: half the pressure drop each, so small drops pass 1/sqrt(2) of what
    one nozzle of the area passes; choked where each is, at the square of the critical ratio."""
    t3, lam, area, p4 = 1100.0, 0.85, 7e-4, 100e3
    density = p4 / (gas.r_burned_j_kgk(lam) * t3)
    small = turbine.flow_kg_s(area, p4 + 50, p4, t3, lam)
    assert float(small) == pytest.approx(float(area * np.sqrt(density * 50)), rel=1e-3)
    far = turbine.flow_kg_s(area, np.array([400e3, 800e3]), p4, t3, lam)
    assert far[1] == pytest.approx(2 * far[0], rel=1e-9)


def test_curve_reads_its_points_and_nothing_beyond():
    curve = turbine.TurbineCurve((1.2, 1.6, 2.4), (0.10, 0.14, 0.15), (0.6, 0.7, 0.65), 288, 101e3)
    flow, efficiency = curve.at([1.2, 1.6, 2.4, 1.1, 3.0])
    assert flow[:3] == pytest.approx([0.10, 0.14, 0.15])
    assert efficiency[:3] == pytest.approx([0.6, 0.7, 0.65])
    assert np.isnan(flow[3:]).all()
    steps = (curve.at([2.0 * 1.0001])[0] - curve.at([2.0])[0]) / np.log(1.0001)
    assert steps == pytest.approx(curve.slope([2.0])[0], rel=1e-3)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"expansion_ratio": (1.6, 1.2)}, "rising expansion_ratio"),
        ({"flow_kg_s": (0.2, 0.1)}, "must not fall"),
        ({"efficiency": (0.6, 1.2)}, r"efficiency is 1\.2"),
        ({"expansion_ratio": (0.9, 1.2)}, r"expansion_ratio is 0\.9"),
    ],
)
def test_an_impossible_curve_is_refused(change, words):
    good = {"expansion_ratio": (1.2, 1.6), "flow_kg_s": (0.1, 0.14), "efficiency": (0.6, 0.7)}
    with pytest.raises(ValueError, match=words):
        turbine.TurbineCurve(**(good | change), t_ref_k=288, p_ref_pa=101e3)


def measured_points(shared_data):
    """Linköping University, Vehicular Systems: a 2.3-litre turbo petrol engine, course TSFS09."""
    with (shared_data / "published" / "turbo_si_2p3l_steady_points.csv").open() as file:
        rows = list(csv.DictReader(file))
    return {k: np.array([float(r[k]) for r in rows]) for k in rows[0]}


def test_measured_engine_back_pressure(shared_data):
    """Exhaust manifold pressure of 29 boosted points from two numbers: within 2.8 % rms."""
    d = measured_points(shared_data)
    fit = fit_turbo(
        d["air_kg_s"], d["p1_kpa"] * 1e3, d["t1_k"], d["p2_after_cooler_kpa"] * 1e3, d["t3_k"],
        d["p3_kpa"] * 1e3, d["p4_kpa"] * 1e3, d["lam"],
    )  # fmt: skip
    assert fit.rms < 0.028
    # The gate was open throughout, so only the product shows; with a plausible efficiency it is
    # a plausible area.
    assert not fit.shut.any() and np.isnan(fit.efficiency)
    assert 3e-4 < fit.product_m2 / 0.45 < 7e-4


def test_fit_finds_what_points_were_made_with():
    """Points made by the balance itself, some with the gate shut: both numbers come back."""
    area, product, lam, t3, p1, t1, p4 = 6e-4, 0.42, 0.85, 1150.0, 99e3, 298.0, 110e3
    ratio = np.array([1.3, 1.3, 1.5, 1.7, 1.9, 2.1])
    p3, air = np.zeros(6), np.zeros(6)
    for i, r in enumerate(ratio):
        z = np.linspace(1e-3, 1.5, 20000)
        through = turbine.flow_kg_s(area, p4 * np.exp(z), p4, t3, lam)
        power = product * through * turbine.isentropic_work_j_kg(t3, np.exp(z), lam)
        per_air = compressor.isentropic_work_j_kg(t1, r)
        bypass = (0.0, 0.0, 0.1, 0.2, 0.3, 0.35)[i]
        exhaust_per_air = 1 + 1 / (14.6 * lam)
        flow = through / (1 - bypass) / exhaust_per_air
        k = np.argmin(np.abs(power - flow * per_air))
        p3[i], air[i] = p4 * np.exp(z[k]), flow[k]
    fit = fit_turbo(air, p1, t1, p1 * ratio, t3, p3, p4, lam)
    assert fit.rms < 1e-3
    assert fit.product_m2 == pytest.approx(area * product, rel=2e-3)


def test_fit_refuses_gaps():
    gap = np.array([0.1, np.nan, 0.1])
    with pytest.raises(ValueError, match="without gaps"):
        fit_turbo(gap, 1e5, 298, 1.8e5, 1150, 1.6e5, 1.05e5, 0.85)
