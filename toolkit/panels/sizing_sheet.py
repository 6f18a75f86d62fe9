"""What the panels of the sizing sheet share: the build, its pull, and fields bound to it."""

import math
from dataclasses import replace

import numpy as np
import traitlets as t

from toolkit import preferences
from toolkit.analysis import sizing
from toolkit.bench import Bench, write_bytes
from toolkit.build import Curve, read_build, with_maps, write_build
from toolkit.build.parts import keys_of
from toolkit.build.pull import pull
from toolkit.panels.base import Choice, Quantity, Workpanel


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
        build = sizing.complete(read_build(self.source, name))
        self.chosen = min(self.chosen, len(build.turbos) - 1)
        self._match(build)

    @property
    def build(self):
        """The build as it stands on the sheet."""
        return self.made.build

    def put(self, path, value):
        """Change one value of the build; what is the same already changes nothing."""
        old = sizing.found_at(self.build, path)
        if isinstance(old, Curve) and not isinstance(value, Curve):
            value = None if value is None else Curve(value)
        if (value is None and isinstance(old, Curve)) or _same(old, value):
            return
        build = sizing.changed(self.build, path, value)
        if path[-1] == "compressor_map":
            build = with_maps(self.source, build)
        self._match(build)

    def _match(self, build):
        self.made = pull(build, sizing.speeds_of(build))

    def save(self, name, system):
        """Write the build, and before it the maps that it needs and the bench does not have."""
        used = [(t.compressor_map, t.turbine_curve) for t in self.build.turbos]
        for each in {n for names in used for n in names if n} - set(self.bench.maps()):
            write_bytes(self.bench.file(each), self.source.file(each).read_bytes())
        write_build(self.bench, name, self.build, system)

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
        field.observe(self.handler(lambda change: self._put(path, change.new)), "value")
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
        part = sizing.found_at(self.sheet.build, self._path(path)[:-1])
        return next(f.metadata["key"] for f in keys_of(type(part)).values() if f.name == path[-1])

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
