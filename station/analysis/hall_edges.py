"""Edges of one Hall sensor, found on integer codes and grouped over bounce."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.hall_crossings import state_runs
from station.analysis.hall_levels import HallLevels, settled_levels

LOWER, UPPER = 0.3, 0.7       # of the swing: a state is entered beyond these, noise between them is none
SETTLING = 7                  # spans after an edge until nothing of it is left in the level: six time constants
DEBOUNCE = 50e-6              # s; and never more than 1/20 of a sector

Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Bursts:
    """State changes no further apart than the debounce time, (m,) each."""

    before: Indices           # last sample in the old state
    first: Indices            # first sample in another state
    after: Indices            # first sample in the state that lasts
    crossings: Indices
    rising: Flags             # the first change goes up

    def pick(self, flags: Flags) -> "Bursts":
        """Return the bursts where `flags` is true."""
        return Bursts(self.before[flags], self.first[flags], self.after[flags], self.crossings[flags],
                      self.rising[flags])


@dataclass(frozen=True, slots=True)
class FoundEdges:
    """Edges of one sensor in order of time, not yet timed between samples."""

    codes: NDArray[np.int16]  # (n,) that they were found on
    levels: HallLevels        # of its settled stretches
    edges: Bursts             # (k,) those with a settled window
    clean: Flags              # (k,) no bounce, and nothing else in the window
    reach: tuple[int, int]    # samples of the window before and after the change
    extra_crossings: int      # bounce around edges, and pulses that are no edge
    cut: int                  # edges at the record's ends without a settled window; not among these


def debounce_samples(interval: float, samples_per_sector: float) -> int:
    """Return the debounce time, min(50 us, 1/20 sector), in samples, at least one."""
    return max(1, int(min(DEBOUNCE / interval, samples_per_sector / 20)))


def find_edges(codes: NDArray[np.int16], levels: HallLevels, samples_per_sector: float,
               debounce: int) -> FoundEdges:
    """Return the edges of one sensor.

    Parameters
    ----------
    codes : (n,) int16
    levels : state levels of this sensor
    samples_per_sector : samples in 60 electrical degrees
    debounce : samples; changes no further apart are one burst

    Notes
    -----
    A burst with an odd number of crossings is one edge, the rest of them bounce; one with an even
    number is a pulse that counts as bounce only.
    """
    bursts = _bursts(codes, levels, debounce)
    is_edge = bursts.crossings % 2 == 1
    span = _span(bursts, is_edge)
    before, after = reach = _reach(span, samples_per_sector)
    inside = (bursts.before >= before) & (bursts.after + after < codes.size)
    clean = _alone(bursts, before + after) & (bursts.crossings == 1)
    kept = is_edge & inside
    settled = settled_levels(codes, levels, np.append(0, bursts.after) + SETTLING * span + 2,
                             np.append(bursts.before - before, codes.size))
    return FoundEdges(codes, settled, bursts.pick(kept), clean[kept], reach,
                      extra_crossings=int(bursts.crossings.sum()) - int(is_edge.sum()),
                      cut=int((is_edge & ~inside).sum()))


def _bursts(codes: NDArray[np.int16], levels: HallLevels, debounce: int) -> Bursts:
    """Changes of state with hysteresis, grouped."""
    last, first, up = _changes(codes, levels)
    if not first.size:
        return Bursts(last, first, first, first, up)
    starts = np.append(0, np.flatnonzero(np.diff(first) > debounce) + 1)
    ends = np.append(starts[1:], first.size) - 1
    return Bursts(last[starts], first[starts], first[ends], ends - starts + 1, up[starts])


def _changes(codes: NDArray[np.int16], levels: HallLevels) -> tuple[Indices, Indices, Flags]:
    """For each change of state: last sample in the old, first in the new, and whether it goes up.

    Samples between the two thresholds belong to no state, so that noise on a slow edge is not
    taken for bounce.
    """
    lower, upper = sorted((levels.code_at(LOWER), levels.code_at(UPPER)))
    starts, ends, high = state_runs(codes, lower, upper)
    at = np.flatnonzero(high[1:] != high[:-1])
    return ends[at], starts[at + 1], high[at + 1] == (levels.swing_code > 0)


def _span(bursts: Bursts, is_edge: Flags) -> int:
    """Samples from 30 to 70 % of an edge, the median of the slower polarity; 0 if less than one."""
    spans = bursts.first - bursts.before
    each = [np.sort(spans[chosen]) for chosen in (is_edge & bursts.rising, is_edge & ~bursts.rising)]
    return max((int(ordered[ordered.size // 2]) - 1 for ordered in each if ordered.size), default=0)


def _reach(span: int, samples_per_sector: float) -> tuple[int, int]:
    """Samples before and after a burst between which an edge begins and settles.

    From 30 to 70 % an exponential takes 0.85 time constants; it begins 0.4 of these spans before
    and is within two percent five spans after. A ramp needs 0.75 of its span on both sides.
    """
    most = max(2, int(samples_per_sector / 2))
    return min(most, 2 + 2 * span), min(most, 2 + 5 * span)


def _alone(bursts: Bursts, distance: int) -> Flags:
    """True for bursts with no other burst within `distance` samples."""
    gap = bursts.before[1:] - bursts.after[:-1] > distance
    return np.append(True, gap) & np.append(gap, True) if bursts.before.size else np.zeros(0, dtype=np.bool_)
