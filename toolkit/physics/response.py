"""Response: what happens between opening the throttle and having the boost.

Three questions that are easily mixed up, kept apart by name. The boost threshold is a matter of
steady points (match.py): the lowest engine speed that can hold the boost at all. The time to
boost is after a throttle step at a held speed (`after_step`). Boost against speed in a sweep or
a pull of a vehicle (`in_sweep`, `in_vehicle`) depends on how fast the speed rises as well, and
so does not tell the time to boost: asked for it, these refuse.
"""

from dataclasses import dataclass

import numpy as np

from toolkit.physics.guard import checked
from toolkit.physics.transient import Moments

STEP, SWEEP, VEHICLE = "throttle step at held speed", "sweep", "pull of a vehicle"
PART_LOAD = 0.4  # air taken in before the step over that at full throttle: light cruise


@dataclass(frozen=True)
class Response:
    """What was asked and what came of it: Moments, time along axis 0, candidates along axis 1."""

    kind: str
    moments: Moments


@dataclass(frozen=True)
class Vehicle:
    """What the engine has to push in one gear.

    mass_kg > 0, with the driver. gear_ratio: engine turns a wheel turn, gear times final drive,
    > 0. tyre_radius_m > 0, rolling. drag_area_m2: drag coefficient times frontal area >= 0.
    rolling: rolling resistance over weight >= 0. efficiency of the driveline, above 0 to 1.
    inertia_kg_m2: of crank, flywheel and clutch >= 0. air_density_kg_m3 >= 0. grade: rise of the
    road over its length, -0.5 to 0.5. Tyres do not slip. Raises ValueError.
    """

    mass_kg: float
    gear_ratio: float
    tyre_radius_m: float
    drag_area_m2: float = 0.7
    rolling: float = 0.013
    efficiency: float = 0.9
    inertia_kg_m2: float = 0.2
    air_density_kg_m3: float = 1.2
    grade: float = 0.0

    def __post_init__(self):
        checked("efficiency", self.efficiency, high=1, above=0)
        for name in ("mass_kg", "gear_ratio", "tyre_radius_m"):
            checked(name, getattr(self, name), above=0)
        for name in ("drag_area_m2", "rolling", "inertia_kg_m2", "air_density_kg_m3"):
            checked(name, getattr(self, name), 0)
        checked("grade", self.grade, -0.5, 0.5)

    @property
    def metres_a_radian(self):
        """Road per radian of the engine. [m]"""
        return self.tyre_radius_m / self.gear_ratio

    def road_speed_m_s(self, speed_rpm):
        """Road speed at an engine speed [rpm], without slip. [m/s]

        >>> round(float(Vehicle(1500, 4.0, 0.32).road_speed_m_s(4000)), 2)
        33.51
        """
        return np.asarray(speed_rpm, dtype=float) * np.pi / 30 * self.metres_a_radian

    def speed_rate_rpm_s(self, torque_nm, speed_rpm):
        """How fast engine speed rises under a torque [N m] at a speed [rpm]. [rpm/s]

        Source: Newton's second law for mass and flywheel together.

        >>> bare = Vehicle(1500, 4.0, 0.32, 0, 0, 1.0, 0)
        >>> round(float(bare.speed_rate_rpm_s(300.0, 3000.0)), 1)
        298.4
        """
        road = self.road_speed_m_s(speed_rpm)
        drag = 0.5 * self.air_density_kg_m3 * self.drag_area_m2 * road**2
        across = self.rolling * np.sqrt(1 - self.grade**2)
        drag = drag + (across + self.grade) * self.mass_kg * 9.80665
        load = drag * self.metres_a_radian / self.efficiency
        carried = self.mass_kg * self.metres_a_radian**2 / self.efficiency
        return (torque_nm - load) / (self.inertia_kg_m2 + carried) * 30 / np.pi


def after_step(plant, speed_rpm, seconds=4.0, part_load=PART_LOAD, samples=401):
    """The throttle opened at time 0 at a held engine speed [rpm], a number or one a candidate.

    plant: a transient.Plant. part_load: air taken in before, over that at full throttle, 0.05
    to 1; the rotor has settled there. A Response over `seconds`. ValueError outside.
    """
    load = checked("part_load", part_load, 0.05, 1)
    start = plant.settled(speed_rpm, load)
    times = np.linspace(0, checked("seconds", seconds, above=0, unit="s"), samples)
    return Response(STEP, plant.run(start, times, speed_rpm))


def in_sweep(plant, from_rpm, to_rpm, rate_rpm_s, samples=401):
    """Full throttle held at from_rpm until all has settled, then speed rising at a rate [rpm/s].

    plant: a transient.Plant with points along engine speed. A Response. ValueError outside.
    """
    rate = float(checked("rate_rpm_s", rate_rpm_s, above=0, unit="rpm/s"))
    rise = float(checked("to_rpm - from_rpm", to_rpm - from_rpm, above=0, unit="rpm"))
    times = np.linspace(0, rise / rate, samples)
    start = plant.settled(from_rpm)
    return Response(SWEEP, plant.run(start, times, from_rpm, lambda speed, values: rate))


def in_vehicle(plant, vehicle, torque_nm, from_rpm, seconds=10.0, part_load=PART_LOAD, samples=401):
    """The throttle opened at time 0 in one gear, speed rising as the engine can make it.

    plant: a transient.Plant with points along engine speed. torque_nm(speed_rpm, values): the
    engine's torque [N m] from the values of Plant.state. A Response; it goes on at the last
    speed of the plant's points where that is reached. ValueError outside.
    """
    load = checked("part_load", part_load, 0.05, 1)
    times = np.linspace(0, checked("seconds", seconds, above=0, unit="s"), samples)
    last = plant.speeds_rpm[-1]

    def rate(speed, values):
        rising = vehicle.speed_rate_rpm_s(torque_nm(speed, values), speed)
        return np.where(speed < last, rising, 0.0)

    start = plant.settled(from_rpm, load)
    return Response(VEHICLE, plant.run(start, times, from_rpm, rate))


def time_to_boost_s(response, p_wanted_pa):
    """Time after a throttle step until manifold pressure [Pa, absolute] is there. [s]

    One a candidate; 0 where it was there all along, NaN where it is never reached in the time
    that was run. ValueError where the response is no throttle step at a held speed: a sweep
    shows where boost arrives at that sweep rate, never how long it takes.
    """
    if response.kind != STEP:
        raise ValueError(
            f"a {response.kind} does not tell the time to boost: hold a speed and open the throttle"
        )
    m = response.moments
    return _first(m.time_s[:, None], m.p_manifold_pa, p_wanted_pa)


def speed_of_boost_rpm(response, p_wanted_pa):
    """Engine speed at which manifold pressure [Pa, absolute] arrives in this sweep or pull. [rpm]

    One a candidate; NaN where it never does. ValueError for a held speed.
    """
    if response.kind == STEP:
        raise ValueError("at a held speed boost arrives in time, not at a speed")
    m = response.moments
    return _first(m.speed_rpm, m.p_manifold_pa, p_wanted_pa)


def boost_after_s(response, p_wanted_pa):
    """Time from opening the throttle of a vehicle until manifold pressure [Pa, absolute] is there,
    while engine speed rises. [s]

    One a candidate; NaN where it never comes. It belongs to that vehicle in that gear and is not
    the time to boost: ValueError for any other response.
    """
    if response.kind != VEHICLE:
        raise ValueError(f"a {response.kind} is no pull of a vehicle")
    m = response.moments
    return _first(m.time_s[:, None], m.p_manifold_pa, p_wanted_pa)


def _first(along, values, wanted):
    """Where each column first reaches what is wanted, by linear interpolation."""
    along, values, wanted = np.broadcast_arrays(along, values, wanted)
    there = values >= wanted
    after = np.argmax(there, axis=0)
    column = np.arange(values.shape[1])
    before = np.maximum(after - 1, 0)
    low, high = values[before, column], values[after, column]
    rise = np.where(high > low, high - low, 1.0)
    share = np.clip((wanted[after, column] - low) / rise, 0, 1)
    found = along[before, column] + share * (along[after, column] - along[before, column])
    return np.where(there.any(axis=0), found, np.nan)
