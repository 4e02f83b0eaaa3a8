"""Captures with three Hall channels whose edges are known exactly, and the bound on what can be read from them."""

from dataclasses import dataclass, field, replace
from functools import partial

import emf_waves
import numpy as np
from emf_waves import MOTOR as BARE
from emf_waves import POLE_PAIRS, RATE, SAMPLES, Condition, truth_of

from station.capture import Channel
from station.motor import HallLayout

LOW, HIGH = 0.2, 4.8           # V
SWING = HIGH - LOW
LAYOUT = HallLayout(120, (0.0, 120.0, 240.0))
MOTOR = replace(BARE, sensors=LAYOUT)
EDGES = tuple((sensor, goes_high) for sensor in "abc" for goes_high in (True, False))
SAMPLE_DEG = 360.0 * emf_waves.ELECTRICAL / (2 * np.pi) / RATE    # electrical degrees per sample


@dataclass(frozen=True)
class Ramp:
    """A straight edge of `length` samples from end to end."""

    length: float

    def share(self, since):
        """0 to 1, `since` samples after the half level."""
        return np.clip(since / self.length + 0.5, 0.0, 1.0)

    def per_level(self):
        """Samples that the half level is later for a share of the swing that it lies higher."""
        return self.length

    def variance(self):
        """Of an edge's time, samples², for noise of the swing's size.

        Source: s² Ts / integral g'² = s² length; the length, if unknown, is orthogonal to the half (derived).
        """
        return self.length


@dataclass(frozen=True)
class Decay:
    """An exponential of time constant `tau` samples: a pull-up with its cable."""

    tau: float

    def share(self, since):
        start = since + self.tau * np.log(2.0)
        return 1.0 - np.exp(-np.maximum(start, 0.0) / self.tau)

    def per_level(self):
        return 2.0 * self.tau

    def variance(self):
        """With tau known 2 tau s²; with tau to be found as well 2.298 tau s²: that of the half level.

        Source: inverse of the Fisher information [[1/2, 1/4], [1/4, 1/4]] / tau of start and tau, applied to
        start + tau ln 2 (derived). The half level of a shape whose duration nobody knows cannot be told better.
        """
        return (4.0 - 8.0 * np.log(2.0) + 8.0 * np.log(2.0)**2) * self.tau


@dataclass(frozen=True)
class HallCondition:
    """A motion and its digitizing, with the edges' shapes as the line goes up and down, and what scatters them."""

    name: str
    motion: Condition = field(default_factory=lambda: Condition("constant speed"))
    rising: Ramp | Decay = Ramp(8.0)
    falling: Ramp | Decay = Ramp(8.0)
    jitter: float = 0.0        # deg, standard deviation of every edge
    eccentric: float = 0.0     # deg, once per revolution

    @property
    def sigma(self):
        """Noise and quantisation of a Hall channel together, of the swing."""
        return float(np.hypot(self.motion.noise, self.motion.quantum / np.sqrt(12) / SWING))

    def shape(self, goes_high):
        return self.rising if goes_high else self.falling


def capture_of(condition, rng):
    """A capture and the true angle of the board, degrees: a turn of all sensors drawn anew for each capture."""
    truth = truth_of(condition.motion)
    capture = emf_waves.capture_of(truth, condition.motion, rng)
    turned = rng.uniform(-2.0, 2.0)
    codes, channels = dict(capture.codes), dict(capture.channels)
    for sensor in "abc":
        volts = _volts(truth, condition, sensor, turned, rng)
        volts += condition.motion.noise * SWING * rng.standard_normal(SAMPLES)
        codes[f"h_{sensor}"] = np.round(volts / condition.motion.quantum).astype(np.int16)
        channels[f"h_{sensor}"] = Channel(condition.motion.quantum, code_min=-2**(condition.motion.bits - 1),
                                          code_max=2**(condition.motion.bits - 1) - 1)
    return replace(capture, codes=codes, channels=channels), turned


def _volts(truth, condition, sensor, turned, rng):
    """Channel of one sensor without noise, made edge by edge."""
    edges = []
    for goes_high in (True, False):
        angles = edge_angles(truth, sensor, goes_high, margin=1)
        moved = angles + turned + condition.jitter * rng.standard_normal(angles.size) + (
            condition.eccentric * np.sin(np.deg2rad(angles) / POLE_PAIRS))
        edges += [(when, goes_high) for when in places(truth, moved)]
    edges.sort()
    share = np.full(SAMPLES, 0.0 if edges[0][1] else 1.0)
    for when, goes_high in edges:
        first, last = np.clip([int(when) - 100, int(when) + 250], 0, SAMPLES)
        sign = 1.0 if goes_high else -1.0
        share[first:last] += sign * condition.shape(goes_high).share(np.arange(first, last) - when)
        share[last:] += sign
    return LOW + SWING * share


def edge_angles(truth, sensor, goes_high, margin=0):
    """Electrical degrees (k,) at which a sensor switches within the capture, and `margin` more on each side."""
    target = LAYOUT.rise_deg["abc".index(sensor)] + (0.0 if goes_high else 180.0)
    start, end = np.rad2deg(truth.motion(np.array([-0.5, 0.5]))[0])
    cycles = np.arange(np.ceil((start - target) / 360.0) - margin, np.floor((end - target) / 360.0) + margin + 1)
    return target + 360.0 * cycles


def places(truth, angles_deg):
    """Samples (k,) at which the rotor passes electrical angles, by Newton's method."""
    wanted = np.deg2rad(angles_deg)
    x = (wanted - truth.motion(np.zeros(1))[0]) / truth.turn
    for _ in range(8):
        angle, speed = truth.motion(x)
        x = x - (angle - wanted) / (speed * SAMPLES / RATE)
    return x * SAMPLES + (SAMPLES - 1) / 2


def bounds(condition):
    """Standard deviations at the bound: of mean edge angles (deg), code widths (deg) and duties (%), by name.

    Two independent parts. What the EMF tells of the rotor's angle at the times of the edges, from the joint
    Fisher information of all lines; and the edges' own times, noise over steepness, and their jitter,
    over the number of edges. Nobody knows the levels either: half of them has the variance s² / n at best,
    and moves rises and falls apart.
    """
    truth = truth_of(condition.motion)
    own, where = {}, {}
    for edge in EDGES:
        angles = edge_angles(truth, *edge)
        where[edge] = (places(truth, angles) - (SAMPLES - 1) / 2) / SAMPLES
        time = condition.shape(edge[1]).variance() * condition.sigma**2 * SAMPLE_DEG**2
        own[edge] = (time + condition.jitter**2) / angles.size
    tracked = emf_waves.bound(condition.motion, partial(_tracked, where))
    return {name: float(np.sqrt(tracked[name]**2 + factor**2 * (sum(own[edge] for edge in edges)
                                                                + _level_variance(condition, edges))))
            for name, (factor, edges) in _sums().items()}


def _level_variance(condition, edges):
    """Of a mean or a difference of edges, degrees², from the sensors' unknown levels."""
    late = [condition.shape(goes_high).per_level() * SAMPLE_DEG for _, goes_high in edges]
    one_sensor = len({sensor for sensor, _ in edges}) == 1
    return condition.sigma**2 / SAMPLES * (sum(late)**2 if one_sensor else sum(each**2 for each in late))


def _sums():
    """For each quantity its factor and the edges that it is a mean or a difference of; the first subtracts."""
    found = {f"hall_angle_{'rise' if goes_high else 'fall'}.{sensor}": (1.0, [(sensor, goes_high)])
             for sensor, goes_high in EDGES}
    order = [("a", True), ("c", False), ("b", True), ("a", False), ("c", True), ("b", False)]   # by growing angle
    for number, edge in enumerate(order):
        found[f"hall_sector_{number + 1}"] = (1.0, [edge, order[(number + 1) % 6]])
    return found | {f"hall_duty.{sensor}": (1 / 3.6, [(sensor, True), (sensor, False)]) for sensor in "abc"}


def _tracked(where, truth, waves):
    """Mean angle of edges at the given places, less the zero of v_ab's fundamental; and the differences of these."""
    zero = np.angle(waves[0, 0])
    mean = {edge: float(np.rad2deg(np.mean(truth.motion(x)[0]) + zero)) for edge, x in where.items()}
    return {name: factor * (mean[edges[0]] if len(edges) == 1 else mean[edges[1]] - mean[edges[0]])
            for name, (factor, edges) in _sums().items()}
