"""A turbo between two measured ones: of the same family, at a share of the way from one to the
other. Never outside: nothing measured would hold it up there."""

from dataclasses import dataclass, replace

import numpy as np

from toolkit.physics.compressor import isentropic_work_j_kg


def blended(first, second, share, log=True):
    """The value at a share of the way: by ratio for what is a size, else straight.

    >>> round(float(blended(4.0, 9.0, 0.5)), 6), float(blended(0.7, 0.8, 0.5, log=False))
    (6.0, 0.75)
    """
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if log:
        return first ** (1 - share) * second**share
    return (1 - share) * first + share * second


@dataclass(frozen=True, eq=False)
class BlendedMap:
    """A compressor map between two, node by node: what match and response look up in a map.

    Both maps' tables run from their lowest to their top line and from surge to choke, so equal
    nodes are equal places. Flows and speeds go by ratio, as sizes do; pressure ratio and
    efficiency straight.
    """

    nodes: tuple
    line_speeds_rpm: np.ndarray
    t_ref_k: float
    p_ref_pa: float

    @property
    def work_j_kg(self):
        """Work on the air at the nodes, for inlet air at the reference temperature. [J/kg]"""
        return isentropic_work_j_kg(self.t_ref_k, self.nodes[2]) / self.nodes[3]


def compressor_map(first, second, share):
    """The map at a share of the way between two CompressorMaps of one reference state.

    Raises ValueError where the reference states differ: bring both to one first.
    """
    if (first.t_ref_k, first.p_ref_pa) != (second.t_ref_k, second.p_ref_pa):
        raise ValueError(
            "the two compressor maps have different reference states: bring both to one"
        )
    settings = [
        blended(a, b, share) for a, b in zip(first.nodes[:2], second.nodes[:2], strict=True)
    ]
    rest = [
        blended(a, b, share, log=False)
        for a, b in zip(first.nodes[2:], second.nodes[2:], strict=True)
    ]
    speeds = blended(first.line_speeds_rpm[[0, -1]], second.line_speeds_rpm[[0, -1]], share)
    return BlendedMap((*settings, *rest), speeds, first.t_ref_k, first.p_ref_pa)


def turbo(first, second, share):
    """The build's Turbo at a share of the way from the first (0) to the second (1).

    Raises ValueError outside 0 to 1.
    """
    if not 0 <= share <= 1:
        raise ValueError(
            f"a size of {share:g} lies outside {first.name} (0) and {second.name} (1): beyond the "
            "two that were measured nothing holds the answer up"
        )
    if share in (0, 1):
        return (first, second)[int(share)]
    sizes = ("turbine_area_m2", "inertia_kg_m2", "wheel_m", "speed_limit_rpm")
    made = {n: _either(getattr(first, n), getattr(second, n), share, log=True) for n in sizes}
    straight = ("turbine_efficiency", "mechanical_efficiency")
    made |= {n: _either(getattr(first, n), getattr(second, n), share, log=False) for n in straight}
    return replace(
        first,
        name=f"{share:.0%} of the way from {first.name} to {second.name}",
        compressor=compressor_map(first.compressor, second.compressor, share),
        compressor_map="",
        **made,
    )


def _either(a, b, share, log):
    """Between two numbers; None where one is not known."""
    return None if None in (a, b) else float(blended(a, b, share, log))
