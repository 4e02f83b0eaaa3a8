"""Machines of gym-electric-motor that coast with open terminals: its electrical equation, its friction.

Source: gym-electric-motor 3.0.3, `PermanentMagnetSynchronousMotor` and `PolynomialStaticLoad`.
"""

from dataclasses import dataclass

import numpy as np
from gym_electric_motor.physical_systems.mechanical_loads import PolynomialStaticLoad
from machines import capture_of
from scipy.integrate import solve_ivp

from station.units import RPM

INTERVAL = 20e-6


@dataclass(frozen=True)
class Coasting:
    """Electrical angle (n,) rad, mechanical speed (n,) rad/s and phase voltages (3, n) V."""

    angle: np.ndarray
    speed: np.ndarray
    phases: np.ndarray

    def capture(self, halls=None):
        return capture_of(self.phases - np.roll(self.phases, -1, axis=0), self.speed.mean() / RPM, halls,
                          interval=INTERVAL)


def _holding_voltage(motor, speed):
    """Voltages d and q (2, n) at which its equation changes no current; it is linear in them."""
    zero, one = np.zeros_like(speed), np.ones_like(speed)
    rest, d, q = (motor.electrical_ode((zero, zero, zero), u, speed)[:2] for u in (
        (zero, zero), (one, zero), (zero, one)))
    slope = np.stack([d - rest, q - rest], axis=1)  # (current, voltage, n)
    return np.linalg.solve(np.moveaxis(slope, 2, 0), -rest.T[:, :, None])[:, :, 0].T


def coast(motor, rpm, seconds, friction=0.0):
    """The shaft with its own inertia, friction in N m s, left alone from `rpm` on."""
    load = PolynomialStaticLoad({"a": 0.0, "b": friction, "c": 0.0, "j_load": 1e-4})
    load.set_j_rotor(motor.motor_parameter["j_rotor"])
    times = INTERVAL * np.arange(round(seconds / INTERVAL))

    def change(t, state):
        speed = state[:1]
        turn = motor.electrical_ode((0.0, 0.0, state[1]), (0.0, 0.0), speed[0])[motor.EPSILON_IDX]
        return [*load.mechanical_ode(t, speed, motor.torque((0.0, 0.0))), turn]

    solved = solve_ivp(change, (0, times[-1]), [rpm * RPM, 0.3], "DOP853", times, rtol=1e-10, atol=1e-10)
    assert solved.success
    speed, angle = solved.y
    voltage = _holding_voltage(motor, speed).T
    phases = [motor.t_32(motor.q(u, at)) for u, at in zip(voltage, angle, strict=True)]
    return Coasting(angle, speed, np.array(phases).T)
