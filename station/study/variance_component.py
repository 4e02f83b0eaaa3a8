"""Variance components as sums of mean squares, with confidence intervals.

A single mean square has an exact interval (chi-square). For a sum of several, and for the difference of two, the
intervals are the modified large-sample ones of Graybill and Wang (1980) and of Ting, Burdick, Graybill, Jeyaratnam
and Lu (1990), as Burdick, Borror and Montgomery put them together for gauge studies (Design and Analysis of Gauge R&R
Studies, 2005, chapter 3). All from memory; `tests/study` checks the limiting cases that are exact, and how often
the true variance is covered.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import inf, sqrt

from scipy import stats

from station.study.anova import Source

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Term:
    """A mean square times a factor, as part of a component."""

    factor: float
    source: Source

    @property
    def size(self) -> float:
        """What it adds to the component."""
        return self.factor * self.source.ms


@dataclass(frozen=True, slots=True)
class Component:
    """A variance and its two-sided confidence interval; an estimate below zero is given as zero."""

    variance: float
    low: float
    high: float

    @property
    def sd(self) -> float:
        """Standard deviation."""
        return sqrt(self.variance)

    @property
    def sd_low(self) -> float:
        """Lower end of the interval of the standard deviation."""
        return sqrt(self.low)

    @property
    def sd_high(self) -> float:
        """Upper end of the interval of the standard deviation; inf where the data bound it not."""
        return sqrt(self.high)


def component(terms: Sequence[Term], level: float = LEVEL) -> Component:
    """Return the component that `terms` add up to.

    All factors are positive, or there are two terms, the first positive and the second negative.
    """
    tail = (1 - level) / 2
    estimate = sum(term.size for term in terms)
    if all(term.factor > 0 for term in terms):
        below = sum((_shrink(term.source.dof, tail) * term.size) ** 2 for term in terms)
        above = sum((_stretch(term.source.dof, tail) * term.size) ** 2 for term in terms)
    else:
        first, second = terms
        below, above = _difference(first, second, tail)
    return Component(max(estimate, 0.0), max(estimate - sqrt(max(below, 0.0)), 0.0),
                     max(estimate + sqrt(max(above, 0.0)), 0.0))


def _difference(first: Term, second: Term, tail: float) -> tuple[float, float]:
    """Return the squared distances to both ends; the cross terms make an end exactly 0 where F is just significant."""
    n1, n2 = first.source.dof, second.source.dof
    a, b = first.size, -second.size
    g1, h1, g2, h2 = _shrink(n1, tail), _stretch(n1, tail), _shrink(n2, tail), _stretch(n2, tail)
    high, low = _f(1 - tail, n1, n2), _f(tail, n1, n2)
    g12 = ((high - 1) ** 2 - (g1 * high) ** 2 - h2**2) / high
    h12 = ((1 - low) ** 2 - (h1 * low) ** 2 - g2**2) / low
    below = (g1 * a) ** 2 + (h2 * b) ** 2 + g12 * a * b
    above = (h1 * a) ** 2 + (g2 * b) ** 2 + h12 * a * b
    return below, above


@lru_cache(maxsize=1024)
def _shrink(dof: int, tail: float) -> float:
    """Return 1 - dof / chi-square: how far below a mean square the lower end of its own interval lies."""
    return 1 - dof / float(stats.chi2.ppf(1 - tail, dof))


@lru_cache(maxsize=1024)
def _stretch(dof: int, tail: float) -> float:
    """Return dof / chi-square - 1: how far above it the upper end lies."""
    quantile = float(stats.chi2.ppf(tail, dof))
    return dof / quantile - 1 if quantile else inf


@lru_cache(maxsize=1024)
def _f(p: float, n1: int, n2: int) -> float:
    return float(stats.f.ppf(p, n1, n2))
