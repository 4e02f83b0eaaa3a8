"""Captures of three line voltages whose truth is known exactly, and the bound on what can be read from them."""

from dataclasses import dataclass, field, replace

import numpy as np

from station.capture import Capture, Channel
from station.motor import MotorType, Reference

RPM, POLE_PAIRS = 1507.0, 4
RATE, SAMPLES = 100e3, 41_538        # whole blocks, so that their middle is the capture's
AMPLITUDE, RANGE = 8.0, 10.0         # V of the fundamental, V of the digitizer
# A trapezoid's orders, and the highest one so that its bound is tried as well: share, degrees.
ORDERS = {1: (1.0, 0.0), 5: (0.04, 180.0), 7: (0.0204, 20.0), 11: (0.0083, 0.0), 13: (0.0059, -50.0), 25: (0.004, 40.0)}
START = 0.9                          # rad, of every ripple; the bound on the speed depends on it
LINES = ("ab", "bc", "ca")
MOTOR = MotorType("T-1", POLE_PAIRS, "star", 48.0, "clockwise", "drive end", None, Reference())


@dataclass(frozen=True)
class Condition:
    """How the shaft turns and how well it is digitized; shares of the mean speed, of the amplitude, bits."""

    name: str
    ripple: float = 0.0       # once per revolution
    foreign: float = 0.0      # at 3.7 per revolution
    drift: float = 0.0        # over the capture
    noise: float = 0.005
    bits: int = 12

    @property
    def quantum(self) -> float:
        return 2 * RANGE / 2**self.bits

    @property
    def sigma(self) -> float:
        """Noise and quantisation together, V."""
        return float(np.hypot(self.noise * AMPLITUDE, self.quantum / np.sqrt(12)))


CONDITIONS = (
    Condition("constant speed"),
    Condition("constant speed, noise 0.2 %", noise=0.002),
    Condition("constant speed, noise 1 %", noise=0.01),
    Condition("10 bit, noise 0.2 %", noise=0.002, bits=10),
    Condition("ripple 0.5 % once per revolution", ripple=0.005),
    Condition("drift 0.2 %", drift=0.002),
    Condition("ripple 0.3 % at 3.7 per revolution", foreign=0.003),
    Condition("all motions, noise 1 %", ripple=0.005, foreign=0.003, drift=0.002, noise=0.01),
)


@dataclass(frozen=True)
class Truth:
    """Everything that a capture is made of, as one vector of parameters, SI.

    Angle = place + turn x + bend x² + sum of a cos(order m) + b sin(order m), x from -1/2 to 1/2 over the
    capture, m the mechanical angle without ripple; volts = speed (rad/s, electrical) x sum of harmonics.
    """

    turn: float               # rad, electrical, over the capture
    bend: float
    orders: tuple
    ripple: tuple             # (a, b) of each order, rad electrical
    harmonics: dict = field(default_factory=lambda: dict(ORDERS))

    def motion(self, x):
        """Electrical angle and speed (rad/s) at x."""
        turned, rate = (self.turn * x + self.bend * x**2) / POLE_PAIRS, (self.turn + 2 * self.bend * x) / POLE_PAIRS
        angle, speed = POLE_PAIRS * turned + 0.65, POLE_PAIRS * rate
        for order, (a, b) in zip(self.orders, self.ripple, strict=True):
            angle = angle + a * np.cos(order * turned) + b * np.sin(order * turned)
            speed = speed + order * rate * (b * np.cos(order * turned) - a * np.sin(order * turned))
        return angle, speed / (SAMPLES / RATE)

    def volts(self, x, line):
        angle, speed = self.motion(x)
        own = angle - np.deg2rad(120.0 * line)
        wave = sum(share * np.sin(h * own + np.deg2rad(phase)) for h, (share, phase) in self.harmonics.items())
        return AMPLITUDE * wave * speed / ELECTRICAL


ELECTRICAL = 2 * np.pi * RPM / 60 * POLE_PAIRS      # rad/s
X = (np.arange(SAMPLES) - (SAMPLES - 1) / 2) / SAMPLES


def truth_of(condition):
    """The motion of a condition."""
    orders, ripple = [], []
    for order, share in ((1.0, condition.ripple), (3.7, condition.foreign)):
        if share:
            size = share * POLE_PAIRS / order
            orders.append(order)
            ripple.append((size * np.sin(START), size * np.cos(START)))
    turn = ELECTRICAL * SAMPLES / RATE
    return Truth(turn, condition.drift * turn / 2, tuple(orders), tuple(ripple))


def capture_of(truth, condition, rng):
    codes, quantum = {}, condition.quantum
    for line, name in enumerate(LINES):
        volts = truth.volts(X, line) + condition.noise * AMPLITUDE * rng.standard_normal(SAMPLES)
        codes[f"v_{name}"] = np.clip(np.round(volts / quantum), -2**(condition.bits - 1),
                                     2**(condition.bits - 1) - 1).astype(np.int16)
    channels = {name: Channel(quantum, code_min=-2**(condition.bits - 1), code_max=2**(condition.bits - 1) - 1)
                for name in codes}
    speed = RPM * 2 * np.pi / 60
    return Capture(codes, channels, 1 / RATE, 0.0, speed, speed, 20.0, label="forward 1507")


def bound(condition, quantities):
    """Standard deviations at the Cramer-Rao bound of `quantities(truth, phases) -> dict of values`.

    The parameters are those that the condition has: turn, and where they are there bend and the two factors and the
    order of each ripple (the order of once-per-revolution ripple is known); the sine and cosine of every
    harmonic of every line, 2 to 25 included whether there or not, and an offset. Fisher information of
    white Gaussian noise with the condition's sigma; derivatives of the waves in closed form, of the
    quantities by differences.
    Source: Kay, Estimation Theory, ch. 3 (from memory).
    """
    truth = truth_of(condition)
    motion_columns, step = _motion_columns(truth, condition)
    angle, speed = truth.motion(X)
    orders = np.arange(1, 26)
    arguments = np.multiply.outer(orders, angle)
    gain = AMPLITUDE * speed / ELECTRICAL
    waves = np.vstack([np.ones(SAMPLES), gain * np.sin(arguments), gain * np.cos(arguments)])
    size = waves.shape[0]
    inner = waves @ waves.T
    count = motion_columns[0].shape[0]
    information = np.zeros((count + 3 * size, count + 3 * size))
    for line in range(3):
        block = slice(count + line * size, count + (line + 1) * size)
        columns = motion_columns[line]
        information[:count, :count] += columns @ columns.T
        information[:count, block] = columns @ waves.T
        information[block, :count] = information[:count, block].T
        information[block, block] = inner
    covariance = np.linalg.inv(information) * condition.sigma**2
    gradient = _gradients(quantities, truth, condition, step, size)
    return {name: float(np.sqrt(row @ covariance @ row)) for name, row in gradient.items()}


def _motion_columns(truth, condition):
    """Derivatives (p, n) of each line's volts after the motion's parameters, and how to take a step in each."""
    steps = [lambda t, d: replace(t, turn=t.turn + d)]
    if condition.drift:
        steps.append(lambda t, d: replace(t, bend=t.bend + d))
    for index, order in enumerate(truth.orders):
        for part in (0, 1):
            steps.append(lambda t, d, i=index, p=part: replace(t, ripple=tuple(
                tuple(v + d * (k == i and q == p) for q, v in enumerate(pair)) for k, pair in enumerate(t.ripple))))
        if order != 1.0:
            steps.append(lambda t, d, i=index: replace(t, orders=tuple(
                o + 1e-2 * d * (k == i) for k, o in enumerate(t.orders))))
    d = 1e-5
    columns = [np.array([(s(truth, d).volts(X, line) - s(truth, -d).volts(X, line)) / (2 * d) for s in steps])
               for line in range(3)]
    return columns, steps


def _gradients(quantities, truth, condition, steps, size):
    """Derivatives of each quantity after all parameters, motion first, then offset, sines and cosines of each line."""
    waves = exact_waves(truth)
    count = len(steps)
    d = 1e-6
    base = quantities(truth, waves)
    rows = {name: np.zeros(count + 3 * size) for name in base}
    for index, s in enumerate(steps):
        up, down = quantities(s(truth, d), waves), quantities(s(truth, -d), waves)
        for name in base:
            rows[name][index] = (up[name] - down[name]) / (2 * d)
    for line in range(3):
        for h in range(25):
            for part, factor in ((0, 1.0), (1, 1j)):
                moved = waves.copy()
                moved[line, h] += d * factor
                changed = quantities(truth, moved)
                for name in base:
                    rows[name][count + line * size + 1 + 25 * part + h] = (changed[name] - base[name]) / d
    return rows


def exact_waves(truth):
    """Complex factors (3, 25) of speed x sin(h angle) (real) and cos (imaginary), of the amplitude."""
    waves = np.zeros((3, 25), dtype=complex)
    for line in range(3):
        for h, (share, phase) in truth.harmonics.items():
            waves[line, h - 1] = share * np.exp(1j * np.deg2rad(phase - 120.0 * line * h))
    return waves
