"""What a log shows before anybody believes it: signs of trouble, with rows, evidence and advice.

Each detector takes a `Trace` and `Limits` and returns `Sign`s. A sign that was looked for and
could not be judged is returned too, with told=False: "cannot tell" is an answer.
"""

from toolkit.logs.signs.boost import BOOST_DETECTORS
from toolkit.logs.signs.engine import ENGINE_DETECTORS
from toolkit.logs.signs.sampling import SAMPLING_DETECTORS
from toolkit.logs.signs.sensors import SENSOR_DETECTORS
from toolkit.logs.signs.sign import LIMITS, Limits, Sign, Trace

DETECTORS = (*SENSOR_DETECTORS, *SAMPLING_DETECTORS, *ENGINE_DETECTORS, *BOOST_DETECTORS)

__all__ = ["DETECTORS", "LIMITS", "Limits", "Sign", "Trace", "forbidden", "signs"]


def signs(frame, pulls, limits=None, system="SI", lent_torque_nm=None, **known):
    """Every sign in a log, the gravest first, then those that could not be judged.

    frame: channels in SI, absolute pressures; pulls: its accepted pulls (`logs.pulls.Pull`).
    system: the units of the sentences. lent_torque_nm, and what else is known: as `Trace` has it.
    """
    trace = Trace(frame, tuple(pulls), system, lent_torque_nm, **known)
    limits = limits or Limits()
    found = [sign for detect in DETECTORS for sign in detect(trace, limits)]
    order = {"stops": 0, "weakens": 1, "note": 2}
    return tuple(sorted(found, key=lambda s: (not s.told, order[s.severity])))


def forbidden(found, verdict):
    """The signs that forbid a verdict, such as "boost" or "power"."""
    return tuple(s for s in found if s.told and verdict in s.forbids)
