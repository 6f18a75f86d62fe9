"""Helical compression springs of round wire: rate, stress, surge, buckling, fatigue, and a fit.

The equations are those of Budynas & Nisbett, Shigley's Mechanical Engineering Design, 9th ed.
(2011), chapter 10, except where a function names another source.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from toolkit.physics.guard import checked
from toolkit.physics.wire import WIRES, Wire

# Kind of end: turns that do no work, and wire diameters of solid length beyond total turns.
ENDS = {
    "squared and ground": (2, 0),
    "squared": (2, 1),
    "plain": (0, 1),
    "plain and ground": (1, 0),
}


def wahl(index):
    """Wahl's stress factor: curvature and direct shear. [-]

    Spring index D/d > 1; broadcasts, NaN passes, ValueError otherwise.
    Source: A. M. Wahl, Mechanical Springs, 2nd ed. (1963).

    >>> float(wahl(6))
    1.2525
    """
    c = checked("index", index, above=1)
    return (4 * c - 1) / (4 * c - 4) + 0.615 / c


def bergstrasser(index):
    """Bergstraesser's stress factor, within 1.5 % of Wahl's above an index of 4. [-]

    Spring index D/d > 1; broadcasts, NaN passes, ValueError otherwise.
    Source: Shigley, eq. (10-5).

    >>> round(float(bergstrasser(6)), 4)
    1.2381
    """
    c = checked("index", index, above=1)
    return (4 * c + 2) / (4 * c - 3)


def direct_shear(index):
    """Stress factor for direct shear alone, for steady stress. [-]

    Spring index D/d > 1; broadcasts, NaN passes, ValueError otherwise.
    Source: Shigley, eq. (10-3).

    >>> float(direct_shear(10))
    1.05
    """
    return 1 + 0.5 / checked("index", index, above=1)


def _geometry(wire_m, coil_m, active_turns):
    d = checked("wire_m", wire_m, above=0, unit="m")
    coil = checked("coil_m", coil_m, above=0, unit="m")
    return d, coil, checked("active_turns", active_turns, above=0)


def rate_n_m(shear_modulus_pa, wire_m, coil_m, active_turns):
    """Spring rate G d^4 / (8 D^3 n). [N/m]

    Shear modulus [Pa], wire diameter and mean coil diameter [m], active turns, all > 0;
    broadcasts, NaN passes, ValueError otherwise. Source: Shigley, eq. (10-9).

    >>> round(float(rate_n_m(84e9, 3e-3, 18e-3, 15)))
    9722
    """
    g = checked("shear_modulus_pa", shear_modulus_pa, above=0, unit="Pa")
    d, coil, turns = _geometry(wire_m, coil_m, active_turns)
    return g * d**4 / (8 * coil**3 * turns)


def shear_stress_pa(force_n, wire_m, coil_m, factor):
    """Shear stress at the inside of the coil, factor * 8 F D / (pi d^3). [Pa]

    Force [N], wire and mean coil diameter [m] > 0, a stress factor of this module; broadcasts,
    NaN passes, ValueError otherwise. Source: Shigley, eq. (10-7).

    >>> round(float(shear_stress_pa(40, 3e-3, 18e-3, wahl(6))) / 1e6, 2)
    85.05
    """
    d, coil, _ = _geometry(wire_m, coil_m, 1)
    return factor * 8 * np.asarray(force_n, dtype=float) * coil / (np.pi * d**3)


def active_mass_kg(wire_m, coil_m, active_turns, density_kg_m3=7850.0):
    """Mass of the working turns, pi^2 d^2 D n rho / 4. [kg]

    Diameters [m], turns and density [kg/m3] all > 0; broadcasts, NaN passes, ValueError
    otherwise. Source: Shigley, eq. (10-26).

    >>> round(float(active_mass_kg(1.905e-3, 17.475e-3, 12.2, 7800)) * 1e3, 2)
    14.89
    """
    d, coil, turns = _geometry(wire_m, coil_m, active_turns)
    rho = checked("density_kg_m3", density_kg_m3, above=0, unit="kg/m3")
    return np.pi**2 * d**2 * coil * turns * rho / 4


def surge_hz(rate_n_m, active_mass_kg):
    """Lowest natural frequency between two seats, sqrt(k / m) / 2. [Hz]

    Rate [N/m] (not N/mm: the slip costs a factor sqrt(1000)) and mass of the working turns
    [kg], both > 0; broadcasts, NaN passes, ValueError otherwise. Source: Shigley, eq. (10-25).

    >>> round(float(surge_hz(2048.16, 0.01489)), 1)
    185.4
    """
    k = checked("rate_n_m", rate_n_m, above=0, unit="N/m")
    return np.sqrt(k / checked("active_mass_kg", active_mass_kg, above=0, unit="kg")) / 2


def buckling_deflection_m(free_m, coil_m, end_constant, young_pa, shear_modulus_pa):
    """Deflection at which a free-standing spring buckles; infinite where it never does. [m]

    Free length and mean coil diameter [m] > 0; end constant 0.5 (both ends on flat parallel
    seats), 0.707 (one on a pivot), 1 (both on pivots), 2 (one free); Young's and shear modulus
    [Pa] with E > G. Broadcasts, NaN passes, ValueError otherwise. Source: Shigley, eq. (10-10).

    >>> round(float(buckling_deflection_m(0.120, 0.020, 0.5, 200e9, 79e9)) * 1e3, 1)
    48.7
    """
    length = checked("free_m", free_m, above=0, unit="m")
    coil = checked("coil_m", coil_m, above=0, unit="m")
    e, g = np.asarray(young_pa, float), np.asarray(shear_modulus_pa, float)
    checked("young_pa - shear_modulus_pa", e - g, above=0, unit="Pa")
    slenderness = checked("end_constant", end_constant, above=0) * length / coil
    inner = 1 - 2 * np.pi**2 * (e - g) / (2 * g + e) / slenderness**2
    root = np.sqrt(np.where(inner < 0, np.nan, inner))
    return np.where(inner < 0, np.inf, length * e / (2 * (e - g)) * (1 - root))


def soderberg_factor(low_pa, high_pa, yield_pa, pulsating_pa):
    """Fatigue factor of safety on the line through shear yield and pulsating endurance. [-]

    low_pa, high_pa: shear stress at both ends of the stroke, each with its own stress factors;
    alternating and mean stress are half their difference and half their sum. Shear yield and
    shear endurance for stress from 0 to a maximum, both > 0 [Pa]. Broadcasts, NaN passes,
    ValueError where low is above high.
    Source: Sadhu Singh, Machine Design, ch. 8: 1/n = (tm - ta)/Ssy + 2 ta/Se.

    >>> round(float(soderberg_factor(98.86e6, 268.964e6, 643.5e6, 314.6e6)), 2)
    1.44
    """
    alternating = _half_range_pa(low_pa, high_pa)
    steady = checked("yield_pa", yield_pa, above=0, unit="Pa")
    endurance = checked("pulsating_pa", pulsating_pa, above=0, unit="Pa")
    return 1 / (np.asarray(low_pa, float) / steady + 2 * alternating / endurance)


def goodman_factor(low_pa, high_pa, shear_strength_pa, zimmerli_pa=(241e6, 379e6)):
    """Fatigue factor of safety on Goodman's line through tested spring data. [-]

    low_pa, high_pa: shear stress [Pa] at both ends of the stroke. shear_strength_pa: in torsion,
    about 0.67 of the tensile strength. zimmerli_pa: alternating and mean shear stress that wire
    below 10 mm survives; the default is unpeened, (398e6, 534e6) is peened. Broadcasts, NaN
    passes, ValueError where low is above high or a strength is not above the tested mean.
    Source: Shigley, section 10-9, with F. P. Zimmerli's data of 1957.

    >>> round(float(goodman_factor(9.9 * 6.895e6, 69.3 * 6.895e6, 190.3 * 6.895e6)), 2)
    1.23
    """
    alternating = _half_range_pa(low_pa, high_pa)
    tested_alternating, tested_mean = zimmerli_pa
    strength = checked("shear_strength_pa", shear_strength_pa, above=tested_mean, unit="Pa")
    endurance = tested_alternating / (1 - tested_mean / strength)
    mean = np.asarray(high_pa, float) - alternating
    return 1 / (alternating / endurance + mean / strength)


def _half_range_pa(low_pa, high_pa):
    range_pa = np.asarray(high_pa, float) - np.asarray(low_pa, float)
    return checked("high_pa - low_pa", range_pa, 0, unit="Pa") / 2


@dataclass(frozen=True)
class CoilSpring:
    """A spring as drawn; numbers, or arrays for several at once.

    wire_m, coil_m: wire and mean coil diameter [m]; total_turns; free_m: free length [m].
    ends: one of ENDS. material: a `wire.Wire`; shear_modulus_pa: in its place where known.

    Raises ValueError that names the field, the value and the range.
    """

    wire_m: float
    coil_m: float
    total_turns: float
    free_m: float
    ends: str = "squared and ground"
    material: Wire = WIRES["music wire"]
    shear_modulus_pa: float | None = None

    def __post_init__(self):
        if self.ends not in ENDS:
            raise ValueError(f"ends is {self.ends!r}: it must be one of {', '.join(ENDS)}")
        _geometry(self.wire_m, self.coil_m, self.active_turns)
        checked("free_m", self.free_m, above=0, unit="m")
        checked("index", self.index, above=1)

    @classmethod
    def for_rate(cls, rate_n_m, wire_m, coil_m, free_m, **kind):
        """The spring of a wanted rate [N/m] in each wire diameter, with the turns it takes.

        Source: Shigley, eq. (10-9) solved for the turns. ValueError as for the spring itself.

        >>> round(float(CoilSpring.for_rate(9722.22, 3e-3, 18e-3, 0.1).rate_n_m))
        9722
        """
        one = cls(wire_m, coil_m, ENDS[kind.get("ends", cls.ends)][0] + 1, free_m, **kind)
        idle = one.total_turns - 1
        wanted = checked("rate_n_m", rate_n_m, above=0, unit="N/m")
        return cls(wire_m, coil_m, idle + one.rate_n_m / wanted, free_m, **kind)

    @property
    def active_turns(self):
        """Turns that deflect. [-]"""
        return self.total_turns - ENDS[self.ends][0]

    @property
    def index(self):
        """Spring index D / d; 4 to 12 is usual. [-]"""
        return self.coil_m / self.wire_m

    @property
    def modulus_pa(self):
        """Shear modulus in use. [Pa]"""
        if self.shear_modulus_pa is None:
            return self.material.shear_modulus_pa(self.wire_m)
        return self.shear_modulus_pa

    @property
    def rate_n_m(self):
        """Spring rate. [N/m]"""
        return rate_n_m(self.modulus_pa, self.wire_m, self.coil_m, self.active_turns)

    @property
    def solid_m(self):
        """Length with all turns touching (Shigley, table 10-1). [m]"""
        return self.wire_m * (self.total_turns + ENDS[self.ends][1])

    @property
    def active_mass_kg(self):
        """Mass of the working turns. [kg]"""
        density = self.material.density_kg_m3
        return active_mass_kg(self.wire_m, self.coil_m, self.active_turns, density)

    @property
    def surge_hz(self):
        """Lowest natural frequency between two seats. [Hz]"""
        return surge_hz(self.rate_n_m, self.active_mass_kg)

    @property
    def inner_m(self):
        """Inside diameter, free. [m]"""
        return self.coil_m - self.wire_m

    @property
    def outer_m(self):
        """Outside diameter, free. [m]"""
        return self.coil_m + self.wire_m

    @property
    def solid_outer_m(self):
        """Outside diameter pressed solid: the coil widens as its pitch closes. [m]

        The wire keeps its length: (pi D)^2 + p^2 stays the same.
        """
        pitch = (self.free_m - self.solid_m) / self.active_turns + self.wire_m
        return self.wire_m + np.hypot(self.coil_m, np.sqrt(pitch**2 - self.wire_m**2) / np.pi)

    def force_n(self, height_m):
        """Force at a height [m]: 0 above the free length, NaN below solid (coil bind). [N]"""
        height = checked("height_m", height_m, 0, unit="m")
        force = self.rate_n_m * np.maximum(self.free_m - height, 0.0)
        return np.where(height < self.solid_m, np.nan, force)

    def stress_pa(self, height_m, factor=bergstrasser):
        """Corrected shear stress at a height [m], by one of the factors of this module. [Pa]"""
        force = self.force_n(height_m)
        return shear_stress_pa(force, self.wire_m, self.coil_m, factor(self.index))

    def clash(self, height_m):
        """What is left to solid over what it is pressed; 0.15 or more is usual. [-]"""
        height = np.asarray(height_m, dtype=float)
        return (height - self.solid_m) / (self.free_m - height)

    def buckling_m(self, end_constant=0.5):
        """Deflection at which it buckles unguided, see `buckling_deflection_m`. [m]"""
        young = self.material.young_pa
        return buckling_deflection_m(self.free_m, self.coil_m, end_constant, young, self.modulus_pa)


def series_rate_n_m(*rates_n_m):
    """Rate of springs stacked end on end; nested springs simply add. [N/m]

    Rates [N/m] > 0, broadcast; ValueError otherwise. Source: equal force, added travel.

    >>> float(series_rate_n_m(6000, 3000))
    2000.0
    """
    return 1 / sum(1 / checked("rates_n_m", k, above=0, unit="N/m") for k in rates_n_m)


@dataclass(frozen=True)
class RateFit:
    """A line through readings of force against travel; errors are 95 % half widths.

    rate_n_m, preload_n: slope, and force at zero travel. scatter_n: of the readings about the
    line, with two unknowns taken off; NaN with two readings.
    """

    rate_n_m: float
    rate_error_n_m: float
    preload_n: float
    preload_error_n: float
    scatter_n: float


def fit_rate(travel_m, force_n, reading_error_n=None):
    """Spring rate and preload from readings on a stand, with their errors.

    Travel [m] and force [N] of two or more readings; crack pressure times diaphragm area at two
    preloads is such a pair. reading_error_n: standard error of one force where known; without it
    the scatter about the line serves, and two readings leave the errors unknown (NaN).
    Raises ValueError where readings are missing or all at one travel.
    Source: least squares line; Miller & Freund's Probability and Statistics for Engineers, ch. 11.

    >>> fit = fit_rate([0, 2e-3, 4e-3, 6e-3], [101, 115, 133, 148])
    >>> round(fit.rate_n_m), round(fit.rate_error_n_m)
    (7950, 1118)
    """
    travel, force = np.asarray(travel_m, float), np.asarray(force_n, float)
    if not (np.isfinite(travel).all() and np.isfinite(force).all()):
        raise ValueError("a reading is missing: each travel needs its force")
    if travel.size < 2 or travel.size != force.size or np.ptp(travel) == 0:
        raise ValueError("readings at two different travels at least are needed for a rate")
    line = stats.linregress(travel, force)
    freedom = travel.size - 2
    residual = force - line.intercept - line.slope * travel
    scatter = np.sqrt(np.sum(residual**2) / freedom) if freedom else np.nan
    known = reading_error_n is not None
    error = reading_error_n if known else scatter
    reach = stats.norm.ppf(0.975) if known else stats.t.ppf(0.975, max(freedom, 1))
    spread = np.sum((travel - travel.mean()) ** 2)
    at_zero = np.sqrt(1 / travel.size + travel.mean() ** 2 / spread)
    return RateFit(
        float(line.slope),
        float(reach * error / np.sqrt(spread)),
        float(line.intercept),
        float(reach * error * at_zero),
        float(scatter),
    )
