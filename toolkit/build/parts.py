"""What a build consists of: engine, fuel, cooler, restrictions, turbo, gate, weather, target.

Each field of a part says how it stands in the file: its key, its kind in units.py and the range
in which a value is possible at all (SI). `files.py` reads and writes them by that alone.
"""

# ruff: noqa: RUF009 -- key() and part() make dataclass fields

from dataclasses import MISSING, dataclass, field, fields, replace
from functools import cached_property

import numpy as np
from scipy.interpolate import PchipInterpolator

from toolkit.physics.fuel import FUELS, Fuel
from toolkit.physics.gate import Gate
from toolkit.physics.response import Vehicle


@dataclass(frozen=True)
class Key:
    """How a field stands in the file: key, kind and possible range."""

    name: str
    kind: str  # a kind of units.py, or "text", "count", "flag", "part"
    low: float = -np.inf
    high: float = np.inf
    curve: bool = False  # one value, or [speed, value] pairs
    pair: bool = False  # [lowest, highest]
    many: bool = False  # a list of one or more
    part: type | None = None


def key(name, kind, low=-np.inf, high=np.inf, default=MISSING, **more):
    """A dataclass field that stands in the file under `name`; without a default it must."""
    return field(default=default, metadata={"key": Key(name, kind, low, high, **more)})


def part(name, of, default=MISSING):
    """A dataclass field that is a table of its own in the file."""
    return field(default=default, metadata={"key": Key(name, "part", part=of)})


def keys_of(cls):
    """Each file key of a part, with its field."""
    return {f.metadata["key"].name: f for f in fields(cls) if "key" in f.metadata}


@dataclass(frozen=True)
class Curve:
    """A quantity along engine speed: typed points joined smoothly, or one value at every speed.

    Between points the curve is monotone where the points are (Fritsch & Carlson 1980), so it
    shows no bump that nobody typed; outside them it is NaN.

    >>> Curve(0.9)(3000.0)
    array(0.9)
    >>> Curve((0.8, 1.0), (2000.0, 4000.0))([3000.0, 5000.0])
    array([0.9, nan])
    """

    values: float | tuple
    speeds_rpm: tuple = ()

    def __call__(self, speed_rpm):
        speed = np.asarray(speed_rpm, dtype=float)
        if not self.speeds_rpm:
            return np.where(np.isnan(speed), np.nan, float(self.values))
        if len(self.speeds_rpm) == 2:
            return np.interp(speed, self.speeds_rpm, self.values, left=np.nan, right=np.nan)
        return self._spline(speed)

    @cached_property
    def _spline(self):
        return PchipInterpolator(self.speeds_rpm, self.values, extrapolate=False)


@dataclass(frozen=True)
class Valves:
    """Valve sizes and the cam's timing, for the cycle model; angles of the crank.

    Opening before and closing after the dead centre that valve events are named from; timing is
    stated at `timing_lift_m`, zero for seat timing.
    """

    intake_count: int = key("intake_valves", "count", 1, 4)
    intake_diameter_m: float = key("intake_valve_diameter", "length", 5e-3, 0.1)
    intake_lift_m: float = key("intake_lift", "length", 1e-3, 0.03)
    intake_opens_deg: float = key("intake_opens_before_top", "angle", -60, 90)
    intake_closes_deg: float = key("intake_closes_after_bottom", "angle", -30, 120)
    exhaust_count: int = key("exhaust_valves", "count", 1, 4)
    exhaust_diameter_m: float = key("exhaust_valve_diameter", "length", 5e-3, 0.1)
    exhaust_lift_m: float = key("exhaust_lift", "length", 1e-3, 0.03)
    exhaust_opens_deg: float = key("exhaust_opens_before_bottom", "angle", -30, 120)
    exhaust_closes_deg: float = key("exhaust_closes_after_top", "angle", -60, 90)
    timing_lift_m: float = key("timing_at_lift", "length", 0, 0.005, default=0.0)


@dataclass(frozen=True)
class Engine:
    """A four-stroke engine and how it is tuned under boost."""

    name: str = key("name", "text")
    displacement_m3: float = key("displacement", "displacement", 20e-6, 0.1)
    cylinders: int = key("cylinders", "count", 1, 24)
    bore_m: float = key("bore", "length", 0.02, 0.4)
    stroke_m: float = key("stroke", "length", 0.02, 0.5)
    compression_ratio: float = key("compression_ratio", "number", 4, 25)
    speed_range_rpm: tuple = key("speed_range", "engine_speed", 200, 25000, pair=True)
    volumetric_efficiency: Curve = key("volumetric_efficiency", "fraction", 0.2, 1.6, curve=True)
    t_exhaust_k: Curve = key("exhaust_temperature", "temperature", 500, 1500, curve=True)
    lam: Curve = key("lambda", "lambda", 0.6, 2, default=Curve(1.0), curve=True)
    spark_retard_deg: Curve = key("spark_retard", "angle", 0, 40, default=Curve(0.0), curve=True)
    indicated_efficiency: float = key("indicated_efficiency", "fraction", 0.15, 0.55, default=0.37)
    friction_scale: float = key("friction_scale", "ratio", 0.1, 5, default=1.0)
    breathing_slope: float | None = key("breathing_slope", "ratio", -1.5, 0.5, default=None)
    rod_length_m: float | None = key("rod_length", "length", 0.03, 1, default=None)
    valves: Valves | None = part("valves", Valves, default=None)


@dataclass(frozen=True)
class FuelSystem:
    """The fuel by its name in physics.fuel.FUELS, or by its own numbers, and how it is fed."""

    name: str = key("name", "text")
    h_to_c: float | None = key("hydrogen_per_carbon", "number", 0, 5, default=None)
    o_to_c: float | None = key("oxygen_per_carbon", "number", 0, 2, default=None)
    lhv_j_kg: float | None = key("heating_value", "energy_density", 5e6, 130e6, default=None)
    density_kg_m3: float | None = key("density", "density", 300, 1200, default=None)
    injectors: int | None = key("injectors", "count", 1, 48, default=None)
    injector_flow_m3_s: float | None = key(
        "injector_flow", "injector_flow", 1e-7, 2e-4, default=None
    )
    injector_test_pa: float | None = key("injector_flow_at", "boost", 2e4, 5e7, default=None)
    rail_gauge_pa: float | None = key("rail_pressure", "boost", 2e4, 5e7, default=None)
    rail_follows_boost: bool = key("rail_follows_boost", "flag", default=True)

    @property
    def own(self):
        """The numbers that the file gives in place of the named fuel's."""
        names = ("h_to_c", "o_to_c", "lhv_j_kg", "density_kg_m3")
        return {n: getattr(self, n) for n in names if getattr(self, n) is not None}

    @property
    def properties(self):
        """The fuel of that name, with the file's own numbers in place of its."""
        if self.name in FUELS:
            return replace(FUELS[self.name], **self.own)
        return Fuel(self.name, **self.own)


@dataclass(frozen=True)
class Restriction:
    """A pressure drop known at one flow; elsewhere it goes with flow squared over density.

    The density is that of the gas on its way in, whose pressure and temperature are stated.
    """

    drop_pa: float = key("drop", "boost", 0, 3e5)
    flow_kg_s: float = key("at_flow", "air_flow", 1e-4, 20)
    p_pa: float = key("at_pressure", "pressure", 3e4, 2e6)
    t_k: float = key("at_temperature", "temperature", 220, 1500)

    @property
    def loss(self):
        """drop * p / (T * flow^2), the same for one gas at every flow. [Pa2 s2/(kg2 K)]"""
        return self.drop_pa * self.p_pa / (self.t_k * self.flow_kg_s**2)


@dataclass(frozen=True)
class Tank:
    """A water tank, with or without ice, that takes the charge cooler's heat."""

    water_kg: float = key("water", "mass", 0, 1000)
    ice_kg: float = key("ice", "mass", 0, 1000, default=0.0)
    start_k: float = key("start_temperature", "temperature", 273.15, 372, default=273.15)


@dataclass(frozen=True)
class Cooler:
    """A charge cooler: effectiveness against the medium that cools it, and its drop."""

    effectiveness: float = key("effectiveness", "fraction", 0, 1)
    t_medium_k: float = key("medium_temperature", "temperature", 240, 372)
    drop: Restriction | None = part("drop", Restriction, default=None)
    tank: Tank | None = part("tank", Tank, default=None)


@dataclass(frozen=True)
class Restrictions:
    """What stands before the compressor and after the turbine."""

    intake: Restriction | None = part("intake", Restriction, default=None)
    exhaust: Restriction | None = part("exhaust", Restriction, default=None)


@dataclass(frozen=True)
class GateParts:
    """A gate as measured; `physics.gate.Gate` explains each."""

    valve_area_m2: float = key("valve_area", "area", 1e-5, 0.02)
    diaphragm_area_m2: float = key("diaphragm_area", "area", 1e-5, 0.1)
    spring_gauge_pa: float = key("spring", "boost", 0, 1e6)
    rate_n_m: float = key("spring_rate", "spring_rate", 10, 1e6)
    max_lift_m: float = key("max_lift", "length", 5e-4, 0.05)
    ports: int = key("ports", "count", 1, 2)
    bled: bool = key("bled", "flag", default=False)
    lever_ratio: float = key("lever_ratio", "ratio", 0.2, 10, default=1.0)
    port_area_m2: float | None = key("port_area", "area", 1e-5, 0.02, default=None)
    discharge: float = key("discharge", "fraction", 0.2, 1, default=0.7)

    @property
    def gate(self):
        """The gate with its preload, which is the spring's rating times the diaphragm area."""
        same = {f.name: getattr(self, f.name) for f in fields(self)}
        rating = same.pop("spring_gauge_pa")
        return Gate(**same, preload_n=rating * self.diaphragm_area_m2)


@dataclass(frozen=True)
class Turbo:
    """One candidate: compressor, turbine, shaft and gate. `count` of them work in parallel.

    The turbine is an effective area with one efficiency, or a curve; a curve's own numbers win.
    An inertia that is not known is scaled from wheel_m, the compressor wheel's diameter.
    `compressor` and `turbine` are the loaded files, not keys of the build.
    """

    name: str = key("name", "text")
    compressor_map: str = key("compressor_map", "text")
    turbine_area_m2: float | None = key("turbine_area", "area", 1e-5, 0.02, default=None)
    turbine_efficiency: float | None = key("turbine_efficiency", "fraction", 0.2, 1, default=None)
    turbine_curve: str | None = key("turbine_curve", "text", default=None)
    mechanical_efficiency: float = key("mechanical_efficiency", "fraction", 0.5, 1, default=0.97)
    inertia_kg_m2: float | None = key("inertia", "inertia", 1e-7, 0.1, default=None)
    wheel_m: float | None = key("compressor_wheel", "length", 0.015, 0.4, default=None)
    speed_limit_rpm: float | None = key("speed_limit", "shaft_speed", 1e4, 5e5, default=None)
    count: int = key("count", "count", 1, 4, default=1)
    gate: GateParts | None = part("gate", GateParts, default=None)
    compressor: object = None
    turbine: object = None


@dataclass(frozen=True)
class VehicleParts:
    """What the engine pushes on the road; `physics.response.Vehicle` explains each.

    gear_ratios: engine turns over those of the final drive's input, first gear first. What has a
    default is a usual car's, from memory.
    """

    mass_kg: float = key("mass", "vehicle_mass", 50, 60000)
    gear_ratios: tuple = key("gears", "ratio", 0.1, 20, many=True)
    final_drive: float = key("final_drive", "ratio", 0.3, 20)
    tyre_radius_m: float = key("tyre_radius", "length", 0.1, 1.2)
    drag_area_m2: float = key("drag_area", "drag_area", 0, 20, default=0.7)
    rolling: float = key("rolling_resistance", "fraction", 0, 0.2, default=0.013)
    efficiency: float = key("driveline_efficiency", "fraction", 0.3, 1, default=0.9)
    inertia_kg_m2: float = key("crank_inertia", "crank_inertia", 0, 20, default=0.2)

    def in_gear(self, gear_ratio, **road):
        """The physics.response.Vehicle in a gear; road: its air density and grade."""
        same = {f.name: getattr(self, f.name) for f in fields(self) if f.name in _ON_THE_ROAD}
        return Vehicle(**same, gear_ratio=gear_ratio * self.final_drive, **road)


_ON_THE_ROAD = {f.name for f in fields(Vehicle)}


@dataclass(frozen=True)
class Weather:
    """The air of the cell: absolute pressure, temperature, humidity 0 to 1."""

    p_cell_pa: float = key("pressure", "barometer", 3e4, 1.2e5, default=101325.0)
    t_cell_k: float = key("temperature", "temperature", 220, 330, default=298.15)
    humidity: float = key("humidity", "fraction", 0, 1, default=0.0)


@dataclass(frozen=True)
class Target:
    """What is aimed at. A power at the wheel is the crank's less the stated loss."""

    boost_gauge_pa: Curve = key("boost", "boost", 0, 1e6, curve=True)
    power_w: float | None = key("power", "power", 100, 1e7, default=None)
    at_wheel: bool = key("power_at_wheel", "flag", default=False)
    drivetrain_loss: float | None = key("drivetrain_loss", "fraction", 0, 0.5, default=None)

    @property
    def crank_power_w(self):
        """The target at the crank; None where it, or the loss on the way to the wheels, is."""
        if self.power_w is None or not self.at_wheel:
            return self.power_w
        return None if self.drivetrain_loss is None else self.power_w / (1 - self.drivetrain_loss)


@dataclass(frozen=True)
class Build:
    """An engine with its turbo (or several candidates), cooler, gate and fuel."""

    name: str = key("name", "text")
    engine: Engine = part("engine", Engine)
    fuel: FuelSystem = part("fuel", FuelSystem)
    turbos: tuple = part("turbo", Turbo)
    cooler: Cooler | None = part("cooler", Cooler, default=None)
    restrictions: Restrictions = part("restrictions", Restrictions, default=Restrictions())
    weather: Weather = part("weather", Weather, default=Weather())
    target: Target | None = part("target", Target, default=None)
    vehicle: VehicleParts | None = part("vehicle", VehicleParts, default=None)
    notes: str = key("notes", "text", default="")

    @property
    def turbo(self):
        """The one turbo of a build that names one; the first of several."""
        return self.turbos[0]
