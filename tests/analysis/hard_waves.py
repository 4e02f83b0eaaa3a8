"""Captures of lines and Hall sensors together, for the hard cases: one rotor angle makes all six signals."""

from dataclasses import dataclass, replace

import numpy as np
from hall_signals import LAYOUTS, capture_of, good_leads
from waves import Turning, Winding, capture, motor

RPM_100_HZ = 1500.0   # at four pole pairs
TRAPEZE = Winding({1: (8.0 / 1.5, 0.0), 5: (0.04 * 8.0 / 1.5, 0.0), 7: (0.0204 * 8.0 / 1.5, 0.0),
                   11: (0.0083 * 8.0 / 1.5, 0.0), 13: (0.0059 * 8.0 / 1.5, 0.0)})   # 8 V at 1500 r/min
SLOTS = 24            # per revolution: six per electrical period at four pole pairs


@dataclass(frozen=True)
class Shaft:
    """A turning rotor, as the Hall signals want it."""

    turning: Turning
    angle_u: float = 1e-5   # rad
    stitch_u: float = 0.0   # rad

    @property
    def frequency(self):
        return self.turning.pole_pairs * self.turning.rpm / 60

    @property
    def direction(self):
        return 1 if self.frequency > 0 else -1

    @property
    def mean_electrical_frequency(self):
        return abs(self.frequency)

    @property
    def pole_pairs(self):
        return self.turning.pole_pairs

    def rotor_angle(self, times):
        return self.turning.angle(np.asarray(times))

    def angular_speed(self, times):
        return self.turning.pole_pairs * self.turning.speed(np.asarray(times))


@dataclass(frozen=True)
class Cogging(Turning):
    """Speed ripple a whole number of times per revolution, in step with the slots or with the lines."""

    slot_ripple: float = 0.0   # relative speed amplitude
    times: int = SLOTS         # per revolution

    def angle(self, t):
        w = self.mechanical_speed
        return super().angle(t) + self.pole_pairs * self.slot_ripple * np.sin(self.times * w * t) / self.times

    def speed(self, t):
        w = self.mechanical_speed
        return super().speed(t) + w * self.slot_ripple * np.cos(self.times * w * t)


def sensed(pole_pairs=4, spacing=120, **reference):
    """A motor type with three Hall sensors."""
    return replace(motor(pole_pairs, **reference), sensors=LAYOUTS[spacing])


def six_channels(turning=None, winding=TRAPEZE, *, leads=None, seed=5, hall_spoil=None, rate=100e3, seconds=0.4154,
                 hall_noise=5e-3, **more):
    """Capture of all six channels; `leads` of the Hall sensors, `more` as `waves.capture` takes it."""
    turning, rng = turning or Turning(), np.random.default_rng(seed)
    lines = capture(turning, winding, rng, rate=rate, seconds=seconds, noise=more.pop("noise", 0.04), **more)
    halls = capture_of(Shaft(turning), leads or good_leads(), rng, rate=rate, seconds=seconds, noise=hall_noise,
                       spoil=hall_spoil)
    return replace(lines, codes={**lines.codes, **halls.codes}, channels={**lines.channels, **halls.channels})
