"""The charge cooler: effectiveness, pressure drop, and a water tank with ice as a heat store."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ive

from toolkit.physics import gas
from toolkit.physics.guard import checked

WATER_J_KGK = 4186.0  # 0 to 60 C within 0.3 %; IAPWS-IF97 gives 4219 to 4178
ICE_J_KGK = 2060.0  # mean of 0 and -20 C, IAPWS-06
FUSION_J_KG = 333.4e3  # at 0 C, IAPWS-06
MELTS_K = 273.15
_SERIES = 200  # terms of the crossflow series; enough for 50 transfer units


def outlet_t_k(t_in_k, t_medium_k, effectiveness):
    """Charge temperature behind the cooler. [K]

    Temperatures of charge and medium on their way in [K] > 0, effectiveness 0 to 1; broadcast;
    NaN passes. ValueError outside. The air has the smaller heat capacity flow.
    Source: definition, Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, ch. 11.

    >>> round(float(outlet_t_k(383.15, 303.15, 0.7)), 2)  # 110 C against 30 C
    327.15
    """
    t_in = checked("t_in_k", t_in_k, above=0, unit="K")
    medium = checked("t_medium_k", t_medium_k, above=0, unit="K")
    return t_in - checked("effectiveness", effectiveness, 0, 1) * (t_in - medium)


def effectiveness(t_in_k, t_out_k, t_medium_k):
    """Measured effectiveness; NaN where charge and medium come in equally warm. [-]

    Temperatures [K] > 0; broadcast; NaN passes. Above 1 or below 0 the medium was measured in
    the wrong place or at the wrong time. Source: as outlet_t_k.

    >>> round(float(effectiveness(383.15, 327.15, 303.15)), 3)
    0.7
    """
    t_in = checked("t_in_k", t_in_k, above=0, unit="K")
    span = t_in - checked("t_medium_k", t_medium_k, above=0, unit="K")
    cooled = t_in - checked("t_out_k", t_out_k, above=0, unit="K")
    return cooled / np.where(span == 0, np.nan, span)


def counterflow(ntu, capacity_ratio):
    """Effectiveness of a counterflow exchanger. [-]

    Number of transfer units >= 0, smaller over larger heat capacity flow 0 to 1; broadcast; NaN
    passes. ValueError outside. Source: Incropera & DeWitt, table 11.3.

    >>> round(float(counterflow(2, 0.5)), 4), round(float(counterflow(2, 1.0)), 4)
    (0.7746, 0.6667)
    """
    n, c = _arguments(ntu, capacity_ratio)
    even = 1 - c < 1e-9
    fade = np.exp(-n * (1 - c))
    return np.where(even, n / (1 + n), (1 - fade) / np.where(even, 1, 1 - c * fade))


def parallel_flow(ntu, capacity_ratio):
    """Effectiveness of a parallel-flow exchanger. [-]

    Arguments and errors as counterflow. Source: Incropera & DeWitt, table 11.3.

    >>> round(float(parallel_flow(2, 0.5)), 4)
    0.6335
    """
    n, c = _arguments(ntu, capacity_ratio)
    return (1 - np.exp(-n * (1 + c))) / (1 + c)


def crossflow(ntu, capacity_ratio):
    """Effectiveness of a crossflow exchanger, both sides unmixed: the exact series. [-]

    Arguments and errors as counterflow; the handbooks' approximation is off by -3 to +1 %.
    Source: W. Nusselt (1930) in the form with modified Bessel functions, as in Shah & Sekulic,
    Fundamentals of Heat Exchanger Design (2003), table 3.3.

    >>> round(float(crossflow(2, 0.5)), 4)
    0.7324
    """
    n, c = np.broadcast_arrays(*_arguments(ntu, capacity_ratio))
    c = np.maximum(c, 1e-9)
    root, x = np.sqrt(c), 2 * n * np.sqrt(c)
    k = np.arange(2, 2 + _SERIES).reshape(-1, *[1] * n.ndim)
    rest = (1 - c) / c * np.sum(root**k * ive(k, x), axis=0)
    return 1 - np.exp(x - (1 + c) * n) * (ive(0, x) + root * ive(1, x) - rest)


def _arguments(ntu, capacity_ratio):
    n = checked("ntu", ntu, 0, 50)
    return n, checked("capacity_ratio", capacity_ratio, 0, 1)


def heat_flow_w(air_flow_kg_s, t_in_k, t_out_k):
    """Heat that the cooler takes from the charge. [W]

    Air [kg/s] >= 0, temperatures before and behind [K], 200 to 6000; broadcast; NaN passes.
    ValueError outside. Source: enthalpy balance, cp varying (gas.py).

    >>> round(float(heat_flow_w(0.3, 400, 320)) / 1e3, 1)
    24.2
    """
    air = checked("air_flow_kg_s", air_flow_kg_s, 0, unit="kg/s")
    return air * (gas.h_air_j_kg(t_in_k) - gas.h_air_j_kg(t_out_k))


def pressure_drop_pa(flow_kg_s, density_kg_m3, known_drop_pa, known_flow_kg_s, known_density_kg_m3):
    """Pressure drop from one that is known at another flow. [Pa]

    Flows [kg/s] (known one > 0), densities [kg/m3] > 0, known drop [Pa] >= 0; broadcast; NaN
    passes. ValueError outside. Turbulent flow: drop as flow squared over density.
    Source: loss coefficient, Incropera & DeWitt, ch. 8.

    >>> float(pressure_drop_pa(0.4, 2.0, 10e3, 0.2, 1.6))
    32000.0
    """
    known = checked("known_drop_pa", known_drop_pa, 0, unit="Pa") * checked(
        "known_density_kg_m3", known_density_kg_m3, above=0, unit="kg/m3"
    )
    share = flow_kg_s / checked("known_flow_kg_s", known_flow_kg_s, above=0, unit="kg/s")
    return known * share**2 / checked("density_kg_m3", density_kg_m3, above=0, unit="kg/m3")


@dataclass(frozen=True)
class Store:
    """A tank of water, with or without ice, that takes up heat.

    water_kg, ice_kg >= 0, together > 0; start_k: its temperature, 250 K and above; with ice and
    water together it is 0 C, with ice alone at most that, without ice at least that. Walls, hoses
    and air leave no heat in or out. Raises ValueError that names what is impossible.
    """

    water_kg: float
    ice_kg: float = 0.0
    start_k: float = MELTS_K

    def __post_init__(self):
        water, ice = (checked(n, getattr(self, n), 0, unit="kg") for n in ("water_kg", "ice_kg"))
        start = checked("start_k", self.start_k, 250, 373.15, "K")
        checked("water_kg + ice_kg", water + ice, above=0, unit="kg")
        wrong = (ice > 0) & (start > MELTS_K) | (water > 0) & (start < MELTS_K)
        if np.any(wrong):
            raise ValueError(
                "start_k does not go with water_kg and ice_kg: ice is at most at 273.15 K, water "
                "at least, both together just there"
            )

    def heat_until_j(self, t_k):
        """Heat taken up until a temperature [K], at or above the start. [J]

        >>> round(float(Store(10, 10).heat_until_j(293.15)) / 1e6, 2)
        5.01
        """
        t = checked("t_k", t_k, np.max(self.start_k), 373.15, "K")
        frozen = np.minimum(t, MELTS_K) - np.minimum(self.start_k, MELTS_K)
        liquid = np.maximum(t, MELTS_K) - np.maximum(self.start_k, MELTS_K)
        melted = self.ice_kg * FUSION_J_KG * (t > MELTS_K)
        return (
            self.ice_kg * ICE_J_KGK * frozen
            + melted
            + (self.water_kg + self.ice_kg) * WATER_J_KGK * liquid
        )

    def t_after_k(self, heat_j):
        """Temperature after taking up heat [J] >= 0. [K]

        >>> round(float(Store(10, 10).t_after_k(4e6)), 2), float(Store(10, 10).t_after_k(1e6))
        (281.11, 273.15)
        """
        heat = checked("heat_j", heat_j, 0, unit="J")
        to_melting = self.ice_kg * ICE_J_KGK * (MELTS_K - np.minimum(self.start_k, MELTS_K))
        below = heat < to_melting
        rest = np.maximum(heat - to_melting - self.ice_kg * FUSION_J_KG, 0)
        warm = np.maximum(self.start_k, MELTS_K)
        warm = warm + rest / ((self.water_kg + self.ice_kg) * WATER_J_KGK)
        cold = self.start_k + heat / np.maximum(self.ice_kg * ICE_J_KGK, 1e-9)
        return np.where(below, cold, warm)

    def pulls(self, heat_flow_w, seconds, t_limit_k):
        """Whole pulls of so long at a mean heat flow before the tank is above a limit [K].

        Heat flow [W] > 0, seconds > 0. The tank gets no cooler in between.

        >>> int(Store(10, 10).pulls(25e3, 12, 293.15))
        16
        """
        heat = checked("heat_flow_w", heat_flow_w, above=0, unit="W")
        return np.floor(
            self.heat_until_j(t_limit_k) / (heat * checked("seconds", seconds, above=0, unit="s"))
        )
