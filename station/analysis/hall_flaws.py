"""What a repairer asks of bouncing and missing Hall edges: how many crossings, how long, where in the revolution."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from station.analysis.hall_timing import SensorEdges

MOST_PLACES = 3     # named; more say only that no place is special
WEAK_SHARE = 0.9    # of the revolutions: a pole that misses in so many misses always, but for the capture's ends


@dataclass(frozen=True, slots=True)
class Bounces:
    """Level crossings of one sensor beyond one an edge."""

    edges: int             # that bounce
    typical: int           # crossings of an edge that bounces, the median
    most: int
    typical_span: float    # s from the first to the last crossing of an edge, the median
    longest_span: float    # s
    apart: int             # crossings of pulses away from any edge

    def words(self) -> str:
        """Return these numbers in words."""
        if not self.edges:
            return f"{self.apart} crossings in pulses away from the edges"
        text = (f"{self.edges} edges of typically {self.typical} and at most {self.most} crossings, over typically "
                f"{1e6 * self.typical_span:.3g} us and at most {1e6 * self.longest_span:.3g} us")
        return f"{text}, and {self.apart} crossings in pulses away from the edges" if self.apart else text


def bounces_of(edges: SensorEdges, interval: float) -> Bounces | None:
    """Return how a sensor's edges bounce, None if they do not; `interval` in s."""
    if not edges.extra_crossings:
        return None
    bounced = edges.crossings > 1
    apart = edges.extra_crossings - int((edges.crossings - 1).sum())
    if not bounced.any():
        return Bounces(0, 0, 0, 0.0, 0.0, apart)
    crossings, span = edges.crossings[bounced], interval * edges.bounced[bounced]
    return Bounces(crossings.size, int(np.median(crossings)), int(crossings.max()), float(np.median(span)),
                   float(span.max()), apart)


@dataclass(frozen=True, slots=True)
class Gaps:
    """Where in the revolution the edges of one sensor are missing."""

    times: dict[int, int]   # pole pair, 1 ... p from the one at the capture's start -> revolutions that miss there
    pole_pairs: int
    revolutions: int        # begun in the capture

    def words(self) -> str:
        """Return the places in words, and whether they speak for the rotor or for a contact."""
        if len(self.times) > MOST_PLACES:
            return f"at {len(self.times)} of {self.pole_pairs} pole pairs, which speaks for a contact"
        where = " and ".join(f"at pole pair {pole} of {self.pole_pairs} ({360 * (pole - 1) / self.pole_pairs:.0f} "
                             f"mechanical degrees on) in {times} of {self.revolutions} revolutions"
                             for pole, times in self.times.items())
        fewest = min(self.times.values())
        if self.revolutions > 1 and fewest >= WEAK_SHARE * (self.revolutions - 1):
            return f"{where}, the same place each time, which speaks for a weak pole"
        return f"{where}, {'once' if sum(self.times.values()) == 1 else 'not each time'}, which speaks for a contact"


def gaps_of(cycles: NDArray[np.int64], span: tuple[float, float], pole_pairs: int) -> Gaps | None:
    """Return where edges are missing, from their electrical `cycles` (m,) within `span` (rad); None if none are.

    Pole pairs count from the cycle that holds the smaller end of the span. Rise and fall of one pulse are one place.
    """
    if not cycles.size:
        return None
    first = int(np.floor(span[0] / (2 * pi)))
    lost = np.unique(cycles) - first
    poles, times = np.unique(lost % pole_pairs, return_counts=True)
    revolutions = int(np.ceil((span[1] - span[0]) / (2 * pi * pole_pairs)))
    return Gaps({int(pole) + 1: int(count) for pole, count in zip(poles, times, strict=True)}, pole_pairs, revolutions)
