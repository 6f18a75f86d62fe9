"""Every panel under nonsense: nothing escapes, nothing vanishes, nothing piles up."""

import gc
import importlib
import math
import pkgutil
import sys
import time

import ipywidgets as w
import numpy as np
import pytest

from tests.conftest import ROOT
from toolkit import panels, units
from toolkit.bench import Bench
from toolkit.panels.base import UNITS, Choice, Quantity, Slide, Workpanel, group

DEMO = ROOT / "data_demo"
DYNO = "runs/2026-04-18_{}_dyno.csv".format
SMALL, LARGE = DYNO("2_small_14psi"), DYNO("5_large_14psi")
BUILDS = ("builds/small.toml", "builds/large.toml")
NONSENSE = (
    "", " ", "abc", "1e999 psi", "-1e308", "nan", "inf", "-5 psi", "14 parsecs", "<b>x</b>",
    "1,000 hp", "1.000,5 kW", "0", "-0.0", "1e-300", "9" * 400, "5 5", "5 psi psi", "__import__",
    "14 psi; 15 psi", "½ bar", "１４ psi", "\0", "🏁", "50 %", "5 ft-lb", "1e6 rpm", "-300 °C",
    "10**10**10", "(1).real", "psi", "5 **2", "{0}", "5 m/0 s",
)  # fmt: skip


def _log_review(of):
    def make():
        from toolkit.panels.log_review import LogReview

        review = LogReview(DYNO("3_small_20psi"), Bench(DEMO))
        return next(p for p in _panels_in(review) if type(p).__name__ == of)

    return make


def _panels_in(thing):
    for value in vars(thing).values():
        if isinstance(value, Workpanel):
            yield value


def _sizing(of, module="sizing"):
    def make():
        from toolkit.panels.sizing_sheet import Sheet

        home = importlib.import_module(f"toolkit.panels.{module}")
        return getattr(home, of)(Sheet("builds/candidates.toml", DEMO))

    return make


def _plain(module, of, **arguments):
    def make():
        return getattr(importlib.import_module(f"toolkit.panels.{module}"), of)(**arguments)

    return make


def _split():
    made = _plain("back_to_back", "BackToBackPanel", bench=DEMO, a=[SMALL], b=[LARGE])()
    return _plain("split", "SplitPanel", compared=made, build=BUILDS[0])()


def _road():
    made = MAKERS["WhatIfPanel"]()
    return _plain("road", "RoadPanel", what_if=made)()


def _explainer():
    from toolkit.panels.explainer import ExplainerPanel

    return ExplainerPanel(bench=DEMO, finding="demo")


MAKERS = {
    "StartPanel": _plain("start", "StartPanel"),
    **{n: _sizing(n) for n in ("EnginePanel", "MapPanel", "CandidatesPanel")},
    "SupplyPanel": _sizing("SupplyPanel", "sizing_supply"),
    "BackToBackPanel": _plain("back_to_back", "BackToBackPanel", bench=DEMO, a=[SMALL], b=[LARGE]),
    "CyclePanel": _plain("cycle", "CyclePanel", bench=DEMO, build=BUILDS[0], logs=[SMALL]),
    "SplitPanel": _split,
    "GatePanel": _plain("spring_check", "GatePanel", bench=DEMO, log=SMALL, build=BUILDS[0]),
    "StandPanel": _plain("coil_spring", "StandPanel"),
    "CoilPanel": _plain("coil_spring", "CoilPanel"),
    "WirePanel": _plain("coil_spring", "WirePanel"),
    "ValveSpringPanel": _plain("valve_springs", "ValveSpringPanel"),
    "WhatIfPanel": _plain("what_if", "WhatIfPanel", bench=DEMO, first=[SMALL], second=[LARGE],
                          builds=BUILDS),
    "RoadPanel": _road,
    "ExplainerPanel": _explainer,
    "SeriesPanel": _plain("series", "SeriesPanel", bench=DEMO, chapters=["demo"]),
}  # fmt: skip


def every_panel():
    """The classes of panels that a workbook can show."""
    for module in pkgutil.iter_modules(panels.__path__):
        importlib.import_module(f"toolkit.panels.{module.name}")
    found, waiting = set(), [Workpanel]
    while waiting:
        for cls in waiting.pop().__subclasses__():
            waiting.append(cls)
            if cls.__module__.startswith("toolkit.") and not cls.__subclasses__():
                found.add(cls.__name__)
    return sorted(found)


EVERY = every_panel()
REBUILT = (*MAKERS, "PullsPanel")  # one panel of a log review builds them all


def maker(name):
    return MAKERS.get(name) or _log_review(name)


@pytest.fixture(autouse=True)
def own_preferences(tmp_path, monkeypatch):
    monkeypatch.setenv("DRIVE_PRESSURE_CONFIG", str(tmp_path))
    yield
    UNITS.system = "US"
    for panel in list(Workpanel._open.values()):
        panel.close()
    Workpanel._open.clear()


def below(widget):
    """Every widget on a panel, hidden ones included."""
    for child in getattr(widget, "children", ()):
        yield child
        yield from below(child)


def fields(panel, kind):
    """The fields of a kind: those laid out, and those that a choice would bring up."""
    kept = [v for v in vars(panel).values() if isinstance(v, kind)]
    found = [x for x in below(panel) if isinstance(x, kind)]
    return list({id(x): x for x in (*found, *kept) if x.comm is not None}.values())


def words(markup):
    """One line, without the tags of ours."""
    assert "<b>x" not in markup and "Traceback" not in markup
    return markup


def drive(field, text):
    """Type; what must hold of the field whatever it was."""
    before = field.value
    field.type(text)
    good = field.value is None and field.optional and not text.strip()
    if field.value is not None:
        assert math.isfinite(field.value), (field.label, text)
        inside = (field.low is None or field.value >= field.low) and (
            field.high is None or field.value <= field.high
        )
        assert inside or field.value == before, (field.label, text, field.value)
        good = field.value != before
    if not good:
        accepted = field.control.value == field._shown() and "dp-wrong" not in field.message.value
        refused = "dp-wrong" in field.message.value and field.message.layout.display is None
        assert accepted or refused, (field.label, text, field.words)
        assert field.value == before, (field.label, text)
    words(field.message.value)
    return field.value != before


@pytest.mark.parametrize("name", EVERY)
def test_nonsense_in_every_field_and_an_error_in_the_redraw(name, monkeypatch):
    panel = maker(name)()
    assert panel.trouble.value == "", panel.trouble.value
    for field in fields(panel, Quantity):
        kept = field.value
        for text in NONSENSE:
            if drive(field, text):
                words(panel.trouble.value)
                field.value = kept
        assert field.value == kept
        assert panel.trouble.value == "", (field.label, panel.trouble.value)
    break_and_mend(panel, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY)
def test_every_slider_and_choice_to_its_ends(name):
    panel = maker(name)()
    for slide in fields(panel, Slide):
        kept = slide.value
        for place in (slide.slider.min, slide.slider.max):
            slide.slider.value = place
            words(panel.trouble.value)
        slide.value = kept
        assert panel.trouble.value == "", panel.trouble.value
    for choice in fields(panel, Choice):
        kept, options = choice.value, [v for _, v in choice.control._options_full]
        for value in (options[0], options[-1]) if options else ():
            choice.control.value = value
            words(panel.trouble.value)
        choice.control.value = kept
    for number in [x for x in below(panel) if isinstance(x, (w.IntSlider, w.FloatSlider))]:
        for place in (number.min, number.max):
            number.value = place


def break_and_mend(panel, monkeypatch):
    """An error in the redraw is on the screen, as words, until the redraw is good again."""

    def broken():
        raise ZeroDivisionError("a <b>bolt</b> fell off")

    with monkeypatch.context() as patched:
        patched.setattr(panel, "redraw", broken)
        UNITS.system = "SI"
        assert "a &lt;b&gt;bolt&lt;/b&gt; fell off" in panel.trouble.value
        assert "Your inputs are kept" in panel.trouble.value
    UNITS.system = "US"
    assert panel.trouble.value == ""


class Bolted(Workpanel):
    """A panel whose redraw fails for one value, with a handler that sets it."""

    def __init__(self):
        super().__init__()
        self.a, self.b = (Quantity(x, "angle", 1.0) for x in "ab")
        self.watch(self.a, self.b)
        self.compose([group("", self.a, self.b)], [])

    def redraw(self):
        if self.a.value == 3.0:
            raise ValueError("three is not possible: take two")


def test_an_error_inside_a_handler_that_ends_well_stays_on_the_screen():
    panel = Bolted()
    panel.handler(lambda: setattr(panel.a, "value", 3.0))()
    assert "three is not possible: take two." in panel.trouble.value
    panel.handler(lambda: None)()  # what was wrong with the redraw is wrong still
    assert "three is not possible: take two." in panel.trouble.value
    panel.a.type("4")
    assert panel.trouble.value == ""
    panel.handler(lambda: 1 / 0)()
    assert "division by zero" in panel.trouble.value
    panel.handler(lambda: None)()
    assert panel.trouble.value == ""
    panel.a.type("3")
    assert "three is not possible" in panel.trouble.value
    panel.a.type("4")
    assert panel.trouble.value == ""


def watchers():
    """How many answer to a change of the unit system."""
    return len(UNITS._trait_notifiers["system"]["change"])


def blocks_held():
    """Pieces of memory that Python holds; tracing their sizes would take longer than the test."""
    gc.collect()
    return sys.getallocatedblocks()


@pytest.mark.parametrize(("name", "times"), [("StandPanel", 10), ("PullsPanel", 4)])
def test_rebuilds_leave_no_listener_and_no_widget_behind(name, times):
    make = maker(name)
    make()
    make()
    standing, widgets = watchers(), len(w.widget._instances)
    for _ in range(times):
        make()
    assert (watchers(), len(w.widget._instances)) == (standing, widgets)


@pytest.mark.slow
@pytest.mark.parametrize("name", REBUILT)
def test_fifty_rebuilds_pile_nothing_up(name):
    make = maker(name)
    for _ in range(3):
        make()
    standing, widgets = watchers(), len(w.widget._instances)
    blocks = []
    for k in range(50):
        make()
        if k in (9, 49):
            blocks.append(blocks_held())
    assert watchers() == standing
    assert len(w.widget._instances) <= 1.05 * widgets
    assert blocks[1] <= 1.05 * blocks[0], blocks


def mover(panel):
    """What moves the panel's first slider and its first number a little; else it is redrawn."""
    sliders = [s.slider for s in fields(panel, Slide)]
    sliders += [x for x in below(panel) if isinstance(x, (w.IntSlider, w.FloatSlider))]
    sliders = [s for s in sliders if s.max - s.min >= 4 * s.step][:1]
    numbers = [q for q in fields(panel, Quantity) if q.value][:1]

    def move(k):
        for at in sliders:
            at.value = at.min + k % min(20, int((at.max - at.min) / at.step)) * at.step
        for number in numbers:
            number.value *= 1.001 if k % 2 else 1 / 1.001
        if not (sliders or numbers):
            panel.redraw()

    return move


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY)
def test_two_thousand_moves_leave_memory_listeners_and_redraw_time_flat(name):
    panel = maker(name)()
    move = mover(panel)
    for k in range(200):
        move(k)
    standing, widgets = watchers(), len(w.widget._instances)
    blocks, taken = [], []
    for k in range(2000):
        begun = time.process_time()
        move(k)
        taken.append(time.process_time() - begun)
        if k in (199, 1999):
            blocks.append(blocks_held())
    assert panel.trouble.value == ""
    assert (watchers(), len(w.widget._instances)) == (standing, widgets)
    assert blocks[1] <= 1.01 * blocks[0], blocks
    # The same twenty places of the control, at the start and at the end; of each the quickest.
    first, last = (np.reshape(taken[part], (5, 20)).min(axis=0).sum()
                   for part in (slice(100), slice(-100, None)))  # fmt: skip
    print(f"{name}: redraw after 2,000 moves over before {last / first:.3f}")
    assert last <= 1.1 * first, (first, last)


def test_the_units_of_both_systems_reach_every_field():
    panel = maker("CoilPanel")()
    for field in fields(panel, Quantity):
        shown = {}
        for system in units.SYSTEMS:
            UNITS.system = system
            shown[system] = field.control.value
            field.type(shown[system])
            assert "dp-wrong" not in field.message.value, (field.label, shown)
