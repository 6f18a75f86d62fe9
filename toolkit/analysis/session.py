"""A day on the dyno: every accepted pull in order, how the day drifted, which may be compared."""

from dataclasses import dataclass

import numpy as np

from toolkit.analysis.repeats import OBSERVED, stacked
from toolkit.analysis.scatter import coverage_factor

# Channels whose level tells how like two pulls are: the largest difference allowed [inside
# unit] and its name. Common practice; the person's to set.
LIKENESS = {
    "t_oil_k": (15.0, "oil"),
    "t_charge_k": (8.0, "charge"),
    "t_cell_k": (5.0, "cell air"),
    "t_coolant_k": (8.0, "coolant"),
    "p_cell_pa": (500.0, "barometer"),
}
SWEEP_LIMIT = 0.10  # share by which sweep rates may differ; common practice
# What boost and turbo decide: told apart only between pulls of one set-up.
OF_SETUP = {"t_charge_k"}
# Pulls of one go warm up together and say nothing about a drift over the day. Common practice.
LEAST_S = 900.0


@dataclass(frozen=True)
class SessionPull:
    """One pull of the day: its side, run, hour, mean power over the common range, levels."""

    setup: str
    run: str
    pull: int
    hour: float | None
    power_w: float
    sweep_rpm_s: float
    levels: dict[str, float]


@dataclass(frozen=True)
class Session:
    """The pulls in order.

    range_rpm: over which power is averaged; reference: the state it is in.
    """

    pulls: tuple[SessionPull, ...]
    range_rpm: tuple[float, float]
    reference: str = OBSERVED

    @property
    def setups(self):
        """The set-ups in the order in which they were first run."""
        return tuple(dict.fromkeys(p.setup for p in self.pulls))

    def drift(self, setup, least_s=LEAST_S):
        """(drift [W/h], half width of its 95 % band) by straight line through a set-up's pulls.

        NaN with fewer than three pulls, where an hour is not known, or where all lie within
        least_s [s].
        """
        from scipy.stats import linregress

        pulls = [p for p in self.pulls if p.setup == setup]
        hours = [p.hour for p in pulls]
        if len(pulls) < 3 or any(h is None for h in hours) or np.ptp(hours) < least_s / 3600:
            return np.nan, np.nan
        line = linregress(hours, [p.power_w for p in pulls])
        return float(line.slope), float(coverage_factor(len(pulls) - 2) * line.stderr)

    def apart(self, one, other, limits=LIKENESS, sweep_limit=SWEEP_LIMIT):
        """Why two pulls of the day may not be compared, in words; () where they may.

        one, other: places in `pulls`, from 0. limits: as LIKENESS. sweep_limit: share by which
        their sweep rates may differ.
        """
        a, b = self.pulls[one], self.pulls[other]
        reasons = []
        for channel, (limit, words) in limits.items():
            gap = b.levels.get(channel, np.nan) - a.levels.get(channel, np.nan)
            told = channel not in OF_SETUP or a.setup == b.setup
            if told and abs(gap) > limit:
                reasons.append((channel, words, gap))
        if abs(b.sweep_rpm_s / a.sweep_rpm_s - 1) > sweep_limit:
            reasons.append(("sweep", "sweep rate", b.sweep_rpm_s - a.sweep_rpm_s))
        return tuple(reasons)


def session(sides):
    """The Session of the Sides (each one set-up) of a day.

    Raises ValueError where torque or power is missing, or no speed is common to all pulls.
    """
    repeats = [(s.name, r) for s in sides for r in s.repeats]
    speed = np.unique(np.concatenate([r.grid.speed_rpm for _, r in repeats]))
    stacks = [stacked(s, speed) for s in sides]
    if not all("power_w" in stack for stack in stacks):
        raise ValueError("a session needs torque or power in every log: leave out the others")
    power = np.concatenate([stack["power_w"] for stack in stacks])
    common = np.isfinite(power).all(axis=0)
    if common.sum() < 2:
        raise ValueError("no engine speed is covered by every pull: choose pulls that overlap")
    x = speed[common]
    means = np.trapezoid(power[:, common], x, axis=1) / (x[-1] - x[0])
    pulls = [
        SessionPull(name, r.run, r.pull, r.hour, float(mean), r.sweep_rpm_s, _levels(r))
        for (name, r), mean in zip(repeats, means, strict=True)
    ]
    pulls.sort(key=lambda p: (p.hour is None, p.hour or 0.0))
    return Session(tuple(pulls), (float(x[0]), float(x[-1])), sides[0].repeats[0].reference)


def _levels(repeat):
    mean = repeat.grid.mean
    return {c: float(np.nanmean(mean[c])) for c in LIKENESS
            if c in mean and np.isfinite(mean[c]).any()}  # fmt: skip
