"""Writes the table of breathing slope against valve overlap into DEVELOPERS.md.

python -m tests.print_cycle_table
"""

import re
from pathlib import Path

import numpy as np

from toolkit.physics.cam import Cam, exhaust_lobe, intake_lobe
from toolkit.physics.cycle import Cylinder, Operating, breathing_slope, torque_cost_nm_per_pa

PAGE = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"
BLOCK = re.compile(r"(<!-- cycle table -->\n).*?(<!-- end of cycle table -->)", re.DOTALL)
OVERLAPS_DEG = (0, 16, 28, 40, 52, 60, 70)
SQUARE = Cylinder(0.090, 0.0904, 0.145, 9.5, 0.033, 0.029)  # four valves, 2.3 litres of four
LITRE_M3, LBFT_NM, PSI_PA = 1e-3, 1.3558179, 6894.757
BOOST_PA = 200e3
RATIOS = np.array([0.8, 1.0, 1.3])
SPEEDS_RPM = np.array([2000.0, 3500.0, 5500.0])


def overlapping(degrees):
    """A cam that differs in overlap only: half of it on each side of top dead centre."""
    return Cam(intake_lobe(degrees / 2, 44, 0.0095), exhaust_lobe(44, degrees / 2, 0.0095))


def row(degrees):
    """One line of the table."""
    cam = overlapping(degrees)
    at_crossing = Operating(SPEEDS_RPM, BOOST_PA, BOOST_PA)
    slopes = breathing_slope(SQUARE, cam, at_crossing)
    beside = Operating(3500.0, BOOST_PA, BOOST_PA * RATIOS)
    cost = torque_cost_nm_per_pa(SQUARE, cam, beside, LITRE_M3)
    cells = [f"{s:.2f}" for s in slopes] + [f"{c:.2f}" for c in cost.total * PSI_PA / LBFT_NM]
    return f"| {degrees} | " + " | ".join(cells) + " |"


def text():
    """The table as Markdown."""
    head = (
        "| seat overlap [deg] | d ln VE / d(p3/pi) at p3 = pi, 2000 rpm | 3500 rpm | 5500 rpm "
        "| lost at 3500 rpm, p3/pi 0.8 [lb-ft per psi and litre] | 1.0 | 1.3 |"
    )
    return "\n".join([head, "|---" * 7 + "|", *map(row, OVERLAPS_DEG)]) + "\n"


def main():
    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(BLOCK.sub(lambda m: m[1] + text() + m[2], page), encoding="utf-8")


if __name__ == "__main__":
    main()
