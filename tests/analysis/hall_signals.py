"""Hall signals of a turning rotor, made edge by edge from their definition, for the tests of this folder."""

from dataclasses import dataclass

import numpy as np

from station.capture import Accuracy, Capture, Channel
from station.motor import HallLayout, MotorType

LAYOUTS = {120: HallLayout(120, (0.0, 120.0, 240.0)), 60: HallLayout(60, (0.0, 60.0, 120.0))}
SCALE = 1e-3


@dataclass(frozen=True)
class Rotor:
    """Rotor angle at a mean electrical frequency with once-per-revolution speed ripple."""

    frequency: float = 100.0     # Hz, signed: negative turns in reverse
    ripple: float = 0.0          # relative speed amplitude at mechanical order 1
    pole_pairs: int = 4
    start_deg: float = 17.0
    angle_u: float = 1e-4        # rad
    stitch_u: float = 0.0        # rad

    @property
    def direction(self):
        return 1 if self.frequency > 0 else -1

    @property
    def mean_electrical_frequency(self):
        return abs(self.frequency)

    def rotor_angle(self, times):
        turn = 2 * np.pi * self.frequency * np.asarray(times)
        mechanical = turn / self.pole_pairs
        return np.deg2rad(self.start_deg) + turn + self.pole_pairs * self.ripple * np.sin(mechanical)

    def angular_speed(self, times):
        mechanical = 2 * np.pi * self.frequency / self.pole_pairs * np.asarray(times)
        return 2 * np.pi * self.frequency * (1 + self.ripple * np.cos(mechanical))


def motor_type(spacing=120, layout=None, pole_pairs=4):
    return MotorType("T-1", pole_pairs, "star", 48.0, "clockwise", "drive end", layout or LAYOUTS[spacing])


@dataclass(frozen=True)
class Lead:
    """One Hall lead: high while the rotor angle is between rise and fall; levels and slope in time."""

    rise: float
    fall: float
    low: float = 0.2
    high: float = 4.8
    ramp: float = 20e-6          # s, whole transition; zero for none
    skew: float = 0.0
    lag: float = 0.0


def lead(rise, **more):
    return Lead(rise % 360, (rise + 180) % 360, **more)


def level(rotor, times, one):
    """Voltage at `times`: the switching state averaged over a window as long as the ramp."""
    grid, total = _high_seconds(rotor, one, times)
    half = 0.5 * max(one.ramp, 1e-9)
    share = (np.interp(times + half, grid, total) - np.interp(times - half, grid, total)) / (2 * half)
    return one.low + (one.high - one.low) * share


def _high_seconds(rotor, one, times):
    """Edge times by bisection on the rotor angle; time spent high since the first of them."""
    margin = 0.02
    begin, end = times[0] - margin, times[-1] + margin
    span = np.sort(rotor.rotor_angle(np.array([begin, end])))
    edges = []
    for angle, goes_high in ((one.rise, 1), (one.fall, 0)):
        first = np.ceil((span[0] - np.deg2rad(angle)) / (2 * np.pi))
        last = np.floor((span[1] - np.deg2rad(angle)) / (2 * np.pi))
        targets = np.deg2rad(angle) + 2 * np.pi * np.arange(first, last + 1)
        low, high = np.full(targets.size, begin), np.full(targets.size, end)
        for _ in range(60):
            middle = 0.5 * (low + high)
            early = (rotor.rotor_angle(middle) < targets) == (rotor.frequency > 0)
            low, high = np.where(early, middle, low), np.where(early, high, middle)
        state = goes_high if rotor.frequency > 0 else 1 - goes_high
        edges += [(when, state) for when in low]
    edges.sort()
    grid = np.array([begin, *(when for when, _ in edges), end])
    states = np.array([1 - edges[0][1], *(state for _, state in edges)])
    return grid, np.concatenate([[0.0], np.cumsum(states * np.diff(grid))])


def capture_of(rotor, leads, rng, *, rate=250e3, seconds=0.4, noise=5e-3, drive_sign=None, spoil=None):
    """A capture of three leads; `spoil(name, volts)` may change the volts of a channel."""
    count = int(rate * seconds)
    codes, channels = {}, {}
    for name, one in leads.items():
        times = np.arange(count) / rate + getattr(one, "skew", 0.0) - getattr(one, "lag", 0.0)
        volts = level(rotor, times, one) if isinstance(one, Lead) else np.full(count, float(one))
        volts = volts + noise * rng.standard_normal(count)
        if spoil is not None:
            volts = spoil(name, volts)
        codes[f"h_{name}"] = np.round(volts / SCALE).astype(np.int16)
        channels[f"h_{name}"] = Channel(SCALE, skew=getattr(one, "skew", 0.0), lag=getattr(one, "lag", 0.0))
    sign = drive_sign if drive_sign is not None else rotor.direction
    speed = sign * 2 * np.pi * abs(rotor.frequency) / rotor.pole_pairs
    return Capture(codes, channels, 1 / rate, 0.0, speed, speed, 23.0, Accuracy(), "forward 1500")


def good_leads(spacing=120, **more):
    return {name: lead(rise, **more) for name, rise in zip("abc", LAYOUTS[spacing].rise_deg, strict=True)}
