"""What a fit is made to: steady points or bins of pulls, as arrays, and what stood in for what
nobody logged."""

from dataclasses import dataclass, fields, replace

import numpy as np

from toolkit.analysis.repeats import common_speeds, stacked
from toolkit.build.pull import dry_share
from toolkit.physics import compressor

NEEDED = {
    "torque_nm": "torque",
    "p_manifold_pa": "manifold pressure",
    "t_charge_k": "charge temperature",
    "p_exhaust_pa": "exhaust manifold pressure",
}
# Neighbouring bins of a sweep share their errors, so that so many rpm of it count as one point.
RPM_PER_POINT = 500.0
ALL_CONTROL = 0.9  # gate duty from which the control gives the top port what it has


@dataclass(frozen=True)
class FitPoints:
    """Points of one turbo: equal arrays, SI, absolute; NaN where not known.

    air_flow_kg_s, t_compressor_out_k and p_gate_top_gauge_pa may be NaN throughout; the rest is
    logged or, said in `notes`, worked out from the build. pushed: the control gives the gate all
    it has. count: how many independent points each one counts as. turbo: number of its build.
    """

    speed_rpm: np.ndarray
    torque_nm: np.ndarray
    air_flow_kg_s: np.ndarray
    p_manifold_pa: np.ndarray
    t_charge_k: np.ndarray
    p_exhaust_pa: np.ndarray
    t_exhaust_k: np.ndarray
    p_turbine_out_pa: np.ndarray
    p_compressor_in_pa: np.ndarray
    t_compressor_in_k: np.ndarray
    p_compressor_out_pa: np.ndarray
    t_compressor_out_k: np.ndarray
    t_exhaust_logged_k: np.ndarray
    p_gate_top_gauge_pa: np.ndarray
    p_cell_pa: np.ndarray
    dry_share: np.ndarray
    lam: np.ndarray
    pushed: np.ndarray
    count: np.ndarray
    turbo: np.ndarray
    notes: tuple = ()

    @property
    def size(self):
        return len(self.speed_rpm)

    def take(self, index):
        """Some of the points."""
        return replace(self, **{n: getattr(self, n)[index] for n in _ARRAYS})

    @staticmethod
    def joined(parts):
        """Several one after the other."""
        arrays = {n: np.concatenate([getattr(p, n) for p in parts]) for n in _ARRAYS}
        notes = tuple(dict.fromkeys(note for p in parts for note in p.notes))
        return FitPoints(**arrays, notes=notes)


_ARRAYS = [f.name for f in fields(FitPoints) if f.name != "notes"]
_USED = {*_ARRAYS, "t_cell_k", "gate_duty"}  # channels that a fit looks at


def points_of_side(side, build, turbo=0, step_rpm_per_point=RPM_PER_POINT):
    """FitPoints of a Side's repeats, averaged speed by speed; `build` made them.

    Raises ValueError that names the channel that the runs lack.
    """
    speed = common_speeds(side.repeats)
    with np.errstate(invalid="ignore"):
        table = {c: _mean(v) for c, v in stacked(side, speed).items()}
    step = float(speed[1] - speed[0]) if len(speed) > 1 else step_rpm_per_point
    try:
        points = points_of(
            table | {"speed_rpm": speed}, build, turbo, min(1.0, step / step_rpm_per_point)
        )
    except ValueError as error:
        raise ValueError(f"{side.name}: {error}") from None
    left_out = tuple(
        f"{side.name}: {gone.sentence}" for gone in side.left_out if gone.channel in _USED
    )
    return replace(points, notes=(*points.notes, *left_out))


def _mean(pulls):
    """Mean over the pulls that have the bin; NaN where none has."""
    there = np.isfinite(pulls)
    n = there.sum(axis=0)
    return np.where(there, pulls, 0).sum(axis=0) / np.where(n > 0, n, np.nan)


def points_of(table, build, turbo=0, count=1.0):
    """FitPoints of measured channels, named as everywhere, that `build` made.

    table: arrays (or a frame's columns) by channel. count: independent points that each counts
    as. Rows without one of the needed channels are left out. Raises ValueError that names what
    is missing.
    """
    missing = [words for c, words in NEEDED.items() if not _known(table, c)]
    if missing:
        raise ValueError(
            f"a fit needs {', '.join(NEEDED.values())}; not logged here: {', '.join(missing)}. "
            "Choose runs that have them"
        )
    speed = np.asarray(table["speed_rpm"], dtype=float)
    low, high = build.engine.speed_range_rpm
    whole = np.isfinite(np.sum([np.asarray(table[c], dtype=float) for c in NEEDED], axis=0))
    inside = whole & (speed >= low) & (speed <= high)
    made = _Maker(table, build, inside, speed[inside])
    return made.points(turbo, count)


def _known(table, channel):
    return channel in table and np.isfinite(np.asarray(table[channel], dtype=float)).any()


class _Maker:
    """Channel by channel: logged, else from the build with a note."""

    def __init__(self, table, build, inside, speed):
        self.table, self.build, self.inside, self.speed = table, build, inside, speed
        self.stand_ins, self.notes = [], []

    def logged(self, channel):
        if not _known(self.table, channel):
            return np.full(len(self.speed), np.nan)
        return np.asarray(self.table[channel], dtype=float)[self.inside]

    def either(self, channel, otherwise, words):
        """What was logged, and the other value where it was not; said when none was."""
        values = self.logged(channel)
        unknown = np.isnan(values)
        if unknown.any():
            where = "" if unknown.all() else f" at {unknown.sum()} of {len(values)} speeds"
            self.stand_ins.append(f"{words}{where} ({otherwise[1]})")
        return np.where(np.isnan(values), otherwise[0], values)

    def _stood_in(self):
        """What stood in for channels that nobody logged, in one sentence."""
        if self.stand_ins:
            yield f"Not logged, so worked out: {', '.join(self.stand_ins)}."

    def points(self, turbo, count):
        build, speed, weather = self.build, self.speed, self.build.weather
        cell = self.either("p_cell_pa", (weather.p_cell_pa, "the build's weather"), "cell pressure")
        t_cell = self.either(
            "t_cell_k", (weather.t_cell_k, "the build's weather"), "cell temperature"
        )
        lam = self.either("lam", (build.engine.lam(speed), "the build's"), "lambda")
        p_manifold, air = self.logged("p_manifold_pa"), self.logged("air_flow_kg_s")
        if np.isnan(air).all():
            self.notes.append(
                "Air flow was not logged: breathing and efficiency cannot be told apart, only "
                "their product shows in the torque."
            )
        p_in, p_out = self._around_compressor(cell, t_cell, p_manifold, air)
        t_exhaust = self.either(
            "t_exhaust_k", (build.engine.t_exhaust_k(speed), "the build's"), "exhaust temperature"
        )
        dry = dry_share(weather)
        flow = self._flow(air) * (1 + dry / build.fuel.properties.afr(lam))
        p_after = self._drop("exhaust", flow, cell, t_exhaust)
        whole = np.full(len(speed), float(count))
        return FitPoints(
            speed_rpm=speed, torque_nm=self.logged("torque_nm"), air_flow_kg_s=air,
            p_manifold_pa=p_manifold, t_charge_k=self.logged("t_charge_k"),
            p_exhaust_pa=self.logged("p_exhaust_pa"), t_exhaust_k=t_exhaust,
            p_turbine_out_pa=self.either(
                "p_turbine_out_pa", (p_after, "from the build's exhaust"), "turbine outlet pressure"
            ),
            p_compressor_in_pa=p_in, p_compressor_out_pa=p_out,
            t_compressor_in_k=self.either(
                "t_compressor_in_k", (t_cell, "the cell's"), "compressor inlet temperature"
            ),
            t_compressor_out_k=self.logged("t_compressor_out_k"),
            t_exhaust_logged_k=self.logged("t_exhaust_k"),
            p_gate_top_gauge_pa=self.logged("p_gate_top_gauge_pa"), p_cell_pa=cell,
            dry_share=np.full(len(speed), dry), lam=lam,
            pushed=self.logged("gate_duty") >= ALL_CONTROL,
            count=whole, turbo=np.full(len(speed), turbo), notes=(*self.notes, *self._stood_in()),
        )  # fmt: skip

    def _flow(self, air):
        """The air logged, else what the build would breathe, for the pressure drops alone."""
        e = self.build.engine
        swept = e.volumetric_efficiency(self.speed) * e.displacement_m3 * self.speed / 120
        guess = swept * self.logged("p_manifold_pa") / (287.05 * self.logged("t_charge_k"))
        return np.where(np.isnan(air), guess, air)

    def _drop(self, where, flow, p_pa, t_k):
        """Pressure before a restriction that ends at a known pressure. [Pa]"""
        part = getattr(self.build.restrictions, where)
        loss = part.loss if part else 0.0
        return p_pa / 2 + np.sqrt(p_pa**2 / 4 + loss * flow**2 * t_k)

    def _around_compressor(self, cell, t_cell, p_manifold, air):
        flow, cooler = self._flow(air), self.build.cooler
        intake, drop = self.build.restrictions.intake, cooler.drop if cooler else None
        p_in = cell - (intake.loss * t_cell * flow**2 / cell if intake else 0.0)
        t_out = np.nan_to_num(
            self.logged("t_compressor_out_k"), nan=compressor.outlet_t_k(298.15, 2.0, 0.7)
        )
        p_out = p_manifold + (drop.loss * flow**2 * t_out / p_manifold if drop else 0.0)
        return (
            self.either(
                "p_compressor_in_pa", (p_in, "from the build's intake"), "compressor inlet pressure"
            ),
            self.either(
                "p_compressor_out_pa",
                (p_out, "from the build's cooler"),
                "compressor outlet pressure",
            ),
        )
