"""How far the exhaust must expand to give a power: the turbine read backwards, tabulated.

Power over pressure behind the turbine depends on the expansion ratio alone, for one gas and one
turbine: ER * flow(ER) * work(ER). Its inverse is tabulated row by row, a row for every gas state
and turbine curve, as cubics with exact slopes, which leaves errors below 1e-9.
"""

from functools import lru_cache

import numpy as np

from toolkit.physics import gas, nozzle
from toolkit.physics.turbine import MOST_EXPANSION, isentropic_work_j_kg

NODES = 129


class Expansion:
    """Rows of (turbine, exhaust temperature, lambda) for one fuel.

    curves: the distinct turbines, None for an effective area; turbine (which of them),
    t_exhaust_k, lam: one element a point; fuel: its hydrogen and oxygen atoms per carbon.
    `row` names each point's row. For an effective area, power and area scale outside: see `at`.
    """

    def __init__(self, curves, turbine, t_exhaust_k, lam, fuel):
        states = np.stack([np.asarray(turbine, dtype=float), t_exhaust_k, lam], axis=1)
        unique, row = np.unique(states, axis=0, return_inverse=True)
        self.row = row.reshape(-1)
        self.tables = _tables(tuple(curves), unique.tobytes(), tuple(fuel))

    def take(self, index):
        """The same rows for some of the points."""
        made = object.__new__(Expansion)
        made.tables, made.row = self.tables, self.row[index]
        return made

    def at(self, demand_w_pa):
        """Logarithm of expansion ratio and work [J/kg] that give a power over pressure behind.

        For an area: power / (p4 * area * efficiency), and work before the efficiency; for a
        curve: power / p4, and work with it. Beyond the table the end of it.
        """
        return self.tables.inverse(self.row, np.asarray(demand_w_pa) ** (2 / 3))

    def work_j_kg(self, z):
        """The same work, not from the table: at a logarithm of expansion ratio."""
        t, row = self.tables, self.row
        work = isentropic_work_j_kg(t.t[row, 0], np.exp(z), t.lam[row, 0], t.fuel)
        for number, curve in enumerate(t.curves):
            if curve is not None:
                work = np.where(t.which[row] == number, work * curve.at(np.exp(z))[1], work)
        return work

    def reaches(self, demand_w_pa):
        """-1 where the demand lies below a row's table, 1 where above, 0 inside."""
        y = np.asarray(demand_w_pa) ** (2 / 3)
        return np.where(
            y > self.tables.most[self.row], 1, np.where(y < self.tables.least[self.row], -1, 0)
        )

    def t_after_k(self, work_j_kg):
        """Temperature of the exhaust after it gave so much work. [K]"""
        return self.tables.cooling(self.row, work_j_kg)[0]

    def turbine_flow(self, z):
        """Flow of an effective area, over area and inlet pressure."""
        return self.nozzle_flow(z / 2)

    def nozzle_flow(self, z):
        """Flow of one nozzle, over area and inlet pressure, at a logarithm of pressure ratio."""
        gamma = self.tables.gamma[self.row, 0]
        return nozzle.flow_function(np.exp(-z), gamma) / self.tables.scale[self.row, 0]


@lru_cache(maxsize=4)
def _tables(curves, states, fuel):
    """The tables of so many states, kept: a pull at another boost has the same."""
    return _Tables(curves, np.frombuffer(states).reshape(-1, 3), fuel)


class _Tables:
    """For each row: what `Expansion` looks up."""

    def __init__(self, curves, states, fuel):
        which, t, lam = states.T[:, :, None]
        self._r = gas.r_burned_j_kgk(lam, *fuel)
        self.gamma = gas.gamma_burned(t, lam, *fuel)
        self.scale = np.sqrt(self._r * t)
        self.t, self.lam, self.fuel, self.curves = t, lam, fuel, curves
        self.which = which[:, 0].astype(int)
        self._tabulate(curves, self.which, self._nodes(curves, self.which))

    def _nodes(self, curves, which):
        """Logarithms of expansion ratio: even, and at every bend of a row's own curves."""
        choke = -2 * np.log(nozzle.critical_ratio(self.gamma))
        even = np.linspace(0, np.log(MOST_EXPANSION), NODES - 1)
        z = np.sort(np.concatenate([np.broadcast_to(even, (len(choke), NODES - 1)), choke], 1), 1)
        for number, curve in enumerate(curves):
            if curve is not None:
                bends = np.log(curve.expansion_ratio)
                even = np.linspace(*bends[[0, -1]], NODES - len(bends) + 2)
                z[which == number] = np.sort(np.concatenate([even, bends[1:-1]]))
        return z

    def _tabulate(self, curves, which, z):
        t, r, ratio = self.t, self._r, np.exp(z)
        end = gas.isentropic_t_burned_k(t, 1 / ratio, self.lam, *self.fuel)
        ideal = gas.h_burned_j_kg(t, self.lam, *self.fuel)
        ideal = ideal - gas.h_burned_j_kg(end, self.lam, *self.fuel)
        flow, flow_slope = self._nozzle(z / 2)  # per area and inlet pressure, and its slope
        flow_slope = flow_slope / 2
        work, work_slope = ideal.copy(), r * end  # dh = R T dz along an isentrope
        for number, curve in enumerate(curves):
            mine = which == number
            if curve is None or not mine.any():
                continue
            (f, eta), (df, deta) = curve.at(ratio[mine]), curve.slope(ratio[mine])
            per_pa = np.sqrt(curve.t_ref_k / t[mine]) / curve.p_ref_pa
            flow[mine], flow_slope[mine] = f * per_pa, df * per_pa
            work_slope[mine] = eta * work_slope[mine] + deta * ideal[mine]
            work[mine] = eta * ideal[mine]
        with np.errstate(divide="ignore", invalid="ignore"):
            steep = 1 + flow_slope / flow + work_slope / work
            demand = (ratio * flow * work) ** (2 / 3)  # straight near ER 1, where it goes as z^1.5
            slope = np.where(z > 0, 2 / 3 * demand * steep, np.cbrt(r * t))
        self.least, self.most = demand[:, 0], demand[:, -1]
        self.inverse = _Rows(demand, [(z, 1 / slope), (work, work_slope / slope)])
        cp = gas.cp_burned_j_kgk(end, self.lam, *self.fuel)
        self.cooling = _Rows(ideal, [(end, -1 / cp)])

    def _nozzle(self, z):
        """Flow of a nozzle over area and inlet pressure, and its slope in z."""
        g, scale = self.gamma, self.scale
        r = np.maximum(np.exp(-z), nozzle.critical_ratio(g))
        flow = nozzle.flow_function(np.exp(-z), g)
        falling = -2 / g * r ** (2 / g) + (g + 1) / g * r ** ((g + 1) / g)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(z < -np.log(nozzle.critical_ratio(g)), g / (g - 1) * falling / flow, 0)
        return flow / scale, slope / scale


class _Rows:
    """Cubics with given slopes, for rows that each have their own rising nodes x."""

    def __init__(self, x, columns):
        self.low, self.span = x[:, 0], np.ptp(x, axis=1)
        self.count = x.shape[1]
        places = (x - x[:, :1]) / self.span[:, None]
        # One rising array for a single search: row number plus place in the row.
        self.places = (np.arange(len(x))[:, None] + places).ravel()
        self.x = x.ravel()
        self.columns = [(y.ravel(), slope.ravel()) for y, slope in columns]

    def __call__(self, row, x):
        low, span, first = self.low[row], self.span[row], row * self.count
        x = np.minimum(np.maximum(x, low), low + span)
        k = np.searchsorted(self.places, row + (x - low) / span, side="right") - 1
        k = np.minimum(np.maximum(k, first), first + self.count - 2)
        width = self.x[k + 1] - self.x[k]
        t = (x - self.x[k]) / width
        return [_cubic(t, width, y, slope, k) for y, slope in self.columns]


def _cubic(t, width, y, slope, k):
    """Cubic Hermite interpolation."""
    rise = y[k + 1] - y[k]
    a = slope[k] * width - rise
    b = rise - slope[k + 1] * width
    return y[k] + t * (rise + (1 - t) * (a * (1 - t) + b * t))
