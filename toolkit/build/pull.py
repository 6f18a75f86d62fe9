"""One pull of a build: every speed and every candidate matched at once."""

from dataclasses import dataclass, fields, replace

import numpy as np

from toolkit.physics import air, engine
from toolkit.physics.gas import R_AIR_J_KGK
from toolkit.physics.gate import Gate
from toolkit.physics.match import match
from toolkit.physics.output import Output, output
from toolkit.physics.points import NO_GATE, Match, Points


@dataclass(frozen=True)
class Pull:
    """A build's candidates along speed: arrays of shape (speeds, candidates).

    speed_rpm has the shape (speeds, 1). `match` and `output` hold what was solved; the rest is
    what belongs beside it.
    """

    build: object
    names: tuple
    speed_rpm: np.ndarray
    weather: object
    target_gauge_pa: np.ndarray
    match: Match
    output: Output

    @property
    def boost_gauge_pa(self):
        return self.match.p_manifold_pa - self.weather.p_cell_pa

    @property
    def back_pressure_gauge_pa(self):
        return self.match.p_exhaust_pa - self.weather.p_cell_pa

    @property
    def ratio_gauge(self):
        """Back pressure over boost, both gauge; NaN without boost. [-]"""
        boost = self.boost_gauge_pa
        return self.back_pressure_gauge_pa / np.where(boost > 0, boost, np.nan)

    @property
    def ratio_absolute(self):
        """Back pressure over boost, both absolute. [-]"""
        return self.match.p_exhaust_pa / self.match.p_manifold_pa

    @property
    def speed_share(self):
        """Shaft speed over the candidate's limit; NaN where no limit is given. [-]"""
        limits = [t.speed_limit_rpm or np.nan for t in self.build.turbos]
        return self.match.shaft_speed_rpm / np.array(limits)

    def threshold_rpm(self, share=0.99):
        """Boost threshold: the lowest speed that reaches so much of the target; NaN if none.

        Between the first speed that does and the one below it, boost is taken to rise evenly;
        where the one below is off the map, it is the first that does.
        """
        short = share * self.target_gauge_pa - self.boost_gauge_pa
        speed = np.broadcast_to(self.speed_rpm, short.shape)
        found = np.full(short.shape[1], np.nan)
        for j in range(short.shape[1]):
            reached = np.flatnonzero(short[:, j] <= 0)
            if reached.size:
                k = reached[0]
                pair = slice(max(k - 1, 0), k + 1)
                on = np.isfinite(short[pair, j])
                found[j] = np.interp(0, -short[pair, j][on], speed[pair, j][on])
        return found


def pull(build, speed_rpm, boost_gauge_pa=None, weather=None):
    """Match every turbo of a build at every speed. A Pull.

    speed_rpm: engine speeds [rpm], one axis. boost_gauge_pa: target over the cell's pressure,
    a number or one a speed; the build's own target when None. weather: the build's own when None.
    Raises ValueError where the build has no target.
    """
    weather = weather or build.weather
    speed = np.atleast_1d(np.asarray(speed_rpm, dtype=float))[:, None]
    target = target_gauge_pa(build, speed, boost_gauge_pa)
    solved = match(*problem(build, speed, target, weather))
    solved = solved.reshape(speed.size, len(build.turbos))
    made = made_of(
        build, weather, speed, solved.air_flow_kg_s, solved.p_manifold_pa, solved.p_exhaust_pa
    )
    return Pull(build, tuple(t.name for t in build.turbos), speed, weather, target, solved, made)


def made_of(build, weather, speed_rpm, air_flow_kg_s, p_manifold_pa, p_exhaust_pa):
    """What the build's engine makes of moist air at pressures around it. An Output."""
    e = build.engine
    return output(
        air_flow_kg_s * dry_share(weather), p_manifold_pa, p_exhaust_pa,
        speed_rpm, e.displacement_m3, e.stroke_m, build.fuel.properties, e.lam(speed_rpm),
        e.spark_retard_deg(speed_rpm), e.indicated_efficiency, e.friction_scale,
    )  # fmt: skip


def dry_share(weather):
    """Dry air's share of the mass of moist air: only it burns. [-]"""
    dry = air.dry_pressure_pa(weather.p_cell_pa, weather.t_cell_k, weather.humidity)
    density = air.density_kg_m3(weather.p_cell_pa, weather.t_cell_k, weather.humidity)
    return float(dry / (R_AIR_J_KGK * weather.t_cell_k) / density)


def target_gauge_pa(build, speed, boost_gauge_pa):
    """The boost aimed at, (speeds, 1): what is given, else the build's own."""
    if boost_gauge_pa is not None:
        return np.asarray(boost_gauge_pa, dtype=float).reshape(-1, 1)
    if build.target is None:
        raise ValueError("the build has no target: give a boost")
    return build.target.boost_gauge_pa(speed)


def problem(build, speed, target, weather):
    """What match.match takes, for every turbo of a build at speeds and targets of (speeds, 1):
    points of (speeds, turbos), maps, turbine curves, the fuel's atoms."""
    e, fuel, turbos = build.engine, build.fuel.properties, build.turbos
    maps = list({id(t.compressor): t.compressor for t in turbos}.values())
    curves = list({id(t.turbine): t.turbine for t in turbos}.values())
    lam = e.lam(speed)
    density = air.density_kg_m3(weather.p_cell_pa, weather.t_cell_k, weather.humidity)
    linear, log = breathing(e)
    restrictions, cooler = build.restrictions, build.cooler
    points = Points(
        volume_flow_m3_s=e.volumetric_efficiency(speed) * e.displacement_m3 * speed / 120,
        breathing_linear=linear,
        breathing_log=log,
        p_cell_pa=weather.p_cell_pa,
        t_cell_k=weather.t_cell_k,
        r_intake_j_kgk=weather.p_cell_pa / (density * weather.t_cell_k),
        p_target_pa=weather.p_cell_pa + target,
        intake_loss=_loss(restrictions.intake),
        cooler_loss=_loss(cooler and cooler.drop),
        exhaust_loss=_loss(restrictions.exhaust),
        effectiveness=cooler.effectiveness if cooler else 0.0,
        t_medium_k=cooler.t_medium_k if cooler else weather.t_cell_k,
        exhaust_per_air=1 + dry_share(weather) / fuel.afr(lam),
        t_exhaust_k=e.t_exhaust_k(speed),
        lam=lam,
        map=[maps.index(t.compressor) for t in turbos],
        turbine=[curves.index(t.turbine) for t in turbos],
        turbine_area_m2=[1.0 if t.turbine else t.turbine_area_m2 for t in turbos],
        turbine_efficiency=[1.0 if t.turbine else t.turbine_efficiency for t in turbos],
        mechanical_efficiency=[t.mechanical_efficiency for t in turbos],
        turbos=[t.count for t in turbos],
        gated=[t.gate is not None for t in turbos],
        gate_share=np.array([t.gate.gate.share_limit if t.gate else 0.0 for t in turbos]),
        gate=_gates(turbos),
    )
    return points, maps, curves, (fuel.h_to_c, fuel.o_to_c)


def breathing(part):
    """The linear and the logarithmic coefficient of breathing against p3/p_i of an Engine:
    its own slope, or the ideal cycle's bracket, which is a lower bound."""
    if part.breathing_slope is not None:
        return 0.0, part.breathing_slope
    return float(engine.breathing_bracket(2.0, part.compression_ratio)) - 1, 0.0


def _gates(turbos):
    """One Gate with an element a turbo."""
    parts = [t.gate.gate if t.gate else NO_GATE for t in turbos]
    parts = [replace(g, port_area_m2=g.port_area_m2 or g.valve_area_m2) for g in parts]
    names = [f.name for f in fields(Gate) if f.name not in ("ports", "bled")]
    return Gate(**{n: np.array([getattr(g, n) for g in parts]) for n in names})


def _loss(restriction):
    return restriction.loss if restriction else 0.0
