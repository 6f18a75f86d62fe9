"""Writes what a fit predicts of a measured engine's other half into DEVELOPERS.md.

python -m tests.print_fit_table
"""

import re

import numpy as np

from tests.conftest import ROOT
from tests.test_fit import lower_and_upper, plain_engine, predicted, read_measured, rms
from toolkit.analysis.fit import fit

PAGE = ROOT / "DEVELOPERS.md"
BLOCK = re.compile(r"(<!-- fit table -->\n).*?(<!-- end of fit table -->)", re.DOTALL)
REACH, COLUMNS = 0.1, 41  # of the drawn line: so far to either side, in so many characters


def drawn(error):
    """A point on a line from -10 % to +10 %, its middle marked."""
    place = round((np.clip(error, -REACH, REACH) / REACH + 1) / 2 * (COLUMNS - 1))
    line = list("." * COLUMNS)
    line[COLUMNS // 2] = "|"
    line[place] = "o"
    return "".join(line)


def text():
    """The errors, point by point and as root mean squares."""
    low, high = lower_and_upper(read_measured(ROOT.parent / "shared" / "data"))
    air, p3, torque = predicted(fit(low, plain_engine()), high)
    errors = torque / high.torque_nm - 1, p3 / high.p_exhaust_pa - 1
    beyond = high.p_manifold_pa / low.p_manifold_pa.max() - 1
    head = f"beyond  {'torque, -10 % to +10 %':{COLUMNS}}  back pressure, -10 % to +10 %"
    lines = [f"{b:5.0%}   {drawn(t)}  {drawn(p)}" for b, t, p in zip(beyond, *errors, strict=True)]
    sums = [rms(torque, high.torque_nm), rms(p3, high.p_exhaust_pa), rms(air, high.air_flow_kg_s)]
    said = "Root mean square: torque {:.1%}, back pressure {:.1%}, air flow {:.1%}.".format(*sums)
    return "\n".join(["```", head, *lines, "```", said, ""])


def main():
    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(BLOCK.sub(lambda m: m[1] + text() + m[2], page), encoding="utf-8")


if __name__ == "__main__":
    main()
