"""Ideal wave shapes through the whole analysis, against their closed forms.

Source of the tables: Fourier series of a trapezoid, derived: b_n = 4/(pi n) sin(n r)/(n r), r half the ramp.
"""

import numpy as np
import pytest
from machines import TURN, angles, capture_of, ideal_halls, motor_type, trapezoid

from station.analysis.analyse import analyse_capture
from station.units import RPM, VOLT_PER_KRPM

RPM_USED = 1500.0
PEAK = 10.0  # V/krpm of the line-to-line peak


def _analyse(shape, halls_turned_deg=0.0, rpm=RPM_USED):
    angle = angles(4, rpm)
    unit = PEAK * VOLT_PER_KRPM * rpm * RPM
    phases = np.array([shape(angle - TURN * k) for k in range(3)])
    lines = unit * (phases - np.roll(phases, -1, axis=0))
    # rotor angle 0 is the rising zero of v_ab, 30 degrees before that of phase a
    rotor = angle + np.pi / 6
    halls = ideal_halls(rotor - np.deg2rad(halls_turned_deg))
    found = analyse_capture(capture_of(lines, rpm, halls), motor_type(4))
    assert found.refused is None, found.refused
    return {name: m.value for name, m in found.measurements.items()}


@pytest.fixture(scope="module")
def sine():
    return _analyse(lambda a: np.sin(a) / 3**0.5)


@pytest.fixture(scope="module")
def trapezoid_120():
    return _analyse(lambda a: trapezoid(a) / 2)


def test_sine(sine):
    assert sine["back_emf_constant_peak.ab"] == pytest.approx(10, rel=2e-4)
    assert sine["back_emf_constant_rms.bc"] == pytest.approx(7.071068, rel=2e-4)
    assert sine["flux_linkage.ca"] == pytest.approx(23.87324, rel=2e-4)  # mV s: Ke / p
    assert sine["thd.ab"] < 0.02
    assert sine["phase_angle.bc"] == pytest.approx(120, abs=0.01)
    assert sine["phase_angle.ca"] == pytest.approx(-120, abs=0.01)
    assert sine["speed"] == pytest.approx(1500, rel=1e-5)


def test_ideal_trapezoid(trapezoid_120):
    """Line to line of a 120 degree trapezoid: fundamental 1.052960, rms sqrt(5)/3 and mean 2/3 of the peak."""
    t = trapezoid_120
    assert t["back_emf_constant_fundamental.ab"] == pytest.approx(10.5296, rel=2e-4)
    assert t["back_emf_constant_rms.ab"] == pytest.approx(7.45356, rel=3e-4)
    assert t["flux_linkage.ab"] == pytest.approx(2 / 3 * 10 * VOLT_PER_KRPM * np.pi / 8 * 1e3, rel=3e-4)
    assert t["thd.ab"] == pytest.approx(4.638, abs=0.01)
    assert t["flat_top.ab"] == pytest.approx(66, abs=2)  # 60 flat, and the ramps' last 5 %


@pytest.mark.parametrize(("order", "over_peak"), [(5, 0.084237), (7, 0.042978), (11, 0.017404), (13, 0.012461)])
def test_orders_of_the_trapezoid(trapezoid_120, order, over_peak):
    assert trapezoid_120[f"harmonic_{order}.bc"] == pytest.approx(100 * over_peak / 2.105921, abs=0.01)


@pytest.mark.parametrize("order", [3, 9, 15])
def test_no_triplen_order_between_lines(trapezoid_120, order):
    assert trapezoid_120[f"harmonic_{order}.ab"] < 0.01


def test_six_step_torque_of_a_sine(sine):
    """Mean 3/pi of the line constant, ripple 14.030 % of the mean (13.397 % of the peak)."""
    assert sine["commutated_torque_constant"] == pytest.approx(0.09118907, rel=3e-4)
    assert sine["commutated_torque_ripple"] == pytest.approx(14.030, abs=0.05)


def test_six_step_torque_of_a_trapezoid_is_smooth(trapezoid_120):
    """25 orders of the series leave a little: the ideal wave has none."""
    assert trapezoid_120["commutated_torque_constant"] == pytest.approx(0.09549297, rel=5e-3)
    assert trapezoid_120["commutated_torque_ripple"] < 3.5


@pytest.mark.parametrize(("turned_deg", "loss_percent"), [(5, 0.381), (10, 1.519), (15, 3.407)])
def test_torque_lost_by_a_turned_sensor_board(sine, turned_deg, loss_percent):
    """Mean torque falls with the cosine of the misalignment."""
    turned = _analyse(lambda a: np.sin(a) / 3**0.5, turned_deg)
    # the edges fall between two samples, 0.18 degrees apart, always at the same place
    assert turned["hall_placement.a"] == pytest.approx(turned_deg, abs=0.1)
    loss = 100 * (1 - turned["commutated_torque_constant"] / sine["commutated_torque_constant"])
    assert loss == pytest.approx(loss_percent, abs=0.05)


@pytest.mark.parametrize(("turned_deg", "of_peak_percent"), [(5, 18.08), (10, 23.40), (30, 50.0)])
def test_ripple_from_a_turned_sensor_board(turned_deg, of_peak_percent):
    """Peak to peak over the peak is 1 - cos(30 + turn), derived; so ripple, not mean torque, limits the placement."""
    turned = _analyse(lambda a: np.sin(a) / 3**0.5, turned_deg)
    swing = turned["commutated_torque_ripple"] * turned["commutated_torque_constant"]  # % of 1 N m/A
    assert swing / turned["back_emf_constant_peak.ab"] / VOLT_PER_KRPM == pytest.approx(of_peak_percent, abs=0.25)


def test_torque_of_a_trapezoid_with_a_turned_sensor_board(trapezoid_120):
    """Mean 1 - (turn / 60 degrees)^2 / 2 of the flat top, derived: 0.98611 at 10 degrees."""
    turned = _analyse(lambda a: trapezoid(a) / 2, 10.0)
    ratio = turned["commutated_torque_constant"] / trapezoid_120["commutated_torque_constant"]
    assert ratio == pytest.approx(0.98611, abs=2e-3)


def test_the_rotor_is_the_same_in_reverse(sine):
    reverse = _analyse(lambda a: np.sin(a) / 3**0.5, rpm=-RPM_USED)
    assert reverse["speed"] == pytest.approx(-1500, rel=1e-5)
    for name in ("back_emf_constant_peak.ab", "phase_angle.bc", "hall_angle_rise.b", "phase_order", "hall_order"):
        assert reverse[name] == pytest.approx(sine[name], rel=1e-3), name
