"""Valves under pressure and on their cam: what the typed numbers of one spring sheet mean."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolkit.physics import valvetrain

_CELL_PA = 101325.0  # only differences of pressure count here


@dataclass(frozen=True)
class ClosedValve:
    """A closed valve: what pushes on its head, and the spring load that is left on the seat.

    head_diameter_m; gauge pressures [Pa] of its port and of the cylinder at the worst moment;
    seat_load_n: of the spring with the valve closed. when: that moment, in words.
    """

    name: str
    head_diameter_m: float
    p_port_gauge_pa: float
    p_cylinder_gauge_pa: float
    seat_load_n: float
    when: str = ""

    @property
    def head_load_n(self):
        """Force that pushes it open; below zero the cylinder holds it shut. [N]"""
        port, cylinder = self.p_port_gauge_pa + _CELL_PA, self.p_cylinder_gauge_pa + _CELL_PA
        return float(valvetrain.head_load_n(self.head_diameter_m, port, cylinder))

    @property
    def left_n(self):
        """Seat load less head load. [N]"""
        return self.seat_load_n - self.head_load_n


@dataclass(frozen=True)
class Train:
    """One valve on its cam.

    cam_angle_deg, lift_m: the lift table at the valve; resolution_m: how finely it is written.
    seat_load_n, rate_n_m: spring load closed, and rate (nested springs added up). mass_kg:
    effective mass at the valve. gas_n: pressure load that pushes it open. surge_hz: the spring's
    own frequency, NaN where not known.
    """

    cam_angle_deg: np.ndarray
    lift_m: np.ndarray
    resolution_m: float
    seat_load_n: float
    rate_n_m: float
    mass_kg: float
    gas_n: float = 0.0
    surge_hz: float = np.nan

    @cached_property
    def curve(self):
        """Lift over the cam angle in radians, the smoothing spline of `lift_spline`."""
        return valvetrain.lift_spline(self.cam_angle_deg, self.lift_m, self.resolution_m)

    @cached_property
    def bend_m_rad2(self):
        """Second derivative of the lift at the angles of the table. [m/rad2]"""
        return self.curve.derivative(2)(np.radians(self.cam_angle_deg))

    @property
    def spring_n(self):
        """Spring force at each angle. [N]"""
        return self.seat_load_n + self.rate_n_m * np.asarray(self.lift_m)

    def contact_n(self, speed_rpm):
        """Force left between cam and train at each angle of the table. [N]"""
        return valvetrain.contact_n(
            self.spring_n, self.mass_kg, self.bend_m_rad2, speed_rpm, self.gas_n
        )

    @property
    def limit_rpm(self):
        """Engine speed at which a stiff train leaves its cam. [rpm]"""
        return valvetrain.control_speed_rpm(
            self.spring_n, self.mass_kg, self.bend_m_rad2, self.gas_n
        )

    @cached_property
    def harmonics_m(self):
        """Amplitudes of the lift's harmonics of the cam turn, orders 1 to 40. [m]"""
        return valvetrain.lift_harmonics_m(self.cam_angle_deg, self.lift_m)


@dataclass(frozen=True)
class Clearances:
    """How far the open valve stays away from metal; below zero it does not. [m]

    installed_m: spring height closed; solid_m: height with all turns touching, the taller of a
    nest; retainer_gap_m: retainer to seal, closed, NaN where nobody measured it.
    """

    installed_m: float
    lift_m: float
    solid_m: float
    retainer_gap_m: float = np.nan

    @property
    def coil_bind_m(self):
        """Open height less solid height; 1 to 1.5 mm at least is common practice."""
        return self.installed_m - self.lift_m - self.solid_m

    @property
    def retainer_m(self):
        """Retainer to seal with the valve open."""
        return self.retainer_gap_m - self.lift_m
