"""Power corrections to a reference day: what each one is, what it gives, where it holds.

Observed power comes first; a factor is an opinion about another day. Each of the plain
standards has the same shape: k = (p_reference / p)^a (T / T_reference)^b corrects what the
gas does in the cylinder, and a gain above 1 leaves the friction uncorrected.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from toolkit.physics.air import dry_pressure_pa
from toolkit.physics.guard import checked

SUSPECT_BEYOND = 0.03
SUSPECT_SOURCE = "3 % rule of SAE J1349 (2004), from memory"


class Limit(NamedTuple):
    """A range that a standard states for one of: p_dry_pa, t_k, factor."""

    quantity: str
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Standard:
    """A power correction: observed power or torque times `factor` is that of the reference day."""

    name: str
    reference: str
    formula: str
    source: str
    p_reference_pa: float
    t_reference_k: float
    p_exponent: float = 1.0
    t_exponent: float = 0.5
    gain: float = 1.0
    dry: bool = True
    limits: tuple[Limit, ...] = ()

    def gas_factor(self, p_pa, t_k, humidity=0.0):
        """The factor before friction is left out of it. [-]

        Total pressure of the cell [Pa] > 0, its temperature [K], 230 to 647, humidity 0 to 1;
        broadcast; NaN passes. ValueError outside. Source: as the record says.
        """
        dry = dry_pressure_pa(p_pa, t_k, humidity)
        p = dry if self.dry else np.asarray(p_pa, dtype=float)
        t = np.asarray(t_k, dtype=float)
        return (self.p_reference_pa / p) ** self.p_exponent * (
            t / self.t_reference_k
        ) ** self.t_exponent

    def factor(self, p_pa, t_k, humidity=0.0):
        """Corrected over observed power. [-] Arguments and errors as gas_factor.

        >>> round(float(STANDARDS["SAE J1349"].factor(95e3, 303.15)), 4)
        1.06
        """
        return self.gain * self.gas_factor(p_pa, t_k, humidity) - (self.gain - 1)

    def corrected_w(self, observed_w, friction_w, p_pa, t_k, humidity=0.0):
        """Corrected power with the friction that was measured instead of assumed. [W]

        Observed and friction power [W], friction >= 0; the rest as gas_factor.

        >>> round(float(STANDARDS["SAE J1349"].corrected_w(300e3, 45e3, 95e3, 303.15)) / 1e3, 1)
        317.5
        """
        friction = checked("friction_w", friction_w, 0, unit="W")
        indicated = np.asarray(observed_w, dtype=float) + friction
        return indicated * self.gas_factor(p_pa, t_k, humidity) - friction

    def breaches(self, p_pa, t_k, humidity=0.0):
        """The stated limits that one weather lies outside of, each with the value found.

        Numbers as gas_factor; a NaN breaches nothing. -> list of (Limit, value)

        >>> [limit.quantity for limit, _ in STANDARDS["SAE J1349"].breaches(83e3, 297.15)]
        ['p_dry_pa']
        """
        found = {
            "p_dry_pa": float(dry_pressure_pa(p_pa, t_k, humidity)),
            "t_k": float(t_k),
            "factor": float(self.factor(p_pa, t_k, humidity)),
        }
        pairs = ((limit, found[limit.quantity]) for limit in self.limits)
        return [(limit, value) for limit, value in pairs if value < limit.low or value > limit.high]


_J1349_RANGE = "range stated with SAE J1349 (2004), as reported in the trade press"
_ISO_1585_RANGE = "range of ISO 1585, from memory"
STANDARDS = {
    standard.name: standard
    for standard in (
        Standard(
            name="SAE J1349",
            reference="99 kPa dry, 25 °C, 85 % mechanical efficiency",
            formula="1.18 (99/p_dry) sqrt(T/298) - 0.18",
            source="SAE J1349 (JUN90), spark ignition",
            p_reference_pa=99e3,
            t_reference_k=298.15,
            gain=1.18,
            limits=(
                Limit("p_dry_pa", 90e3, 105e3, _J1349_RANGE),
                Limit("t_k", 288.15, 308.15, _J1349_RANGE),
            ),
        ),
        Standard(
            name="STD (SAE J607)",
            reference="29.92 inHg dry, 60 °F, no friction split",
            formula="(29.92/p_dry) sqrt((t_F + 459.67)/519.67)",
            source="SAE J607, withdrawn, as used in the trade",
            p_reference_pa=29.92 * 3386.389,
            t_reference_k=519.67 / 1.8,
        ),
        Standard(
            name="ISO 1585",
            reference="99 kPa dry, 25 °C",
            formula="(99/p_dry)^1.2 (T/298)^0.6",
            source="ISO 1585 and UN R85, spark ignition",
            p_reference_pa=99e3,
            t_reference_k=298.15,
            p_exponent=1.2,
            t_exponent=0.6,
            limits=(
                Limit("p_dry_pa", 80e3, 110e3, _ISO_1585_RANGE),
                Limit("t_k", 288.15, 308.15, _ISO_1585_RANGE),
                Limit("factor", 0.93, 1.07, _ISO_1585_RANGE),
            ),
        ),
        Standard(
            name="DIN 70020",
            reference="1013 mbar total, 20 °C, no friction split",
            formula="(1013/p) sqrt(T/293)",
            source="DIN 70020, withdrawn, as used in the trade",
            p_reference_pa=101.3e3,
            t_reference_k=293.15,
            dry=False,
        ),
    )
}


COMPRESSION_IGNITION_LIMIT = Limit("factor", 0.9, 1.1, "UN R85, Annex 5")


def atmospheric_factor(p_pa, t_k, humidity=0.0, turbocharged=True):
    """The atmospheric factor fa of a compression-ignition engine. [-]

    Total cell pressure [Pa] > 0, temperature [K], 230 to 647, humidity 0 to 1; turbocharged,
    else naturally aspirated or mechanically charged; broadcast; NaN passes. ValueError outside.
    Source: UN R85, Annex 5; ISO 1585.

    >>> round(float(atmospheric_factor(95e3, 303.15)), 4)
    1.0553
    """
    pressure = 99e3 / dry_pressure_pa(p_pa, t_k, humidity)
    temperature = np.asarray(t_k, dtype=float) / 298.15
    if turbocharged:
        return pressure**0.7 * temperature**1.5
    return pressure * temperature**0.7


def fuel_per_litre_cycle_mg(fuel_flow_kg_s, displacement_m3, speed_rpm):
    """Fuel injected per litre of displacement and four-stroke cycle, q. [mg/(litre cycle)]

    Fuel flow [kg/s] >= 0, displacement [m3] > 0, speed [rpm] > 0; broadcast; NaN passes.
    ValueError outside. Source: UN R85, Annex 5.

    >>> round(float(fuel_per_litre_cycle_mg(54.5e-3, 51.8e-3, 1800)), 2)
    70.14
    """
    flow = checked("fuel_flow_kg_s", fuel_flow_kg_s, 0, unit="kg/s")
    litres = checked("displacement_m3", displacement_m3, above=0, unit="m3") * 1e3
    cycles_s = checked("speed_rpm", speed_rpm, above=0, unit="rpm") / 120
    return flow * 1e6 / (litres * cycles_s)


def engine_factor(fuel_mg, boost_ratio, edition="UN R85"):
    """The engine factor fm of a compression-ignition engine. [-]

    Fuel per litre and cycle [mg] >= 0 and absolute boost pressure ratio >= 1 (1 unboosted);
    broadcast; NaN passes. ValueError outside. edition "UN R85": 0.3 up to qc = 40, then linear,
    1.2 from 65; "ISO 1585:1992": 0.2 up to 37.2 (from memory).
    Source: UN R85, Annex 5: fm = 0.036 qc - 1.14, qc = q / r.

    >>> round(float(engine_factor(114, 2.0)), 3)
    0.912
    """
    lowest, edge = {"UN R85": (0.3, 40.0), "ISO 1585:1992": (0.2, 37.2)}[edition]
    qc = checked("fuel_mg", fuel_mg, 0, unit="mg") / checked("boost_ratio", boost_ratio, 1)
    fm = np.where(qc < edge, lowest, np.minimum(0.036 * qc - 1.14, 1.2))
    return np.where(np.isnan(qc), np.nan, fm)[()]


def compression_ignition_factor(p_pa, t_k, humidity, fuel_mg, boost_ratio, turbocharged=True):
    """Corrected over observed power of a compression-ignition engine, fa^fm. [-]

    Arguments and errors as atmospheric_factor and engine_factor. Stated range of the factor:
    COMPRESSION_IGNITION_LIMIT.
    Source: UN R85, Annex 5; ISO 1585.

    >>> round(float(compression_ignition_factor(95e3, 303.15, 0, 114, 2.0)), 4)
    1.0503
    """
    fa = atmospheric_factor(p_pa, t_k, humidity, turbocharged)
    return fa ** engine_factor(fuel_mg, boost_ratio)


class SiteExponents(NamedTuple):
    """ISO 3046-1 exponents of pressure, air temperature and charge coolant; dry pressure or not."""

    pressure: float
    temperature: float
    coolant: float
    dry: bool


SITE_EXPONENTS = {
    "compression ignition, unboosted": SiteExponents(1.0, 0.75, 0.0, True),
    "compression ignition, turbocharged": SiteExponents(0.7, 2.0, 0.0, False),
    "compression ignition, turbocharged and cooled": SiteExponents(0.7, 1.2, 1.0, False),
    "spark ignition, unboosted (from memory)": SiteExponents(0.86, 0.55, 0.0, True),
    "spark ignition, turbocharged and cooled (from memory)": SiteExponents(0.57, 0.55, 1.75, False),
}


def indicated_ratio(
    exponents,
    p_pa,
    t_k,
    humidity,
    t_coolant_k=298.0,
    p_reference_pa=100e3,
    t_reference_k=298.0,
    humidity_reference=0.3,
):
    """Indicated power at a site over that at the reference, k of ISO 3046-1. [-]

    A SiteExponents, the site's total pressure [Pa] > 0, air temperature [K], humidity 0 to 1
    and charge coolant temperature [K] > 0, then the reference: 100 kPa, 298 K, 30 %, or the
    substitute that the standard allows a turbocharged engine with speed in hand (its coolant
    reference stays 298 K); broadcast; NaN passes. ValueError outside.
    Source: ISO 3046-1 and ISO 15550.

    >>> unboosted = SITE_EXPONENTS["compression ignition, unboosted"]
    >>> round(float(indicated_ratio(unboosted, 87e3, 318, 0.8)), 3)
    0.763
    """
    p, p_ref = p_pa, p_reference_pa
    if exponents.dry:
        p = dry_pressure_pa(p_pa, t_k, humidity)
        p_ref = dry_pressure_pa(p_reference_pa, t_reference_k, humidity_reference)
    t = checked("t_k", t_k, above=0, unit="K")
    coolant = checked("t_coolant_k", t_coolant_k, above=0, unit="K")
    return (
        (checked("p_pa", p, above=0, unit="Pa") / p_ref) ** exponents.pressure
        * (t_reference_k / t) ** exponents.temperature
        * (298.0 / coolant) ** exponents.coolant
    )


def site_adjustment(ratio, mechanical_efficiency):
    """Site over reference brake power, alpha, and fuel per work, beta. [-, -]

    Indicated ratio k > 0, mechanical efficiency above 0 to 1; broadcast; NaN passes.
    ValueError outside.
    Source: ISO 3046-1: alpha = k - 0.7 (1 - k)(1/eta_m - 1), beta = k / alpha.

    >>> [round(float(x), 4) for x in site_adjustment(0.7628057, 0.85)]
    [0.7335, 1.0399]
    """
    k = checked("ratio", ratio, above=0)
    efficiency = checked("mechanical_efficiency", mechanical_efficiency, high=1, above=0)
    alpha = k - 0.7 * (1 - k) * (1 / efficiency - 1)
    return alpha, k / alpha


def held_boost_ratio(boost_gauge_pa, p_pa, p_reference_pa):
    """Absolute manifold pressure on one barometer over that on another, gauge boost held. [-]

    Gauge boost that the gate holds [Pa] >= 0, the day's barometer and the other [Pa] > 0;
    broadcast; NaN passes. ValueError outside. Where the gate holds gauge boost the engine feels
    this, not the ratio of barometers that a correction factor undoes.
    Source: gauge plus barometer, twice.

    >>> psi, inhg = 6894.757, 3386.389
    >>> round(float(held_boost_ratio(15 * psi, 24.7 * inhg, 29.235 * inhg)), 4)
    0.9241
    """
    boost = checked("boost_gauge_pa", boost_gauge_pa, 0, unit="Pa")
    here = checked("p_pa", p_pa, above=0, unit="Pa")
    return (boost + here) / (boost + checked("p_reference_pa", p_reference_pa, above=0, unit="Pa"))
