"""Valve lift over crank angle, from whatever a cam card says.

Crank angle here: 0 is firing top dead centre, 360 the top dead centre of gas exchange, and a
cycle runs from -180 to 540. Lift is at the valve, lash taken up.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from toolkit.physics.guard import checked

GAS_EXCHANGE_DEG = 360.0
# How full a lobe is that is known by its seat timing alone: lift = L (1 - u^2)^n.
PLAIN_FULLNESS = 2.4
_FULLNESS_RANGE = (1.2, 6.0)


@dataclass(frozen=True)
class Lobe:
    """One valve's lift: L (1 - u^2)^n, u from -1 at opening to 1 at closing.

    Crank angles of opening and closing at the seat [deg, 0 at firing top dead centre], largest
    lift [m] and the exponent n: 2 for a plain lobe, more for long quiet ramps. The shape is
    ours: smooth at the seat, one number to match a ramp.
    """

    opens_deg: float
    closes_deg: float
    lift_m: float
    fullness: float = PLAIN_FULLNESS

    def __post_init__(self):
        checked("lift_m", self.lift_m, 0, 0.05, "m")
        checked("duration", self.duration_deg, 20, 500, "deg")

    @property
    def duration_deg(self):
        """Crank angle from seat to seat. [deg]"""
        return self.closes_deg - self.opens_deg

    @property
    def centre_deg(self):
        """Crank angle of the largest lift. [deg]"""
        return (self.opens_deg + self.closes_deg) / 2

    def at(self, angle_deg):
        """Lift at crank angles from -180 to 540, the cycle repeating. [m]

        >>> round(float(Lobe(350, 590, 0.010).at(470)), 4)
        0.01
        """
        from_centre = (np.asarray(angle_deg, dtype=float) - self.centre_deg + 360) % 720 - 360
        u = np.minimum(np.abs(from_centre) / (self.duration_deg / 2), 1)
        return self.lift_m * (1 - u**2) ** self.fullness

    def moved(self, degrees):
        """The same lobe opening and closing later by that crank angle. [deg]"""
        return replace(
            self, opens_deg=self.opens_deg + degrees, closes_deg=self.closes_deg + degrees
        )

    def span_at(self, lift_m):
        """Crank angles where the valve passes this lift on its way up and down. [deg]

        >>> Lobe(350, 590, 0.010).span_at(0.0)
        (350.0, 590.0)
        """
        part = float(checked("lift_m", lift_m, 0, self.lift_m, "m")) / self.lift_m
        half = self.duration_deg / 2 * np.sqrt(1 - part ** (1 / self.fullness))
        return float(self.centre_deg - half), float(self.centre_deg + half)


@dataclass(frozen=True)
class LiftTable:
    """A typed lift curve: crank angles, rising [deg], and lifts [m], zero at both ends."""

    angle_deg: tuple[float, ...]
    lifts_m: tuple[float, ...]

    def __post_init__(self):
        angle, lift = np.asarray(self.angle_deg, float), checked("lift", self.lifts_m, 0, 0.05, "m")
        if angle.shape != lift.shape or angle.size < 3:
            raise ValueError("a lift table needs as many lifts as angles, three or more")
        if np.any(np.diff(angle) <= 0) or angle[-1] - angle[0] > 500:
            raise ValueError("the angles of a lift table must rise, within 500 degrees")
        if lift[0] != 0 or lift[-1] != 0:
            raise ValueError("a lift table must start and end with the valve shut, at lift 0")

    @property
    def opens_deg(self):
        """Crank angle of the first row, the valve still shut. [deg]"""
        return float(self.angle_deg[0])

    @property
    def closes_deg(self):
        """Crank angle of the last row, the valve shut again. [deg]"""
        return float(self.angle_deg[-1])

    @property
    def lift_m(self):
        """The largest lift in the table. [m]"""
        return float(max(self.lifts_m))

    def at(self, angle_deg):
        """Lift at crank angles, straight between the rows, the cycle repeating. [m]

        >>> float(LiftTable((350, 470, 590), (0, 0.01, 0)).at(410))
        0.005
        """
        middle = (self.opens_deg + self.closes_deg) / 2
        angle = (np.asarray(angle_deg, dtype=float) - middle + 360) % 720 - 360 + middle
        return np.interp(angle, self.angle_deg, self.lifts_m, left=0.0, right=0.0)

    def moved(self, degrees):
        """The same curve later by that crank angle. [deg]"""
        return replace(self, angle_deg=tuple(a + degrees for a in self.angle_deg))

    def span_at(self, lift_m):
        """Crank angles of the first and last crossing of this lift. [deg]"""
        angle, lift = np.asarray(self.angle_deg), np.asarray(self.lifts_m)
        above = np.flatnonzero(lift > float(checked("lift_m", lift_m, 0, self.lift_m, "m")))
        i, j = (above[0], above[-1]) if above.size else (int(lift.argmax()),) * 2
        up = np.interp(lift_m, lift[i - 1 : i + 1], angle[i - 1 : i + 1])
        down = np.interp(-lift_m, -lift[j : j + 2], angle[j : j + 2])
        return float(up), float(down)


@dataclass(frozen=True)
class Cam:
    """The pair of lift curves that make the gas exchange."""

    intake: Lobe | LiftTable
    exhaust: Lobe | LiftTable

    @cached_property
    def overlap_deg(self):
        """Crank angle with both valves off their seats; negative when there is a gap. [deg]

        >>> CAMS["mild"].overlap_deg
        16.0
        """
        return self.overlap_at(0.0)

    def overlap_at(self, lift_m):
        """Crank angle with both valves above a lift such as 1 mm; negative for a gap. [deg]"""
        return self.exhaust.span_at(lift_m)[1] - self.intake.span_at(lift_m)[0]

    def moved(self, intake_deg=0.0, exhaust_deg=0.0):
        """The same cams phased later by these crank angles. [deg]"""
        return Cam(self.intake.moved(intake_deg), self.exhaust.moved(exhaust_deg))


def intake_lobe(opens_btdc, closes_abdc, lift_m, at_lift_m=0.0, ramp_deg=None):
    """Intake lobe from its opening before top and closing after bottom dead centre. [Lobe]

    Angles in crank degrees, either may be negative; largest lift [m]. Where the angles hold at
    a stated lift, such as 1 mm or 0.050 in, give it [m] with the ramp: the crank degrees from
    the seat up to that lift (None: a plain lobe's). ValueError where no smooth lobe has it.
    Source: definitions of the trade (common practice).

    >>> round(intake_lobe(10, 50, 0.010).duration_deg)
    240
    """
    top, bottom = GAS_EXCHANGE_DEG, GAS_EXCHANGE_DEG + 180
    return _lobe(top - opens_btdc, bottom + closes_abdc, lift_m, at_lift_m, ramp_deg)


def exhaust_lobe(opens_bbdc, closes_atdc, lift_m, at_lift_m=0.0, ramp_deg=None):
    """Exhaust lobe from its opening before bottom and closing after top dead centre. [Lobe]

    Arguments, errors and source as intake_lobe: crank degrees, lifts in m.

    >>> round(exhaust_lobe(50, 10, 0.010).duration_deg)
    240
    """
    bottom, top = GAS_EXCHANGE_DEG - 180, GAS_EXCHANGE_DEG
    return _lobe(bottom - opens_bbdc, top + closes_atdc, lift_m, at_lift_m, ramp_deg)


def lobe_pair(
    duration_in,
    duration_ex,
    separation,
    advance,
    lift_in_m,
    lift_ex_m,
    at_lift_m=0.0,
    ramp_deg=None,
):
    """Both lobes as a cam card gives them: durations, lobe separation, advance. [Cam]

    Durations in crank degrees, separation of the lobe centres in cam degrees, advance in crank
    degrees (intake centre = separation - advance after top dead centre), lifts [m], lift and
    ramp of the timing as intake_lobe.
    Source: definitions of the trade (common practice).

    >>> cam = lobe_pair(240, 240, 112, 0, 0.010, 0.010)
    >>> cam.intake.centre_deg, cam.exhaust.centre_deg, cam.overlap_deg
    (472.0, 248.0, 16.0)
    """
    centre_in = GAS_EXCHANGE_DEG + separation - advance
    centre_ex = GAS_EXCHANGE_DEG - separation - advance
    return Cam(
        _centred(centre_in, duration_in, lift_in_m, at_lift_m, ramp_deg),
        _centred(centre_ex, duration_ex, lift_ex_m, at_lift_m, ramp_deg),
    )


def _centred(centre, duration, lift_m, at_lift_m, ramp_deg):
    return _lobe(centre - duration / 2, centre + duration / 2, lift_m, at_lift_m, ramp_deg)


def _lobe(opens, closes, lift_m, at_lift_m, ramp_deg):
    """A lobe that passes `at_lift_m` at these angles, `ramp_deg` away from its seat."""
    if at_lift_m == 0:
        return Lobe(float(opens), float(closes), float(lift_m))
    part = float(checked("at_lift_m", at_lift_m, 0, 0.9 * lift_m, "m")) / lift_m
    if ramp_deg is None:
        reach = np.sqrt(1 - part ** (1 / PLAIN_FULLNESS))
        ramp = (closes - opens) / 2 * (1 / reach - 1)
        return Lobe(float(opens - ramp), float(closes + ramp), float(lift_m))
    ramp = float(checked("ramp_deg", ramp_deg, 1, 120, "deg"))
    u = (closes - opens) / (closes - opens + 2 * ramp)
    fullness = float(np.log(part) / np.log(1 - u**2))
    if not _FULLNESS_RANGE[0] <= fullness <= _FULLNESS_RANGE[1]:
        way = "long" if fullness > _FULLNESS_RANGE[1] else "short"
        raise ValueError(
            f"ramp_deg is {ramp:g} deg: too {way} for a smooth lobe of {closes - opens:g} deg at "
            f"{at_lift_m * 1000:g} mm; state the crank degrees from the seat to that lift"
        )
    return Lobe(opens - ramp, closes + ramp, float(lift_m), fullness)


# Where the cam is unknown these span the band; seat timing, invented, not of any engine.
CAMS = {
    "mild": Cam(intake_lobe(8, 44, 0.0095), exhaust_lobe(44, 8, 0.0095)),
    "turbo": Cam(intake_lobe(20, 52, 0.0105), exhaust_lobe(56, 20, 0.0105)),
    "long overlap": Cam(intake_lobe(35, 65, 0.0115), exhaust_lobe(68, 35, 0.0115)),
}
