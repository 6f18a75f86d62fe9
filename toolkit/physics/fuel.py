"""Fuels, their blends, mixture ratios, and injectors."""

from dataclasses import dataclass

import numpy as np

from toolkit.physics.guard import checked

# A gauge "in gasoline ratio" shows lambda times this, whatever fuel is burned (common practice).
GASOLINE_SCALE_AFR = 14.7

_CARBON, _HYDROGEN, _OXYGEN = 12.011, 1.008, 15.999
_AIR_KG_MOL_O2 = 28.966 / 0.2095  # dry air with argon and carbon dioxide, per mole of oxygen


def stoichiometric_afr(h_to_c, o_to_c=0.0):
    """Mass of dry air that exactly burns a mass of fuel. [-]

    Atoms of hydrogen and of oxygen per carbon atom, 0 to 4 and 0 to 1; broadcast; NaN passes.
    ValueError outside. Source: Heywood, Internal Combustion Engine Fundamentals (1988),
    sec. 3.4, with standard atomic weights and air of 20.95 % oxygen.

    >>> round(float(stoichiometric_afr(18 / 8)), 2)  # iso-octane
    15.13
    """
    h = checked("h_to_c", h_to_c, 0, 4)
    o = checked("o_to_c", o_to_c, 0, 1)
    return (1 + h / 4 - o / 2) * _AIR_KG_MOL_O2 / (_CARBON + h * _HYDROGEN + o * _OXYGEN)


@dataclass(frozen=True)
class Fuel:
    """A fuel by its atoms per carbon atom, lower heating value (liquid) and density at 15-20 C."""

    name: str
    h_to_c: float
    o_to_c: float
    lhv_j_kg: float
    density_kg_m3: float

    @property
    def afr_stoich(self):
        """Mass of air per mass of fuel at lambda 1. [-]"""
        return float(stoichiometric_afr(self.h_to_c, self.o_to_c))

    def lam(self, air_fuel_ratio):
        """Lambda of a ratio of masses of air to this fuel. [-]

        >>> round(float(FUELS["E85"].lam(7.84)), 2)
        0.8
        """
        return lambda_from_afr(air_fuel_ratio, self.afr_stoich)

    def afr(self, lam):
        """Mass of air per mass of this fuel at lambda. [-]"""
        return afr_from_lambda(lam, self.afr_stoich)


def lambda_from_afr(air_fuel_ratio, afr_stoich):
    """Lambda of an air-fuel ratio on the scale that afr_stoich names. [-]

    Both > 0, same scale: the fuel's own, or GASOLINE_SCALE_AFR for a gauge that shows gasoline
    ratio; broadcast; NaN passes. ValueError outside. Source: definition.

    >>> round(float(lambda_from_afr(11.8, GASOLINE_SCALE_AFR)), 3)
    0.803
    """
    ratio = checked("air_fuel_ratio", air_fuel_ratio, above=0)
    return ratio / checked("afr_stoich", afr_stoich, above=0)


def afr_from_lambda(lam, afr_stoich):
    """Air-fuel ratio on the scale that afr_stoich names; the inverse of lambda_from_afr. [-]

    Both > 0; broadcast; NaN passes. ValueError outside. Source: definition.

    >>> round(float(afr_from_lambda(0.8, GASOLINE_SCALE_AFR)), 2)
    11.76
    """
    return checked("lam", lam, above=0) * checked("afr_stoich", afr_stoich, above=0)


def blend(first, second, volume_fraction, name):
    """Two fuels mixed by volume, as pumps and labels count. -> Fuel

    volume_fraction of the second, 0 to 1. ValueError outside. Volumes are taken to add.
    Source: balance of mass, atoms and heat.

    >>> e85 = blend(FUELS["gasoline"], FUELS["ethanol"], 0.85, "E85")
    >>> round(e85.afr_stoich, 2), round(e85.lhv_j_kg / 1e6, 2)
    (9.8, 29.3)
    """
    share = float(checked("volume_fraction", volume_fraction, 0, 1))
    masses = (1 - share) * first.density_kg_m3, share * second.density_kg_m3
    density = sum(masses)
    carbons = [m / _kg_per_carbon(f) for m, f in zip(masses, (first, second), strict=True)]

    def mean(a, b, weights):
        return (a * weights[0] + b * weights[1]) / sum(weights)

    return Fuel(
        name,
        mean(first.h_to_c, second.h_to_c, carbons),
        mean(first.o_to_c, second.o_to_c, carbons),
        mean(first.lhv_j_kg, second.lhv_j_kg, masses),
        density,
    )


def _kg_per_carbon(fuel):
    return _CARBON + fuel.h_to_c * _HYDROGEN + fuel.o_to_c * _OXYGEN


# Heating values of gasoline, ethanol and methanol: US DOE Alternative Fuels Data Center, fuel
# properties; alcohols' and iso-octane's density: CoolProp at 15 to 20 C; gasoline's density is
# the one its two published heating values imply; diesel: from memory.
_GASOLINE = Fuel("gasoline", 1.87, 0.0, 43.44e6, 745.0)
_ETHANOL = Fuel("ethanol", 3.0, 0.5, 26.95e6, 789.4)
FUELS = {
    fuel.name: fuel
    for fuel in (
        _GASOLINE,
        *(blend(_GASOLINE, _ETHANOL, part, f"E{part * 100:.0f}") for part in (0.1, 0.3, 0.5, 0.85)),
        _ETHANOL,
        Fuel("methanol", 4.0, 1.0, 20.09e6, 791.0),
        Fuel("iso-octane", 18 / 8, 0.0, 44.34e6, 692.0),
        Fuel("diesel", 1.8, 0.0, 42.6e6, 835.0),
    )
}


def injector_flow_m3_s(rated_flow_m3_s, rated_difference_pa, difference_pa):
    """Flow of an injector at another pressure across it. [m3/s]

    Rated flow [m3/s] >= 0, pressure difference it was rated at [Pa] > 0, and the one now
    [Pa] >= 0: rail less manifold, both gauge or both absolute; broadcast; NaN passes.
    ValueError outside. Source: Bernoulli, flow as the square root of the difference.

    >>> round(float(injector_flow_m3_s(1.0, 58.0, 58.0 - 15.0)), 3)  # rail not referenced
    0.861
    """
    rated = checked("rated_flow_m3_s", rated_flow_m3_s, 0, unit="m3/s")
    reference = checked("rated_difference_pa", rated_difference_pa, above=0, unit="Pa")
    return rated * np.sqrt(checked("difference_pa", difference_pa, 0, unit="Pa") / reference)


def injector_duty(fuel_flow_kg_s, injectors, injector_flow_m3_s, density_kg_m3):
    """Share of the time that the injectors must be open; above 1 they are too small. [-]

    Fuel flow of the engine [kg/s] >= 0, number of injectors > 0, flow of one fully open
    [m3/s] > 0, fuel density [kg/m3] > 0; broadcast; NaN passes. ValueError outside.
    Source: mass balance; opening time is not counted.

    >>> round(float(injector_duty(500e3 * 300 / 3.6e9, 8, 1000e-6 / 60, 745)), 4)
    0.4195
    """
    flow = checked("fuel_flow_kg_s", fuel_flow_kg_s, 0, unit="kg/s")
    each = checked("injector_flow_m3_s", injector_flow_m3_s, above=0, unit="m3/s")
    count = checked("injectors", injectors, above=0)
    return flow / (count * each * checked("density_kg_m3", density_kg_m3, above=0, unit="kg/m3"))


def injector_size_m3_s(fuel_flow_kg_s, injectors, density_kg_m3, duty=0.85):
    """Flow that each injector must have, fully open. [m3/s]

    Fuel flow of the engine [kg/s] >= 0, number of injectors > 0, fuel density [kg/m3] > 0,
    highest duty, above 0 to 1 (0.80 to 0.85: common practice); broadcast; NaN passes.
    ValueError outside. Source: mass balance.

    >>> round(float(injector_size_m3_s(500e3 * 300 / 3.6e9, 8, 745, 1.0)) * 60e6, 1)  # cm3/min
    419.5
    """
    limit = checked("duty", duty, high=1, above=0)
    return injector_duty(fuel_flow_kg_s, injectors, 1.0, density_kg_m3) / limit


def duty_from_pulse(pulse_s, speed_rpm):
    """Duty of an injector that opens once a cycle, two turns. [-]

    Pulse [s] >= 0, engine speed [rpm] >= 0; broadcast; NaN passes. ValueError outside.
    Source: pulse over the time of two turns.

    >>> round(float(duty_from_pulse(18e-3, 6500)), 3)
    0.975
    """
    pulse = checked("pulse_s", pulse_s, 0, unit="s")
    return pulse * checked("speed_rpm", speed_rpm, 0, unit="rpm") / 120
