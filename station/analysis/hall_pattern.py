"""Where in the rotor's cycle edges lie: means, spread, and those that are missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import degrees, sqrt

import numpy as np
from numpy.typing import NDArray

TURN = 2 * np.pi
NEAR_DEG = 30.0      # an edge further from its mean angle than this is not the expected one

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EdgePattern:
    """Edges of one sensor and one polarity over a capture."""

    mean_deg: float        # circular mean of the rotor angle, 0 ... 360
    spread_deg: float      # standard deviation, per-pole pattern removed
    dof: int               # of the spread
    mean_u_deg: float      # standard uncertainty of the mean from the scatter alone
    count: int
    eccentricity_deg: float  # amplitude of a once-per-revolution wobble


def edge_pattern(angles: Floats, pole_pairs: int) -> EdgePattern:
    """Return mean and spread of unwrapped rotor angles (k,) rad, k >= 1.

    The pattern that repeats every revolution (magnet ring, eccentric mounting) belongs to the
    motor and is taken out of the spread when the capture shows it at least twice; the mean is
    over positions in the revolution, so that part revolutions do not pull it.
    """
    mean = float(np.angle(np.exp(1j * angles).sum()))
    turned = (angles - mean) / TURN
    cycle = np.rint(turned)
    residual = 360.0 * (turned - cycle)
    position = cycle.astype(np.int64) % pole_pairs
    counts = np.bincount(position, minlength=pole_pairs)
    seen = counts > 0
    averages = np.bincount(position, weights=residual, minlength=pole_pairs) / np.maximum(counts, 1)
    dof = angles.size - int(seen.sum())
    if dof > 0:
        rest = residual - averages[position]
    else:
        dof, rest = max(angles.size - 1, 0), residual - residual.mean()
    spread = sqrt(float(rest @ rest) / max(dof, 1))
    centre = float(averages[seen].mean())
    return EdgePattern((degrees(mean) + centre) % 360.0, spread, dof, spread / sqrt(angles.size), angles.size,
                       _wobble(averages, seen))


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


def count_missing(angles: Floats, mean_deg: float, span: tuple[float, float]) -> int:
    """Count cycles in `span` (rad, rotor angle) with no edge near the mean angle."""
    mean, margin = np.deg2rad(mean_deg), np.deg2rad(NEAR_DEG)
    first = int(np.ceil((span[0] + margin - mean) / TURN))
    last = int(np.floor((span[1] - margin - mean) / TURN))
    turned = (angles - mean) / TURN
    cycle = np.rint(turned)
    near = (abs(turned - cycle) < margin / TURN) & (cycle >= first) & (cycle <= last)
    return max(0, last - first + 1) - np.unique(cycle[near]).size


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
