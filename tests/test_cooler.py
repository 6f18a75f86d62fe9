"""Charge cooler against a heat-exchanger library, textbook examples and water's properties."""

import numpy as np
import pytest

from toolkit.physics import cooler, pipes
from toolkit.physics.cooler import Store

NTU = np.array([0.5, 1, 1, 2, 2, 2, 3, 4, 5])
CR = np.array([1.0, 0.5, 1.0, 0.25, 0.5, 1.0, 0.75, 0.5, 1.0])


@pytest.mark.parametrize(
    "function, subtype",
    [(cooler.counterflow, "counterflow"), (cooler.parallel_flow, "parallel"),
     (cooler.crossflow, "crossflow")],
)  # fmt: skip
def test_effectiveness_against_the_ht_library(function, subtype):
    # The heat-exchanger library ht, called here.
    hx = pytest.importorskip("ht.hx")
    reference = [
        hx.effectiveness_from_NTU(n, c, subtype=subtype) for n, c in zip(NTU, CR, strict=True)
    ]
    assert function(NTU, CR) == pytest.approx(reference, rel=1e-6)


@pytest.mark.parametrize("function", [cooler.counterflow, cooler.parallel_flow, cooler.crossflow])
def test_effectiveness_limits(function):
    assert function(0, 0.5) == pytest.approx(0, abs=1e-12)
    assert function(2, 0) == pytest.approx(1 - np.exp(-2), rel=1e-6)  # one side does not warm
    rising = function(np.linspace(0, 20, 40), 0.6)
    assert np.all(np.diff(rising) > 0) and rising[-1] < 1
    assert np.isnan(function(np.nan, 0.5))
    with pytest.raises(ValueError, match="capacity_ratio"):
        function(1, 1.2)


# Textbook examples: hot in, cold in, hot out, capacity ratio, effectiveness, NTU, tolerance.
BOOKS = [
    # Incropera & DeWitt, ex. 11.1: oil 100 to 60 C, water in at 30 C, counterflow
    (cooler.counterflow, 100, 30, 60, 0.255026, 0.571429, 0.925926, 1e-5),
    # Incropera & DeWitt, ex. 11.3: gas 300 to 100 C, water in at 35 C, crossflow; chart NTU 2.1
    (cooler.crossflow, 300, 35, 100, 0.45, 0.754717, 2.08084, 1e-4),
    # Cengel, ex. 11.8: geothermal brine and water, counterflow (water is the smaller side)
    (cooler.counterflow, 160, 20, 100, 0.5819, 0.4285714, 0.6523622, 1e-3),
]


@pytest.mark.parametrize("function, hot, cold, out, ratio, effectiveness, ntu, tolerance", BOOKS)
def test_published_exchangers(function, hot, cold, out, ratio, effectiveness, ntu, tolerance):
    assert float(function(ntu, ratio)) == pytest.approx(effectiveness, rel=tolerance)
    if function is cooler.crossflow or ratio < 0.5:
        found = cooler.effectiveness(hot + 273.15, out + 273.15, cold + 273.15)
        assert float(found) == pytest.approx(effectiveness, rel=1e-5)


# The definition of effectiveness, Incropera & DeWitt, sec. 11.4, and its inverse.
def test_outlet_and_effectiveness_undo_each_other():
    out = cooler.outlet_t_k(383.15, 303.15, [0, 0.7, 1])
    assert out - 273.15 == pytest.approx([110, 54, 30])
    assert cooler.effectiveness(383.15, out, 303.15) == pytest.approx([0, 0.7, 1])
    assert np.isnan(cooler.effectiveness(303.15, 303.15, 303.15))


# Dynamic pressure's law, closed form: Incropera & DeWitt, sec. 8.1.
def test_pressure_drop_goes_with_flow_squared_over_density():
    drop = cooler.pressure_drop_pa([0.2, 0.4, 0.4], [1.6, 1.6, 3.2], 10e3, 0.2, 1.6)
    assert drop == pytest.approx([10e3, 40e3, 20e3])


def test_cooled_heat_against_gupta():
    """H. N. Gupta, Fundamentals of Internal Combustion Engines, ex. 15.5: 4.5 l, 4000 rpm, 150 %
    of ambient, PR 1.8, efficiency 0.90, 290 K and 1 bar, cooled to 330 K: 5.14 kW."""
    from toolkit.physics.compressor import outlet_t_k

    air = 1.5 * 4.5e-3 * 4000 / 120 * 1e5 / (287 * 290)
    hot = outlet_t_k(290, 1.8, 0.90)
    assert float(cooler.heat_flow_w(air, hot, 330)) == pytest.approx(5140, rel=0.02)


def test_water_against_coolprop():
    props = pytest.importorskip("CoolProp.CoolProp")

    def h(t_k):
        return props.PropsSI("Hmass", "T", t_k, "P", 101325, "Water")

    mean = (h(333.15) - h(273.16)) / 60
    assert pytest.approx(mean, rel=0.002) == cooler.WATER_J_KGK
    tank = Store(20, start_k=293.15).heat_until_j(313.15)
    assert tank == pytest.approx(20 * (h(313.15) - h(293.15)), rel=0.003)


# IAPWS R10-06, equation of state of ice (Feistel & Wagner, J. Phys. Chem. Ref. Data 35, 2006):
# heat of fusion at 0 C and 1 atm; heat capacity at 0, -10, -20 C.
def test_ice_against_its_equation_of_state():
    assert pytest.approx(333.42e3, rel=0.002) == cooler.FUSION_J_KG
    assert pytest.approx(np.mean([2096.7, 2023.1]), rel=0.02) == cooler.ICE_J_KGK


def test_tank_temperature_and_heat_undo_each_other():
    for store in (Store(10, 10), Store(20, start_k=290.0), Store(0, 8, 260.0)):
        for t in (275.0, 300.0, 350.0):
            if t > store.start_k:
                assert store.t_after_k(store.heat_until_j(t)) == pytest.approx(t, abs=1e-6)
    frozen = Store(0, 8, 260.0)
    assert frozen.t_after_k(8 * cooler.ICE_J_KGK * 5) == pytest.approx(265.0)
    assert Store(10, 10).t_after_k([0, 1e6, 3.3e6]) == pytest.approx(273.15)


def test_pulls_before_the_tank_is_warm():
    store = Store(10, 10)
    pulls = int(store.pulls(25e3, 12, 293.15))
    assert store.t_after_k(pulls * 25e3 * 12) <= 293.15 < store.t_after_k((pulls + 1) * 25e3 * 12)


@pytest.mark.parametrize(
    "contents", [(10, 5, 280.0), (10, 0, 260.0), (0, 0, 273.15), (-1, 2, 273.15)]
)
def test_impossible_tanks_are_refused(contents):
    with pytest.raises(ValueError, match="_k"):
        Store(*contents)


# Continuity, by definition: speed is mass flow over density and area.
def test_pipe_keeps_the_speed():
    diameter = pipes.diameter_m(0.3, 2.0, 80.0)
    assert float(pipes.gas_speed_m_s(0.3, 2.0, diameter)) == pytest.approx(80.0)
    with pytest.raises(ValueError, match="density"):
        pipes.diameter_m(0.3, 0.0)
