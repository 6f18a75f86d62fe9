"""The turbine: what it passes and what it gives, at one of two levels.

(a) an effective nozzle area with one efficiency; (b) curves of corrected flow and efficiency
against expansion ratio. Gas properties vary with temperature and mixture (gas.py).
"""

from dataclasses import dataclass

import numpy as np

from toolkit.physics.guard import checked


@dataclass(frozen=True, eq=False)
class TurbineCurve:
    """Level (b): corrected flow [kg/s] and efficiency along expansion ratio p3/p4.

    Flow is corrected to the reference temperature [K] and pressure [Pa] at the turbine's inlet.
    Two points or more; monotone splines between them, NaN outside. Raises ValueError otherwise.
    """

    expansion_ratio: tuple
    flow_kg_s: tuple
    efficiency: tuple
    t_ref_k: float
    p_ref_pa: float

    def __post_init__(self):
        ratio = checked("expansion_ratio", self.expansion_ratio, 1)
        checked("flow_kg_s", self.flow_kg_s, 0, unit="kg/s")
        checked("efficiency", self.efficiency, 0, 1)
        checked("t_ref_k", self.t_ref_k, 200, 1500, "K")
        checked("p_ref_pa", self.p_ref_pa, 1e4, 1e6, "Pa")
        if len(ratio) < 2 or np.any(np.diff(ratio) <= 0):
            raise ValueError("a turbine curve needs two or more points of rising expansion_ratio")
