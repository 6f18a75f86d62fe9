"""Heat capacity, enthalpy and isentropic steps of air and of burned gas.

Ideal-gas mixtures of fixed composition. Species polynomials: McBride, Gordon & Reno,
Coefficients for Calculating Thermodynamic and Transport Properties of Individual Species,
NASA TM-4513 (1993), 200 to 6000 K. Enthalpy is sensible: zero at 298.15 K, whatever the
composition, so that differences within one gas are the work or heat of a step.

Burned gas is CO2, H2O, N2 and, lean, O2; rich, CO and H2 in the proportions of the water-gas
reaction at 1740 K, where it freezes (Heywood, Internal Combustion Engine Fundamentals, 1988,
sec. 4.6). Burned with dry air of O2 + 3.773 N2. A fuel is its hydrogen and oxygen atoms per
carbon atom; the default is gasoline, CH1.87.
"""

import numpy as np

from toolkit.physics.guard import checked

R_UNIVERSAL_J_MOLK = 8.314462618
R_AIR_J_KGK = 287.05
GASOLINE_H_TO_C = 1.87
_WATER_GAS_CONSTANT = 3.580  # K of CO2 + H2 = CO + H2O at 1740 K, from the polynomials below
_T_ENTHALPY_ZERO_K = 298.15
_T_BREAK_K = 1000.0
_NEWTON_STEPS = 3  # quadratic: the third lands within 1e-8 K

# cp/R = a1 + a2 T + a3 T2 + a4 T3 + a5 T4; a6, a7 the constants of h/R and s/R.
# Two rows a species: below and above 1000 K.
_SPECIES = ("O2", "N2", "Ar", "CO2", "H2O", "CO", "H2")
_MOLAR_MASS_KG = np.array([31.998, 28.014, 39.95, 44.009, 18.015, 28.010, 2.016]) / 1000
# fmt: off
_NASA = np.array([
    3.78245636, -2.99673415e-3, 9.847302e-6, -9.68129508e-9, 3.24372836e-12,
    -1063.94356, 3.65767573,
    3.66096083, 6.56365523e-4, -1.41149485e-7, 2.05797658e-11, -1.29913248e-15,
    -1215.97725, 3.41536184,
    3.53100528, -1.23660987e-4, -5.02999437e-7, 2.43530612e-9, -1.40881235e-12,
    -1046.97628, 2.96747468,
    2.95257626, 1.39690057e-3, -4.92631691e-7, 7.86010367e-11, -4.60755321e-15,
    -923.948645, 5.87189252,
    2.5, 0, 0, 0, 0, -745.375, 4.37967491,
    2.5, 0, 0, 0, 0, -745.375, 4.37967491,
    2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13,
    -48371.9697, 9.90105222,
    4.63659493, 2.74131991e-3, -9.95828531e-7, 1.60373011e-10, -9.16103468e-15,
    -49024.9341, -1.93534855,
    4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12,
    -30293.7267, -0.849032208,
    2.67703787, 2.97318329e-3, -7.7376969e-7, 9.44336689e-11, -4.26900959e-15,
    -29885.8938, 6.88255571,
    3.57953347, -6.1035368e-4, 1.01681433e-6, 9.07005884e-10, -9.04424499e-13,
    -14344.086, 3.50840928,
    3.04848583, 1.35172818e-3, -4.85794075e-7, 7.88536486e-11, -4.69807489e-15,
    -14266.1171, 6.0170979,
    2.34433112, 7.98052075e-3, -1.9478151e-5, 2.01572094e-8, -7.37611761e-12,
    -917.935173, 0.683010238,
    2.93286579, 8.26607967e-4, -1.46402335e-7, 1.54100359e-11, -6.88804432e-16,
    -813.065597, -1.02432887,
]).reshape(len(_SPECIES), 2, 7)
# fmt: on


def _cp(t, a):
    return a[0] + t * (a[1] + t * (a[2] + t * (a[3] + t * a[4])))


def _h(t, a):
    return t * (a[0] + t * (a[1] / 2 + t * (a[2] / 3 + t * (a[3] / 4 + t * a[4] / 5)))) + a[5]


def _s(t, a):
    return a[0] * np.log(t) + t * (a[1] + t * (a[2] / 2 + t * (a[3] / 3 + t * a[4] / 4))) + a[6]


# [range, coefficient, species], per kilogram [J/kgK], enthalpy zero at 298.15 K.
_MASS = np.moveaxis(_NASA, 0, 2) * R_UNIVERSAL_J_MOLK / _MOLAR_MASS_KG
_MASS[:, 5] -= _h(_T_ENTHALPY_ZERO_K, _MASS[0])
# The two ranges' printed constants meet at 1000 K to 1e-8 only: closed, so that balances are.
for _value, _constant in ((_h, 5), (_s, 6)):
    _MASS[1, _constant] += _value(_T_BREAK_K, _MASS[0]) - _value(_T_BREAK_K, _MASS[1])


def _mixed(moles):
    """Both ranges' coefficients of a mixture, and its gas constant, from moles by species."""
    mass = moles * _MOLAR_MASS_KG.reshape(-1, *[1] * (moles.ndim - 1))
    total = mass.sum(axis=0)
    return np.tensordot(_MASS, mass / total, 1), R_UNIVERSAL_J_MOLK * moles.sum(axis=0) / total


def _burned_moles(lam, h_to_c, o_to_c):
    """Moles by species per mole of carbon burned at lambda."""
    oxygen = 1 + h_to_c / 4 - o_to_c / 2
    missing = 2 * oxygen * np.maximum(1 - lam, 0)  # oxygen atoms, shared by CO and H2
    k = _WATER_GAS_CONSTANT
    half = (k * (1 + missing) + h_to_c / 2 - missing) / 2
    co = (half - np.sqrt(half**2 - (k - 1) * k * missing)) / (k - 1)
    h2 = missing - co
    none = np.zeros_like(lam)
    free = oxygen * np.maximum(lam - 1, 0)
    nitrogen = 3.773 * oxygen * lam
    return np.array([free, nitrogen, none, 1 - co, h_to_c / 2 - h2, co, h2])


class Gas:
    """Gas of one composition, or of one a point: what the functions below use, for code that
    asks often. Arguments are not checked here.

    both: coefficients below and above 1000 K, [2, 7, ...]; r_j_kgk: gas constant [J/kgK].
    """

    def __init__(self, both, r_j_kgk):
        self.both, self.r_j_kgk = both, r_j_kgk

    def _at(self, t):
        """The coefficients that hold at each temperature, axis 0 over a1 to a7."""
        both = self.both
        if (missing := np.ndim(t) + 2 - both.ndim) > 0:
            both = both.reshape(2, 7, *[1] * missing, *both.shape[2:])
        return np.where(t < _T_BREAK_K, both[0], both[1])

    def cp_j_kgk(self, t):
        """Heat capacity at a temperature [K]. [J/kgK]"""
        return _cp(t, self._at(t))

    def gamma(self, t):
        """Ratio of heat capacities at a temperature [K]."""
        cp = self.cp_j_kgk(t)
        return cp / (cp - self.r_j_kgk)

    def h_j_kg(self, t):
        """Sensible enthalpy at a temperature [K]. [J/kg]"""
        return _h(t, self._at(t))

    def t_k(self, h, near=None):
        """Temperature of a sensible enthalpy [J/kg]: Newton; cp grows with T, so it settles
        from any start, in two steps where `near` is within some 10 K. [K]"""
        t = _T_ENTHALPY_ZERO_K + h / 1100 if near is None else near
        for _ in range(_NEWTON_STEPS + 1 if near is None else 2):
            a = self._at(t)
            t = t + (h - _h(t, a)) / _cp(t, a)
        return t

    def isentropic_t_k(self, t, ratio):
        """Temperature after a pressure step: Newton in ln T for s(T2) = s(T1) + R ln(ratio)."""
        start = self._at(t)
        gain = self.r_j_kgk * np.log(ratio)
        wanted = _s(t, start) + gain
        end = t * np.exp(gain / _cp(t, start))
        for _ in range(_NEWTON_STEPS):
            a = self._at(end)
            end = end * np.exp((wanted - _s(end, a)) / _cp(end, a))
        return end


# CIPM dry air, carbon dioxide counted as argon.
AIR = Gas(_mixed(np.array([0.2095, 0.7808, 0.0097, 0, 0, 0, 0]))[0], R_AIR_J_KGK)


def burned(lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Burned gas at lambda, 0.5 to 20; number or array. -> Gas

    Atoms of hydrogen and of oxygen per carbon atom of the fuel. ValueError outside.
    Source: mole balance with the water-gas reaction frozen at 1740 K (Heywood 1988, sec. 4.6).

    >>> round(float(burned(0.83).gamma(1150.0)), 3)
    1.292
    """
    return Gas(*_mixed(_burned_moles(_checked_lam(lam), h_to_c, o_to_c)))


def _checked_lam(lam):
    return checked("lam", lam, 0.5, 20)


def _checked_t(t_k):
    return checked("t_k", t_k, 200, 6000, "K")


def _checked_h(h_j_kg):
    return checked("h_j_kg", h_j_kg, -95e3, 7e6, "J/kg")


def coefficients(lam=None, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """The polynomials themselves, for code that is compiled: [below and above 1000 K, a1 to a7].

    lam None for dry air, else burned gas at one lambda, 0.5 to 20. cp = a1 + a2 T + a3 T2 +
    a4 T3 + a5 T4 [J/kgK]; sensible enthalpy is its integral plus a6 [J/kg]. ValueError outside.
    Source: NASA TM-4513 (1993), mixed by mass.

    >>> a = coefficients()[0]
    >>> round(float(a[:5] @ 300.0 ** np.arange(5)), 2)
    1004.66
    """
    return AIR.both if lam is None else burned(float(lam), h_to_c, o_to_c).both


def cp_air_j_kgk(t_k):
    """Heat capacity of dry air at constant pressure. [J/kgK]

    Temperature [K], 200 to 6000; number or array; NaN passes. ValueError outside.
    Source: NASA TM-4513 (1993), air of 20.95 % O2, 78.08 % N2, 0.97 % Ar.

    >>> round(float(cp_air_j_kgk(300)), 2)
    1004.66
    """
    return AIR.cp_j_kgk(_checked_t(t_k))


def gamma_air(t_k):
    """Ratio of heat capacities of dry air. [-]

    Temperature [K], 200 to 6000; number or array; NaN passes. ValueError outside.
    Source: cp/(cp - R), cp from NASA TM-4513 (1993).

    >>> round(float(gamma_air(400)), 4)
    1.3949
    """
    return AIR.gamma(_checked_t(t_k))


def h_air_j_kg(t_k):
    """Sensible enthalpy of dry air above 298.15 K. [J/kg]

    Temperature [K], 200 to 6000; number or array; NaN passes. ValueError outside.
    Source: the integral of cp, NASA TM-4513 (1993).

    >>> round(float(h_air_j_kg(400)))
    102732
    """
    return AIR.h_j_kg(_checked_t(t_k))


def t_air_k(h_j_kg):
    """Temperature of dry air of a sensible enthalpy; the inverse of h_air_j_kg. [K]

    Enthalpy above 298.15 K [J/kg], -95e3 to 7e6; number or array; NaN passes. ValueError
    outside. Source: NASA TM-4513 (1993), inverted by Newton's method.

    >>> round(float(t_air_k(h_air_j_kg(400))), 6)
    400.0
    """
    return AIR.t_k(_checked_h(h_j_kg))


def isentropic_t_air_k(t_k, pressure_ratio):
    """Temperature of dry air after a loss-free pressure step, cp varying. [K]

    Start temperature [K], 200 to 6000, and p_end / p_start > 0; broadcast; NaN passes.
    ValueError outside. Source: s(T2) - s(T1) = R ln(p2/p1), s from NASA TM-4513 (1993).

    >>> round(float(isentropic_t_air_k(298.15, 2.0)), 2)
    363.3
    """
    ratio = checked("pressure_ratio", pressure_ratio, above=0)
    return AIR.isentropic_t_k(*np.broadcast_arrays(_checked_t(t_k), ratio))


def r_burned_j_kgk(lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Gas constant of burned gas. [J/kgK]

    Lambda 0.5 to 20, atoms of hydrogen and of oxygen per carbon atom of the fuel; number or
    array of lambda; NaN passes. ValueError outside.
    Source: mole balance with the water-gas reaction frozen at 1740 K (Heywood 1988, sec. 4.6).

    >>> round(float(r_burned_j_kgk(1.0)), 1)
    287.7
    """
    return burned(lam, h_to_c, o_to_c).r_j_kgk


def cp_burned_j_kgk(t_k, lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Heat capacity of burned gas at constant pressure and composition. [J/kgK]

    Temperature [K], 200 to 6000, lambda 0.5 to 20, atoms of hydrogen and of oxygen per carbon
    atom of the fuel; temperature and lambda broadcast; NaN passes. ValueError outside.
    Source: NASA TM-4513 (1993); composition as the module says.

    >>> round(float(cp_burned_j_kgk(1150, 0.83)))
    1322
    """
    return burned(lam, h_to_c, o_to_c).cp_j_kgk(_checked_t(t_k))


def gamma_burned(t_k, lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Ratio of heat capacities of burned gas, composition frozen. [-]

    Arguments, errors and source as cp_burned_j_kgk: [K] 200 to 6000, lambda 0.5 to 20.

    >>> round(float(gamma_burned(1150, 0.83)), 3)
    1.292
    """
    return burned(lam, h_to_c, o_to_c).gamma(_checked_t(t_k))


def h_burned_j_kg(t_k, lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Sensible enthalpy of burned gas above 298.15 K. [J/kg]

    Arguments, errors and source as cp_burned_j_kgk: [K] 200 to 6000, lambda 0.5 to 20.

    >>> round(float(h_burned_j_kg(1150, 0.83)))
    1029150
    """
    return burned(lam, h_to_c, o_to_c).h_j_kg(_checked_t(t_k))


def t_burned_k(h_j_kg, lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Temperature of burned gas of a sensible enthalpy; the inverse of h_burned_j_kg. [K]

    Enthalpy above 298.15 K [J/kg], -95e3 to 7e6, lambda 0.5 to 20, fuel as cp_burned_j_kgk;
    broadcast; NaN passes. ValueError outside. Source: NASA TM-4513 (1993), Newton's method.

    >>> round(float(t_burned_k(h_burned_j_kg(1150, 0.83), 0.83)), 6)
    1150.0
    """
    return burned(lam, h_to_c, o_to_c).t_k(_checked_h(h_j_kg))


def isentropic_t_burned_k(t_k, pressure_ratio, lam, h_to_c=GASOLINE_H_TO_C, o_to_c=0.0):
    """Temperature of burned gas after a loss-free pressure step, cp varying. [K]

    Start temperature [K], 200 to 6000, p_end / p_start > 0, lambda 0.5 to 20, fuel as
    cp_burned_j_kgk; broadcast; NaN passes. ValueError outside.
    Source: s(T2) - s(T1) = R ln(p2/p1), s from NASA TM-4513 (1993), frozen composition.

    >>> round(float(isentropic_t_burned_k(1150, 1 / 2.0, 1.0)), 1)
    984.5
    """
    ratio = checked("pressure_ratio", pressure_ratio, above=0)
    t, ratio = np.broadcast_arrays(_checked_t(t_k), ratio)
    return burned(lam, h_to_c, o_to_c).isentropic_t_k(t, ratio)
