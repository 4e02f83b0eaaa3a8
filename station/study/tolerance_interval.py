"""Statistical tolerance intervals: which range holds a share of all motors, as far as a sample of them tells; pure."""

from functools import lru_cache
from math import ceil, log, sqrt

import numpy as np
from scipy import optimize, stats

NODES = 80      # of Gauss and Hermite; 40 give the same eight digits


def howe_factor(n: int, share: float, confidence: float) -> float:
    """Return k of mean ± k s by Howe's approximation, `n` values of a normal distribution.

    Source: Howe 1969, as in the NIST/SEMATECH e-Handbook 7.2.6.3.
    """
    z = float(stats.norm.ppf((1 + share) / 2))
    return z * sqrt((n - 1) * (1 + 1 / n) / float(stats.chi2.ppf(1 - confidence, n - 1)))


@lru_cache(maxsize=256)
def two_sided_factor(n: int, share: float, confidence: float) -> float:
    """Return the exact k: mean ± k s holds `share` of a normal distribution with `confidence`.

    With the mean off by x/sqrt(n) standard deviations, half a width r holds the share where r² is the quantile of the
    noncentral chi-square distribution of one degree of freedom; s must then be at least r/k. The chance of that is
    averaged over x. Source: derived here; held against the exact factor quoted with NIST 7.2.6.3.
    """
    x, weight = np.polynomial.hermite_e.hermegauss(NODES)
    weight = weight / weight.sum()
    squares = stats.ncx2.ppf(share, 1, x**2 / n)

    def short_of(k: float) -> float:
        return float(weight @ stats.chi2.sf((n - 1) * squares / k**2, n - 1)) - confidence

    start = howe_factor(n, share, confidence)
    return float(optimize.brentq(short_of, start / 2, start * 2, xtol=1e-10))


@lru_cache(maxsize=256)
def one_sided_factor(n: int, share: float, confidence: float) -> float:
    """Return the exact k: mean + k s lies above `share` of a normal distribution with `confidence`.

    Source: NIST/SEMATECH e-Handbook 7.2.6.3, noncentral t.
    """
    shift = float(stats.norm.ppf(share)) * sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, shift)) / sqrt(n)


def sample_for_extremes(share: float, confidence: float, *, sides: int) -> int:
    """Return how many values their own least and largest (or one of them) need to hold `share`, whatever they follow.

    Source: Wilks 1941, from memory: 1 - share^n for one side, 1 - n share^(n-1) + (n-1) share^n for both.
    """
    n = ceil(log(1 - confidence) / log(share))
    if sides == 1:
        return n
    while 1 - n * share ** (n - 1) + (n - 1) * share**n < confidence:
        n += 1
    return n
