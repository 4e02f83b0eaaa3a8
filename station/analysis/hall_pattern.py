"""Where in the rotor's cycle edges lie: means, spread, and those that are missing."""

from cmath import phase
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, degrees, floor, radians, sqrt

import numpy as np
from numpy.typing import NDArray

TURN = 2 * np.pi
STRAY_SIGMAS, STRAY_DEG = 8.0, 2.0   # an edge further from its own pole's median than both is in the wrong place
# ... and further than this many standard deviations of its timing. Edges faster than the sampling stay within one
# sample for revolutions, then jump by one, sqrt(12) deviations, while their median deviation is next to nothing.
STRAY_TIMINGS = 5.0
NORMAL_PER_MAD = 1.4826   # standard deviations of a normal scatter in its median deviation
NEAR_DEG = 30.0      # an edge further from its mean angle than this is not the expected one

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EdgePattern:
    """Edges of one sensor and one polarity over a capture."""

    mean_deg: float        # circular mean of the rotor angle, 0 ... 360, of edges in their place
    spread_deg: float      # standard deviation of all edges, per-pole pattern removed
    dof: int               # of the spread
    mean_u_deg: float      # standard uncertainty of the mean from the scatter of edges in their place
    count: int
    eccentricity_deg: float  # amplitude of a once-per-revolution wobble
    stray: NDArray[np.bool_]  # (count,) edges in the wrong place: they count as missing, and move no mean


def edge_pattern(angles: Floats, pole_pairs: int, timing_u_deg: float = 0.0) -> EdgePattern:
    """Return mean and spread of unwrapped rotor angles (k,) rad, k >= 1, each timed within `timing_u_deg`.

    The pattern that repeats every revolution (magnet ring, eccentric mounting) belongs to the
    motor and is taken out of the spread when the capture shows it at least twice; the mean is
    over positions in the revolution, so that part revolutions do not pull it. Edges far from the median
    of their own pole are kept out of the mean but not out of the spread, so that a limit on either sees them.
    """
    mean = phase(np.exp(1j * angles).sum())
    turned = (angles - mean) / TURN
    cycle = np.rint(turned)
    residual = 360.0 * (turned - cycle)
    position = cycle.astype(np.int64) % pole_pairs
    averages, seen = _averages(residual, position, pole_pairs)
    rest = residual - averages[position]
    stray = _stray(residual, position, rest, pole_pairs, max(STRAY_DEG, STRAY_TIMINGS * timing_u_deg))
    lost = int(np.count_nonzero(stray))
    if lost:
        averages, seen = _averages(residual[~stray], position[~stray], pole_pairs)
        rest = residual - averages[position]
    places = int(np.count_nonzero(seen))
    dof = angles.size - places
    if dof <= 0:
        dof, rest = max(angles.size - 1, 0), residual - residual.mean()
    placed = rest[~stray] if lost else rest
    spread, settled = (sqrt(float(each @ each) / max(of, 1)) for each, of in ((rest, dof), (placed, dof - lost)))
    centre = float(averages[seen].sum()) / places
    return EdgePattern((degrees(mean) + centre) % 360.0, spread, dof, settled / sqrt(max(placed.size, 1)), angles.size,
                       _wobble(averages, seen), stray)


def _averages(residual: Floats, position: NDArray[np.int64], pole_pairs: int) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean of each pole, (p,) degrees, and which poles have an edge."""
    counts = np.bincount(position, minlength=pole_pairs)
    means = np.bincount(position, weights=residual, minlength=pole_pairs) / np.maximum(counts, 1)
    return means, counts > 0


def _stray(residual: Floats, position: NDArray[np.int64], rest: Floats, poles: int, least_deg: float
           ) -> NDArray[np.bool_]:
    """Flag edges (k,) further than `least_deg` and many robust deviations of all edges from the median of their pole.

    `rest` (k,) is what `residual` differs by from the mean of its pole. No median lies further from an edge than
    twice its mean does, so a quiet sensor is looked at no closer.
    """
    if np.abs(rest).max() <= least_deg / 2:
        return np.zeros(residual.size, dtype=np.bool_)
    medians = np.array([np.median(residual[position == each]) if (position == each).any() else 0.0
                        for each in range(poles)])
    away = np.abs(residual - medians[position])
    stray: NDArray[np.bool_] = away > max(STRAY_SIGMAS * NORMAL_PER_MAD * float(np.median(away)), least_deg)
    return stray


def _wobble(averages: Floats, seen: NDArray[np.bool_]) -> float:
    """Amplitude of the once-per-revolution part of the per-pole pattern, degrees."""
    if not seen.all() or averages.size < 3:
        return 0.0
    return 2 * abs(complex(averages @ _once_around(averages.size))) / averages.size


@lru_cache(maxsize=8)
def _once_around(places: int) -> NDArray[np.complex128]:
    """Unit vectors (places,) that turn once."""
    vectors: NDArray[np.complex128] = np.exp(-1j * TURN * np.arange(places) / places)
    return vectors


def missing_cycles(angles: Floats, mean_deg: float, span: tuple[float, float]) -> NDArray[np.int64]:
    """Return the cycles (m,) in `span` (rad, rotor angle) with no edge near the mean angle."""
    mean, margin = radians(mean_deg), radians(NEAR_DEG)
    first, last = ceil((span[0] + margin - mean) / TURN), floor((span[1] - margin - mean) / TURN)
    turned = (angles - mean) / TURN
    cycle = np.rint(turned)
    near = (abs(turned - cycle) < margin / TURN) & (cycle >= first) & (cycle <= last)
    lost = np.ones(max(0, last - first + 1), dtype=np.bool_)
    lost[cycle[near].astype(np.int64) - first] = False
    return np.flatnonzero(lost) + first


def edges_per_revolution(angles: Sequence[Floats], pole_pairs: int, span: tuple[float, float]) -> float:
    """Edges of all sensors per mechanical revolution, over as many whole revolutions as fit `span`.

    The count starts in the widest gap between edges of the first period, where no jitter can move an
    edge across the border. Less than one revolution is counted over what there is.
    """
    merged = np.sort(np.concatenate(angles)) if angles else np.zeros(0)
    turn = TURN * pole_pairs
    cycle = merged[:np.searchsorted(merged, merged[0] + 1.1 * TURN)] if merged.size else merged
    if cycle.size > 1:
        gaps = np.diff(cycle)
        widest = int(np.argmax(gaps))
        start = cycle[widest] + 0.5 * gaps[widest]
        whole = int((span[1] - start) / turn)
        if whole >= 1:
            return int(np.searchsorted(merged, start + whole * turn) - np.searchsorted(merged, start)) / whole
    return float(merged.size * turn / (span[1] - span[0]))
