"""The valve sheet: closed valves, a cam with known derivatives, clearances."""

import numpy as np
import pytest

from toolkit.analysis.valve_check import Clearances, ClosedValve, Train
from toolkit.physics import valvetrain
from toolkit.physics.cam import Lobe

PSI, POUND, INCH = 6894.757293168361, 4.4482216152605, 0.0254


def test_seat_load_that_pressure_leaves():
    # Pressure times area: 2.02 in at 20 psi takes 64 lb of the 120 lb on the seat.
    valve = ClosedValve("intake", 2.02 * INCH, 20 * PSI, 0.0, 120 * POUND)
    assert valve.head_load_n / POUND == pytest.approx(64, abs=0.5)
    assert valve.left_n / POUND == pytest.approx(56, abs=0.5)
    shut = ClosedValve("exhaust", 1.6 * INCH, 10 * PSI, 30 * PSI, 120 * POUND)
    assert shut.left_n > shut.seat_load_n


LOBE = Lobe(334, 598, 0.0096)  # 264 degrees of crank, so 132 of the cam
HALF_RAD = np.radians(66)


def train(**more):
    angle = np.arange(-66.0, 67)
    given = {"resolution_m": 1e-5, "seat_load_n": 250.0, "rate_n_m": 34e3, "mass_kg": 0.13}
    lift = np.round(LOBE.at(466 + 2 * angle), 5)
    return Train(angle, lift, **(given | more))


def test_nose_acceleration_of_a_lobe_with_a_known_one():
    # L (1 - u^2)^n has the second derivative -2 n L / half^2 at its nose.
    exact = -2 * LOBE.fullness * 0.0096 / HALF_RAD**2
    assert train().bend_m_rad2[66] == pytest.approx(exact, rel=0.02)


def test_limit_is_where_the_contact_vanishes():
    one = train()
    assert one.contact_n(one.limit_rpm).min() == pytest.approx(0, abs=1e-9)
    nose = np.sqrt((250 + 34e3 * 0.0096) / (0.13 * -one.bend_m_rad2[66])) * 60 / np.pi
    assert one.limit_rpm == pytest.approx(nose, rel=0.05)
    assert train(mass_kg=0.2).limit_rpm < one.limit_rpm < train(seat_load_n=400.0).limit_rpm
    assert train(gas_n=150.0).limit_rpm < one.limit_rpm


def test_harmonics_are_those_of_the_table():
    one = train()
    assert one.harmonics_m == pytest.approx(
        valvetrain.lift_harmonics_m(one.cam_angle_deg, one.lift_m)
    )
    assert one.harmonics_m.size == 40


def test_clearances():
    room = Clearances(0.0400, 0.0096, 0.0290, retainer_gap_m=0.0110)
    assert room.coil_bind_m == pytest.approx(1.4e-3)
    assert room.retainer_m == pytest.approx(1.4e-3)
    assert np.isnan(Clearances(0.04, 0.0096, 0.029).retainer_m)
    assert Clearances(0.0380, 0.0096, 0.0290).coil_bind_m < 0
