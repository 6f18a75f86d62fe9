"""The words every detector speaks in: a trace to look at, limits to hold it to, a sign found."""

from dataclasses import dataclass, field, fields

import numpy as np

from toolkit import units
from toolkit.logs.channels import CHANNELS, channel_of
from toolkit.logs.question import LogError

COMMON = "common practice"


@dataclass(frozen=True)
class Sign:
    """One thing seen in a log.

    name: what it is; severity: "stops" a verdict, "weakens" it, or is a "note". rows: positions
    in the log, from 0. sentence: what is seen; evidence: the numbers; forbids: verdicts that must
    not be given there ("boost", "power", "mixture", "back pressure", "cooler", "transients");
    todo: what to do. told=False: looked for, and the log cannot tell.
    """

    name: str
    severity: str
    sentence: str
    evidence: str = ""
    todo: str = ""
    rows: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=int))
    forbids: tuple[str, ...] = ()
    channel: str = ""
    told: bool = True


def cannot_tell(name, why, todo):
    """The sign that stands where a detector has not what it needs."""
    return Sign(name, "note", f"Cannot tell: {why}.", todo=todo, told=False)


def _limit(value, kind, words, source=COMMON):
    return field(default=value, metadata={"kind": kind, "words": words, "source": source})


@dataclass(frozen=True)
class Limits:
    """What counts as a sign; each the person's to set, in inside units."""

    off_rpm: float = _limit(300.0, "engine_speed", "below this the engine stands")
    offset_pa: float = _limit(2e3, "boost", "a sensor may differ from the barometer by")
    flat_rows: float = _limit(3, "number", "rows flat to the printed digit make a clipped sensor")
    frozen_s: float = _limit(1.0, "time", "a channel that stands still longer is frozen")
    rate_hz: float = _limit(10.0, "frequency", "a slower log hides spikes and flutter")
    gap_steps: float = _limit(5.0, "number", "a pause of more sampling steps is a gap")
    jitter: float = _limit(0.5, "fraction", "scatter of the sampling step")
    fold_rpm: float = _limit(50.0, "engine_speed", "speed may fall back in a pull by")
    lean: float = _limit(0.92, "lambda", "leaner under boost is lean")
    rich: float = _limit(0.70, "lambda", "richer under boost is rich")
    lambda_step: float = _limit(0.05, "lambda", "a sudden step towards lean")
    torque_dip: float = _limit(0.03, "fraction", "a dip of torque below its neighbours")
    spark_deg: float = _limit(1.0, "angle", "spark may differ between pulls by")
    duty: float = _limit(0.85, "fraction", "an injector open for longer has nothing left")
    rail_loss: float = _limit(0.05, "fraction", "loss of rail pressure over boost in a pull")
    oil_pa_per_rpm: float = _limit(10 * 6894.757 / 1000, "number",
                                   "oil pressure per rpm [Pa]: 10 psi per 1000 rpm")  # fmt: skip
    oil_s: float = _limit(0.3, "time", "oil pressure may be low for")
    charge_rise_k: float = _limit(15.0, "temperature_difference", "charge may warm in a pull by")
    charge_still_k: float = _limit(0.5, "temperature_difference",
                                   "a charge sensor that moves less is slow or soaked")  # fmt: skip
    boost_fall: float = _limit(0.05, "fraction", "fall of boost at the top of a pull")
    spike: float = _limit(0.05, "fraction", "a crest above the boost that follows")
    spike_s: float = _limit(1.0, "time", "a crest that lasts longer is no spike")
    creep_pa_per_rpm: float = _limit(6894.757 / 1000, "number",
                                     "rise of boost per rpm [Pa]: 1 psi per 1000 rpm")  # fmt: skip
    duty_off: float = _limit(0.03, "fraction", "the controller is off below")
    flutter_hz: float = _limit(8.0, "frequency", "suspected frequency of flutter",
                               "none published was found")  # fmt: skip
    flutter_pa: float = _limit(2e3, "boost", "swing of boost that counts as flutter")
    early: float = _limit(0.6, "fraction", "share of the final boost below which a gate is early")
    duty_shift: float = _limit(0.10, "fraction", "duty for the same boost may differ by")

    def to_strings(self):
        """Those that differ from the usual ones, with units, for a review.

        >>> Limits(lean=0.95, flutter_pa=3e3).to_strings()
        {'lean': '0.95', 'flutter_pa': '3 kPa'}
        """
        own = {f.name: f for f in fields(self) if getattr(self, f.name) != f.default}
        return {
            name: units.exact_text(getattr(self, name), f.metadata["kind"])
            for name, f in own.items()
        }

    @classmethod
    def from_strings(cls, strings):
        """The limits that a review keeps; raises LogError where one cannot be read."""
        kinds = {f.name: f.metadata["kind"] for f in fields(cls)}
        for name in strings:
            if name not in kinds:
                raise LogError(f"the review's limits have no '{name}': take it out")
        try:
            return cls(**{n: units.exact(text, kinds[n]) for n, text in strings.items()})
        except ValueError as error:
            raise LogError(f"the review's limits: {error}") from None

    def __post_init__(self):
        for f in fields(self):
            if not (np.isfinite(getattr(self, f.name)) and getattr(self, f.name) >= 0):
                raise ValueError(
                    f"{f.metadata['words']}: {getattr(self, f.name)} is no limit; "
                    "type a number that is not negative"
                )


# name, words, kind and source of each limit, for the panel that lets a person set them.
LIMITS = tuple((f.name, f.metadata["words"], f.metadata["kind"], f.metadata["source"])
               for f in fields(Limits))  # fmt: skip


@dataclass(frozen=True)
class Trace:
    """A log's channels and its accepted pulls, as detectors read them.

    lent_torque_nm: (rows,) torque that another logger saw at the same speeds, for a log that has
    none of its own. decided_pa: the barometer that counts for the log (`Run.barometer`), NaN where
    only a channel can say. numbers: of the pulls in the list of the log, which also counts those
    that are not used; empty: 1, 2, 3.
    """

    frame: object
    pulls: tuple
    system: str = "SI"
    lent_torque_nm: np.ndarray | None = None
    decided_pa: float = np.nan
    numbers: tuple[int, ...] = ()

    def has(self, *channels):
        """Whether every channel is there with at least one number in it."""
        return all(c in self.frame and np.isfinite(self[c]).any() for c in channels)

    def __getitem__(self, channel):
        return self.frame[channel].to_numpy(dtype=float)

    def missing(self, *channels):
        """Those of the channels that are not there, in words."""
        return " and ".join(CHANNELS[c].words for c in channels if not self.has(c))

    def text(self, value, kind):
        """A number in the person's unit; kind: of units.py, or a channel's name."""
        kind = kind if kind in units.KINDS else channel_of(kind).kind
        return units.text(value, kind, self.system)

    @property
    def rate_hz(self):
        """The usual sampling rate; NaN without a clock.

        Where the clock is printed so coarsely that neighbours share a time, it is the mean rate.
        """
        if not self.has("time_s"):
            return np.nan
        steps = np.diff(self["time_s"])
        steps = steps[steps >= 0]
        printed = np.median(steps[steps > 0]) if (steps > 0).any() else 0.0
        shared = (steps == 0).mean() if len(steps) else 0.0
        # One shared time is a slip of the logger; many are digits that were cut off.
        step = printed * (1 - shared) if shared > 0.1 else np.median(steps) if len(steps) else 0.0
        # Rounded, so that a step of 0.02 s written in decimals is 50 samples a second.
        return round(1 / float(step), 6) if step > 0 else np.nan

    @property
    def torque_nm(self):
        """Torque: logged, or from logged power, or another logger's; None where nobody knows."""
        if self.has("torque_nm"):
            return self["torque_nm"]
        if self.has("power_w", "speed_rpm"):
            turning = np.where(self["speed_rpm"] > 0, self["speed_rpm"], np.nan)
            return self["power_w"] / (turning * np.pi / 30)
        return self.lent_torque_nm

    @property
    def spans(self):
        """The rows of each accepted pull as slices; the whole log where there is none."""
        return tuple(p.rows for p in self.pulls) or (slice(0, len(self.frame)),)

    @property
    def numbered(self):
        """(number, pull) of each accepted pull, as the list of pulls and the chart count them."""
        numbers = self.numbers or range(1, len(self.pulls) + 1)
        return tuple(zip(numbers, self.pulls, strict=True))

    @property
    def loaded(self):
        """Rows inside an accepted pull, as a mask."""
        mask = np.zeros(len(self.frame), dtype=bool)
        for pull in self.pulls:
            mask[pull.rows] = True
        return mask

    @property
    def boost_pa(self):
        """Gauge boost over the barometer; None if either is unknown."""
        cell = self.barometer_pa
        if not self.has("p_manifold_pa") or not np.isfinite(cell):
            return None
        return self["p_manifold_pa"] - cell

    @property
    def barometer_pa(self):
        """The barometer that was decided for the log, else its channel's mean; NaN if neither."""
        if np.isfinite(self.decided_pa):
            return self.decided_pa
        return float(np.nanmean(self["p_cell_pa"])) if self.has("p_cell_pa") else np.nan


def rows_of(mask):
    """Positions of True."""
    return np.flatnonzero(np.asarray(mask))


def runs_of(mask):
    """(start, stop) of each run of True."""
    edges = np.flatnonzero(np.diff(np.pad(np.asarray(mask, dtype=int), 1)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
