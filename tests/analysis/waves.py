"""Captures of a turning rotor's line-to-line back-EMF, made from its definition, for the tests of this folder."""

from dataclasses import dataclass, field

import numpy as np

from station.capture import Accuracy, Capture, Channel
from station.motor import MotorType, Reference

KRPM = 1000 * 2 * np.pi / 60         # rad/s
PLAIN = {1: (10.0, 0.0), 5: (0.4, 180.0), 7: (0.2, 20.0), 11: (0.08, 0.0), 13: (0.06, -50.0)}


@dataclass(frozen=True)
class Turning:
    """Rotor angle in time: mean speed, once-per-revolution ripple, any other ripple, and steady drift."""

    rpm: float = 1500.0               # signed
    pole_pairs: int = 4
    ripple: float = 0.0               # relative speed amplitude, once per revolution
    odd_ripple: float = 0.0           # relative speed amplitude at 3.7 per revolution
    drift: float = 0.0                # relative change of speed over one second
    start_deg: float = 37.0

    @property
    def mechanical_speed(self):
        return self.rpm * 2 * np.pi / 60

    def angle(self, t):
        """Electrical rad at `t` s."""
        w = self.mechanical_speed
        bent = t + 0.5 * self.drift * t**2
        for order, size in ((1.0, self.ripple), (3.7, self.odd_ripple)):
            bent = bent + size * np.sin(order * w * t) / (order * w)
        return np.deg2rad(self.start_deg) + self.pole_pairs * w * bent

    def speed(self, t):
        """Mechanical rad/s, signed, at `t` s."""
        w = self.mechanical_speed
        return w * (1 + self.drift * t + self.ripple * np.cos(w * t) + self.odd_ripple * np.cos(3.7 * w * t))


@dataclass(frozen=True)
class Winding:
    """Line waves: `harmonics` order -> (V/krpm, deg); each line a gain and a shift of its own in degrees."""

    harmonics: dict = field(default_factory=lambda: dict(PLAIN))
    gains: tuple = (1.0, 1.0, 1.0)
    shifts_deg: tuple = (0.0, 0.0, 0.0)
    shape: object = None              # a function of angle (rad) and line, instead of harmonics

    def volts_per_speed(self, angle, line):
        """Volts per rad/s of line 0, 1, 2 at electrical rad `angle`."""
        own = angle - np.deg2rad(120.0 * line + self.shifts_deg[line])
        if self.shape is not None:
            return self.gains[line] * self.shape(own)
        wave = sum(size * np.sin(h * own + np.deg2rad(phase)) for h, (size, phase) in self.harmonics.items())
        return self.gains[line] * wave / KRPM


def motor(pole_pairs=4, **reference):
    return MotorType("T-1", pole_pairs, "star", 48.0, "clockwise", "drive end", None, Reference(**reference))


def capture(turning, winding, rng, *, rate=250e3, seconds=0.5, noise=5e-3, scale=1e-3, spoil=None, leads="abc",
            poles=None, offsets=(0.0, 0.0, 0.0), delays=((0.0, 0.0),) * 3, drive_rpm=None, temperature=20.0):
    """Capture of three lines.

    `spoil(name, volts)` may change volts, `leads` is the order in which the motor's leads a, b, c reach
    the fixture, `poles` the gain of each half cycle in a revolution, `delays` (skew, lag) of each channel, s.
    """
    times, lines = np.arange(int(rate * seconds)) / rate, []
    codes, channels = {}, {}
    for line in range(3):
        skew, lag = delays[line]
        lines.append(_line(turning, winding, times + skew - lag, line, poles))
    for index, name in enumerate(("v_ab", "v_bc", "v_ca")):
        volts = _exchanged(lines, leads[index] + leads[(index + 1) % 3]) + offsets[index]
        volts = volts + noise * rng.standard_normal(times.size)
        volts = volts if spoil is None else spoil(name, volts)
        codes[name] = np.clip(np.round(volts / scale), -32768, 32767).astype(np.int16)
        channels[name] = Channel(scale, skew=delays[index][0], lag=delays[index][1])
    drive = turning.mechanical_speed if drive_rpm is None else drive_rpm * 2 * np.pi / 60
    return Capture(codes, channels, 1 / rate, 0.0, drive, drive, temperature, Accuracy(), "forward 1500")


def _line(turning, winding, times, line, poles):
    angle = turning.angle(times)
    wave = winding.volts_per_speed(angle, line)
    if poles is not None:
        own = angle / np.pi - (120.0 * line + winding.shifts_deg[line]) / 180.0
        wave = wave * np.asarray(poles)[np.floor(own).astype(int) % len(poles)]
    return turning.speed(times) * wave


def _exchanged(lines, pair):
    """Volts between two of the motor's leads."""
    forward = ("ab", "bc", "ca")
    return lines[forward.index(pair)] if pair in forward else -lines[forward.index(pair[::-1])]
