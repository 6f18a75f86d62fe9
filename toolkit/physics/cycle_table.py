"""The cycle solved once over speed, manifold pressure and back pressure, then looked up."""

from dataclasses import dataclass, fields
from functools import cached_property, lru_cache

import numpy as np

from toolkit.physics.cycle import Cycles, Operating, cycle
from toolkit.physics.guard import checked

SPEEDS_RPM = tuple(np.linspace(1500.0, 7000.0, 8))
PRESSURES_PA = tuple(np.linspace(80e3, 330e3, 6))
# Closer where back pressure crosses boost: there the curves bend.
RATIOS = (0.55, 0.75, 0.88, 0.96, 1.0, 1.04, 1.12, 1.3, 1.65, 2.2)


@dataclass(frozen=True)
class CycleTable:
    """Cycles on a grid of speed [rpm], manifold pressure [Pa] and exhaust over manifold [-]."""

    speed_rpm: tuple
    p_manifold_pa: tuple
    exhaust_to_manifold: tuple
    cycles: Cycles

    @cached_property
    def _interpolator(self):
        from scipy.interpolate import RegularGridInterpolator  # slow to load: late

        values = [np.asarray(getattr(self.cycles, f.name), float) for f in fields(Cycles)]
        axes = self.speed_rpm, self.p_manifold_pa, self.exhaust_to_manifold
        return RegularGridInterpolator(axes, np.stack(values, -1), bounds_error=False)

    def at(self, speed_rpm, p_manifold_pa, p_exhaust_pa):
        """Cycles between the grid's points, straight lines; NaN outside the grid. [Cycles]

        Speed [rpm], manifold and exhaust pressures [Pa] absolute, > 0; broadcast.
        """
        p_in = checked("p_manifold_pa", p_manifold_pa, above=0, unit="Pa")
        ratio = checked("p_exhaust_pa", p_exhaust_pa, above=0, unit="Pa") / p_in
        points = np.stack(np.broadcast_arrays(speed_rpm, p_in, ratio), -1)
        found = np.moveaxis(self._interpolator(points), -1, 0)
        named = dict(zip((f.name for f in fields(Cycles)), found, strict=True))
        return Cycles(**named | {"converged": named["converged"] > 0.999})


@lru_cache(maxsize=16)
def table(
    cylinder, cam, speeds_rpm=SPEEDS_RPM, pressures_pa=PRESSURES_PA, ratios=RATIOS, **operating
):
    """The cycle over a grid, kept for these very inputs. [CycleTable]

    A Cylinder, a Cam; rising tuples of speeds [rpm], manifold pressures [Pa] absolute and
    exhaust over manifold pressure [-]; the other quantities of Operating by name, numbers.
    ValueError as cycle. Source: cycle.

    >>> from toolkit.physics.cam import CAMS
    >>> from toolkit.physics.cycle import Cylinder
    >>> square = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
    >>> small = table(square, CAMS["mild"], (3000.0, 4000.0), (1e5, 2e5), (0.8, 1.0, 1.4))
    >>> bool(0.8 < small.at(3500, 1.5e5, 1.6e5).ve < 1)
    True
    """
    speed, p_in, ratio = np.meshgrid(speeds_rpm, pressures_pa, ratios, indexing="ij")
    done = cycle(cylinder, cam, Operating(speed, p_in, ratio * p_in, **operating))
    return CycleTable(speeds_rpm, pressures_pa, ratios, done)
