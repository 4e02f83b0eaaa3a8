"""Capability of a process: how its spread and place fit between tolerance limits, with confidence intervals; pure.

Cp and Cpk use the spread within lots and stations, Pp and Ppk that of all motors together, as ISO 22514-2 tells its
time models apart (from memory; its text was not read).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

LEVEL = 0.95
LEAST = 25          # values below which an index is refused: 1.33 could then as well be 0.93
ENOUGH = 100        # values below which it comes with a warning

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number from a sample, and its two-sided confidence interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation with its degrees of freedom."""

    s: float
    dof: int


@dataclass(frozen=True, slots=True)
class Capability:
    """Indices of one characteristic; those that its limits do not allow are None.

    With one limit there is no Cp and no Pp, and Cpk and Ppk are the distance to that limit.
    """

    n: int
    mean: float
    within: Spread
    overall: Spread
    cp: Estimate | None
    cpk: Estimate | None
    pp: Estimate | None
    ppk: Estimate | None


def within_groups(values: Floats, groups: NDArray[np.int64]) -> Spread:
    """Return the pooled standard deviation within groups; groups of one motor say nothing of it.

    Parameters
    ----------
    values : (n,) all finite
    groups : (n,) a number for the group of each value
    """
    _, place, sizes = np.unique(groups, return_inverse=True, return_counts=True)
    means = np.bincount(place, weights=values) / sizes
    dof = int(values.size - sizes.size)
    squares = float(np.sum((values - means[place]) ** 2))
    return Spread(sqrt(squares / dof) if dof else 0.0, dof)


def spread_index(width: float, spread: Spread, level: float = LEVEL) -> Estimate:
    """Return Cp or Pp, the width of the tolerance over six standard deviations.

    Source: NIST/SEMATECH e-Handbook 6.1.6: the interval follows from that of the variance (chi-square).
    """
    if spread.s == 0:
        return Estimate(inf, inf, inf)
    value = width / (6 * spread.s)
    tail = (1 - level) / 2
    low, high = (sqrt(stats.chi2.ppf(p, spread.dof) / spread.dof) for p in (tail, 1 - tail))
    return Estimate(value, value * low, value * high)


def nearest_index(
    mean: float, spread: Spread, n: int, lower: float | None, upper: float | None, level: float = LEVEL
) -> Estimate:
    """Return Cpk or Ppk, the distance of the mean to the nearer limit over three standard deviations.

    Source: NIST/SEMATECH e-Handbook 6.1.6; the interval is Bissell's normal approximation (Montgomery, Introduction
    to Statistical Quality Control, from memory), with the degrees of freedom of the spread in place of n - 1.
    """
    distance = min(inf if lower is None else mean - lower, inf if upper is None else upper - mean)
    if spread.s == 0:
        value = inf if distance > 0 else -inf if distance < 0 else 0.0
        return Estimate(value, value, value)
    value = distance / (3 * spread.s)
    half = float(stats.norm.ppf((1 + level) / 2)) * sqrt(1 / (9 * n) + value**2 / (2 * spread.dof))
    return Estimate(value, value - half, value + half)


def capability(
    values: Floats, groups: NDArray[np.int64], lower: float | None, upper: float | None, level: float = LEVEL
) -> Capability:
    """Return the capability of a characteristic whose values are taken as normal.

    Parameters
    ----------
    values : (n,) first attempts, failures included, n at least 2, all finite
    groups : (n,) a number for the lot and station of each
    lower, upper : tolerance limits; None where there is none
    """
    n = values.size
    within = within_groups(values, groups)
    overall = Spread(float(np.std(values, ddof=1)), n - 1)
    mean = float(np.mean(values))

    def near(spread: Spread) -> Estimate | None:
        return nearest_index(mean, spread, n, lower, upper, level) if spread.dof else None

    if lower is None and upper is None:
        return Capability(n, mean, within, overall, None, None, None, None)
    if lower is None or upper is None:
        return Capability(n, mean, within, overall, None, near(within), None, near(overall))
    width = upper - lower
    return Capability(n, mean, within, overall, spread_index(width, within, level) if within.dof else None,
                      near(within), spread_index(width, overall, level), near(overall))


def without_measurement(overall: Spread, u: Floats) -> tuple[float, float]:
    """Return the spread of the motors alone, and the share of the observed variance that is measurement.

    s_obs² = s_true² + u². What of `u` is common to all motors of a bench moves them together and does not spread
    them, so that the share is the largest it can be. Where it exceeds 1 the motors' own spread cannot be told from 0.
    """
    noise = float(np.mean(np.square(u)))
    observed = overall.s**2
    if observed == 0:
        return 0.0, inf if noise else 0.0
    return sqrt(max(observed - noise, 0.0)), noise / observed


def proportion(count: int, n: int, level: float = LEVEL) -> Estimate:
    """Return the share of `count` in `n` with its exact interval; none found still leaves an upper end.

    Source: Clopper and Pearson, Biometrika 26 (1934) 404, as quantiles of the beta distribution (from memory).
    """
    return proportions((count,), n, level)[0]


def proportions(counts: Sequence[int], n: int, level: float = LEVEL) -> tuple[Estimate, ...]:
    """Return the share of each of `counts` in `n`, as `proportion`, many at once."""
    tail, k = (1 - level) / 2, np.asarray(counts, float)
    low = np.where(k == 0, 0.0, stats.beta.ppf(tail, np.maximum(k, 1), n - k + 1))
    high = np.where(k == n, 1.0, stats.beta.ppf(1 - tail, k + 1, np.maximum(n - k, 1)))
    return tuple(map(Estimate, (k / n).tolist(), low.tolist(), high.tolist()))
