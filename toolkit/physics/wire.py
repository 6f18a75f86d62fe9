"""Spring wire: standard diameters, and what the steels bear.

Strength follows S_ut = A / d^m, shear modulus steps with the diameter. The constants are those of
Budynas & Nisbett, Shigley's Mechanical Engineering Design, 9th ed. (2011), tables 10-4 to 10-6
and A-28; most are from memory: a wire maker's certificate comes before them.
"""

from dataclasses import dataclass

import numpy as np

from toolkit.physics.guard import checked

_INCH = 0.0254


@dataclass(frozen=True)
class Wire:
    """A spring steel.

    strength_1mm_pa, exponent: S_ut = strength_1mm_pa / (d in mm)^exponent within diameters_m.
    moduli: shear modulus [Pa] of each step of the diameter, steps_m the diameters between them.
    young_pa [Pa], density_kg_m3. yield_share: shear yield over tensile strength, set not removed.
    """

    strength_1mm_pa: float
    exponent: float
    diameters_m: tuple
    moduli: tuple
    steps_m: tuple = ()
    young_pa: float = 200e9
    density_kg_m3: float = 7850.0
    yield_share: float = 0.45

    def shear_modulus_pa(self, wire_m):
        """Shear modulus G at a wire diameter [m] > 0; ValueError otherwise. [Pa]

        Source: Shigley, table 10-5.

        >>> float(WIRES["music wire"].shear_modulus_pa(0.00094)) / 1e9
        81.7
        """
        d = checked("wire_m", wire_m, above=0, unit="m")
        modulus = np.asarray(self.moduli)[np.searchsorted(self.steps_m, d)]
        return np.where(np.isnan(d), np.nan, modulus)

    def strength_pa(self, wire_m):
        """Tensile strength at a wire diameter [m] > 0; NaN where no data reach. [Pa]

        ValueError on a diameter that is not positive. Source: Shigley, eq. (10-14), table 10-4.

        >>> round(float(WIRES["music wire"].strength_pa(0.00094)) / 1e6)
        2231
        """
        d = checked("wire_m", wire_m, above=0, unit="m")
        known = (d >= self.diameters_m[0]) & (d <= self.diameters_m[1])
        return np.where(known, self.strength_1mm_pa / (d * 1e3) ** self.exponent, np.nan)

    def shear_yield_pa(self, wire_m):
        """Shear stress at which it takes a set, the set not removed before. [Pa]

        Wire diameter as in `strength_pa`. Source: Shigley, table 10-6.

        >>> round(float(WIRES["music wire"].shear_yield_pa(0.00094)) / 1e6)
        1004
        """
        return self.yield_share * self.strength_pa(wire_m)


_STEPS = (0.0325 * _INCH, 0.0635 * _INCH, 0.1255 * _INCH)

WIRES = {
    "music wire": Wire(2211e6, 0.145, (0.10e-3, 6.5e-3), (82.7e9, 81.7e9, 81.0e9, 80.0e9), _STEPS),
    "hard-drawn": Wire(1783e6, 0.190, (0.7e-3, 12.7e-3), (80.7e9, 80.0e9, 79.3e9, 78.6e9), _STEPS),
    "oil-tempered": Wire(1855e6, 0.187, (0.5e-3, 12.7e-3), (77.2e9,), yield_share=0.5),
    "chrome-vanadium": Wire(2005e6, 0.168, (0.8e-3, 11.1e-3), (77.2e9,), yield_share=0.5),
    "chrome-silicon": Wire(1974e6, 0.108, (1.6e-3, 9.5e-3), (77.2e9,), yield_share=0.5),
}

# Music wire gauge numbers 5 to 45 in thousandths of an inch (from memory, Shigley table A-28).
_MUSIC = """
14 16 18 20 22 24 26 29 31 33 35 37 39 41 43 45 47 49 51 55 59 63 67 71 75 80 85 90 95 100
106 112 118 124 130 138 146 154 162 170 180
"""
# Preferred diameters in hundredths of a millimetre (from memory, after EN 10270-1).
_METRIC = """
50 56 63 70 80 90 100 110 120 125 130 140 150 160 170 180 190 200 210 225 240 250 260 280
300 320 340 360 380 400 425 450 475 500 530 560 600 630 650 700 750 800
"""
MUSIC_WIRE_M = 1e-3 * _INCH * np.array(_MUSIC.split(), dtype=float)
METRIC_WIRE_M = 1e-5 * np.array(_METRIC.split(), dtype=float)
