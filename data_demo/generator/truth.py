"""The truth behind the logs, for the tests: what no logger and no person on the bench could see."""

from dataclasses import asdict, replace
from functools import cache
from itertools import combinations
from math import factorial

import numpy as np

from . import day, loggers, plant

CAUSES = (
    "boost", "pumping", "breathing", "charge_temperature", "mixture", "spark", "moisture",
)  # fmt: skip
# The measured or hidden quantity that carries each cause; breathing takes its own exhaust pressure.
_CARRIER = {
    "boost": "p_manifold_pa", "pumping": "p_exhaust_pa", "breathing": "p_exhaust_breathing_pa",
    "charge_temperature": "t_charge_k", "mixture": "lam", "spark": "spark_deg",
    "moisture": "vapour",
}  # fmt: skip
PAIRS = (
    ("2026-04-18_1_small_8psi", "2026-04-18_4_large_8psi"),
    ("2026-04-18_2_small_14psi", "2026-04-18_5_large_14psi"),
    ("2026-04-18_3_small_20psi", "2026-04-18_6_large_20psi"),
    ("2026-04-18_2_small_14psi", "2026-04-18_7_small_14psi_return"),
    ("2026-04-18_6_large_20psi", "2026-06-06_1_large_20psi_retuned"),
)
CURVE_CHANNELS = (
    "torque_nm", "model_torque_nm", "p_manifold_pa", "p_exhaust_pa", "p_turbine_out_pa",
    "p_compressor_in_pa", "p_compressor_out_pa", "t_compressor_out_k", "t_charge_k", "t_exhaust_k",
    "lam", "spark_deg", "air_flow_kg_s", "fuel_flow_kg_s", "shaft_speed_rpm", "gate_lift_m",
    "p_gate_top_gauge_pa", "gate_duty", "t_oil_k", "p_cell_pa", "t_cell_k", "vapour",
)  # fmt: skip
# The same engine with parts, springs or air that the team never tried.
_SPRING_AIR = day.TESTS[0].cell
HELD_BACK = (
    day.Test("mid_14psi", "mid", 14, "", 3.0, _SPRING_AIR),
    day.Test("mid_20psi", "mid", 20, "", 3.0, _SPRING_AIR),
    day.Test("small_20psi_stiff_spring", "small", 20, "", 3.0, _SPRING_AIR,
             gate=plant.STIFF_SPRING),
    day.Test("small_17psi", "small", 17, "", 3.0, _SPRING_AIR),
    day.Test("large_14psi_mountain", "large", 14, "", 3.0, replace(_SPRING_AIR, p_cell_pa=84e3)),
)  # fmt: skip


def curves(signals, step_rpm=100.0):
    """True state against speed: bin means over the sweeping rows, all pulls together."""
    rows = signals["pull"] > 0
    speed = signals["speed_rpm"][rows]
    index = np.round(speed / step_rpm).astype(int)
    bins = np.arange(index.min() + 1, index.max())  # whole bins only
    n = np.bincount(index)[bins]
    out = {"speed_rpm": bins * step_rpm}
    for name in CURVE_CHANNELS:
        out[name] = np.bincount(index, signals[name][rows])[bins] / n
    return out


def shares(a, b):
    """Torque difference b - a shared among the causes; Shapley values, so any order agrees.

    `a` and `b` are curves. "boost" carries the absolute manifold pressure (so the barometer is in
    it); "moisture" is the water in the air. "other" is what these do not carry: oil temperature,
    pull-to-pull scatter, another sweep rate.
    """
    speed, i, j = np.intersect1d(a["speed_rpm"], b["speed_rpm"], return_indices=True)
    first, second = ({k: v[m] for k, v in c.items()} for c, m in ((a, i), (b, j)))
    for side in (first, second):
        side["p_exhaust_breathing_pa"] = side["p_exhaust_pa"]
    worth = {subset: _torque(speed, first, second, subset) for subset in _subsets()}
    n = len(CAUSES)
    out = {"speed_rpm": speed, "difference_nm": second["torque_nm"] - first["torque_nm"]}
    for cause in CAUSES:
        total = np.zeros(len(speed))
        for subset in _subsets():
            if cause not in subset:
                weight = factorial(len(subset)) * factorial(n - len(subset) - 1) / factorial(n)
                total += weight * (worth[subset | {cause}] - worth[subset])
        out[f"{cause}_nm"] = total
    out["other_nm"] = out["difference_nm"] - sum(out[f"{cause}_nm"] for cause in CAUSES)
    return out


def _subsets():
    return [frozenset(c) for n in range(len(CAUSES) + 1) for c in combinations(CAUSES, n)]


def _torque(speed, first, second, changed):
    state = {v: (second if k in changed else first)[v] for k, v in _CARRIER.items()}
    breathing = state.pop("p_exhaust_breathing_pa")
    state["t_oil_k"] = 0.5 * (first["t_oil_k"] + second["t_oil_k"])
    return plant.torque_nm(speed, state, 0.0, breathing)


@cache
def held_back():
    """{name: curves} of the set-ups nobody ran; the same for every seed."""
    return {test.name: curves(signals) for test, signals in day.run_all(4000, HELD_BACK)}


def parts(seed):
    """Constants, sensor biases and clocks, as nested plain values."""
    clocks = {
        test.name: dict(zip(("offset_s", "rate"), loggers.clock(seed, number), strict=True))
        for number, test in enumerate(day.TESTS)
    }
    return {
        "seed": seed,
        "engine": {
            "displacement_m3": plant.DISPLACEMENT_M3, "cylinders": plant.CYLINDERS,
            "compression_ratio": 9.2, "bore_m": 0.085, "stroke_m": 0.088, "rod_m": 0.145,
            "air_per_fuel": plant.AIR_PER_FUEL, "inertia_kg_m2": plant.INERTIA_KG_M2,
            "injector_kg_s": plant.INJECTOR_KG_S, "injector_dead_s": plant.INJECTOR_DEAD_S,
        },
        "cam": {
            "intake_opens_btdc_deg": 26.0, "intake_closes_abdc_deg": 58.0,
            "exhaust_opens_bbdc_deg": 60.0, "exhaust_closes_atdc_deg": 28.0,
            "intake_lift_m": 0.0096, "exhaust_lift_m": 0.0092,
        },
        "turbos": {key: asdict(turbo) for key, turbo in plant.TURBOS.items()},
        "gates": {"light": asdict(plant.LIGHT_SPRING), "stiff": asdict(plant.STIFF_SPRING)},
        "sensor_bias": loggers.sensor_biases(seed),
        "ecu_clock": clocks,
    }  # fmt: skip
