"""Torque as a function of what was measured, and what may be wrong with model and sensors.

    T = Vd/(4 pi) [ K p T_i^-n exp(slope (p3/p - 1)) (1 - vapour) m(lambda) s(spark)
                    - (p3 - p) - FMEP(speed) ]

K is what makes the formula meet the measured torque of both runs in the mean, so that neither
volumetric nor indicated efficiency has to be known.
"""

from dataclasses import dataclass, field

import numpy as np

from toolkit.physics import engine

# Each cause and the quantity that carries it; back pressure acts twice.
CARRIERS = {
    "boost": "p_manifold_pa",
    "pumping": "p_exhaust_pa",
    "breathing": "p_breathing_pa",
    "charge temperature": "t_charge_k",
    "mixture": "lam",
    "spark": "spark_deg",
    "weather": "vapour",
}


@dataclass(frozen=True)
class Tolerances:
    """What each sensor may be wrong by, 95 %: Pa, K, lambda, degrees, fractions of the reading.

    The same sensor on both runs errs alike; `apart` is the part of the tolerance by which it may
    differ between two runs of one session, all of it between sessions.
    """

    p_manifold_pa: float = 1e3
    p_exhaust_pa: float = 2e3
    t_charge_k: float = 2.0
    lam: float = 0.01
    spark_deg: float = 1.0
    vapour: float = 0.001
    torque_nm: float = 0.005
    air_flow_kg_s: float = 0.015
    apart: float = 0.25

    def size(self, channel, states):
        """One standard deviation in the channel's own unit, of readings like these."""
        relative = channel in ("torque_nm", "air_flow_kg_s")
        return getattr(self, channel) / 2 * (np.abs(states) if relative else np.ones_like(states))


# How late a sensor answers [s], one standard deviation: in a sweep a late channel is a channel of
# another speed (common practice for pressure lines, thermocouples, heated-film and lambda sensors).
LAGS_S = {
    "p_manifold_pa": 0.05,
    "p_exhaust_pa": 0.05,
    "t_charge_k": 1.0,
    "lam": 0.2,
    "torque_nm": 0.08,
    "air_flow_kg_s": 0.12,
}

# value and one standard deviation of what the model cannot know (from memory, and the ranges of
# textbooks: Heywood 1988, secs. 2.10, 6.2, 9.3, 13; spark at best against boost: common practice).
PARAMETERS = {
    "temperature_exponent": (0.8, 0.12),
    "friction": (1.0, 0.3),
    "mixture_strength": (1.0, 0.25),
    "mixture_shift": (0.0, 0.02),
    "retard_deg": (5.0, 2.5),
    "spark_strength": (1.0, 0.25),
    "best_spark_deg_bar": (5.0, 2.5),
    "moisture": (1.0, 0.3),
    "slope": (0.0, 1.0),  # in standard deviations of the BreathingSlope
}


@dataclass(frozen=True)
class Problem:
    """Two runs on one grid: per channel an array (2, speeds), run A first.

    scatter: per channel the standard error of its difference, and dof its degrees of freedom.
    sweep_rpm_s: how fast each run swept, (2, 1); 0 where not known.
    """

    speed_rpm: np.ndarray
    states: dict
    scatter: dict
    dof: dict
    displacement_m3: float
    stroke_m: float
    slope: object
    causes: tuple
    sweep_rpm_s: np.ndarray
    same_session: bool = True
    tolerances: Tolerances = field(default_factory=Tolerances)


def torque_nm(problem, states, parameters, chosen):
    """Torque of mixed states: chosen[cause] is 0 (run A) or 1 (run B), (subsets,).

    states: per channel (disturbances, 2, speeds); parameters: per name (disturbances, 1).
    Returns (disturbances, subsets, speeds) [N m].
    """
    per_mep = problem.displacement_m3 / (4 * np.pi)
    friction = engine.fmep_pa(problem.speed_rpm, 0.0, problem.stroke_m)
    friction = (parameters["friction"] * friction)[:, None, :]
    runs = {name: states[name] for name in CARRIERS.values()}
    middle = {name: v.mean(axis=1, keepdims=True) for name, v in runs.items()}
    wanted = states["torque_nm"] / per_mep + _exchange(runs) + friction
    k = (wanted / _filling(problem, runs, middle, parameters)).mean(axis=1, keepdims=True)
    unchanged = np.zeros_like(next(iter(chosen.values())))
    mixed = {
        carrier: runs[carrier][:, chosen.get(cause, unchanged), :]
        for cause, carrier in CARRIERS.items()
    }
    gross = k * _filling(problem, mixed, middle, parameters)
    return per_mep * (gross - _exchange(mixed) - friction)


def _exchange(x):
    return x["p_exhaust_pa"] - x["p_manifold_pa"]


def _filling(problem, x, middle, parameters):
    """Air that burns, times what mixture and spark make of it; in no unit, K makes it one."""
    q = {name: value[..., None] for name, value in parameters.items()}
    p = x["p_manifold_pa"]
    slope = problem.slope.mean + q["slope"] * problem.slope.sd
    air = p * x["t_charge_k"] ** -q["temperature_exponent"]
    air = air * np.exp(slope * (x["p_breathing_pa"] / p - 1)) * (1 - q["moisture"] * x["vapour"])
    lam = np.clip(x["lam"] + q["mixture_shift"], 0.5, 20)
    mixture = 1 + q["mixture_strength"] * (engine.mixture_factor(lam) - 1)
    late = q["retard_deg"] + middle["spark_deg"] - x["spark_deg"]
    late = late - q["best_spark_deg_bar"] * (p - middle["p_manifold_pa"]) / 1e5
    spark = 1 + q["spark_strength"] * (engine.spark_factor(np.clip(late, -30, 30)) - 1)
    return air * mixture * spark


def late_by(speed_rpm, states, sweep_rpm_s, channel):
    """What a sensor's lag changes in a channel (2, speeds), one standard deviation."""
    if speed_rpm.size < 2:
        return np.zeros_like(states)
    slope = np.gradient(states, speed_rpm, axis=1)
    # Beside a gap the slope is not known: no error is better than no band.
    return np.nan_to_num(slope) * sweep_rpm_s * LAGS_S.get(channel, 0.0)


def parameters_of(problem):
    """PARAMETERS for this problem: spark that was not logged is taken to follow its best."""
    if "spark" in problem.causes:
        return PARAMETERS
    return PARAMETERS | {"best_spark_deg_bar": (0.0, PARAMETERS["best_spark_deg_bar"][1])}


def disturbances(problem):
    """Everything that may be wrong by one standard deviation: (channels, parameters, dof).

    channels: additions per channel (2, speeds); parameters: additions per name.
    """
    apart = problem.tolerances.apart if problem.same_session else 1.0
    opposite = np.array([[-0.5], [0.5]])
    for channel, error in problem.scatter.items():
        size = problem.tolerances.size(channel, problem.states[channel])
        late = late_by(problem.speed_rpm, problem.states[channel], problem.sweep_rpm_s, channel)
        for change, dof in (
            (late, np.inf),  # a sensor that lags
            (size, np.inf),  # a sensor that is off on both runs
            (np.sqrt(2) * apart * size * opposite, np.inf),  # and between them
            (error * opposite, problem.dof[channel]),  # scatter of the pulls
        ):
            both = {channel: change}
            if channel == "p_exhaust_pa":
                both["p_breathing_pa"] = change
            yield both, {}, dof
    for name, (_, sd) in parameters_of(problem).items():
        yield {}, {name: sd}, np.inf
