"""The two state levels of a Hall sensor, or why it has none."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from station.capture import Capture, Channel

MIN_SWING = 0.5      # V between the states; common practice for 3.3 V and 5 V sensors, no source
MIN_SHARE = 0.02     # of the record in each state; less is a stray pulse on a stuck line
MIN_SETTLED = 0.6    # of the record near one of the two levels; less is no switching signal
NEAR = 0.2           # of the swing: how near a level a settled sample lies
MIN_SWING_IN_NOISE = 12.0
FIRST_LOOK = 4096    # samples that tell states apart
LOOKED_AT = 32_768   # samples for the levels themselves; 1/128 of the noise is left, far less than edges add
MIN_SETTLED_SAMPLES = 64   # of each state, to take its level from them alone
QUARTILES = 1.349    # standard deviations between the quartiles of a normal distribution


@dataclass(frozen=True, slots=True)
class HallLevels:
    """State levels in codes and volts, with the noise around them."""

    low_code: float
    high_code: float
    low: float        # V
    high: float       # V
    noise_code: float  # standard deviation of settled samples

    @property
    def swing_code(self) -> float:
        """Codes from low to high; negative where the scale is."""
        return self.high_code - self.low_code

    def at_codes(self, low_code: float, high_code: float, noise_code: float) -> "HallLevels":
        """Return levels at other codes of the same channel."""
        scale = (self.high - self.low) / self.swing_code
        return HallLevels(low_code, high_code, self.low + scale * (low_code - self.low_code),
                          self.high + scale * (high_code - self.high_code), noise_code)

    def code_at(self, share: float) -> float:
        """Return the code at `share` of the swing: 0 is low, 1 is high."""
        return self.low_code + share * self.swing_code


@dataclass(frozen=True, slots=True)
class NoLevels:
    """A sensor line that does not switch between two states."""

    mean: float         # V
    peak_to_peak: float  # V


def sensor_levels(capture: Capture, sensor: str) -> HallLevels | NoLevels:
    """Return the levels of a sensor; a missing channel has none."""
    name = f"h_{sensor}"
    codes = capture.codes.get(name)
    if codes is None or not codes.size:
        return NoLevels(float("nan"), float("nan"))
    return find_levels(codes, capture.channels[name])


def find_levels(codes: NDArray[np.int16], channel: Channel) -> HallLevels | NoLevels:
    """Return the two state levels, centres of the two clusters of codes, or NoLevels.

    A sensor stuck anywhere, even half way with a threshold full of noise, has NoLevels: its
    clusters are no further apart than their noise, or one of them is nearly empty. These levels
    serve to find edges; `settled_levels` then gives those without the tails of edges. Both are
    statistics, for which a fixed part of a long record is enough; edges are looked for everywhere.

    Parameters
    ----------
    codes : (n,) int16, n >= 1
    channel : scale and offset of the codes
    """
    ordered = np.sort(codes.take(_places(codes.size, FIRST_LOOK)), kind="stable")    # by radix for 16 bits: linear
    size = ordered.size
    outer = size // 100    # further out lie pulses that belong to no state
    middle = 0.5 * (float(ordered[outer]) + float(ordered[size - 1 - outer]))
    split = int(np.searchsorted(ordered, np.int16(np.floor(middle)), side="right"))
    if min(split, size - split) < MIN_SHARE * size:
        return _stuck(codes, channel)
    below, above = _quartiles(ordered[:split]), _quartiles(ordered[split:])
    first, second = below[1], above[1]
    swing, noise = second - first, max(below[2] - below[0], above[2] - above[0]) / QUARTILES
    near = np.searchsorted(ordered, [first - NEAR * swing, first + NEAR * swing, second - NEAR * swing,
                                     second + NEAR * swing])
    settled = int(near[1] - near[0] + near[3] - near[2])
    if (swing * abs(channel.scale) < MIN_SWING or settled < MIN_SETTLED * size
            or swing < MIN_SWING_IN_NOISE * noise):
        return _stuck(codes, channel)
    low, high = (first, second) if channel.scale > 0 else (second, first)
    return HallLevels(low, high, channel.scale * low + channel.offset, channel.scale * high + channel.offset, noise)


def settled_levels(codes: NDArray[np.int16], levels: HallLevels, begin: NDArray[np.int64],
                   end: NDArray[np.int64]) -> HallLevels:
    """Return the levels as means over the settled stretches of a record, with the noise around them.

    Parameters
    ----------
    begin, end : (m,) samples between which, the end not included, the line rests in one state; ascending
    """
    places = _places(codes.size, LOOKED_AT)
    first, last = np.searchsorted(places, begin), np.searchsorted(places, end)
    first, last = first[last > first], last[last > first]
    bounds = np.array([first, last]).T.ravel()
    if not bounds.size:
        return levels
    middle, values = levels.code_at(0.5), np.empty(places.size + 1)
    values[-1] = 0.0                         # only ends a stretch
    np.subtract(codes.take(places), middle, out=values[:-1])
    total = np.add.reduceat(values, bounds)[::2]
    squares = np.add.reduceat(np.multiply(values, values, out=values), bounds)[::2]
    sums, is_high = np.array([last - first, total, squares]), total * levels.swing_code > 0.0
    found = []
    for chosen in (~is_high, is_high):
        size, deviation, square = sums.compress(chosen, axis=1).sum(axis=1).tolist()
        if size < MIN_SETTLED_SAMPLES:
            return levels
        mean = deviation / size
        found.append((mean + middle, max(0.0, square / size - mean**2)))
    (low, low_variance), (high, high_variance) = found
    return levels.at_codes(low, high, float(np.sqrt(max(low_variance, high_variance))))


@lru_cache(maxsize=8)
def _places(size: int, wanted: int) -> NDArray[np.int64]:
    """Indices of `wanted` samples, one in each of equal stretches of the record; all if there are no more.

    Their places within the stretches follow the golden ratio, so that no period of the signal can
    hide a state between them.
    """
    if size <= wanted:
        return np.arange(size)
    number = np.arange(wanted)
    within = number * ((np.sqrt(5.0) - 1.0) / 2.0) % 1.0
    places: NDArray[np.int64] = ((number + within) * (size / wanted)).astype(np.int64)
    return places


def _quartiles(ordered: NDArray[np.int16]) -> tuple[float, float, float]:
    """Return the quartiles of sorted codes, which bounce and edges hardly move."""
    size = ordered.size
    return float(ordered[size // 4]), float(ordered[size // 2]), float(ordered[3 * size // 4])


def _stuck(codes: NDArray[np.int16], channel: Channel) -> NoLevels:
    return NoLevels(mean=channel.scale * float(codes.mean()) + channel.offset,
                    peak_to_peak=abs(channel.scale) * (float(codes.max()) - float(codes.min())))
