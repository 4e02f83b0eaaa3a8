"""Correlation of characteristics: which move together from motor to motor, so that one limit may do for two; pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atanh, sqrt, tanh

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from station.study.capability import LEVEL, Estimate

Floats = NDArray[np.float64]

LEAST = 25      # motors with both values, below which two characteristics are not compared


@dataclass(frozen=True, slots=True)
class Pair:
    """Two characteristics with their rank correlation, and of how many motors."""

    first: str
    second: str
    r: Estimate
    n: int


@dataclass(frozen=True, slots=True)
class Correlation:
    """The matrix of rank correlations, NaN where too few motors have both values or one does not vary."""

    keys: tuple[str, ...]
    r: Floats
    n: NDArray[np.int64]

    def strongest(self, count: int, families: Sequence[str]) -> list[Pair]:
        """Return the strongest pairs; `families` of the keys: members of one family are taken to move together,
        and of two families only the strongest pair is named.
        """
        upper = np.triu(np.isfinite(self.r), 1)
        rows, columns = np.nonzero(upper)
        order = np.argsort(-np.abs(self.r[rows, columns]), kind="stable")
        pairs: dict[frozenset[str], Pair] = {}
        for i, k in zip(rows[order], columns[order], strict=True):
            both = frozenset((families[i], families[k]))
            if len(both) == 2 and both not in pairs:
                n = int(self.n[i, k])
                pairs[both] = Pair(self.keys[i], self.keys[k], interval(float(self.r[i, k]), n), n)
            if len(pairs) == count:
                break
        return list(pairs.values())


def correlate(keys: Sequence[str], columns: Sequence[Floats]) -> Correlation:
    """Return the correlations of the ranks (Spearman), so that a few defects do not make or hide one.

    Parameters
    ----------
    keys : names of the columns
    columns : each (n,), a row a motor, NaN where it has no value; two are compared over the motors with both

    Ranks are taken once over all values of a column, and of the motors with both, Pearson's correlation of them.
    """
    if not keys:
        return Correlation((), np.zeros((0, 0)), np.zeros((0, 0), dtype=np.int64))
    ranks = np.array([_ranks(column) for column in columns])
    there = np.isfinite(ranks).astype(np.float64)
    x = np.where(there > 0, ranks, 0.0)
    n = there @ there.T
    with np.errstate(invalid="ignore", divide="ignore"):
        sums, squares = x @ there.T, x**2 @ there.T
        spread = squares - sums**2 / n
        r = (x @ x.T - sums * sums.T / n) / np.sqrt(spread * spread.T)
    flat = spread <= 1e-9 * np.maximum(squares, 1.0)
    r = np.where((n >= LEAST) & ~flat & ~flat.T, np.clip(r, -1.0, 1.0), np.nan)
    return Correlation(tuple(keys), r, n.astype(np.int64))


def interval(r: float, n: int, level: float = LEVEL) -> Estimate:
    """Return a rank correlation with its interval.

    Source: Fisher's z with the variance 1.06 / (n - 3) of Fieller, Hartley and Pearson 1957 (from memory).
    """
    if abs(r) >= 1:
        return Estimate(r, r, r)
    half = float(stats.norm.ppf((1 + level) / 2)) * sqrt(1.06 / (n - 3))
    return Estimate(r, tanh(atanh(r) - half), tanh(atanh(r) + half))


def _ranks(column: Floats) -> Floats:
    """Return mean ranks, centred, of the values that there are; NaN elsewhere."""
    ranks = np.full(column.size, np.nan)
    there = np.isfinite(column)
    ranks[there] = stats.rankdata(column[there]) - (int(there.sum()) + 1) / 2
    return ranks
