"""One cylinder's working cycle, crank angle by crank angle: what back pressure really costs.

One well-mixed zone, manifold pressures held. Slider-crank volume, compressible flow both ways
through both valves, the charge pushed back into the intake port returning first, Wiebe heat
release, Hohenberg wall heat, residual gas carried over, cycles until they repeat. Left out:
pressure waves in the pipes, fuel vapour in the intake, dissociation (peak temperature is some
5 % high), and any layering of fresh and burned gas. Exhaust temperature is that of the gas at
the valve, before pipes cool it.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from toolkit.physics import engine
from toolkit.physics.cycle_points import COLUMNS, solve_points
from toolkit.physics.fuel import FUELS, Fuel
from toolkit.physics.guard import checked

STEP_DEG = 1.0
TOLERANCE = 1e-7  # of the charge, from one cycle to the next


@dataclass(frozen=True)
class Cylinder:
    """One cylinder: lengths [m], compression ratio, valve head diameters [m] and numbers.

    discharge: flow of a real over an ideal opening, on the curtain area pi D L up to the port's;
    one number, or pairs (lift / diameter, coefficient) as a flow bench gives them.
    t_wall_k: mean wall temperature [K]; wall_factor scales Hohenberg's heat transfer.
    """

    bore_m: float
    stroke_m: float
    rod_m: float
    compression_ratio: float
    intake_valve_m: float
    exhaust_valve_m: float
    intake_valves: int = 2
    exhaust_valves: int = 2
    discharge_intake: float | tuple = 0.65
    discharge_exhaust: float | tuple = 0.65
    t_wall_k: float = 450.0
    wall_factor: float = 1.0

    def __post_init__(self):
        for name in ("bore_m", "stroke_m", "intake_valve_m", "exhaust_valve_m"):
            checked(name, getattr(self, name), 0.005, 1, "m")
        checked("rod_m", self.rod_m, 0.6 * self.stroke_m, 5, "m")
        checked("compression_ratio", self.compression_ratio, 4, 25)
        checked("wall_factor", self.wall_factor, 0, 5)

    @property
    def displacement_m3(self):
        """Swept volume of this one cylinder. [m3]"""
        return np.pi / 4 * self.bore_m**2 * self.stroke_m


@dataclass(frozen=True)
class Operating:
    """Operating points: numbers or arrays that broadcast; NaN in one makes that point NaN.

    Engine speed [rpm], intake and exhaust manifold pressures [Pa] absolute, charge temperature
    [K], exhaust manifold temperature [K] (None: the cylinder's own), lambda, angle of 50 %
    burned [deg after top], crank degrees from 10 to 90 % burned, octane number for comparing
    knock; fired=False turns combustion off.
    """

    speed_rpm: float | np.ndarray
    p_manifold_pa: float | np.ndarray
    p_exhaust_pa: float | np.ndarray
    t_charge_k: float | np.ndarray = 320.0
    t_exhaust_k: float | np.ndarray | None = None
    lam: float | np.ndarray = 0.88
    half_burned_deg: float | np.ndarray = 10.0
    burn_deg: float | np.ndarray = 25.0
    octane: float | np.ndarray = 98.0
    fuel: Fuel = FUELS["gasoline"]
    fired: bool = True

    def checked_arrays(self):
        """The quantities by name, in range and of one common shape."""
        own = self.t_exhaust_k is None
        given = {
            "speed_rpm": checked("speed_rpm", self.speed_rpm, 5, 20000, "rpm"),
            "p_manifold_pa": checked("p_manifold_pa", self.p_manifold_pa, 1e4, 1e6, "Pa"),
            "p_exhaust_pa": checked("p_exhaust_pa", self.p_exhaust_pa, 1e4, 2e6, "Pa"),
            "t_charge_k": checked("t_charge_k", self.t_charge_k, 220, 500, "K"),
            "t_exhaust_k": checked("t_exhaust_k", 1150 if own else self.t_exhaust_k, 250, 1600),
            "lam": checked("lam", self.lam, 0.5, 2),
            "half_burned_deg": checked("half_burned_deg", self.half_burned_deg, -20, 60, "deg"),
            "burn_deg": checked("burn_deg", self.burn_deg, 5, 80, "deg"),
            "octane": checked("octane", self.octane, 60, 130),
        }
        return dict(zip(given, np.broadcast_arrays(*given.values()), strict=True))


@dataclass(frozen=True)
class Cycles:
    """What the repeating cycle gives at each point, for one cylinder.

    trapped_air_kg burns; short_air_kg went in and straight out. ve counts both, over what the
    displacement holds at manifold state, as an air meter would. residual_fraction: burned gas
    in the trapped charge, by mass. imep_gross_pa: compression and expansion; pmep_pa: the loss
    of the other two strokes, positive when it costs. knock_integral: for comparing two states
    only. converged: the cycle repeats; mass_error and energy_error: what one cycle's books miss,
    over the trapped mass and over the enthalpy and heat put in.
    """

    trapped_air_kg: np.ndarray
    short_air_kg: np.ndarray
    ve: np.ndarray
    residual_fraction: np.ndarray
    imep_gross_pa: np.ndarray
    pmep_pa: np.ndarray
    p_max_pa: np.ndarray
    t_exhaust_k: np.ndarray
    wall_heat_j: np.ndarray
    knock_integral: np.ndarray
    mass_error: np.ndarray
    energy_error: np.ndarray
    cycles: np.ndarray
    converged: np.ndarray


@dataclass(frozen=True)
class Trace:
    """One point's cycle by crank angle, -180 to 540 deg, 0 at firing top dead centre."""

    angle_deg: np.ndarray
    volume_m3: np.ndarray
    p_pa: np.ndarray
    t_k: np.ndarray
    intake_flow_kg_s: np.ndarray
    exhaust_flow_kg_s: np.ndarray
    air_kg: np.ndarray
    burned_kg: np.ndarray
    intake_lift_m: np.ndarray
    exhaust_lift_m: np.ndarray
    totals: Cycles


def cycle(cylinder, cam, operating, step_deg=STEP_DEG, tolerance=TOLERANCE):
    """The repeating cycle at each operating point. [Cycles]

    A Cylinder, a Cam, an Operating whose arrays broadcast; results have their shape. step_deg:
    crank degrees a step, 0.1 to 4; tolerance: change of the charge from one cycle to the next,
    1e-9 to 1e-3. ValueError where an argument is out of range or combustion would overlap an open
    valve.
    Source: first law and mass balance of one zone with valve flow, Heywood, Internal Combustion
    Engine Fundamentals (1988), secs. 6.3, 9.2, 14.4; Wiebe with a = 5, m = 2 (sec. 9.2);
    wall heat by Hohenberg, SAE 790825 (1979).

    >>> from toolkit.physics.cam import CAMS
    >>> square = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
    >>> at = Operating(3500, 200e3, np.array([150e3, 250e3]))
    >>> ve = cycle(square, CAMS["turbo"], at).ve
    >>> bool(ve[0] > ve[1])
    True
    """
    shape = operating.checked_arrays()["speed_rpm"].shape
    out, _ = solve_points(cylinder, cam, operating, step_deg, tolerance)
    return Cycles(**{name: np.reshape(values, shape) for name, values in out.items()})


def trace(cylinder, cam, operating, step_deg=STEP_DEG, tolerance=TOLERANCE):
    """The repeating cycle of one operating point, by crank angle. [Trace]

    Arguments, errors and source as cycle, quantities in its units; exactly one point.

    >>> from toolkit.physics.cam import CAMS
    >>> square = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
    >>> round(float(trace(square, CAMS["mild"], Operating(3500, 2e5, 2e5)).angle_deg[0]))
    -180
    """
    out, rows = solve_points(cylinder, cam, operating, step_deg, tolerance)
    if len(rows) != 1:
        raise ValueError(f"trace takes one operating point, not {len(rows)}")
    totals = Cycles(**{name: values[0] for name, values in out.items()})
    columns = dict(zip(COLUMNS, rows[0].T, strict=True))
    lifts = [lobe.at(columns["angle_deg"]) for lobe in (cam.intake, cam.exhaust)]
    return Trace(**columns, intake_lift_m=lifts[0], exhaust_lift_m=lifts[1], totals=totals)


def breathing_slope(cylinder, cam, operating, half_step=0.05, **precision):
    """d ln VE / d (p_exhaust / p_manifold) by central difference. [-]

    Arguments, errors and source as cycle; half_step of the pressure ratio, 0.001 to 0.2 [-];
    step_deg and tolerance by name.
    VE as an air meter counts it, short-circuited air included.

    >>> from toolkit.physics.cam import CAMS
    >>> square = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
    >>> bool(breathing_slope(square, CAMS["long overlap"], Operating(3500, 2e5, 2e5)) < -0.1)
    True
    """
    low, high = _both_sides(cylinder, cam, operating, half_step, precision)
    return np.log(high.ve / low.ve) / (2 * half_step)


@dataclass(frozen=True)
class TorqueCost:
    """Torque lost per pascal of back pressure [N m/Pa]: pumping and breathing apart, and both."""

    pumping: np.ndarray
    breathing: np.ndarray

    @property
    def total(self):
        """Pumping and breathing together. [N m/Pa]"""
        return self.pumping + self.breathing


def torque_cost_nm_per_pa(cylinder, cam, operating, displacement_m3, half_step=0.05, **precision):
    """Torque lost per pascal of exhaust manifold pressure, all else held. [N m/Pa]

    Arguments, errors and source as cycle; the engine's displacement [m3] > 0; half_step of the
    pressure ratio, 0.001 to 0.2; step_deg and tolerance by name. Mixture and combustion phasing
    are held; pumping is the change of the gas-exchange strokes' work, breathing that of the work
    the trapped air does.

    >>> from toolkit.physics.cam import CAMS
    >>> square = Cylinder(0.086, 0.086, 0.143, 9.5, 0.033, 0.029)
    >>> cost = torque_cost_nm_per_pa(square, CAMS["mild"], Operating(3500, 2e5, 2e5), 1e-3)
    >>> bool(cost.total > cost.pumping > 0)
    True
    """
    low, high = _both_sides(cylinder, cam, operating, half_step, precision)
    step_pa = 2 * half_step * np.asarray(operating.p_manifold_pa, dtype=float)
    pumping = engine.torque_nm(high.pmep_pa - low.pmep_pa, displacement_m3) / step_pa
    lost = engine.torque_nm(low.imep_gross_pa - high.imep_gross_pa, displacement_m3)
    return TorqueCost(pumping, lost / step_pa)


def _both_sides(cylinder, cam, operating, half_step, precision):
    """Cycles a half step of the pressure ratio below and above, from one call."""
    step = float(checked("half_step", half_step, 0.001, 0.2))
    at = operating.checked_arrays()
    p_in, p_ex = at["p_manifold_pa"], at["p_exhaust_pa"]
    pair = np.stack([p_ex - step * p_in, p_ex + step * p_in])
    both = cycle(cylinder, cam, replace(operating, p_exhaust_pa=pair), **precision)
    return tuple(Cycles(*(getattr(both, f.name)[i] for f in fields(Cycles))) for i in (0, 1))
