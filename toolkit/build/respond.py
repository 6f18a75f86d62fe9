"""Response of a build's turbos: time to boost at held speeds, a sweep, a pull in a vehicle."""

from dataclasses import dataclass, fields, replace
from functools import partial

import numpy as np

from toolkit.build.pull import made_of, problem, target_gauge_pa
from toolkit.physics import response, rotor
from toolkit.physics.transient import Plant

# Volumes over the engine's displacement, from memory: pipes, charge cooler and intake manifold;
# exhaust manifold and turbine housing.
INTAKE_PER_DISPLACEMENT, EXHAUST_PER_DISPLACEMENT = 3.0, 0.8
SPEED_STEP_RPM = 100.0
SLOWED_RPM = 20.0  # so much slower is slowing down; less is the first moment on part load


@dataclass(frozen=True)
class Setting:
    """What a response needs beside the build; what is None is estimated, and said to be.

    boost_gauge_pa, weather: instead of the build's. intake_m3, exhaust_m3: volumes. share: of the
    target boost, gauge, that counts as having it. feed: what a gate's control gives over what it
    could, a number or one a turbo.
    """

    boost_gauge_pa: float | None = None
    weather: object = None
    intake_m3: float | None = None
    exhaust_m3: float | None = None
    share: float = 0.9
    feed: float | np.ndarray = 1.0


@dataclass(frozen=True)
class Answer:
    """A response of all turbos, with what is uncertain about it.

    found: (3, speeds, turbos) for held speeds, else (3, turbos): for a quick, the likeliest and
    a slow rotor, equal where the inertia is known. responses: the three response.Response, one
    candidate a turbo (and speed). notes: what was estimated, in sentences.
    """

    names: tuple
    found: np.ndarray
    responses: tuple
    notes: tuple


def time_to_boost(build, speeds_rpm, setting=None, seconds=4.0, part_load=response.PART_LOAD):
    """Time from opening the throttle at a held speed [rpm] until the boost is there. [s]

    speeds_rpm: one or several, all run at once. An Answer; NaN where the boost is not there
    within `seconds`. Raises ValueError where a rotor's inertia is neither known nor scaled.
    """
    speeds = np.atleast_1d(np.asarray(speeds_rpm, dtype=float))
    held = np.repeat(speeds, len(build.turbos))

    def ask(asked, inertia, volumes, wanted):
        points, maps, curves, fuel = asked
        each = np.tile(inertia, len(speeds))
        plant = Plant(_one_row(points, len(speeds)), maps, curves, fuel, each, *volumes)
        made = response.after_step(plant, held, seconds, part_load)
        found = response.time_to_boost_s(made, np.repeat(wanted, len(build.turbos)))
        return made, found.reshape(len(speeds), -1)

    return _answer(build, speeds, setting, ask)


def boost_in_sweep(build, from_rpm, to_rpm, rate_rpm_s, setting=None):
    """Engine speed at which boost arrives in a sweep at a rate [rpm/s]. [rpm]

    An Answer. Depends on the rate: no time to boost can be had from it. Errors as time_to_boost.
    """

    speeds = _speeds(from_rpm, to_rpm)

    def ask(asked, inertia, volumes, wanted):
        made = response.in_sweep(
            Plant(*asked, inertia, *volumes, speeds), from_rpm, to_rpm, rate_rpm_s
        )
        return made, response.speed_of_boost_rpm(made, _at(made, speeds, wanted))

    return _answer(build, speeds, setting, ask)


def boost_in_vehicle(build, vehicle, from_rpm, setting=None, seconds=10.0, made=None):
    """Time from opening the throttle until boost is there, a response.Vehicle in one gear. [s]

    made(speed_rpm, air_flow_kg_s, p_manifold_pa, p_exhaust_pa): the engine's output.Output; as
    the build has it when None. An Answer, up to the end of the build's speed range. Errors as
    time_to_boost, and where the gear cannot be pulled.
    """
    weather = (setting or Setting()).weather or build.weather
    made = made or partial(made_of, build, weather)

    def torque_nm(speed, values):
        names = ("air_flow_kg_s", "p_manifold_pa", "p_exhaust_pa")
        return made(speed, *(values[n] for n in names)).torque_nm

    speeds = _speeds(from_rpm, build.engine.speed_range_rpm[1])

    def ask(asked, inertia, volumes, wanted):
        plant = Plant(*asked, inertia, *volumes, speeds)
        pulled = response.in_vehicle(plant, vehicle, torque_nm, from_rpm, seconds)
        if pulled.moments.speed_rpm.min() < from_rpm - SLOWED_RPM:
            raise ValueError(
                f"the engine cannot pull this gear from {from_rpm:.0f} rpm: it slows down; take a "
                "shorter gear, a lighter vehicle or a higher speed"
            )
        return pulled, response.boost_after_s(pulled, _at(pulled, speeds, wanted))

    return _answer(build, speeds, setting, ask)


def _answer(build, speeds_rpm, setting, ask):
    """Ask for a quick, a likely and a slow rotor; once where all inertias are known."""
    setting = setting or Setting()
    weather = setting.weather or build.weather
    speed = np.asarray(speeds_rpm, dtype=float)[:, None]
    target = target_gauge_pa(build, speed, setting.boost_gauge_pa)
    inertias, notes = _inertias(build)
    volumes, estimated = _volumes(build, setting)
    wanted = weather.p_cell_pa + setting.share * np.broadcast_to(target, speed.shape)[:, 0]
    points, *rest = problem(build, speed, target, weather)
    asked = (replace(points, gate_share=points.gate_share * setting.feed), *rest)
    known = np.array_equal(inertias[0], inertias[2])
    made = []
    for inertia in inertias[1:2] if known else inertias:
        made.append(ask(asked, inertia, volumes, wanted))
    made = made * 3 if known else made
    responses, found = zip(*made, strict=True)
    names = tuple(t.name for t in build.turbos)
    return Answer(names, np.array(found), responses, notes + estimated)


def _one_row(points, speeds):
    """Points of (speeds, turbos) as one row of candidates, speed by speed."""
    turbos = len(points.map)

    def row(value):
        return np.broadcast_to(value, (speeds, turbos)).ravel()

    known = {f.name: row(getattr(points, f.name)) for f in fields(points) if f.name != "gate"}
    gate = {k: row(v) for k, v in vars(points.gate).items() if np.ndim(v)}
    return replace(points, **known, gate=replace(points.gate, **gate))


def _at(made, speeds, wanted):
    """What is wanted along the moments' own engine speeds."""
    return np.interp(made.moments.speed_rpm, speeds, wanted)


def _inertias(build):
    """Inertia of each rotor, (3, turbos), quick to slow, and what was estimated."""
    rows, notes = [], []
    for turbo in build.turbos:
        if turbo.inertia_kg_m2:
            rows.append([turbo.inertia_kg_m2] * 3)
            continue
        if turbo.wheel_m is None:
            raise ValueError(
                f"the inertia of {turbo.name} is not known: give its build inertia, like "
                '"30 kg mm²", or compressor_wheel, the diameter of that wheel'
            )
        scaled = float(rotor.scaled_inertia_kg_m2(turbo.wheel_m))
        rows.append(
            [scaled / rotor.INERTIA_UNCERTAINTY, scaled, scaled * rotor.INERTIA_UNCERTAINTY]
        )
        notes.append(
            f"The rotor inertia of {turbo.name} is estimated from its wheel diameter: it may be"
            " half or twice that, and the band shows what follows."
        )
    return np.array(rows).T, tuple(notes)


def _volumes(build, setting):
    displacement = build.engine.displacement_m3
    known = (setting.intake_m3, setting.exhaust_m3)
    usual = (INTAKE_PER_DISPLACEMENT, EXHAUST_PER_DISPLACEMENT)
    notes = ()
    if None in known:
        notes = ("Volumes of intake and exhaust are estimated from the displacement.",)
    volumes = [v or per * displacement for v, per in zip(known, usual, strict=True)]
    return volumes, notes


def _speeds(from_rpm, to_rpm):
    count = max(2, round((to_rpm - from_rpm) / SPEED_STEP_RPM) + 1)
    return np.linspace(from_rpm, to_rpm, count)
