"""Two numbers of a turbo from measured points: effective turbine area and overall efficiency.

The bypass is free: exhaust pressure is what the compressor's work asks of the turbine, unless
that would take more exhaust than there is; then the gate is shut and all of it goes through.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from toolkit.physics import compressor, gas
from toolkit.physics.expansion import Expansion
from toolkit.physics.roots import root_of_increasing
from toolkit.physics.turbine import MOST_EXPANSION

LEAST_EFFICIENCY, MOST_EFFICIENCY = 0.1, 0.8  # of a turbo as a whole; beyond is no turbo


@dataclass(frozen=True)
class TurboFit:
    """What the points say of the turbo.

    product_m2: effective turbine area times overall efficiency (compressor, turbine, mechanical).
    area_m2, efficiency: each of the two; NaN where the gate was open throughout, for then only
    their product shows. p_exhaust_pa: as fitted; rms: of its relative error; shut: where all
    exhaust goes through the turbine.
    """

    product_m2: float
    area_m2: float
    efficiency: float
    p_exhaust_pa: np.ndarray
    rms: float
    shut: np.ndarray


def fit_turbo(
    air_flow_kg_s, p_compressor_in_pa, t_compressor_in_k, p_compressor_out_pa, t_exhaust_k,
    p_exhaust_pa, p_turbine_out_pa, lam, afr_stoich=14.6, atoms=(gas.GASOLINE_H_TO_C, 0.0),
):  # fmt: skip
    """Least-squares area and overall efficiency of a turbo. A TurboFit.

    Arrays of one element a point: air [kg/s], absolute pressures [Pa], temperatures [K], lambda;
    stoichiometric air-fuel ratio and the fuel's hydrogen and oxygen atoms per carbon. Points
    with NaN are refused with ValueError, and so are fewer than three.
    Source: energy balance of the turbocharger, Heywood (1988), ch. 6; measured engines come back
    within 2 to 3 % rms.
    """
    air, p1, t1, p2, t3, p3, p4, lam = np.broadcast_arrays(
        air_flow_kg_s, p_compressor_in_pa, t_compressor_in_k, p_compressor_out_pa, t_exhaust_k,
        p_exhaust_pa, p_turbine_out_pa, lam,
    )  # fmt: skip
    everything = np.stack([air, p1, t1, p2, t3, p3, p4, lam])
    if everything.shape[1] < 3 or np.isnan(everything).any():
        raise ValueError("a turbo is fitted to three or more points without gaps: drop the rest")
    expansion = Expansion([None], np.zeros(len(air)), t3, lam, atoms)
    exhaust = air * (1 + 1 / (afr_stoich * lam))
    power = air * compressor.isentropic_work_j_kg(t1, p2 / p1)

    def modelled(logarithms):
        area, efficiency = np.exp(logarithms)
        asked, _ = expansion.at(power / (p4 * area * efficiency))
        all_of_it = expansion_of_flow(expansion, exhaust / (p4 * area))
        return p4 * np.exp(np.minimum(asked, all_of_it)), asked >= all_of_it

    # With the gate open only the product of both counts; where it is shut tells them apart, so
    # the search starts from several ways to share the product.
    rough = np.median(exhaust / (p4 * expansion.turbine_flow(np.log(2.0)))) / 2
    tries = [
        least_squares(
            lambda x: modelled(x)[0] / p3 - 1,
            np.log([rough * 0.45 / guess, guess]),
            bounds=([-np.inf, np.log(LEAST_EFFICIENCY)], [np.inf, np.log(MOST_EFFICIENCY)]),
        )
        for guess in (0.25, 0.35, 0.45, 0.55, 0.65)
    ]
    best = min(tries, key=lambda t: t.cost)
    p_fitted, shut = modelled(best.x)
    area, efficiency = np.exp(best.x)
    rms = float(np.sqrt(np.mean((p_fitted / p3 - 1) ** 2)))
    apart = (area, efficiency) if shut.any() else (np.nan, np.nan)
    return TurboFit(float(area * efficiency), *map(float, apart), p_fitted, rms, shut)


def expansion_of_flow(expansion, flow_per_pa):
    """Logarithm of expansion ratio that drives a flow, over area and pressure behind."""
    return root_of_increasing(
        lambda z: (np.exp(z) * expansion.turbine_flow(z) / flow_per_pa - 1, None),
        np.full(np.shape(flow_per_pa), 0.5),
        high=np.log(MOST_EXPANSION),
    )[0]
