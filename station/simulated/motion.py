"""Shaft angle and speed over time: legs of constant acceleration with ripple, both in closed form."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Leg:
    """Motion of constant acceleration from `start` to the start of the next leg; without ripple."""

    start: float          # s
    angle: float          # rad at the start
    speed: float          # rad/s at the start
    acceleration: float   # rad/s2
    beat: float           # rad, integral of speed times the free ripple's cosine up to the start


@dataclass(frozen=True, slots=True)
class Ripple:
    """Speed ripple of a mechanical order: `share` of the speed, cosine of order x angle + phase."""

    order: int
    share: float
    phase: float


@dataclass(frozen=True, slots=True)
class Motion:
    """The course of the shaft. The angle is the exact integral of the speed at all times.

    With smooth angle phi and speed s, the angle is phi + sum share/order sin(order phi + phase) + free
    share x integral of s cos(w t), and its derivative s (1 + sum share cos(order phi + phase) + ...).
    """

    legs: tuple[Leg, ...]
    ripples: tuple[Ripple, ...]
    free_hz: float        # Hz, of a ripple not locked to the shaft
    free_share: float

    def leg(self, t: float) -> Leg:
        """Return the leg in force at time `t`, s."""
        return next((leg for leg in reversed(self.legs) if leg.start <= t), self.legs[0])

    def smooth_speed(self, t: float) -> float:
        """Return the speed without ripple at `t`, rad/s."""
        leg = self.leg(t)
        return leg.speed + leg.acceleration * (t - leg.start)

    def then(self, at: float, acceleration: float, kept: int, *, speed: float | None = None) -> "Motion":
        """Return this motion with a new leg from `at`, s, in place of anything planned later.

        `speed` names the speed reached where rounding would blur it (a ramp ends exactly on its target).
        """
        legs = tuple(leg for leg in self.legs if leg.start < at) or self.legs[:1]
        last = legs[-1]
        passed = max(at - last.start, 0.0)
        now = last.speed + last.acceleration * passed
        angle = last.angle + last.speed * passed + last.acceleration * passed**2 / 2
        beat = last.beat + float(self._beat(last.start, last.speed, last.acceleration, at))
        new = Leg(at, angle, now if speed is None else speed, acceleration, beat)
        return replace(self, legs=(*legs, new)[-kept:])

    def angle(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (n,) rad at (n,) simulated s."""
        start, angle, speed, acceleration, beat = self._columns(times)
        passed = times - start
        smooth = angle + (speed + acceleration * passed / 2) * passed
        free = self.free_share * (beat + self._beat(start, speed, acceleration, times))
        return np.asarray(smooth + free + sum(
            r.share / r.order * np.sin(r.order * smooth + r.phase) for r in self.ripples))

    def speed(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (n,) rad/s at (n,) simulated s."""
        start, angle, speed, acceleration, _ = self._columns(times)
        passed = times - start
        smooth = angle + (speed + acceleration * passed / 2) * passed
        ripple = sum(r.share * np.cos(r.order * smooth + r.phase) for r in self.ripples)
        free = self.free_share * np.cos(2 * pi * self.free_hz * times)
        return np.asarray((speed + acceleration * passed) * (1.0 + ripple + free))

    def _columns(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        table = np.array([(leg.start, leg.angle, leg.speed, leg.acceleration, leg.beat) for leg in self.legs]).T
        index = np.clip(np.searchsorted(table[0], times, side="right") - 1, 0, None)
        if index.size and index.min() == index.max():
            return np.asarray(table[:, index[0], np.newaxis])
        return np.asarray(table[:, index])

    def _beat(self, start: float | NDArray[np.float64], speed: float | NDArray[np.float64],
              acceleration: float | NDArray[np.float64], end: float | NDArray[np.float64],
              ) -> NDArray[np.float64]:
        """Integral of (speed + acceleration (t - start)) cos(w t) from start to end, by parts."""
        w = 2 * pi * self.free_hz
        final = speed + acceleration * (end - start)
        return np.asarray((final * np.sin(w * end) - speed * np.sin(w * start)) / w
                          + acceleration * (np.cos(w * end) - np.cos(w * start)) / w**2)
