"""The cylinder of `physics.cycle` as a reactor network in Cantera: a second route to its answer.

Gas properties (GRI 3.0 species data), energy equation and integrator are Cantera's. The laws of
valve flow, wall heat and burning are written again here from their sources. Air only: heat is
released without turning it into burned gas.
"""

import cantera as ct
import numpy as np

from toolkit.physics import cycle_kernel, cycle_points

AIR = "O2:0.2095, N2:0.7808, AR:0.0097"


def air():
    species = [s for s in ct.Species.list_from_file("gri30.yaml") if s.name in ("O2", "N2", "AR")]
    gas = ct.Solution(thermo="ideal-gas", species=species)
    gas.X = AIR
    return gas


class ReactorEngine:
    """Cylinder and intake port as reactors between two reservoirs.

    cylinder: a physics.cycle.Cylinder; area_in, area_ex: effective valve areas [m2] against
    crank angle; burn: start and length of the Wiebe law [deg] and heat a cycle [J].
    """

    def __init__(
        self, cylinder, area_in, area_ex, burn, mixing, speed_rpm, p_in, p_ex, t_in, t_ex=1100.0
    ):
        self.cylinder, self.area_in, self.area_ex, self.burn = cylinder, area_in, area_ex, burn
        self.deg_per_s = 6 * speed_rpm
        self.intake = _filled(ct.Reservoir, t_in, p_in)
        self.exhaust = _filled(ct.Reservoir, t_ex, p_ex)
        self.body = _filled(ct.IdealGasReactor, t_in, p_in)
        self.body.volume = self.volume(-180.0)
        # What is pushed back waits here, at constant pressure, and returns first.
        self.port = _filled(ct.IdealGasConstPressureReactor, t_in, p_in)
        self.mixing_kg = mixing * cylinder.displacement_m3 * self.intake.phase.density
        # A reactor cannot be empty: this little stays.
        self.left_kg = 0.05 * self.mixing_kg
        self.port.volume = self.left_kg / self.intake.phase.density
        self._keep = [*self._walls(), *self._valves()]
        self.net = ct.ReactorNet([self.body, self.port])
        self.net.rtol, self.net.atol = 1e-8, 1e-14
        self.net.max_time_step = 1 / self.deg_per_s
        self.done = 0

    def angle(self, t):
        return (t * self.deg_per_s) % 720 - 180

    def volume(self, angle_deg):
        c, a = self.cylinder, np.deg2rad(angle_deg)
        crank = c.stroke_m / 2
        travel = crank * (1 - np.cos(a)) + c.rod_m - np.sqrt(c.rod_m**2 - (crank * np.sin(a)) ** 2)
        return c.displacement_m3 / (c.compression_ratio - 1) + np.pi / 4 * c.bore_m**2 * travel

    def _walls(self):
        ambient = _filled(ct.Reservoir, 300.0, ct.one_atm)

        def piston_speed(t):
            angle, step = t * self.deg_per_s - 180, 0.01
            rise = self.volume(angle + step) - self.volume(angle - step)
            return -rise / (2 * step) * self.deg_per_s

        return [
            ct.Wall(ambient, self.body, velocity=piston_speed),
            ct.Wall(self.body, ambient, Q=lambda t: self.wall_watts(self.angle(t))),
            ct.Wall(ambient, self.body, Q=lambda t: self.burning_watts(self.angle(t))),
        ]

    def wall_watts(self, angle_deg):
        """Hohenberg, SAE 790825 (1979); constants from memory."""
        c, volume = self.cylinder, self.volume(angle_deg)
        p_bar, t = self.body.phase.P / 1e5, self.body.phase.T
        speed = 2 * c.stroke_m * self.deg_per_s / 360
        h = 130 * volume**-0.06 * p_bar**0.8 * t**-0.4 * (speed + 1.4) ** 0.8
        area = np.pi / 2 * c.bore_m**2 + 4 * volume / c.bore_m
        return c.wall_factor * h * area * (t - c.t_wall_k)

    def burning_watts(self, angle_deg):
        """Wiebe's law with a = 5, m = 2, scaled to burn all (Heywood 1988, sec. 9.2)."""
        start, length, heat = self.burn
        u = (angle_deg - start) / length
        if not 0 < u < 1:
            return 0.0
        rate = 15 * u**2 * np.exp(-5 * u**3) / (1 - np.exp(-5)) / length
        return heat * rate * self.deg_per_s

    def _valves(self):
        """One flow controller a direction; the port's share of an inflow comes before fresh air."""

        def share():
            held = max(self.port.mass - self.left_kg, 0.0)
            return held / (held + self.mixing_kg)

        def valve(up, down, area, part=lambda: 1.0, to=None):
            def rate(t):
                return part() * _ideal_flow(area(self.angle(t)), up.phase, down.phase)

            return ct.MassFlowController(up, to or down, mdot=rate)

        return [
            valve(self.port, self.body, self.area_in, share),
            valve(self.intake, self.body, self.area_in, lambda: 1 - share()),
            valve(self.body, self.intake, self.area_in, to=self.port),
            valve(self.body, self.exhaust, self.area_ex),
            valve(self.exhaust, self.body, self.area_ex),
        ]

    def cycle(self):
        """The next cycle at every degree from -180: p [Pa], mass [kg], volume [m3]."""
        rows = [self._now()]
        for k in range(1, 721):
            self.net.advance((720 * self.done + k) / self.deg_per_s)
            rows.append(self._now())
        self.done += 1
        return np.array(rows).T

    def repeat(self, tolerance, most=40):
        """Cycles until the mass at the end is that at the start; the last one."""
        for _ in range(most):
            p, mass, volume = self.cycle()
            if abs(mass[-1] / mass[0] - 1) < tolerance:
                return p, mass, volume
        raise RuntimeError("the reactor network's cycle does not repeat")

    def _now(self):
        return self.body.phase.P, self.body.mass, self.body.volume


def like(cylinder, cam, point, heat_j):
    """The network of a physics.cycle operating point, with that heat a cycle."""
    angle = -180 + np.arange(2881) / 4
    areas = [
        cycle_points.valve_area_m2(cylinder, getattr(cam, side), side)
        for side in ("intake", "exhaust")
    ]
    return ReactorEngine(
        cylinder,
        lambda a: np.interp(a, angle, areas[0]),
        lambda a: np.interp(a, angle, areas[1]),
        (*cycle_points.burning(cycle_kernel, point.half_burned_deg, point.burn_deg), heat_j),
        cycle_kernel.PORT_MIXING,
        point.speed_rpm,
        point.p_manifold_pa,
        point.p_exhaust_pa,
        point.t_charge_k,
        point.t_exhaust_k,
    )


def _filled(kind, t_k, p_pa):
    gas = air()
    gas.TP = t_k, p_pa
    return kind(gas, clone=True)


def _ideal_flow(area_m2, up, down):
    """Compressible flow through an opening (Heywood 1988, app. C); none backwards."""
    if area_m2 <= 0 or up.P <= down.P:
        return 0.0
    g = up.cp_mass / up.cv_mass
    r = max(down.P / up.P, (2 / (g + 1)) ** (g / (g - 1)))
    psi = np.sqrt(2 * g / (g - 1) * (r ** (2 / g) - r ** ((g + 1) / g)))
    return area_m2 * up.P / np.sqrt(ct.gas_constant / up.mean_molecular_weight * up.T) * psi
