"""What the two loggers made of it: sensors with bias, lag and noise; two clocks; two habits.

The dynamometer logs at 20 Hz in lb-ft, psi gauge and °F; the engine controller at 50 Hz in kPa
absolute and °C, on its own clock, started by hand at another moment.
"""

import numpy as np
from scipy.signal import lfilter

from .day import PSI, STEP_S
from .plant import CYLINDERS, INJECTOR_DEAD_S, INJECTOR_KG_S

DYNO_HZ, ECU_HZ = 20.0, 50.0
LBFT = 1.3558179483
HP = 745.69987158
INHG = 3386.389
LB_MIN = 0.45359237 / 60


def sensor_biases(seed):
    """What each sensor reads wrong by, the same all along a bench: the truth, kept."""
    rng = np.random.default_rng([seed, 1000])
    spreads = {
        "dyno_manifold_pa": 350.0, "dyno_exhaust_pa": 900.0, "ecu_manifold_pa": 350.0,
        "t_compressor_out_k": 0.8, "t_charge_k": 0.6, "t_exhaust_k": 4.0, "lam": 0.004,
        "torque_gain": 0.0015, "air_gain": 0.006,
    }  # fmt: skip
    return {name: float(rng.normal(0, spread)) for name, spread in spreads.items()}


def clock(seed, number):
    """(offset, rate) of the controller's clock: t_ecu = (t_dyno - offset_s) * (1 + rate)."""
    rng = np.random.default_rng([seed, 2000, number])
    return float(rng.uniform(0.4, 2.4)), float(rng.uniform(-3e-4, 3e-4))


def dyno_rows(test, s, bias, rng):
    """{header: (values, format)} as the dynamometer's logger writes them."""
    t = np.arange(0.0, s["time_s"][-1], 1 / DYNO_HZ)
    at = _sampler(s["time_s"], t)

    def noise(deviation):
        return rng.normal(0, deviation, len(t))

    drift = 1 + bias["torque_gain"] - 0.0010 * test.hour
    speed = np.maximum(at(s["speed_rpm"]) + noise(2.0) * (at(s["speed_rpm"]) > 0), 0)
    torque = at(_lagged(s["torque_nm"], 0.06)) * drift + noise(1.0)
    manifold = at(_lagged(s["p_manifold_pa"] - s["p_cell_pa"], 0.04)) + bias["dyno_manifold_pa"]
    exhaust = at(_lagged(s["p_exhaust_pa"] - s["p_cell_pa"], 0.05)) + bias["dyno_exhaust_pa"]
    rough = 1500 * (at(s["speed_rpm"]) > 0)
    return {
        "Time (s)": (t, "%.2f"),
        "Engine Speed (rpm)": (speed, "%.0f"),
        "Torque (lb-ft)": (torque / LBFT, "%.1f"),
        "Power (hp)": (torque * speed * np.pi / 30 / HP, "%.1f"),
        "Manifold Pressure (psig)": ((manifold + noise(250)) / PSI, "%.2f"),
        "Exhaust Manifold Pressure (psig)": ((exhaust + noise(1) * rough) / PSI, "%.2f"),
        "Compressor Outlet Temp (F)": (
            _fahrenheit(at(_lagged(s["t_compressor_out_k"], 0.9)) + bias["t_compressor_out_k"]),
            "%.1f",
        ),
        "EGT (F)": (_fahrenheit(at(_lagged(s["t_exhaust_k"], 0.7)) + bias["t_exhaust_k"]), "%.0f"),
        "Air Flow (lb/min)": (
            at(_lagged(s["air_flow_kg_s"], 0.10)) * (1 + bias["air_gain"] + noise(0.006)) / LB_MIN,
            "%.2f",
        ),
        "Oil Temp (F)": (_fahrenheit(at(s["t_oil_k"]) + noise(0.2)), "%.1f"),
        "Cell Temp (F)": (_fahrenheit(at(s["t_cell_k"]) + noise(0.15)), "%.1f"),
        "Barometer (inHg)": (at(s["p_cell_pa"]) / INHG, "%.2f"),
        "Humidity (%)": (100 * at(s["humidity"]) + noise(0.3), "%.0f"),
    }


def ecu_rows(test, s, bias, timing, rng):
    """The same as the engine controller logs it, on its own clock."""
    offset, rate = timing
    clock_s = np.arange(0.0, (s["time_s"][-1] - offset) * (1 + rate), 1 / ECU_HZ)
    at = _sampler(s["time_s"], clock_s / (1 + rate) + offset)

    def noise(deviation):
        return rng.normal(0, deviation, len(clock_s))

    true_speed = at(s["speed_rpm"])
    speed = np.maximum(true_speed + noise(6.0) * (true_speed > 0), 0)
    manifold = at(_lagged(s["p_manifold_pa"], 0.03)) + bias["ecu_manifold_pa"]
    manifold += noise(500) * (true_speed > 0) + noise(30)
    lam = at(_lagged(_late(s["lam"], 0.12), 0.08)) + bias["lam"] + noise(0.004)
    boost = np.maximum(at(s["p_manifold_pa"] - s["p_cell_pa"]), 0)
    columns = {
        "Time [s]": (clock_s, "%.2f"),
        "RPM": (speed, "%.0f"),
        "TPS [%]": (np.clip(100 * at(s["throttle"]) + noise(0.15), 0, 100), "%.1f"),
        "MAP [kPa]": (manifold / 1e3, "%.1f"),
        "IAT [°C]": (at(_lagged(s["t_charge_k"], 1.1)) - 273.15 + bias["t_charge_k"], "%.1f"),
        "Lambda": (np.clip(lam, 0.6, 1.5), "%.3f"),
        "Ignition [°BTDC]": (at(s["spark_deg"]), "%.1f"),
        "Injection Time [ms]": (1e3 * _injector_s(at(s["fuel_flow_kg_s"]), true_speed), "%.2f"),
        "Rail Pressure [kPa gauge]": (
            (300.0 + at(s["p_manifold_pa"] - s["p_cell_pa"]) / 1e3) * (true_speed > 0) + noise(2.0),
            "%.0f",
        ),
        "Oil Pressure [kPa gauge]": (
            (true_speed > 0) * (160 + 0.045 * true_speed) + noise(3.0) * (true_speed > 0),
            "%.0f",
        ),
        "Coolant [°C]": (at(s["t_coolant_k"]) - 273.15 + noise(0.1), "%.1f"),
        "Baro [kPa]": (at(s["p_cell_pa"]) / 1e3 + noise(0.03), "%.1f"),
        "Gate Duty [%]": (100 * at(s["gate_duty"]), "%.1f"),
        "Gate Top Port [kPa gauge]": (
            np.minimum(at(s["p_gate_top_gauge_pa"]), boost * 1.1) / 1e3 + noise(0.6),
            "%.1f",
        ),
    }
    if test.shaft_sensor:
        columns["Turbo Speed [rpm]"] = (at(s["shaft_speed_rpm"]) + noise(150), "%.0f")
    return columns


def csv_text(columns, notes=(), separator=","):
    """A log file's text: notes, header, rows."""
    row = separator.join(form for _, form in columns.values())
    values = np.column_stack([v for v, _ in columns.values()]).tolist()
    lines = [*notes, separator.join(columns), *(row % tuple(v) for v in values)]
    return "\n".join(lines) + "\n"


# For each heading of the loggers: the toolkit's channel, and value = factor * number + offset.
_CHANNELS = {
    "Time (s)": ("time_s", 1, 0), "Time [s]": ("time_s", 1, 0),
    "Engine Speed (rpm)": ("speed_rpm", 1, 0), "RPM": ("speed_rpm", 1, 0),
    "Torque (lb-ft)": ("torque_nm", LBFT, 0), "Power (hp)": ("power_w", HP, 0),
    "Manifold Pressure (psig)": ("p_manifold_pa", PSI, "gauge"),
    "Exhaust Manifold Pressure (psig)": ("p_exhaust_pa", PSI, "gauge"),
    "Compressor Outlet Temp (F)": ("t_compressor_out_k", 1 / 1.8, 459.67 / 1.8),
    "EGT (F)": ("t_exhaust_k", 1 / 1.8, 459.67 / 1.8),
    "Air Flow (lb/min)": ("air_flow_kg_s", LB_MIN, 0),
    "Oil Temp (F)": ("t_oil_k", 1 / 1.8, 459.67 / 1.8),
    "Cell Temp (F)": ("t_cell_k", 1 / 1.8, 459.67 / 1.8),
    "Barometer (inHg)": ("p_cell_pa", INHG, 0), "Baro [kPa]": ("p_cell_pa", 1e3, 0),
    "Humidity (%)": ("humidity", 0.01, 0), "TPS [%]": ("throttle", 0.01, 0),
    "MAP [kPa]": ("p_manifold_pa", 1e3, 0), "IAT [°C]": ("t_charge_k", 1, 273.15),
    "Lambda": ("lam", 1, 0), "Ignition [°BTDC]": ("spark_deg", 1, 0),
    "Injection Time [ms]": ("injector_time_s", 1e-3, 0),
    "Rail Pressure [kPa gauge]": ("p_rail_gauge_pa", 1e3, 0),
    "Oil Pressure [kPa gauge]": ("p_oil_gauge_pa", 1e3, 0),
    "Coolant [°C]": ("t_coolant_k", 1, 273.15), "Gate Duty [%]": ("gate_duty", 0.01, 0),
    "Gate Top Port [kPa gauge]": ("p_gate_top_gauge_pa", 1e3, 0),
    "Turbo Speed [rpm]": ("shaft_speed_rpm", 1, 0),
}  # fmt: skip


def channels(columns):
    """A log's columns under the toolkit's names (SI, absolute), rounded as they are printed.

    A gauge pressure gets the mean of the log's own barometer added.
    """
    printed = {h: np.round(v, int(form[2:-1])) for h, (v, form) in columns.items()}
    barometer = next(
        np.mean(printed[h] * _CHANNELS[h][1]) for h in printed if _CHANNELS[h][0] == "p_cell_pa"
    )
    out = {}
    for heading, values in printed.items():
        name, factor, offset = _CHANNELS[heading]
        out[name] = values * factor + (barometer if offset == "gauge" else offset)
    return out


def _sampler(clock_s, at_s):
    return lambda values: np.interp(at_s, clock_s, values)


def _lagged(values, lag_s):
    """First-order sensor lag."""
    keep = np.exp(-STEP_S / lag_s)
    return lfilter([1 - keep], [1.0, -keep], values, zi=[keep * values[0]])[0]


def _late(values, delay_s):
    """The gas takes this long to reach the sensor."""
    n = round(delay_s / STEP_S)
    return np.concatenate([np.full(n, values[0]), values[:-n]])


def _injector_s(fuel_kg_s, speed_rpm):
    per_cycle = fuel_kg_s * 120 / np.maximum(speed_rpm, 1) / CYLINDERS
    return np.where(fuel_kg_s > 1e-5, per_cycle / INJECTOR_KG_S + INJECTOR_DEAD_S, 0.0)


def _fahrenheit(t_k):
    return t_k * 1.8 - 459.67
