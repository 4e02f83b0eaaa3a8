"""Lots and stations told apart: do they differ, by how much, and does a lot drift while it is made; pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

LEAST_IN_LOT = 8        # motors, before a drift within a lot is looked for


@dataclass(frozen=True, slots=True)
class Between:
    """One-way analysis of variance: `share` is the part of the variance that lies between groups, 0…1."""

    groups: int
    f: float
    p: float
    between_s: float
    within_s: float

    @property
    def share(self) -> float:
        """Return between² / (between² + within²)."""
        total = self.between_s**2 + self.within_s**2
        return self.between_s**2 / total if total else 0.0


@dataclass(frozen=True, slots=True)
class Drift:
    """How far a lot moves from its first motor to its last, along the line that fits best; `p` of no movement."""

    lot: str
    n: int
    change: float
    u: float        # standard uncertainty of the change
    p: float


def between_groups(values: Floats, groups: Places) -> Between | None:
    """Return whether groups of motors differ; None with fewer than two groups, or one motor each.

    Means are taken off first and squares summed after, so that large values do not drown small differences. The
    component between groups is that of a random model, with n0 motors a group in uneven ones.

    Source: one-way analysis of variance as in the NIST/SEMATECH e-Handbook 7.4.3; n0 from memory (Searle).
    """
    _, place, sizes = np.unique(groups, return_inverse=True, return_counts=True)
    k, n = sizes.size, values.size
    if k < 2 or n <= k:
        return None
    centred = values - values.mean()
    means = np.bincount(place, weights=centred) / sizes
    inside = float(np.sum((centred - means[place]) ** 2)) / (n - k)
    outside = float(np.sum(sizes * means**2)) / (k - 1)
    if inside == 0:
        return Between(k, inf if outside else 0.0, 0.0 if outside else 1.0, sqrt(outside * (k - 1) / k), 0.0)
    even = (n - float(np.sum(sizes**2)) / n) / (k - 1)
    f = outside / inside
    return Between(k, f, float(stats.f.sf(f, k - 1, n - k)), sqrt(max(outside - inside, 0.0) / even), sqrt(inside))


def drifts(values: Floats, lots: Places, names: Sequence[str]) -> list[Drift]:
    """Return the drift of each lot with enough motors; `values` in the order in which they were tested.

    The slope of the straight line over the order, times the length of the lot. Order, not time: a night between two
    motors of a lot moves nothing.
    """
    found = []
    for number, name in enumerate(names):
        part = values[lots == number]
        if part.size < LEAST_IN_LOT or part.min() == part.max():
            continue
        line = stats.linregress(np.arange(part.size), part)
        length = part.size - 1
        found.append(Drift(name, part.size, float(line.slope) * length, float(line.stderr) * length,
                           float(line.pvalue)))
    return found


def significant(chances: Sequence[float], level: float) -> list[bool]:
    """Return which of many chances count, so that of those that count at most `level` are wrong on average.

    Source: Benjamini and Hochberg 1995, from memory; holds for chances that are independent or rise together.
    """
    order = np.argsort(chances)
    ordered = np.asarray(chances, dtype=np.float64)[order]
    passing = np.flatnonzero(ordered <= level * np.arange(1, ordered.size + 1) / max(ordered.size, 1))
    counted = np.zeros(ordered.size, dtype=bool)
    if passing.size:
        counted[order[:passing[-1] + 1]] = True
    return [bool(one) for one in counted]
