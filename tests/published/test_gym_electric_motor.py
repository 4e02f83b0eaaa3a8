"""The permanent magnet machine of gym-electric-motor, open-circuit, through a capture file and the analysis.

Source: gym-electric-motor 3.0.3, `PermanentMagnetSynchronousMotor` (electrical equation, torque, transformations)
and `PolynomialStaticLoad` (equation of motion). The parameters of the first machine are its own defaults.
"""

import numpy as np
import pytest
from gym_electric_motor.physical_systems.electric_motors import PermanentMagnetSynchronousMotor
from gym_machines import coast
from machines import analyse_file, ideal_halls, motor_type, values_of

from station.units import RPM

ITS_OWN = {}
SMALL = {"p": 4, "psi_p": 0.0094, "l_d": 0.4e-3, "l_q": 0.4e-3, "r_s": 0.2, "j_rotor": 3e-5}
MANY_POLES = {"p": 10, "psi_p": 0.021, "l_d": 1e-3, "l_q": 1.3e-3, "r_s": 0.9, "j_rotor": 1e-3}
# its d axis is at zero; the rising zero of v_ab over speed is 150 degrees on
FROM_ITS_AXIS = np.deg2rad(150)


@pytest.mark.parametrize(("parameters", "rpm"), [
    (ITS_OWN, 3000.0), (ITS_OWN, -1000.0), (SMALL, 4000.0), (SMALL, -1500.0), (MANY_POLES, 600.0)])
def test_open_circuit_voltage(parameters, rpm, tmp_path):
    """Constant and flux linkage from its own psi_p and p: line peak sqrt(3) p psi_p per rad/s."""
    motor = PermanentMagnetSynchronousMotor(parameters)
    own = motor.motor_parameter
    value = values_of(analyse_file(tmp_path, coast(motor, rpm, 0.35).capture(), motor_type(own["p"])))
    peak = 3**0.5 * own["p"] * own["psi_p"] * 1000 * RPM
    for line in ("ab", "bc", "ca"):
        assert value[f"back_emf_constant_peak.{line}"] == pytest.approx(peak, rel=2e-4)
        assert value[f"back_emf_constant_fundamental.{line}"] == pytest.approx(peak, rel=2e-4)
        assert value[f"flux_linkage.{line}"] == pytest.approx(3**0.5 * own["psi_p"] * 1000, rel=2e-4)
        assert value[f"thd.{line}"] < 0.02
    assert value["electrical_frequency"] == pytest.approx(own["p"] * abs(rpm) / 60, rel=1e-5)
    assert (value["phase_angle.bc"], value["phase_angle.ca"]) == pytest.approx((120, -120), abs=0.01)
    assert value["phase_order"] == 1


def test_a_machine_that_coasts_down(tmp_path):
    """With its polynomial friction the speed falls exponentially, here by about 6 %."""
    motor = PermanentMagnetSynchronousMotor(SMALL)
    coasting = coast(motor, 3000.0, 0.4, friction=2e-5)
    fall = coasting.speed[-1] / coasting.speed[0] - 1
    assert fall == pytest.approx(np.exp(-2e-5 / 1.3e-4 * 0.4) - 1, rel=1e-3)
    value = values_of(analyse_file(tmp_path, coasting.capture(), motor_type(4)))
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 9.4, rel=3e-4)
    assert value["thd.ab"] < 0.03
    assert value["speed_drift"] == pytest.approx(100 * (coasting.speed[-1] - coasting.speed[0]) / coasting.speed.mean(),
                                                 rel=0.03)


def _torque_by_angle(motor, angle):
    """Largest torque (n,) N m per A over the six ways to send a line current through two leads, its own torque."""
    small = 1e-3  # A, so that reluctance plays no part
    pairs = np.array([(1, -1, 0), (1, 0, -1), (0, 1, -1), (-1, 1, 0), (-1, 0, 1), (0, -1, 1)]) * small
    return np.array([max(motor.torque(motor.q_inv(motor.t_23(pair), at)) for pair in pairs) for at in angle]) / small


@pytest.mark.parametrize(("parameters", "rpm"), [(ITS_OWN, 1170.0), (SMALL, -930.0)])
def test_torque_per_ampere_with_hall_commutation(parameters, rpm, tmp_path):
    """Sensors at their design angles switch the best pair of leads: its torque, from its currents."""
    motor = PermanentMagnetSynchronousMotor(parameters)
    coasting = coast(motor, rpm, 0.35)
    pole_pairs = motor.motor_parameter["p"]
    halls = ideal_halls(coasting.angle - FROM_ITS_AXIS)
    value = values_of(analyse_file(tmp_path, coasting.capture(halls), motor_type(pole_pairs)))
    torque = _torque_by_angle(motor, np.linspace(0, 2 * np.pi, 3600, endpoint=False))
    assert value["commutated_torque_constant"] == pytest.approx(torque.mean(), rel=3e-4)
    assert value["commutated_torque_ripple"] == pytest.approx(100 * np.ptp(torque) / torque.mean(), abs=0.3)
    for sensor, rise in zip("abc", (0, 120, -120), strict=True):
        turn = (value[f"hall_angle_rise.{sensor}"] - rise + 180) % 360 - 180
        assert turn == pytest.approx(0, abs=0.3)  # a sample is 0.4 degrees
