"""The match one point at a time: scipy's brentq, with the public physics functions.

The second route for the tests and the yardstick of the benchmark. Bypass free, no gate.
"""

import numpy as np
from scipy.optimize import brentq

from toolkit.physics import compressor, gas, turbine


def solve(p, maps):
    """Share of the speed range, place between surge and choke, and the state, of one point."""
    m = maps[int(p.map)]

    def place_at(share):
        def breathing(u):
            return residuals(p, m, share, u)[0]

        if breathing(0.0) > 0:
            return 0.0
        return brentq(breathing, 0.0, 1.0, xtol=1e-11) if breathing(1.0) > 0 else 1.0

    share = brentq(lambda s: residuals(p, m, s, place_at(s))[1], 0.0, 1.0, xtol=1e-11)
    place = place_at(share)
    return share, place, residuals(p, m, share, place)[2]


def residuals(p, m, share, place):
    """Breathing and control, and the state that they come from."""
    low, high = m.line_speeds_rpm[[0, -1]]
    corrected, ratio, efficiency = (float(v) for v in m.at(low + share * (high - low), place))
    p_in = brentq(lambda x: x - p.p_cell_pa + p.intake_loss * _air(p, m, corrected, x) ** 2
                  * p.t_cell_k / p.p_cell_pa, 0.2 * p.p_cell_pa, p.p_cell_pa + 1)  # fmt: skip
    air, p_out = _air(p, m, corrected, p_in), ratio * p_in
    t_out = float(compressor.outlet_t_k(p.t_cell_k, ratio, efficiency))
    p_manifold = max(p_out - p.cooler_loss * air**2 * t_out / p_out, 0.01 * p_out)
    t_charge = t_out - p.effectiveness * (t_out - p.t_medium_k)
    power = air * (gas.h_air_j_kg(t_out) - gas.h_air_j_kg(p.t_cell_k)) / p.mechanical_efficiency
    exhaust = air * p.exhaust_per_air
    t_after = float(
        gas.t_burned_k(gas.h_burned_j_kg(p.t_exhaust_k, p.lam) - power / exhaust, p.lam)
    )
    p_after = p.p_cell_pa / 2
    p_after = p_after + np.sqrt(p_after**2 + p.exhaust_loss * exhaust**2 * t_after)

    def spare(z):
        return float(_turbine_power(p, z, p_after) - power)

    z = brentq(spare, 1e-7, np.log(8)) if spare(np.log(8)) > 0 else np.log(8)
    p_exhaust = p_after * np.exp(z)
    through = turbine.flow_kg_s(
        p.turbine_area_m2 * p.turbos, p_exhaust, p_after, p.t_exhaust_k, p.lam
    )
    over = p_exhaust / p_manifold - 1
    taken = (1 + p.breathing_linear * over) * np.exp(p.breathing_log * over)
    breathing = air * p.r_intake_j_kgk * t_charge / p_manifold / p.volume_flow_m3_s - taken
    control = max(through / exhaust - 1, p_manifold / p.p_target_pa - 1)
    state = {"p_manifold": p_manifold, "p_exhaust": p_exhaust, "air": air}
    return float(breathing), float(control), state


def _air(p, m, corrected, p_in):
    factor = compressor.physical_flow_kg_s(corrected, p.t_cell_k, p_in, m.t_ref_k, m.p_ref_pa)
    return float(p.turbos * factor)


def _turbine_power(p, z, p_after):
    through = turbine.flow_kg_s(
        p.turbine_area_m2 * p.turbos, p_after * np.exp(z), p_after, p.t_exhaust_k, p.lam
    )
    work = turbine.isentropic_work_j_kg(p.t_exhaust_k, np.exp(z), p.lam)
    return through * work * p.turbine_efficiency
