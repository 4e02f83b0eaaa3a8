"""The two state levels of a Hall sensor, or why it has none."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import Channel

MIN_SWING = 0.5      # V between the states; common practice for 3.3 V and 5 V sensors, no source
MIN_SHARE = 0.02     # of the record in each state; less is a stray pulse on a stuck line
MIN_SETTLED = 0.6    # of the record near one of the two levels; less is no switching signal
NEAR = 0.2           # of the swing: how near a level a settled sample lies
MIN_SWING_IN_NOISE = 12.0


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

    def code_at(self, share: float) -> float:
        """Return the code at `share` of the swing: 0 is low, 1 is high."""
        return self.low_code + share * self.swing_code


@dataclass(frozen=True, slots=True)
class NoLevels:
    """A sensor line that does not switch between two states."""

    mean: float         # V
    peak_to_peak: float  # V


def find_levels(codes: NDArray[np.int16], channel: Channel) -> HallLevels | NoLevels:
    """Return the two state levels, medians of the two clusters of codes, or NoLevels.

    A sensor stuck anywhere, even half way with a threshold full of noise, has NoLevels: its
    clusters are no further apart than their noise, or one of them is nearly empty.

    Parameters
    ----------
    codes : (n,) int16, n >= 1
    channel : scale and offset of the codes
    """
    histogram = np.bincount(codes.astype(np.int32) + 32768, minlength=65536)   # far faster than a sort
    values = np.flatnonzero(histogram) - 32768
    counts = histogram[values + 32768]
    middle = 0.5 * (float(values[0]) + float(values[-1]))
    below = values <= middle
    stuck = NoLevels(mean=channel.scale * float(np.average(values, weights=counts)) + channel.offset,
                     peak_to_peak=abs(channel.scale) * float(values[-1] - values[0]))
    if below.all() or min(counts[below].sum(), counts[~below].sum()) < MIN_SHARE * codes.size:
        return stuck
    first, second = _median(values[below], counts[below]), _median(values[~below], counts[~below])
    swing = second - first
    near_first, near_second = abs(values - first) < NEAR * swing, abs(values - second) < NEAR * swing
    settled = int(counts[near_first].sum() + counts[near_second].sum())
    noise = _noise(values, counts, ((near_first, first), (near_second, second)))
    if (swing * abs(channel.scale) < MIN_SWING or settled < MIN_SETTLED * codes.size
            or swing < MIN_SWING_IN_NOISE * noise):
        return stuck
    low, high = (first, second) if channel.scale > 0 else (second, first)
    return HallLevels(low, high, channel.scale * low + channel.offset, channel.scale * high + channel.offset,
                      noise)


def _median(values: NDArray[np.int64], counts: NDArray[np.int64]) -> float:
    """Median of a cluster, refined by the mean of what lies within a few codes of it.

    The refinement gives levels finer than one code; the window keeps bounce and edges out.
    """
    middle = float(values[np.searchsorted(np.cumsum(counts), 0.5 * counts.sum())])
    spread = float(np.average(abs(values - middle), weights=counts))
    near = abs(values - middle) <= max(1.0, 3.0 * spread)
    if spread > 0.0 and abs(float(np.average(values[near], weights=counts[near])) - middle) > 0.5:
        return middle
    return float(np.average(values[near], weights=counts[near]))


def _noise(values: NDArray[np.int64], counts: NDArray[np.int64],
           clusters: tuple[tuple[NDArray[np.bool_], float], ...]) -> float:
    """Median absolute deviation around each level, as a standard deviation; the larger of both."""
    worst = 0.0
    for near, level in clusters:
        if not near.any():
            continue
        distance = abs(values[near] - level)
        order = np.argsort(distance)
        reached = np.cumsum(counts[near][order])
        worst = max(worst, 1.4826 * float(distance[order][np.searchsorted(reached, 0.5 * reached[-1])]))
    return worst
