"""Can the gate pass what has to go round the turbine, or will boost creep."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.build.pull import pull
from toolkit.physics import gas
from toolkit.physics import gate as gates


@dataclass(frozen=True)
class Bypass:
    """Flows past the turbine along speed [kg/s].

    needed_kg_s: for the target; most_kg_s: with the control off, at the lift that boost and back
    pressure give the valve; open_kg_s: at its stop.
    """

    needed_kg_s: np.ndarray
    most_kg_s: np.ndarray
    open_kg_s: np.ndarray

    @property
    def creeps(self):
        """True where more is needed than passes; False where not, or where nobody knows."""
        return self.needed_kg_s > self.most_kg_s


def bypass(gate, needed_kg_s, boost_gauge_pa, p_exhaust_pa, p_turbine_out_pa, t_exhaust_k, lam):
    """What the gate passes against what it must, at the target's own state. [Bypass]

    The arguments broadcast: needed flow [kg/s], boost [Pa, gauge], exhaust manifold and turbine
    outlet pressure [Pa], exhaust temperature [K], lambda. ValueError as in `physics.gate`.
    """
    state = p_exhaust_pa, p_turbine_out_pa, t_exhaust_k
    gas_now = gas.gamma_burned(t_exhaust_k, lam), gas.r_burned_j_kgk(lam)
    drop = np.asarray(p_exhaust_pa, dtype=float) - p_turbine_out_pa
    lift = gates.lift_m(gate, drop, boost_gauge_pa)
    most = gates.flow_kg_s(gate, lift, *state, *gas_now)
    stop = gates.flow_kg_s(gate, gate.max_lift_m, *state, *gas_now)
    return Bypass(np.asarray(needed_kg_s, dtype=float), most, stop + 0 * most)


@dataclass(frozen=True)
class Demand:
    """What a build's match asks of its gate at a target; arrays along speed, NaN off the map."""

    speed_rpm: np.ndarray
    needed_kg_s: np.ndarray
    boost_gauge_pa: np.ndarray
    p_exhaust_pa: np.ndarray
    p_turbine_out_pa: np.ndarray
    t_exhaust_k: np.ndarray
    lam: np.ndarray

    def against(self, gate):
        """The Bypass of a gate in this demand."""
        state = self.p_exhaust_pa, self.p_turbine_out_pa, self.t_exhaust_k, self.lam
        return bypass(gate, self.needed_kg_s, self.boost_gauge_pa, *state)


def demand(build, speed_rpm, boost_gauge_pa, turbo=0):
    """The bypass that the match of one turbo of a build asks for, its own gate left out.

    boost_gauge_pa: target, a number or one per speed. Where the target is not reached nothing is
    to be bypassed. ValueError or BuildError as in `build.pull`.
    """
    free = replace(build, turbos=(replace(build.turbos[turbo], gate=None),))
    solved = pull(free, speed_rpm, boost_gauge_pa)
    m = solved.match
    share = m.bypass_share[:, 0]
    flow = m.turbine_flow_kg_s[:, 0] * share / (1 - share)
    speed = np.asarray(speed_rpm, dtype=float)
    return Demand(
        speed,
        np.where(share > 1e-6, flow, 0.0 * share),
        m.p_compressor_out_pa[:, 0] - solved.weather.p_cell_pa,
        m.p_exhaust_pa[:, 0],
        m.p_turbine_out_pa[:, 0],
        build.engine.t_exhaust_k(speed),
        build.engine.lam(speed),
    )
