"""The build file: an engine with its turbo, cooler, gate and fuel, as readable TOML.

    name = "Straight six, Large"

    [engine]
    name = "3.0-litre straight six"
    displacement = "2.997 L"
    cylinders = 6
    bore = "84 mm"
    stroke = "90.2 mm"
    compression_ratio = 9.5
    speed_range = ["2000 rpm", "7000 rpm"]
    volumetric_efficiency = [["2000 rpm", "85 %"], ["4500 rpm", "96 %"], ["7000 rpm", "88 %"]]
    exhaust_temperature = "900 °C"
    lambda = 0.82

    [fuel]
    name = "gasoline"

    [[turbo]]
    name = "Large"
    compressor_map = "maps/large.csv"
    turbine_area = "8.2 cm²"
    turbine_efficiency = "70 %"
    inertia = "45 kg mm²"
    speed_limit = "140000 rpm"

    [turbo.gate]
    valve_area = "11.3 cm²"
    diaphragm_area = "45 cm²"
    spring = "7 psi"
    spring_rate = "12 N/mm"
    max_lift = "12 mm"
    ports = 2

`parts.py` lists every key. `read_build(bench, "builds/large.toml")` gives a Build,
`write_build` writes one back and keeps a person's comments.
"""

from toolkit.build.files import BuildError, read_build, with_maps, write_build
from toolkit.build.parts import (
    Build,
    Cooler,
    Curve,
    Engine,
    FuelSystem,
    GateParts,
    Restriction,
    Restrictions,
    Tank,
    Target,
    Turbo,
    Valves,
    VehicleParts,
    Weather,
)

__all__ = [
    "Build",
    "BuildError",
    "Cooler",
    "Curve",
    "Engine",
    "FuelSystem",
    "GateParts",
    "Restriction",
    "Restrictions",
    "Tank",
    "Target",
    "Turbo",
    "Valves",
    "VehicleParts",
    "Weather",
    "read_build",
    "with_maps",
    "write_build",
]
