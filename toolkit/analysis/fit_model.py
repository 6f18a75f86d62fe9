"""What is fitted: the unknowns with their priors, and what they say each channel should read.

Every channel is worked out from the *measured* state around it, so that an error of one equation
does not run through the others:

    air     VE(speed) exp(s (p3/p_i - 1)) of what the displacement holds at manifold state
    torque  the heat of that air, less gas exchange and friction (physics.output)
    p3      what the compressor's work asks of the turbine, or, with the gate shut, what drives
            all exhaust through it (Watson & Janota, Turbocharging the Internal Combustion
            Engine, 1982; two nozzles in series, physics.turbine)
    T_i     a charge cooler of one effectiveness
    gate    the spring that balances the forces where the control gives the gate all it has

Without a compressor map the efficiency is the whole turbo's. Its bearings take power as shaft
speed squared, and so does each kilogram of air: the loss is that of a constant extra flow,
efficiency = best * flow / (flow + loss flow). With a map the compressor's share is read off it.

The price of using measured states: scatter in p3 flattens the breathing slope, as scatter in what a
line is drawn against always does. Half a per cent does no harm (tests/test_fit.py).
"""

from dataclasses import dataclass

import numpy as np

from toolkit.physics import compressor, engine, gate
from toolkit.physics.expansion import Expansion
from toolkit.physics.output import output
from toolkit.physics.turbo_fit import expansion_of_flow


@dataclass(frozen=True)
class Parameter:
    """An unknown with its prior: value and standard deviation, relative where `log`.

    kind: of toolkit.units, to show it. free: the prior is only where the search starts; the
    data alone must tell. most: the highest value that is possible.
    """

    name: str
    words: str
    kind: str
    prior: float
    sd: float
    log: bool = False
    free: bool = False
    most: float = np.inf

    def value(self, x):
        """The value at x standard deviations from the prior."""
        value = self.prior * np.exp(self.sd * x) if self.log else self.prior + self.sd * x
        return np.minimum(value, self.most)


# Standard deviations of the priors, and the values that no build states. VE and cooler: what a
# team's own estimate is worth (from memory). Breathing: measured turbocharged petrol engines lose
# three to six times the ideal cycle's -0.08, DEVELOPERS.md "What back pressure costs". Indicated
# efficiency: 0.34 to 0.40 at lambda 1 (Heywood 1988, ch. 5 and 9). Friction: spread of petrol
# engines about the Chen-Flynn line. Area and efficiency: a gas stand against an engine's pulses.
# Loss flow: mechanical efficiency 0.95 at the greatest flow, within a factor of three, from memory.
# Spring: its rating and the area ratio. Gate's opening: flow coefficients of valves, 0.6 to 0.8
# (Heywood 1988, sec. 6.3.2). Feed: a solenoid at full duty still bleeds some, from
# memory.
BREATHING, BREATHING_SD = -0.25, 0.15
FEED = (0.95, 0.03)
LOSS_SHARE, LOSS_FACTOR = 0.05, 3.0


def parameters_of(builds, most_air_kg_s):
    """The Parameters of an engine and of each of its turbos (`builds` share all but the turbo)."""
    e, cooler = builds[0].engine, builds[0].cooler
    slope = BREATHING if e.breathing_slope is None else e.breathing_slope
    made = [
        Parameter("ve", "VE over the build's curve", "ratio", 1.0, 0.08, log=True),
        Parameter("ve_slope", "VE, change per 1000 rpm", "number", 0.0, 0.05),
        Parameter("ve_bend", "VE, bend over speed", "number", 0.0, 0.03),
        Parameter("breathing", "breathing against back pressure", "number", slope, BREATHING_SD),
        Parameter(
            "indicated", "indicated efficiency", "fraction", e.indicated_efficiency, 0.03, most=0.65
        ),
        Parameter(
            "indicated_slope", "indicated efficiency, change per 1000 rpm", "number", 0.0, 0.05
        ),
        Parameter("friction", "friction scale", "ratio", e.friction_scale, 0.3),
        Parameter("t_exhaust", "exhaust temperature over the build's", "temperature_difference",
                  0.0, 40.0),
    ]  # fmt: skip
    if cooler:
        made.append(
            Parameter(
                "cooler", "cooler effectiveness", "fraction", cooler.effectiveness, 0.08, most=1.0
            )
        )
    for number, build in enumerate(builds):
        made += _of_turbo(build.turbo, number, most_air_kg_s)
    return tuple(made)


def _of_turbo(turbo, number, most_air_kg_s):
    name = turbo.name
    made = [
        Parameter(f"area_{number}", f"turbine effective area, {name}", "area",
                  turbo.turbine_area_m2, 0.2, log=True),
        Parameter(f"efficiency_{number}", f"{'turbine' if turbo.compressor else 'turbo'} "
                  f"efficiency, {name}", "fraction", turbo.turbine_efficiency, 0.08),
    ]  # fmt: skip
    if turbo.compressor is None:
        made.append(
            Parameter(f"loss_{number}", f"bearing loss as air flow, {name}", "air_flow",
                      LOSS_SHARE * most_air_kg_s, float(np.log(LOSS_FACTOR)), log=True)
        )  # fmt: skip
    if turbo.gate:
        made.append(
            Parameter(f"spring_{number}", f"gate spring, {name}", "boost",
                      turbo.gate.spring_gauge_pa, 0.08, log=True)
        )  # fmt: skip
        made.append(
            Parameter(f"opening_{number}", f"gate's effective over its open area, {name}",
                      "fraction", turbo.gate.discharge, 0.15, log=True, most=1.0)
        )  # fmt: skip
    if turbo.gate and turbo.gate.gate.share_limit:
        made.append(
            Parameter(f"feed_{number}", f"boost that the gate's control can give, {name}",
                      "fraction", *FEED, most=1.0)
        )  # fmt: skip
    return made


def thousands(speed_rpm, build):
    """Engine speed from the middle of the build's range, in 1000 rpm. [-]"""
    return (np.asarray(speed_rpm, dtype=float) - np.mean(build.engine.speed_range_rpm)) / 1000


def ve_factor(v, speed_rpm, build):
    """Fitted VE over the build's curve. v: values by name, numbers or arrays. [-]"""
    u = thousands(speed_rpm, build)
    return v["ve"] * np.exp(v["ve_slope"] * u + v["ve_bend"] * u**2)


def indicated_efficiency(v, speed_rpm, build):
    """Fitted gross indicated efficiency along speed. [-]"""
    return v["indicated"] * (1 + v["indicated_slope"] * thousands(speed_rpm, build))


class Model:
    """What the points' channels should read at given values of the unknowns."""

    def __init__(self, points, builds):
        self.points, self.builds = points, builds
        p, e = points, builds[0].engine
        fuel = builds[0].fuel.properties
        self.swept = engine.air_flow_kg_s(
            1.0, e.displacement_m3, p.speed_rpm, p.p_manifold_pa, p.t_charge_k
        ) * e.volumetric_efficiency(p.speed_rpm)
        self.retard = e.spark_retard_deg(p.speed_rpm)
        self.exhaust_per_air = 1 + p.dry_share / fuel.afr(p.lam)
        self.expansion = Expansion(
            [None], np.zeros(p.size), p.t_exhaust_k, p.lam, (fuel.h_to_c, fuel.o_to_c)
        )
        self.ideal_work = compressor.isentropic_work_j_kg(
            p.t_compressor_in_k, p.p_compressor_out_pa / p.p_compressor_in_pa
        )
        self.of_compressor = [self._of_compressor(b.turbo) for b in builds]

    def air(self, v, p_exhaust_pa):
        """Air flow [kg/s] at an exhaust pressure."""
        p, build = self.points, self.builds[0]
        over = p_exhaust_pa / p.p_manifold_pa - 1
        return self.swept * ve_factor(v, p.speed_rpm, build) * np.exp(v["breathing"] * over)

    def torque(self, v, air, p_exhaust_pa):
        """Torque [N m] of that air."""
        p, build = self.points, self.builds[0]
        e = build.engine
        return output(
            air * p.dry_share, p.p_manifold_pa, p_exhaust_pa, p.speed_rpm, e.displacement_m3,
            e.stroke_m, build.fuel.properties, p.lam, self.retard,
            np.clip(indicated_efficiency(v, p.speed_rpm, build), 0.05, 0.65),
            np.maximum(v["friction"], 0),
        ).torque_nm  # fmt: skip

    def p_exhaust(self, v, air):
        """Exhaust pressure [Pa] that drives the compressor with that air."""
        p = self.points
        asked, _ = self.expansion.at(self._power(v, air) / (p.p_turbine_out_pa * self._area(v)))
        whole = air * self.exhaust_per_air / (p.p_turbine_out_pa * self._area(v))
        return p.p_turbine_out_pa * np.exp(
            np.minimum(asked, expansion_of_flow(self.expansion, whole))
        )

    def _area(self, v):
        return self._each(lambda n, turbo: v[f"area_{n}"] * turbo.count)

    def _each(self, value):
        """Point by point, what belongs to its turbo."""
        made = [np.broadcast_to(value(n, b.turbo), self.points.size)
                for n, b in enumerate(self.builds)]  # fmt: skip
        return np.choose(self.points.turbo, made)

    def _power(self, v, air):
        """What the turbine's gas must give before its losses. [W]"""

        def of_turbo(n, turbo):
            best = np.clip(v[f"efficiency_{n}"], 0.1, 1.0)
            if turbo.compressor is None:
                return (air + v[f"loss_{n}"]) / best
            return air / (self.of_compressor[n] * best * turbo.mechanical_efficiency)

        return self.ideal_work * self._each(of_turbo)

    def _of_compressor(self, turbo):
        """Efficiency on the map at the logged air, else at the build's; NaN off the map."""
        if turbo.compressor is None:
            return None
        p, m = self.points, turbo.compressor
        air = np.where(np.isnan(p.air_flow_kg_s), self.swept, p.air_flow_kg_s) / turbo.count
        corrected = compressor.corrected_flow_kg_s(
            air, p.t_compressor_in_k, p.p_compressor_in_pa, m.t_ref_k, m.p_ref_pa
        )
        return m.read(corrected, p.p_compressor_out_pa / p.p_compressor_in_pa).efficiency

    def t_exhaust(self, v):
        """Exhaust temperature [K]: the build's curve, moved."""
        return self.builds[0].engine.t_exhaust_k(self.points.speed_rpm) + v["t_exhaust"]

    def t_charge(self, v):
        """Charge temperature [K] behind the cooler; NaN without one, or without its inlet's."""
        p, cooler = self.points, self.builds[0].cooler
        if cooler is None:
            return np.full(p.size, np.nan)
        return p.t_compressor_out_k - v["cooler"] * (p.t_compressor_out_k - cooler.t_medium_k)

    def springs(self, v):
        """The springs [Pa, gauge] as they are; NaN without a gate."""
        return self._each(lambda n, turbo: v.get(f"spring_{n}", np.nan))

    def spring(self, v):
        """Spring [Pa, gauge] that the gate's balance asks for where it is pushed open."""
        return self._each(lambda n, turbo: self._spring_of(v, n, turbo))

    def _spring_of(self, v, n, turbo):
        p = self.points
        if turbo.gate is None:
            return np.nan
        g, drop = turbo.gate.gate, p.p_exhaust_pa - p.p_turbine_out_pa
        z = np.log(p.p_exhaust_pa / p.p_turbine_out_pa)
        exhaust = self.air(v, p.p_exhaust_pa) * self.exhaust_per_air
        turbine = self._area(v) * p.p_exhaust_pa * self.expansion.turbine_flow(z)
        per_area = v[f"opening_{n}"] * p.p_exhaust_pa * self.expansion.nozzle_flow(z) * turbo.count
        lift = gate.lift_for_area_m(g, np.maximum(exhaust - turbine, 0) / per_area)
        port = p.p_compressor_out_pa - p.p_cell_pa - p.p_gate_top_gauge_pa
        opening = drop * g.valve_area_m2 / g.lever_ratio + port * g.diaphragm_area_m2
        return (opening - g.rate_n_m * g.lever_ratio * lift) / g.diaphragm_area_m2
