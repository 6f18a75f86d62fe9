"""Two sets of repeated pulls against each other: what changed, by how much, and is it real.

Everything is computed from unsmoothed bin averages; smoothing is a matter of drawing.
"""

from dataclasses import dataclass, field, fields, replace

import numpy as np

from toolkit.analysis import scatter
from toolkit.analysis.crossing import Crossing, crossings
from toolkit.analysis.repeats import OF_POWER, Side, common_speeds, stacked
from toolkit.analysis.scatter import Gain
from toolkit.logs.channels import gauge_name
from toolkit.logs.pressure_reference import LEAST_BOOST_PA

_ABSOLUTE = ("p_manifold_pa", "p_exhaust_pa")
_GAUGE = tuple(map(gauge_name, _ABSOLUTE))


class ReferenceMismatch(ValueError):
    """Runs in different reference states; the message says which and what to do."""


@dataclass(frozen=True)
class Settings:
    """What the comparison is held to.

    low_rpm, high_rpm: the stated range of averages, None for all that every pull covers.
    spark_limit_deg, lam_limit: beyond them it is no like-for-like test. sweep_limit: relative
    difference of sweep rates that warns. smoothing: bins of the moving mean on charts only.
    """

    confidence: float = 0.95
    low_rpm: float | None = None
    high_rpm: float | None = None
    spark_limit_deg: float = 1.0
    lam_limit: float = 0.02
    sweep_limit: float = 0.10
    correct_drift: bool = True
    smoothing: int = 1


@dataclass(frozen=True)
class Peak:
    """The highest bin of a side's mean curve."""

    value: float
    speed_rpm: float


@dataclass(frozen=True)
class Pressures:
    """Boost against back pressure of one side, along speed.

    boost and back are gauge [Pa], NaN where they were logged as absolute and the barometer is
    unknown; the ratios are back over boost, gauge and absolute, the latter NaN where both were
    logged as gauge and the barometer is unknown. crossings: where back pressure passes boost.
    """

    boost_gauge_pa: np.ndarray
    back_gauge_pa: np.ndarray
    ratio_gauge: np.ndarray
    ratio_absolute: np.ndarray
    crossings: tuple[Crossing, ...]


@dataclass(frozen=True)
class Unlike:
    """A setting that should be equal on both sides: where it is not.

    logged: on both sides. worst: the largest difference B - A [inside unit], at worst_rpm.
    ranges: stretches (low, high) [rpm] in which it is beyond the limit.
    """

    channel: str
    limit: float
    logged: bool
    worst: float = np.nan
    worst_rpm: float = np.nan
    ranges: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Comparison:
    """Side B against side A, A being the base of every difference and percentage.

    speed_rpm: bin centres. gains: per channel that both sides have, a Gain along speed_rpm.
    channels_a, channels_b: every channel's mean per side, also those that only one has.
    average: per channel, the Gain of the averages over range_rpm.
    """

    a: Side
    b: Side
    settings: Settings
    speed_rpm: np.ndarray
    gains: dict[str, Gain]
    channels_a: dict[str, np.ndarray]
    channels_b: dict[str, np.ndarray]
    range_rpm: tuple[float, float]
    average: dict[str, Gain]
    drift_corrected: bool
    reference: str
    warnings: tuple[str, ...] = ()
    unlike: tuple[Unlike, ...] = ()
    peaks: dict = field(default_factory=dict)
    crossovers: dict = field(default_factory=dict)
    pressures_a: Pressures | None = None
    pressures_b: Pressures | None = None

    @property
    def like_for_like(self):
        """True, False, or None where it cannot be told."""
        if any(u.ranges for u in self.unlike):
            return False
        return True if all(u.logged for u in self.unlike) else None


def compare(a, b, settings=None):
    """The Comparison of two Sides.

    Raises ReferenceMismatch where torque and power are not in one reference state, ValueError
    where a side has no pull, the grids have different steps, or no speed is common to all.
    """
    settings = settings or Settings()
    repeats = (*a.repeats, *b.repeats)
    _check(a, b)
    reference = _one_reference(repeats)
    speed = common_speeds(repeats)
    stack_a, stack_b = (stacked(side, speed) for side in (a, b))
    drifts = settings.correct_drift and is_return_test(a, b)
    gain_of = _gain_function(a, b, drifts, settings)
    both = [c for c in stack_a if c in stack_b]
    if not both:
        raise ValueError(f"{a.name} and {b.name} have no channel in common: log one on both")
    low, high = _range(speed, stack_a, stack_b, settings)
    gains = _gains(gain_of, {c: (stack_a[c], stack_b[c]) for c in both})
    inside = (speed >= low) & (speed <= high)
    means = {c: _averages(speed, stack_a[c], stack_b[c], inside) for c in both}
    average = _gains(gain_of, means)
    return Comparison(
        a, b, settings, speed, gains, _means(stack_a), _means(stack_b), (low, high), average,
        drifts, reference,
        warnings=_warnings(a, b, stack_a, stack_b, inside, settings),
        unlike=_unlike(speed, gains, inside, settings),
        peaks={c: (_peak(speed, g.level_a), _peak(speed, g.level_b))
               for c, g in gains.items() if c in OF_POWER},
        crossovers={c: crossings(speed, g.difference, g.half_width)
                    for c, g in gains.items() if c in OF_POWER},
        pressures_a=_pressures(speed, stack_a, settings),
        pressures_b=_pressures(speed, stack_b, settings),
    )  # fmt: skip


def is_return_test(a, b):
    """Whether one side was run before and after the other in one session (A-B-A)."""
    repeats = (*a.repeats, *b.repeats)
    if any(r.hour is None for r in repeats) or len({r.session for r in repeats}) != 1:
        return False
    hours_a, hours_b = ([r.hour for r in side.repeats] for side in (a, b))
    return _surrounds(hours_a, hours_b) or _surrounds(hours_b, hours_a)


# ---- parts of compare -----------------------------------------------------------------------


def _check(a, b):
    for side in (a, b):
        if not side.repeats:
            raise ValueError(f"{side.name} has no accepted pull: accept one in review")
    steps = {r.grid.step_rpm for r in (*a.repeats, *b.repeats)}
    if len(steps) > 1:
        words = " and ".join(f"{s:.0f}" for s in sorted(steps))
        raise ValueError(f"the pulls are on grids of {words} rpm: grid them all with one step")


def _one_reference(repeats):
    found = {}
    for repeat in repeats:
        found.setdefault(repeat.reference, repeat.run)
    if len(found) > 1:
        words = ", ".join(f"{run} is {reference}" for reference, run in found.items())
        raise ReferenceMismatch(f"{words}: convert them to one reference before comparing")
    return next(iter(found))


def _range(speed, stack_a, stack_b, settings):
    """The stated range of averages, within what every pull covers."""
    channel = next((c for c in OF_POWER if c in stack_a and c in stack_b), None)
    tables = [s[channel] if channel else next(iter(s.values())) for s in (stack_a, stack_b)]
    covered = speed[np.isfinite(np.concatenate(tables)).all(axis=0)]
    if not len(covered):
        raise ValueError("no engine speed is covered by every pull: choose pulls that overlap")
    if len(covered) == 1:
        raise ValueError(
            f"every pull covers {covered[0]:.0f} rpm and no other engine speed: choose pulls that "
            "overlap over a range"
        )
    low = covered[0] if settings.low_rpm is None else settings.low_rpm
    high = covered[-1] if settings.high_rpm is None else settings.high_rpm
    if low < covered[0] or high > covered[-1] or low >= high:
        common = f"{covered[0]:.0f} to {covered[-1]:.0f}"
        raise ValueError(
            f"averages from {low:.0f} to {high:.0f} rpm: the pulls have {common} rpm in common"
        )
    if ((covered >= low) & (covered <= high)).sum() < 2:
        raise ValueError(
            f"averages from {low:.0f} to {high:.0f} rpm: fewer than two of the engine speeds that "
            f"every pull covers lie there, which are {speed[1] - speed[0]:.0f} rpm apart: choose "
            "a wider range"
        )
    return float(low), float(high)


def _gain_function(a, b, drifts, settings):
    if not drifts:
        return lambda x, y: scatter.welch(x, y, settings.confidence)
    hours_a, hours_b = ([r.hour for r in side.repeats] for side in (a, b))
    return lambda x, y: scatter.with_drift(x, y, hours_a, hours_b, settings.confidence)


def _gains(gain_of, pairs):
    """The Gain of each channel from its pulls (pulls, ...) on both sides, all in one call."""
    one = next(iter(pairs.values()))[0].shape[1:]
    width = int(np.prod(one))
    sides = (
        [np.reshape(v, (len(v), width)) for v in side] for side in zip(*pairs.values(), strict=True)
    )
    whole = gain_of(*(np.concatenate(side, axis=1) for side in sides))
    arrays = {f.name: getattr(whole, f.name) for f in fields(whole) if f.name != "method"}

    def part(k):
        own = {n: v[k * width : (k + 1) * width].reshape(one) for n, v in arrays.items()}
        return replace(whole, **own)

    return {channel: part(k) for k, channel in enumerate(pairs)}


def _surrounds(outer, inner):
    return min(outer) < min(inner) and max(outer) > max(inner)


def _averages(speed, repeats_a, repeats_b, inside):
    """Each pull's average by trapezium over the bins that all pulls have; NaN short of an end."""
    used = inside & np.isfinite(np.concatenate([repeats_a, repeats_b])).all(axis=0)
    ends = np.flatnonzero(inside)[[0, -1]]
    whole = used[ends].all() and used.sum() > 1
    x = speed[used] if whole else np.array([0.0, np.nan])
    sides = (r[:, used] if whole else r[:, ends] for r in (repeats_a, repeats_b))
    return tuple(np.trapezoid(y, x, axis=1) / (x[-1] - x[0]) for y in sides)


def _means(stack):
    return {c: scatter.summary(v)[0] for c, v in stack.items()}


def _peak(speed, level):
    if not np.isfinite(level).any():
        return Peak(np.nan, np.nan)
    k = np.nanargmax(level)
    return Peak(float(level[k]), float(speed[k]))


def _unlike(speed, gains, inside, settings):
    limits = {"spark_deg": settings.spark_limit_deg, "lam": settings.lam_limit}
    return tuple(_unlike_one(speed, gains.get(c), inside, c, v) for c, v in limits.items())


def _unlike_one(speed, gain, inside, channel, limit):
    if gain is None or not np.isfinite(gain.difference[inside]).any():
        return Unlike(channel, limit, False)
    d = np.where(inside, gain.difference, np.nan)
    worst = int(np.nanargmax(np.abs(d)))
    with np.errstate(invalid="ignore"):
        beyond = np.abs(d) > limit
    return Unlike(
        channel, limit, True, float(d[worst]), float(speed[worst]), _stretches(speed, beyond)
    )


def _stretches(speed, mask):
    edges = np.flatnonzero(np.diff(np.pad(mask.astype(int), 1)))
    return tuple((float(speed[i]), float(speed[j - 1])) for i, j in edges.reshape(-1, 2))


def _warnings(a, b, stack_a, stack_b, inside, settings):
    out = [_sweep_warning(a, b, settings.sweep_limit)]
    repeats = (*a.repeats, *b.repeats)
    if len({r.session for r in repeats}) > 1:
        out.append("the runs are from different days: what differs between days is in the gain")
    elif all(r.hour is not None for r in repeats) and not is_return_test(a, b) and a is not b:
        first = min(repeats, key=lambda r: r.hour)
        name = a.name if first in a.repeats else b.name
        out.append(f"no pull on {name} after the other side's: a return to it would show drift")
    holes = np.isnan(np.concatenate([next(iter(s.values())) for s in (stack_a, stack_b)]))
    if holes[:, inside].any():
        out.append("some bins of the range have no rows in some pull: averages go without them")
    return tuple(w for w in out if w)


def _sweep_warning(a, b, limit):
    rates = [np.mean([r.sweep_rpm_s for r in side.repeats]) for side in (a, b)]
    words = f"{a.name} {rates[0]:.0f} rpm/s, {b.name} {rates[1]:.0f} rpm/s"
    if not np.isfinite(rates).all():
        return "the sweep rate is not known on both sides: whether it was equal cannot be told"
    if abs(rates[1] / rates[0] - 1) > limit:
        return (
            f"sweep rates differ: {words}; boost against speed and the inertia in the torque "
            "are not the same"
        )
    return ""


def _pressures(speed, stack, settings):
    """None where the side has no manifold or exhaust pressure."""
    unknown = np.full(len(speed), np.nan)
    for names in (_ABSOLUTE, _GAUGE):  # gauge: where nobody knows the barometer
        if set(names) <= set(stack):
            break
    else:
        return None
    gap, sd, n = scatter.summary(stack[names[1]] - stack[names[0]])
    means = {c: scatter.summary(v)[0] for c, v in stack.items()}
    boost, back = (means[name] for name in names)
    absolute = unknown
    if names == _ABSOLUTE:
        absolute, cell = back / boost, means.get("p_cell_pa", unknown)
        boost, back = boost - cell, back - cell
    with np.errstate(invalid="ignore", divide="ignore"):
        band = scatter.coverage_factor(n - 1.0, settings.confidence) * sd / np.sqrt(n)
        gauge = back / np.where(boost > LEAST_BOOST_PA, boost, np.nan)
    return Pressures(boost, back, gauge, absolute, crossings(speed, gap, band))
