"""The arrows between the layers point one way, proven in a fresh interpreter."""

import json
import pkgutil
import subprocess
import sys

import pytest

import toolkit

# Each layer may load those before it, never those after it.
LAYERS = [
    "physics",
    "units",
    "bench",
    "preferences",
    "build",
    "logs",
    "analysis",
    "charts",
    "explain",
    "panels",
]
# Outside packages a layer must not load, however indirectly.
FORBIDDEN = {
    "physics": {"pandas", "bokeh", "ipywidgets", "pint", "matplotlib", "tomlkit"},
    "units": {"pandas", "bokeh", "ipywidgets", "matplotlib"},
    "bench": {"bokeh", "ipywidgets", "matplotlib"},
    "preferences": {"bokeh", "ipywidgets", "matplotlib"},
    "build": {"bokeh", "ipywidgets", "matplotlib"},
    "logs": {"bokeh", "ipywidgets", "matplotlib"},
    "analysis": {"bokeh", "ipywidgets", "matplotlib"},
    "charts": {"ipywidgets", "matplotlib"},
    "explain": {"ipywidgets", "jupyterlab"},
    "panels": set(),
}


def modules_of(layer):
    names = [m.name for m in pkgutil.walk_packages(toolkit.__path__, "toolkit.")]
    prefix = f"toolkit.{layer}"
    return [n for n in names if n == prefix or n.startswith(prefix + ".")]


def loaded_by(modules):
    code = (
        "import importlib, json, sys\n"
        f"[importlib.import_module(m) for m in {modules!r}]\n"
        "print(json.dumps(sorted(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


@pytest.mark.parametrize("layer", LAYERS)
def test_layer_loads_nothing_above_it(layer):
    loaded = loaded_by(modules_of(layer) or ["toolkit"])
    above = LAYERS[LAYERS.index(layer) + 1 :]
    wrong = [
        m
        for m in loaded
        if m.split(".")[0] == "toolkit" and m.split(".")[1:2] in [[a] for a in above]
    ]
    if layer == "units":  # the edge of numbers knows no models
        wrong += [m for m in loaded if m.startswith("toolkit.physics")]
    assert not wrong
    assert not loaded & FORBIDDEN[layer]
