"""The method card: what a sceptical viewer asks first, in rows of a word and a text."""

import numpy as np

from toolkit import units
from toolkit.logs.channels import CHANNELS
from toolkit.logs.grid import smoothing_text

# What decides why power changed; where it was not logged on both sides the card says so.
_DECIDING = (
    "p_manifold_pa", "p_exhaust_pa", "t_charge_k", "t_compressor_out_k", "air_flow_kg_s", "lam",
    "spark_deg", "shaft_speed_rpm",
)  # fmt: skip
INVENTED = ("Data", "invented for demonstration")
_WORDS = {"lam": "lambda", "spark_deg": "spark"}


def method_card(comparison, system, demo=False):
    """(word, text) rows of a comparison. demo: the data are invented, and the card says so."""
    c = comparison
    rows = [
        ("Changed", _changed(c, system)),
        ("Kept", _kept(c, system)),
        ("Pulls", _pulls(c)),
        ("Reference", c.reference if c.reference == "observed" else f"corrected to {c.reference}"),
        ("Smoothing", smoothing_text(c.settings.smoothing, c.speed_rpm[1] - c.speed_rpm[0])),
        ("Barometer", _barometer(c, system)),
        ("Not measured", _not_measured(c)),
    ]
    return (*rows, INVENTED) if demo else tuple(rows)


def _changed(c, system):
    """What was meant to change, and what was found to have changed with it."""
    unequal = [
        f"{_WORDS[u.channel]} by up to {_size(u, abs(u.worst), system)}"
        for u in c.unlike
        if u.ranges
    ]
    meant = f"{c.a.name} to {c.b.name}"
    return f"{meant}; with it {' and '.join(unequal)}" if unequal else meant


def _size(unlike, value, system):
    return units.text(value, CHANNELS[unlike.channel].kind, system)


def _kept(c, system):
    """What was logged and found equal, and what nobody can tell."""
    said = [
        f"{_WORDS[u.channel]} within {_size(u, u.limit, system)}"
        if u.logged
        else f"{_WORDS[u.channel]} unknown"
        for u in c.unlike
        if not u.ranges
    ]
    rates = [np.mean([r.sweep_rpm_s for r in side.repeats]) for side in (c.a, c.b)]
    if np.isfinite(rates).all():
        said.append(f"sweep {rates[0]:.0f} and {rates[1]:.0f} rpm/s")
    return ", ".join(said) or "not stated"


def _pulls(c):
    days = {r.session for side in (c.a, c.b) for r in side.repeats}
    known = days != {""}
    when = f", {len(days)} day{'s' * (len(days) > 1)}" if known else ""
    order = ", there and back, drift corrected" if c.drift_corrected else ""
    return f"{c.a.n} {c.a.name}, {c.b.n} {c.b.name}{when}{order}"


def _barometer(c, system):
    means = [side.get("p_cell_pa") for side in (c.channels_a, c.channels_b)]
    if any(m is None or not np.isfinite(m).any() for m in means):
        return "not known on both sides"
    low, high = (units.text(np.nanmean(m), "barometer", system) for m in means)
    return low if low == high else f"{low} and {high}"


def _not_measured(c):
    """The deciding channels that one side or both did not log."""
    missing = [_WORDS.get(n, CHANNELS[n].words) for n in _DECIDING if n not in c.gains]
    return ", ".join(missing) or "nothing that decides the question"
