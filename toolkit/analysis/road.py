"""On the road: the throttle opened in one gear, and how far each turbo has got since.

What a held speed or a dyno's sweep cannot tell, because here the engine itself decides how fast
its speed rises. The fit is of steady points, so what time adds (rotor and volumes) comes from the
builds: `own_sweeps` sees how well that meets the runs' own sweeps.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.integrate import cumulative_trapezoid

from toolkit import units
from toolkit.analysis.trade import SHARE, build_of, feed_of, made_as_fitted
from toolkit.analysis.whatif import Change
from toolkit.build.respond import Setting, boost_in_sweep, boost_in_vehicle

SECONDS = 12.0
IN_BETWEEN = "in between"
LEVEL_M = 0.05  # nearer than that is level
LEAST_RPM = 500.0  # a pull that ends sooner shows nothing
USUAL_GRIP = 0.6  # thrust over weight that two driven wheels pass on; common practice
SETTLED_S = 0.5  # of a sweep, in which its start still shows
G_M_S2 = 9.80665


@dataclass(frozen=True)
class Road:
    """Pulls in one gear of one vehicle, the throttle opened at time 0.

    names, sizes: of the turbos, 0 for the first, 1 for the second. Along time_s [s], arrays of
    (moments, turbos), NaN once the top of the speed range is reached: speed_rpm,
    boost_gauge_pa, distance_m; on_map: whether the compressor is where its map was measured.
    boost_s, boost_rpm: when and at which speed SHARE of the boost is there, NaN if never;
    boost_band_s: the quick and the slow end where a rotor's inertia is estimated, (2, turbos).
    top_s: when the top of the range, top_rpm, is reached, NaN if later than was run. grip: the
    greatest thrust over the vehicle's weight. shaft_rpm, limit_rpm: each one's greatest shaft
    speed and the limit that its build states, NaN where it states none.
    """

    names: tuple
    sizes: tuple
    vehicle: object
    from_rpm: float
    top_rpm: float
    time_s: np.ndarray
    speed_rpm: np.ndarray
    boost_gauge_pa: np.ndarray
    distance_m: np.ndarray
    on_map: np.ndarray
    boost_s: np.ndarray
    boost_rpm: np.ndarray
    boost_band_s: np.ndarray
    top_s: np.ndarray
    grip: float
    shaft_rpm: np.ndarray
    limit_rpm: np.ndarray
    notes: tuple

    @property
    def ahead_m(self):
        """How far each is ahead of the first, negative behind; NaN once either is through."""
        return self.distance_m - self.distance_m[:, :1]

    @property
    def road_speed_m_s(self):
        """Road speed at which each has its boost. [m/s]"""
        return self.vehicle.road_speed_m_s(self.boost_rpm)


@dataclass(frozen=True)
class Race:
    """One turbo against the first: furthest behind (negative) and when, where it is at the end of
    the time that both are in the speed range, and when it comes past; NaN if it does not."""

    furthest_m: float
    furthest_s: float
    end_m: float
    end_s: float
    past_s: float


def road(fitted, change, vehicle, from_rpm, seconds=SECONDS):
    """The Road of a fit's turbos: the first, the second, and change.size where it lies between.

    change: a whatif.Change. vehicle: a response.Vehicle. Raises ValueError where a rotor's
    inertia is not known, the gear cannot be pulled, or from_rpm is not inside the speed range,
    LEAST_RPM below its top.
    """
    sizes = _sizes(fitted, change.size)
    build = build_of(fitted, change, sizes)
    low, top = build.engine.speed_range_rpm
    if not low <= from_rpm <= top - LEAST_RPM:
        raise ValueError(
            f"pull from {from_rpm:.0f} rpm: it must be between {low:.0f} rpm and "
            f"{top - LEAST_RPM:.0f} rpm; the build knows the engine up to {top:.0f} rpm"
        )
    setting = Setting(
        boost_gauge_pa=change.boost_gauge_pa, share=SHARE, feed=feed_of(fitted, sizes)
    )
    made = partial(made_as_fitted, fitted, build)
    answer = boost_in_vehicle(build, vehicle, from_rpm, setting, seconds, made)
    moments = answer.responses[1].moments
    speed = moments.speed_rpm
    through = speed >= top - 1
    until = np.where(through, np.nan, 1.0)
    reached = [np.interp(top - 1, n, moments.time_s) for n in speed.T]
    top_s = np.where(through.any(axis=0), reached, np.nan)
    # Boost that comes once the top is reached comes too late for this pull.
    quick, boost_s, slow = np.where(answer.found > top_s, np.nan, answer.found)
    distance = cumulative_trapezoid(
        vehicle.road_speed_m_s(speed), moments.time_s, axis=0, initial=0
    )
    boost_rpm = [np.interp(s, moments.time_s, n) for s, n in zip(boost_s, speed.T, strict=True)]
    return Road(
        _names(fitted, sizes), sizes, vehicle, float(from_rpm), top, moments.time_s,
        speed * until, (moments.p_manifold_pa - build.weather.p_cell_pa) * until,
        distance * until, moments.on_map, boost_s, np.array(boost_rpm),
        np.array([quick, slow]), top_s, _grip(vehicle, made, moments, until),
        np.nanmax(moments.shaft_speed_rpm * until, axis=0),
        np.array([t.speed_limit_rpm or np.nan for t in build.turbos]), answer.notes,
    )  # fmt: skip


def _grip(vehicle, made, moments, until):
    """Greatest thrust at the tyres over the vehicle's weight. [-]"""
    names = ("air_flow_kg_s", "p_manifold_pa", "p_exhaust_pa")
    torque = made(moments.speed_rpm, *(getattr(moments, n) for n in names)).torque_nm * until
    thrust = torque * vehicle.efficiency / vehicle.metres_a_radian
    return float(np.nanmax(thrust)) / (vehicle.mass_kg * G_M_S2)


def _sizes(fitted, size):
    if len(fitted.builds) == 1:
        return (0.0,)
    return (0.0, float(size), 1.0) if 0 < size < 1 else (0.0, 1.0)


def _names(fitted, sizes):
    names = [b.turbo.name for b in fitted.builds[:2]]
    if len(set(names)) < len(names):
        names = [f"{names[0]} ({which})" for which in ("first", "second")]
    ends = dict(zip((0.0, 1.0), names, strict=False))
    return tuple(ends.get(size, IN_BETWEEN) for size in sizes)


def sentence(made, system):
    """Who has the boost when, and who is ahead where: plain words."""
    said = [f"{_arrival(made, j)}." for j in range(len(made.names))]
    said += [_race(made, j, system) for j in range(1, len(made.names))]
    return " ".join(said)


def _arrival(made, j):
    name, wait = _told(made, j), made.boost_s[j]
    if not np.isfinite(wait):
        return f"{name} never has {SHARE:.0%} of its boost in this pull"
    quick, slow = made.boost_band_s[:, j]
    band = f" ({quick:.2f} to {slow:.2f} s)" if slow - quick > 0.005 else ""
    return f"{name} has its boost after {wait:.2f} s{band}, at {made.boost_rpm[j]:.0f} rpm"


def _told(made, j):
    """A turbo's name at the start of a sentence."""
    if 0 < made.sizes[j] < 1:
        return f"The one {IN_BETWEEN}"
    return made.names[j][:1].upper() + made.names[j][1:]


def race(made, j):
    """How a turbo fares against the first. A Race, of the time in which both are in the range."""
    gap = made.ahead_m[:, j]
    known = np.isfinite(gap)
    time, gap = made.time_s[known], gap[known]
    low = int(np.argmin(gap))
    ahead = gap[-1] > LEVEL_M and gap[low] < -LEVEL_M
    past = float(np.interp(0, gap[low:], time[low:])) if ahead else np.nan
    return Race(float(gap[low]), float(time[low]), float(gap[-1]), float(time[-1]), past)


def _race(made, j, system):
    r, first = race(made, j), made.names[0]
    name, end = _told(made, j), f"{r.end_s:.1f} s"
    last, most = (units.text(abs(m), "distance", system) for m in (r.end_m, r.furthest_m))
    if r.furthest_m > -LEVEL_M:
        if r.end_m < LEVEL_M:
            return f"{name} stays level with {first}."
        return f"{name} is never behind {first} and {last} ahead after {end}."
    back = f"{name} falls {most} behind {first}"
    if r.end_m - r.furthest_m < LEVEL_M:
        return f"{back} in {end}."
    if np.isnan(r.past_s):
        place = "level" if r.end_m > -LEVEL_M else f"{last} behind"
        return f"{back} by {r.furthest_s:.1f} s, then gains: {place} after {end}."
    return f"{back} by {r.furthest_s:.1f} s, comes past at {r.past_s:.1f} s: {last} ahead at {end}."


def cautions(made):
    """What the pull asks of shafts and tyres beyond what they bear, in sentences."""
    pairs = zip(made.names, made.shaft_rpm, made.limit_rpm, strict=True)
    for name, shaft, limit in pairs:
        if shaft > limit:
            yield (
                f"The shaft of {name} would turn at {shaft:.0f} rpm, above the limit of "
                f"{limit:.0f} rpm that its build states: do not run it."
            )
    if made.grip >= USUAL_GRIP:
        yield (
            f"The tyres must push with {made.grip:.0%} of the vehicle's weight at most. Two driven "
            f"wheels slip from about {USUAL_GRIP:.0%} on (common practice), and the true gaps are "
            "then smaller: take a longer gear or a higher speed."
        )


@dataclass(frozen=True)
class OwnSweep:
    """A run's own sweep beside the model's at the same rate [rpm/s]: speed at which SHARE of the
    boost was there, measured and worked out [rpm]; NaN with `why` where it cannot be compared."""

    name: str
    rate_rpm_s: float
    measured_rpm: float
    worked_out_rpm: float
    why: str = ""

    @property
    def late_rpm(self):
        """How much later the model has its boost; negative for sooner. [rpm]"""
        return self.worked_out_rpm - self.measured_rpm


def own_sweeps(fitted, runs):
    """The OwnSweep of every run: (name, number of its build, FitPoints, sweep rate [rpm/s])."""
    return tuple(_own_sweep(fitted, *run) for run in runs)


def _own_sweep(fitted, name, number, points, rate_rpm_s):
    def without(why):
        return OwnSweep(name, rate_rpm_s, np.nan, np.nan, why)

    if not np.isfinite(rate_rpm_s) or rate_rpm_s <= 0:
        return without("its sweep rate is not known")
    speed, boost = points.speed_rpm, points.p_manifold_pa - points.p_cell_pa
    held = float(np.median(boost[boost >= SHARE * np.max(boost)]))
    first = int(np.argmax(boost >= SHARE * held))
    # A sweep starts with the throttle already open or just opened, which its log does not tell;
    # what stands there in its first moments is the start's doing.
    start = max(speed[0], fitted.builds[0].engine.speed_range_rpm[0])
    pair = slice(max(first - 1, 0), first + 1)
    measured = float(np.interp(SHARE * held, boost[pair], speed[pair]))
    if measured < start + SETTLED_S * rate_rpm_s:
        return without("it had its boost when its sweep began")
    own = (float(number),)
    build = build_of(fitted, Change(size=own[0]), own)
    setting = Setting(boost_gauge_pa=held, share=SHARE, feed=feed_of(fitted, own))
    found = boost_in_sweep(build, start, speed[-1], rate_rpm_s, setting).found[1, 0]
    if not np.isfinite(found):
        return OwnSweep(name, rate_rpm_s, measured, np.nan, "the model never has that boost")
    return OwnSweep(name, rate_rpm_s, measured, float(found))


def sweeps_sentence(sweeps):
    """How well the model's sweeps meet the runs' own, in a sentence."""
    off = [s.late_rpm for s in sweeps if np.isfinite(s.late_rpm)]
    if not off:
        why = "; ".join(dict.fromkeys(f"{s.name}: {s.why}" for s in sweeps))
        return f"No sweep of these runs can check what time adds ({why})."
    words = "; ".join(
        f"{s.name} {abs(s.late_rpm):.0f} rpm {'later' if s.late_rpm > 0 else 'sooner'}"
        for s in sweeps
        if np.isfinite(s.late_rpm)
    )
    return (
        f"Swept as your dyno swept, the same model has {SHARE:.0%} of the boost within "
        f"{max(map(abs, off)):.0f} rpm of where your runs had it ({words} than measured)."
    )
