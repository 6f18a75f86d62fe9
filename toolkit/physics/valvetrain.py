"""Will the valve follow its cam: seat load under pressure, inertia, coil bind, surge.

Angles are cam degrees (half of the crank's), lift is at the valve. The force that keeps the
train together is spring + mass * acceleration - gas load; the acceleration is below zero over
the nose of the cam, and where the sum falls to zero the valve leaves its cam.
"""

import numpy as np
from scipy import interpolate

from toolkit.physics.guard import checked


def head_load_n(head_diameter_m, p_port_pa, p_cylinder_pa):
    """Force with which the pressure in the port pushes a closed valve open. [N]

    Intake: boost behind the head; exhaust: back pressure. The chamber's side counts least when
    its pressure is lowest. Below zero the chamber holds the valve shut. The stem's area is left
    out. Diameter [m] > 0, absolute pressures [Pa] >= 0; broadcasts, NaN passes, ValueError
    otherwise. Source: pressure times area.

    >>> round(float(head_load_n(0.0513, 239e3, 101e3)))
    285
    """
    d = checked("head_diameter_m", head_diameter_m, above=0, unit="m")
    port = checked("p_port_pa", p_port_pa, 0, unit="Pa")
    return np.pi / 4 * d**2 * (port - checked("p_cylinder_pa", p_cylinder_pa, 0, unit="Pa"))


def effective_mass_kg(
    valve_kg,
    retainer_kg,
    spring_kg,
    rocker_inertia_kg_m2=0.0,
    rocker_arm_m=1.0,
    lifter_kg=0.0,
    ratio=1.0,
):
    """Mass at the valve that its spring has to turn round. [kg]

    Valve; retainer with locks; spring, of which a third moves; rocker inertia about its pivot
    [kg m2] over the square of its valve-side arm [m]; lifter and pushrod over the square of
    the rocker ratio. All >= 0, arm and ratio > 0; broadcasts, ValueError otherwise.
    Source: equal kinetic energy; the spring's third after Rayleigh, The Theory of Sound (1877).

    >>> round(effective_mass_kg(0.095, 0.025, 0.09, lifter_kg=0.18, ratio=1.7), 4)
    0.2123
    """
    parts = {"valve_kg": valve_kg, "retainer_kg": retainer_kg, "lifter_kg": lifter_kg}
    parts |= {"spring_kg": spring_kg, "rocker_inertia_kg_m2": rocker_inertia_kg_m2}
    for name, value in parts.items():
        checked(name, value, 0)
    checked("rocker_arm_m", rocker_arm_m, above=0, unit="m")
    checked("ratio", ratio, above=0)
    at_cam = lifter_kg / ratio**2 + rocker_inertia_kg_m2 / rocker_arm_m**2
    return valve_kg + retainer_kg + spring_kg / 3 + at_cam


def lift_spline(cam_angle_deg, lift_m, resolution_m=0.0):
    """Valve lift [m] as a smooth function of the cam angle in radians.

    A smoothing spline of degree 5, so that the acceleration is continuous in slope. It may leave
    the points by what rounding to `resolution_m` explains (its variance is resolution^2 / 12) and
    no more; with 0 it goes through them. Differencing a rounded table twice gives noise instead.

    Angles rising, at least 8, none missing; lift [m]; resolution [m] >= 0. ValueError otherwise.
    Source: P. Dierckx, Curve and Surface Fitting with Splines (1993), as in scipy.

    >>> turn = np.arange(-60.0, 61.0)
    >>> curve = lift_spline(turn, 0.01 * np.cos(np.radians(turn)) ** 2)
    >>> round(float(curve.derivative(2)(0.0)), 4)
    -0.02
    """
    angle, lift = np.asarray(cam_angle_deg, float), np.asarray(lift_m, float)
    if angle.size != lift.size or not (np.isfinite(angle).all() and np.isfinite(lift).all()):
        raise ValueError("the lift table has a gap: each cam angle needs its lift")
    if angle.size < 8 or (np.diff(angle) <= 0).any():
        raise ValueError("the lift table needs 8 rising cam angles at least")
    slack = angle.size * checked("resolution_m", resolution_m, 0, unit="m") ** 2 / 12
    return interpolate.make_splrep(np.radians(angle), lift, k=5, s=float(slack))


def cam_rad_s(speed_rpm):
    """Cam speed of a four-stroke at an engine speed [rpm] >= 0; ValueError below. [rad/s]

    Source: one cam turn in two of the crank.

    >>> round(float(cam_rad_s(6000)), 1)
    314.2
    """
    return checked("speed_rpm", speed_rpm, 0, unit="rpm") * np.pi / 60


def contact_n(spring_n, mass_kg, acceleration_m_rad2, speed_rpm, gas_n=0.0):
    """Force left between valve train and cam; below zero the valve floats. [N]

    Spring force at this lift [N], effective mass [kg] >= 0, second derivative of the lift by the
    cam angle [m/rad2], engine speed [rpm] >= 0, gas load that pushes the valve open [N].
    Broadcasts, NaN passes, ValueError otherwise. Source: Newton's second law.

    >>> float(contact_n(600.0, 0.2, -0.02, 6000).round(1))
    205.2
    """
    mass = checked("mass_kg", mass_kg, 0, unit="kg")
    inertia = mass * np.asarray(acceleration_m_rad2, float) * cam_rad_s(speed_rpm) ** 2
    return np.asarray(spring_n, float) + inertia - gas_n


def control_speed_rpm(spring_n, mass_kg, acceleration_m_rad2, gas_n=0.0):
    """Engine speed at which the valve first leaves its cam, train taken as stiff. [rpm]

    Arguments as in `contact_n`, over the cam angles of one lift; NaN where it never does, 0
    where the gas load alone lifts it. Real trains bend and their springs surge: they let go
    earlier. Source: `contact_n` = 0.

    >>> round(float(control_speed_rpm(600.0, 0.2, -0.02)))
    7397
    """
    left = np.asarray(spring_n, float) - gas_n
    pull = -checked("mass_kg", mass_kg, above=0, unit="kg") * np.asarray(acceleration_m_rad2)
    left, pull = np.broadcast_arrays(left, pull)
    over_nose = pull > 0
    if not over_nose.any():
        return np.nan
    return 60 / np.pi * np.sqrt(max(np.min(left[over_nose] / pull[over_nose]), 0.0))


def lift_harmonics_m(cam_angle_deg, lift_m, orders=40):
    """Amplitudes of the lift's harmonics of the cam turn, orders 1 to `orders`. [m]

    Lift table as in `lift_spline`; zero lift is taken outside it. ValueError on a table longer
    than a turn. Source: Fourier series by the fast Fourier transform of 1024 points.

    >>> turn = np.linspace(-180, 180, 721)
    >>> table = 0.004 * (1 + np.cos(np.radians(3 * turn)))
    >>> [round(float(a), 4) for a in lift_harmonics_m(turn, table, 4)]
    [0.0, 0.0, 0.004, 0.0]
    """
    angle, lift = np.asarray(cam_angle_deg, float), np.asarray(lift_m, float)
    checked("length of the lift table", np.ptp(angle), 0, 360, "degrees")
    turn = angle[0] + np.arange(1024) * 360 / 1024
    series = np.fft.rfft(np.interp(turn, angle, lift, right=0.0))
    return 2 / 1024 * np.abs(series[1 : orders + 1])


def surge_order(surge_hz, speed_rpm):
    """Harmonic of the cam that meets the spring's own frequency at an engine speed. [-]

    Frequency [Hz] and speed [rpm] > 0; broadcasts, ValueError otherwise. Higher orders are
    weaker: above 13 is common practice (from memory). Source: frequency over cam frequency.

    >>> float(surge_order(500, 6000))
    10.0
    """
    hz = checked("surge_hz", surge_hz, above=0, unit="Hz")
    return 120 * hz / checked("speed_rpm", speed_rpm, above=0, unit="rpm")


def surge_speeds_rpm(surge_hz, orders):
    """Engine speeds at which harmonics of the cam meet the spring's own frequency. [rpm]

    Frequency [Hz] and orders > 0; broadcasts, ValueError otherwise.
    Source: `surge_order` solved for the speed.

    >>> surge_speeds_rpm(500, [10, 12]).tolist()
    [6000.0, 5000.0]
    """
    return (
        120 * checked("surge_hz", surge_hz, above=0, unit="Hz") / checked("orders", orders, above=0)
    )


def nested_force_n(springs, height_m):
    """Force of nested springs on one seat; NaN where any of them is solid. [N]

    springs: `CoilSpring`s; height [m] >= 0, broadcasts. Rubbing between them is left out.
    Source: springs side by side add.

    >>> from toolkit.physics.springs import CoilSpring
    >>> pair = CoilSpring(4e-3, 28e-3, 7, 0.05), CoilSpring(3e-3, 20e-3, 8, 0.05)
    >>> round(float(nested_force_n(pair, 0.045)))
    202
    """
    return sum(spring.force_n(height_m) for spring in springs)


def radial_gap_m(outer, inner):
    """Gap between two nested springs, free; below zero they are an interference fit. [m]

    outer, inner: `CoilSpring`s. An interference damps surge by rubbing, and wears.
    Source: difference of radii.

    >>> from toolkit.physics.springs import CoilSpring
    >>> gap = radial_gap_m(CoilSpring(4e-3, 28e-3, 7, 0.05), CoilSpring(3e-3, 20e-3, 8, 0.05))
    >>> round(float(gap) * 1e3, 2)
    0.5
    """
    return (np.asarray(outer.inner_m, float) - inner.outer_m) / 2
