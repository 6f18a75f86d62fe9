"""Files that are wrong on purpose, one trouble each, as they turn up on real benches."""

import numpy as np

from .loggers import LBFT, csv_text


def bad_files(run_a, run_b):
    """{name: bytes}; `run_a` and `run_b` are true signals to cut from."""
    texts = {
        "clipped_sensor.csv": _clipped(run_a),
        "gauge_and_absolute.csv": _gauge_and_absolute(run_a),
        "duplicate_names.csv": _duplicate_names(run_a),
        "merged_pulls.csv": _merged(run_a, run_b),
        "aborted_pull.csv": _aborted(run_a),
        "gaps_and_bursts.csv": _gaps(run_a),
        "placeholders.csv": _placeholders(run_a),
        "past_midnight.csv": _midnight(run_a),
        "extra_cells.csv": "rpm,boost psi\n4000,10,1\n4100,10,2\n4200,10,4\n",
        "power_does_not_fit.csv": _power(run_a),
    }
    return {name: text.encode() for name, text in texts.items()} | {
        "decimal_comma_cp1252.csv": _decimal_comma(run_b).encode("cp1252"),
        "header_only.csv": b"time_s,rpm,torque_nm\n",
    }


def _cut(s, hz, pulls=(1,), lead_s=1.0, lag_s=1.0):
    """A dictionary of samples of some pulls, with a little before and after."""
    rows = np.flatnonzero(np.isin(s["pull"], pulls))
    step = round(100 / hz)
    part = slice(max(rows[0] - round(100 * lead_s), 0), rows[-1] + round(100 * lag_s), step)
    return {name: values[part] for name, values in s.items()}


def _psi_gauge(s, name):
    return (s[name] - s["p_cell_pa"]) / 6894.757


def _clipped(s):
    """A 2-bar absolute sensor under 20 psi of boost."""
    s = _cut(s, 10)
    columns = {
        "time_s": (s["time_s"] - s["time_s"][0], "%.1f"),
        "rpm": (s["speed_rpm"], "%.0f"),
        "manifold_abs_kPa": (np.minimum(s["p_manifold_pa"] / 1e3, 204.8), "%.1f"),
        "torque_Nm": (s["torque_nm"], "%.1f"),
    }
    return csv_text(columns)


def _gauge_and_absolute(s):
    """Two columns called psi: the intake one absolute, the exhaust one gauge."""
    off = {name: values[:200:50] for name, values in s.items()}
    s = {name: np.concatenate([off[name], values]) for name, values in _cut(s, 5).items()}
    columns = {
        "time_s": (0.2 * np.arange(len(s["time_s"])), "%.1f"),
        "engine_rpm": (s["speed_rpm"], "%.0f"),
        "intake_pressure_psi": (s["p_manifold_pa"] / 6894.757, "%.2f"),
        "exhaust_pressure_psi": (_psi_gauge(s, "p_exhaust_pa"), "%.2f"),
    }
    return csv_text(columns, ["# barometer during test: 14.62 psi absolute (cell barometer)"])


def _duplicate_names(s):
    s = _cut(s, 5)
    text = csv_text(
        {
            "time_s": (s["time_s"] - s["time_s"][0], "%.1f"),
            "rpm": (s["speed_rpm"], "%.0f"),
            "pressure": (_psi_gauge(s, "p_manifold_pa"), "%.2f"),
            "pressure#": (_psi_gauge(s, "p_exhaust_pa"), "%.2f"),
        }
    )
    return text.replace("pressure#", "pressure", 1)


def _merged(a, b):
    """A good pull, an aborted one and a good one of another set-up, in one file."""
    first, second, third = _cut(a, 10, (1,)), _cut(a, 10, (2,)), _cut(b, 10, (3,))
    stop = np.searchsorted(second["speed_rpm"] * (second["pull"] > 0), 3900)
    tail = np.linspace(second["speed_rpm"][stop], 1200, 18)
    parts = [first, {k: v[:stop] for k, v in second.items()}, None, third]
    speed = np.concatenate([tail if p is None else p["speed_rpm"] for p in parts])
    throttle = np.concatenate([np.zeros(18) if p is None else p["throttle"] for p in parts])
    torque = np.concatenate([np.full(18, -40.0) if p is None else p["torque_nm"] for p in parts])
    boost = np.concatenate(
        [np.full(18, -9.8) if p is None else _psi_gauge(p, "p_manifold_pa") for p in parts]
    )
    columns = {
        "t_s": (0.1 * np.arange(len(speed)), "%.1f"),
        "rpm": (speed, "%.0f"),
        "throttle_pct": (100 * throttle, "%.0f"),
        "boost_psi": (boost, "%.2f"),
        "torque_lbft": (torque / LBFT, "%.1f"),
    }
    return csv_text(columns)


def _aborted(s):
    """The driver lifts at 3900 rpm."""
    s = _cut(s, 10)
    stop = int(np.searchsorted(s["speed_rpm"] * (s["pull"] > 0), 3900))
    n = 15
    speed = np.concatenate([s["speed_rpm"][:stop], np.linspace(3900, 1500, n)])
    columns = {
        "time_s": (0.1 * np.arange(stop + n), "%.1f"),
        "rpm": (speed, "%.0f"),
        "throttle_pct": (np.concatenate([100 * s["throttle"][:stop], np.zeros(n)]), "%.0f"),
        "torque_Nm": (np.concatenate([s["torque_nm"][:stop], np.full(n, -45.0)]), "%.1f"),
    }
    return csv_text(columns)


def _gaps(s):
    """A logger that stalls and then writes what it had kept, with equal times."""
    s = _cut(s, 20)
    t = s["time_s"] - s["time_s"][0]
    keep = ~((t > 4.0) & (t < 5.6)) & ~((t > 9.0) & (t < 9.5))
    burst = (t > 7.0) & (t < 7.4)
    t = np.where(burst, 7.4, t)
    columns = {
        "time_s": (t[keep], "%.2f"),
        "rpm": (s["speed_rpm"][keep], "%.0f"),
        "torque_Nm": (s["torque_nm"][keep], "%.1f"),
    }
    return csv_text(columns)


def _placeholders(s):
    s = _cut(s, 5)
    text = csv_text(
        {
            "time_s": (s["time_s"] - s["time_s"][0], "%.1f"),
            "rpm": (s["speed_rpm"], "%.0f"),
            "torque_nm": (s["torque_nm"], "%.1f"),
            "egt_c": (s["t_exhaust_k"] - 273.15, "%.0f"),
        }
    )
    lines = text.splitlines()
    for row, cell in ((8, "---"), (15, "#N/A"), (23, "9999"), (24, "9999"), (31, "-")):
        lines[row] = ",".join([*lines[row].split(",")[:-1], cell])
    return "\n".join(lines) + "\n"


def _midnight(s):
    s = _cut(s, 5)
    seconds = (86390.0 + s["time_s"] - s["time_s"][0]) % 86400
    rows = [
        f"{int(t // 3600):02d}:{int(t // 60 % 60):02d}:{t % 60:04.1f},{rpm:.0f},{torque:.1f}"
        for t, rpm, torque in zip(seconds, s["speed_rpm"], s["torque_nm"], strict=True)
    ]
    return "\n".join(["clock,rpm,torque_nm", *rows]) + "\n"


def _power(s):
    """Power from another run than the torque beside it: the identity cannot hold."""
    s = _cut(s, 5)
    power_kw = s["torque_nm"] * s["speed_rpm"] * np.pi / 30 / 1e3 * 1.07
    columns = {
        "time_s": (s["time_s"] - s["time_s"][0], "%.1f"),
        "rpm": (s["speed_rpm"], "%.0f"),
        "torque_Nm": (s["torque_nm"], "%.1f"),
        "power_kW": (power_kw, "%.1f"),
    }
    return csv_text(columns)


def _decimal_comma(s):
    """Preamble, units row, two columns of one name, decimal comma, thousands point, no UTF-8."""
    s = _cut(s, 4)
    head = ["Prüfstand Halle 3;erfundene Daten", "Datum;18.04.2026", "Motor;R6 3,0 l", ""]
    head += ["Zeit;Drehzahl;Drehmoment;Druck;Druck;Ladelufttemperatur", "s;1/min;Nm;bar;bar;°C"]
    rows = zip(
        s["time_s"] - s["time_s"][0], s["speed_rpm"], s["torque_nm"],
        s["p_manifold_pa"] / 1e5, s["p_exhaust_pa"] / 1e5, s["t_charge_k"] - 273.15, strict=True,
    )  # fmt: skip
    for t, rpm, torque, p, p3, t_charge in rows:
        whole = f"{rpm:,.0f}".replace(",", ".")
        numbers = [f"{t:.2f}", f"{torque:.1f}", f"{p:.3f}", f"{p3:.3f}", f"{t_charge:.1f}"]
        numbers = [n.replace(".", ",") for n in numbers]
        head.append(";".join([numbers[0], whole, *numbers[1:]]))
    return "\r\n".join(head) + "\r\n"
