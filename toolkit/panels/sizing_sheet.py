"""What the panels of the sizing sheet share: the build, its pull, and fields bound to it."""

import itertools
import math
from dataclasses import replace

import numpy as np
import traitlets as t

from toolkit import preferences
from toolkit.analysis import sizing
from toolkit.bench import Bench, write_bytes
from toolkit.build import Curve, read_build, with_maps, write_build
from toolkit.build.parts import Build, keys_of
from toolkit.build.pull import pull
from toolkit.panels.base import Choice, Quantity, Workpanel

_FILES = ("compressor_map", "turbine_curve")
# What sizing.complete puts in, inner parts first.
_FILLED = (
    ("cooler", "drop"), ("cooler", "tank"), ("cooler",), ("restrictions", "intake"),
    ("restrictions", "exhaust"), ("target",),
)  # fmt: skip


class Sheet(t.HasTraits):
    """The build being sized and its matched pull; panels follow `made`.

    bench: a folder; the preferred bench when None. name: the build to start from, where the bench
    has it. source: the bench that builds and maps come from, the demo's where this has no build.
    """

    made = t.Any()
    chosen = t.Int()  # the candidate that is looked at

    def __init__(self, name, bench=None):
        super().__init__()
        self.bench = Bench(bench or preferences.load().bench)
        self.source = self.bench if self.bench.builds() else Bench(preferences.DEMO_BENCH)
        there = self.source.builds()
        self.load(name if name in there else there[0])

    def load(self, name):
        """Start from another build of the source."""
        self.name = name
        self._own = read_build(self.source, name)
        build = sizing.complete(self._own)
        self.chosen = min(self.chosen, len(build.turbos) - 1)
        self._match(build)

    @property
    def build(self):
        """The build as it stands on the sheet."""
        return self.made.build

    def put(self, path, value):
        """Change one value of the build; what is the same already changes nothing."""
        try:
            old = sizing.found_at(self.build, path)
        except AttributeError:  # a part that this candidate does not have
            return
        if isinstance(old, Curve) and not isinstance(value, Curve):
            value = None if value is None else Curve(value)
        if (value is None and isinstance(old, Curve)) or _same(old, value):
            return
        build = sizing.changed(self.build, path, value)
        if path[-1] == "compressor_map":
            build = with_maps(self.source, build)
        if path == ("fuel", "name"):  # another fuel has other numbers than the build's own
            build = replace(build, fuel=replace(build.fuel, **dict.fromkeys(build.fuel.own)))
        self._match(build)

    def _match(self, build):
        self.made = pull(build, sizing.speeds_of(build))

    def save(self, name, system):
        """Write the build, and before it the maps that it needs and the bench does not have; one
        whose name stands for another map there gets a name of its own."""
        turbos = tuple(
            replace(t, **{n: self._brought(getattr(t, n)) for n in _FILES if getattr(t, n)})
            for t in self.build.turbos
        )
        write_build(self.bench, name, replace(self._asked_for(), turbos=turbos), system)

    def _brought(self, name):
        """The name in the bench of a map of the source, copied there where it is not yet."""
        data = self.source.file(name).read_bytes()
        stem = name.removesuffix(".csv")
        names = itertools.chain([name], (f"{stem}-{n}.csv" for n in itertools.count(2)))
        files = ((each, self.bench.file(each)) for each in names)
        each, path = next((n, p) for n, p in files if not p.exists() or p.read_bytes() == data)
        if not path.exists():
            write_bytes(path, data)
        return each

    def _asked_for(self):
        """The build without the parts that stand only to be typed into, where nobody did."""
        build, own, filled = self.build, self._own, sizing.complete(self._own)
        for path in _FILLED:
            if sizing.found_or_none(own, path) is None and sizing.found_at(
                build, path
            ) == sizing.found_at(filled, path):
                build = sizing.changed(build, path, None)
        return build

    def tried(self, more_pa):
        """The pull of the chosen candidate alone with more, or less, boost than the target."""
        build = replace(self.build, turbos=(self.build.turbos[self.chosen],))
        boost = np.maximum(self.made.target_gauge_pa + more_pa, 0)
        return pull(build, self.made.speed_rpm[:, 0], boost)


class SheetPanel(Workpanel):
    """A panel that follows a Sheet; `bind` makes fields that write into its build."""

    def __init__(self, sheet):
        super().__init__()
        self.sheet, self._bound = sheet, []
        sheet.observe(self._new_pull, ("made", "chosen"))

    def bind(self, label, *path, hint=""):
        """A Quantity for one value of the build, its kind and range taken from the build's own
        key. A path step "turbo" stands for the chosen candidate."""
        key, value = self._key(path), self._value(path)
        field = Quantity(label, key.kind, value, key.low, key.high, hint, optional=value is None
                         or isinstance(self._raw(path), Curve))  # fmt: skip
        self._bound.append((field, path))
        field.observe(self.handler(lambda change: self._put(path, change.new)), "value")
        return field

    def choose(self, label, options, *path, hint=""):
        """A Choice for one value of the build."""
        field = Choice(label, options, self._raw(path), hint)
        self._bound.append((field, path))

        def put(change):
            try:
                self._put(path, change.new)
            except ValueError:
                field.value = self._raw(path)  # what is still used
                raise

        field.observe(self.handler(put), "value")
        return field

    def _put(self, path, value):
        self.sheet.put(self._path(path), value)

    def _path(self, path):
        return tuple(p for step in path for p in
                     (("turbos", self.sheet.chosen) if step == "turbo" else (step,)))  # fmt: skip

    def _raw(self, path):
        try:
            return sizing.found_at(self.sheet.build, self._path(path))
        except AttributeError:  # a part that this candidate does not have
            return None

    def _value(self, path):
        """The value, or None where it changes along speed."""
        raw = self._raw(path)
        if isinstance(raw, Curve):
            return None if raw.speeds_rpm else raw.values
        return raw

    def _key(self, path):
        part = Build
        for step in path:  # by the parts' own kinds: a candidate may be without one
            keys = {f.name: f.metadata["key"] for f in keys_of(part).values()}
            key = keys["turbos" if step == "turbo" else step]
            part = key.part
        return key

    def _new_pull(self, _change):
        with self.guarded():
            for field, path in self._bound:
                value = self._value(path)
                if not _same(field.value, value):
                    field.value = value
            self.redraw()

    def close(self):
        """Stop following the sheet."""
        if self.comm is not None:
            self.sheet.unobserve(self._new_pull, ("made", "chosen"))
        super().close()


def _same(a, b):
    if isinstance(a, float | int) and isinstance(b, float | int):
        return math.isclose(a, b, rel_tol=1e-12)
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        return a is b
    return a == b
