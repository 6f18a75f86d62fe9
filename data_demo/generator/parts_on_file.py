"""What the team has on paper: compressor maps and build files, in the units people write.

The builds hold what such a team would know, rounded as they would write it: not the truth.
"""

import numpy as np

from . import plant

LINES = (0.26, 0.40, 0.54, 0.68, 0.80, 0.91, 1.00, 1.07)
PLACES = np.array([0.0, 0.12, 0.25, 0.38, 0.50, 0.62, 0.74, 0.86, 0.95, 1.0])
LB_MIN = 0.45359237 / 60
# inertia, printed turbine area, printed turbine efficiency and speed limit of each turbo
PRINTED = {
    "small": ("22 kg mm²", "6.4 cm²", "58 %", "168000 rpm"),
    "mid": ("33 kg mm²", "8.1 cm²", "59 %", "153000 rpm"),
    "large": ("48 kg mm²", "10.2 cm²", "61 %", "140000 rpm"),
}


def compressor_map(turbo):
    """The gas stand's table of one turbo, eight speed lines from surge to choke."""
    rng = np.random.default_rng(int(turbo.choke_kg_s * 1e4))
    rows = [
        "# Invented compressor map of the demo bench, no real part",
        "# reference_temperature: 298.15 K",
        "# reference_pressure: 100 kPa",
        "corrected_speed [rpm],corrected_flow [lb/min],pressure_ratio,efficiency [%]",
    ]
    for fraction in LINES:
        choke, surge = plant.choke_and_surge_kg_s(turbo, fraction)
        ratio, efficiency = plant.along_line(turbo, fraction, PLACES)
        flow = (surge + PLACES * (choke - surge)) / LB_MIN
        percent = 100 * efficiency + rng.normal(0, 0.15, len(PLACES))
        speed = round(fraction * turbo.rated_rpm, -2)
        rows += [
            f"{speed:.0f},{m:.2f},{r:.4f},{e:.1f}"
            for m, r, e in zip(flow, ratio, percent, strict=True)
        ]
    return "\n".join(rows) + "\n"


_HEAD = """\
# Invented: the demo bench's {name}. No real engine or part.
name = "Straight six, {name}"
notes = "{notes}"
"""

_ENGINE = """
[engine]
name = "3.0-litre straight six"
displacement = "2.996 L"
cylinders = 6
bore = "85 mm"
stroke = "88 mm"
rod_length = "145 mm"
compression_ratio = 9.2
speed_range = ["2000 rpm", "6800 rpm"]
volumetric_efficiency = [["2000 rpm", "88 %"], ["3000 rpm", "93 %"], ["3900 rpm", "97 %"],
    ["4500 rpm", "98 %"], ["5400 rpm", "96 %"], ["6200 rpm", "91 %"], ["6800 rpm", "88 %"]]
exhaust_temperature = [["2000 rpm", "780 °C"], ["4000 rpm", "840 °C"], ["6800 rpm", "930 °C"]]
lambda = 0.85
spark_retard = "5°"

[engine.valves]
intake_valves = 2
intake_valve_diameter = "33 mm"
intake_lift = "9.6 mm"
intake_opens_before_top = "26°"
intake_closes_after_bottom = "58°"
exhaust_valves = 2
exhaust_valve_diameter = "28.5 mm"
exhaust_lift = "9.2 mm"
exhaust_opens_before_bottom = "60°"
exhaust_closes_after_top = "28°"

[fuel]
name = "gasoline"
injectors = 6
injector_flow = "650 cm³/min"
injector_flow_at = "300 kPa"
rail_pressure = "300 kPa"
rail_follows_boost = true

[cooler]
effectiveness = "77 %"
medium_temperature = "25 °C"

[cooler.drop]
drop = "1.2 psi"
at_flow = "46 lb/min"
at_pressure = "220 kPa"
at_temperature = "45 °C"

[restrictions.intake]
drop = "0.38 psi"
at_flow = "46 lb/min"
at_pressure = "100.8 kPa"
at_temperature = "20 °C"

[restrictions.exhaust]
drop = "1.9 psi"
at_flow = "50 lb/min"
at_pressure = "114 kPa"
at_temperature = "750 °C"

[weather]
pressure = "29.77 inHg"
temperature = "64 °F"
humidity = "47 %"

[target]
boost = "20 psi"
power = "470 hp"

[vehicle]
mass = "1160 kg"
gears = [3.24, 2.12, 1.52, 1.18, 0.94]
final_drive = 3.45
tyre_radius = "301 mm"
drag_area = "0.78 m²"
crank_inertia = "0.22 kg m²"
"""

_TURBO = """
[[turbo]]
name = "{name}"
compressor_map = "maps/{key}.csv"
turbine_area = "{area}"
turbine_efficiency = "{efficiency}"
inertia = "{inertia}"
speed_limit = "{limit}"

[turbo.gate]
valve_area = "10.2 cm²"
diaphragm_area = "38.5 cm²"
spring = "6.1 psi"
spring_rate = "5 N/mm"
max_lift = "10 mm"
ports = 2
"""

_NOTES = {
    "small": "as run in April; the gate spring is the light one",
    "mid": "from the catalogue; nobody has tested it",
    "large": "as run in April and June; the gate spring is the light one",
}


def builds():
    """{file name: text}: one build per turbo, and one with all three as candidates."""
    files = {
        key: _HEAD.format(name=turbo.name, notes=_NOTES[key]) + _ENGINE + _turbo(key)
        for key, turbo in plant.TURBOS.items()
    }
    every = "".join(_turbo(key) for key in plant.TURBOS)
    head = _HEAD.format(name="three candidates", notes="Mid is from the catalogue")
    return files | {"candidates": head + _ENGINE + every}


def _turbo(key):
    inertia, area, efficiency, limit = PRINTED[key]
    return _TURBO.format(
        name=plant.TURBOS[key].name, key=key, area=area, efficiency=efficiency,
        inertia=inertia, limit=limit,
    )  # fmt: skip
