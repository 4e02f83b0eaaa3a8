"""A latching magnetic sensor: the field it senses over a revolution and the rotor angles at which it switches."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

TURN = 2 * pi
_POINTS_PER_CYCLE = 2048
_BOUNCE = ((25e-6, 45e-6), (70e-6, 85e-6))   # s after the edge during which a bouncing output falls back
HIGH, LOW = 0.98, 0.03                           # of the supply, with its pull-up and saturation


@dataclass(frozen=True, slots=True)
class HallSensor:
    """One sensor, its place and its faults. Angles are rotor electrical degrees, shares are of the peak field."""

    rise_deg: float
    operate: float
    release: float
    eccentric_deg: float = 0.0
    inverted: bool = False
    stuck: bool | None = None        # the level it is stuck at
    bounces: bool = False


@dataclass(frozen=True, slots=True)
class Switching:
    """Edges met while turning one way: (k,) travelled angle rad in 0…2 pi, ascending, and the state after each."""

    angle: NDArray[np.float64]
    state: NDArray[np.bool_]
    resting: bool                    # the state of a sensor that never switches


def switching(sensor: HallSensor, poles: NDArray[np.float64], strength: float, forward: bool) -> Switching:
    """Return where the sensor switches in one revolution of a rotor with these poles.

    Parameters
    ----------
    poles : (2p,) strength of each pole, 1 nominal
    strength : of all magnets, 1 nominal; operate and release points stay where the sensor has them
    forward : the direction; travelled angle in reverse is 2 pi minus rotor angle
    """
    turned = np.linspace(0.0, TURN, _POINTS_PER_CYCLE * poles.size // 2 + 1)
    rotor = turned if forward else TURN - turned
    field = strength * sensed_field(sensor, poles, rotor)
    edges = [(angle, True) for angle in _crossings(turned, field, sensor.operate, rising=True)]
    edges += [(angle, False) for angle in _crossings(turned, field, sensor.release, rising=False)]
    edges.sort()
    # A latch ignores a second operate; going round once first finds the state in which the turn begins.
    state: bool | None = edges[-1][1] if edges else None
    kept = []
    for angle, after in edges:
        if after != state:
            kept.append((angle, after))
        state = after
    angles = np.array([angle for angle, _ in kept])
    states = np.array([after for _, after in kept], dtype=np.bool_)
    return Switching(angles, states, bool(np.mean(field) > 0))


def sensed_field(sensor: HallSensor, poles: NDArray[np.float64],
                 rotor: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the field at the sensor for (n,) mechanical rotor angles, rad; 1 at the middle of a sound pole."""
    pairs = poles.size // 2
    wobble = np.radians(sensor.eccentric_deg) * np.sin(rotor - np.radians(sensor.rise_deg) / pairs)
    own = pairs * rotor - np.radians(sensor.rise_deg) + wobble
    pole = np.floor(own / pi).astype(int) % poles.size
    return np.asarray(poles[pole] * np.sin(own))


def _crossings(x: NDArray[np.float64], y: NDArray[np.float64], level: float, *, rising: bool) -> list[float]:
    sign = 1.0 if rising else -1.0
    above = sign * (y - level) >= 0
    at = np.flatnonzero(~above[:-1] & above[1:])
    share = (level - y[at]) / (y[at + 1] - y[at])
    return [float(value) for value in x[at] + share * (x[at + 1] - x[at])]


def levels(sensor: HallSensor, course: tuple[Switching, Switching], angle: NDArray[np.float64],
           speed: NDArray[np.float64], edge_s: tuple[float, float]) -> NDArray[np.float64]:
    """Return the output as a share of the supply.

    Parameters
    ----------
    course : switching forward and in reverse
    angle, speed : (n,) mechanical rotor angle, rad, and rad/s
    edge_s : time constants of a rising (pull-up) and a falling (transistor) edge, s
    """
    if sensor.stuck is not None:
        return np.full(angle.size, HIGH if sensor.stuck else LOW)
    ahead = speed >= 0
    if ahead.all():
        return _one_way(sensor, course[0], angle, speed, edge_s)
    if not ahead.any():
        return _one_way(sensor, course[1], -angle, -speed, edge_s)
    return np.where(ahead, _one_way(sensor, course[0], angle, np.abs(speed), edge_s),
                    _one_way(sensor, course[1], -angle, np.abs(speed), edge_s))


def _one_way(sensor: HallSensor, course: Switching, travelled: NDArray[np.float64], speed: NDArray[np.float64],
             edge_s: tuple[float, float]) -> NDArray[np.float64]:
    if course.angle.size == 0:
        return np.full(travelled.size, HIGH if course.resting != sensor.inverted else LOW)
    turned = travelled % TURN
    last = np.searchsorted(course.angle, turned, side="right") - 1
    state = course.state[last] != sensor.inverted
    since = ((turned - course.angle[last]) % TURN) / np.maximum(speed, 1e-9)
    if sensor.bounces:
        for start, end in _BOUNCE:
            state = state ^ ((since >= start) & (since < end))
    final = np.where(state, HIGH, LOW)
    if sensor.bounces:
        return final
    recent = since < 20 * max(edge_s)
    constant = np.where(state[recent], *edge_s)
    final[recent] += (HIGH + LOW - 2 * final[recent]) * np.exp(-since[recent] / constant)
    return final
