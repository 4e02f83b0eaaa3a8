"""The shape of a sample: its numbers, whether it is normal or in two heaps, and what lies far outside; pure."""

from dataclasses import dataclass
from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

MAD_TO_S = 1.4826       # a normal distribution's standard deviation over its median absolute deviation
FAR = 5.0               # robust standard deviations; a normal one has 0.6 of a million beyond
STEPS = 200             # of the fit of two heaps; it is settled long before
APART = 2.0             # standard deviations between two heaps that stand clear of each other (Ashman's D)
EVIDENCE = 10.0         # difference of the information criterion that counts as very strong
LEAST_HEAP = 0.1        # share of the motors; fewer are outliers rather than a heap
VALLEY = 2.0            # standard deviations of two counts, by which a valley must be lower than the smaller heap
AT_RAIL = 4             # equal values at an end, more than at the next one, that look like the end of a range
LOWEST_P = 3.7e-24      # where Stephens' formula ends


@dataclass(frozen=True, slots=True)
class Shape:
    """A sample in numbers; quantiles as the data have them, between neighbours."""

    n: int
    mean: float
    s: float
    least: float
    p5: float
    median: float
    p95: float
    largest: float
    skewness: float


@dataclass(frozen=True, slots=True)
class Normality:
    """Anderson and Darling's statistic, corrected for the size of the sample, and the chance of a larger one."""

    statistic: float
    p: float


@dataclass(frozen=True, slots=True)
class TwoHeaps:
    """Two normal heaps of one width that explain a sample far better than one; `share` is that of the upper."""

    low: float
    high: float
    s: float
    share: float
    apart: float


def shape(values: Floats) -> Shape:
    """Return the numbers of a sample of at least two values, all finite."""
    mean, s = float(values.mean()), float(values.std(ddof=1))
    p5, median, p95 = (float(q) for q in np.quantile(values, (0.05, 0.5, 0.95)))
    spread = float(values.std())
    skewness = float(np.mean(((values - mean) / spread) ** 3)) if spread > 0 else 0.0
    return Shape(values.size, mean, s, float(values.min()), p5, median, p95, float(values.max()), skewness)


def normality(values: Floats) -> Normality | None:
    """Return how well a normal distribution of unknown mean and spread fits; None where nothing spreads.

    Source: Stephens in D'Agostino and Stephens, Goodness-of-fit techniques, 1986, table 4.9 (from memory).
    """
    n, s = values.size, float(values.std(ddof=1))
    if n < 8 or s <= 1e-12 * float(np.abs(values).max()):
        return None
    z = np.sort((values - values.mean()) / s)
    odd = 2 * np.arange(1, n + 1) - 1
    square = -n - float(np.sum(odd * (special.log_ndtr(z) + special.log_ndtr(-z[::-1])))) / n
    corrected = square * (1 + 0.75 / n + 2.25 / n**2)
    return Normality(corrected, _chance(corrected))


def _chance(a: float) -> float:
    if a >= 13:
        return LOWEST_P
    if a >= 0.6:
        return exp(1.2937 - 5.709 * a + 0.0186 * a**2)
    if a > 0.34:
        return exp(0.9177 - 4.279 * a - 1.38 * a**2)
    if a > 0.2:
        return 1 - exp(-8.318 + 42.796 * a - 59.938 * a**2)
    return 1 - exp(-13.436 + 101.14 * a - 223.73 * a**2)


def far_outside(values: Floats) -> NDArray[np.int64]:
    """Return the places of values more than FAR robust standard deviations from the median.

    None where more than LEAST_HEAP of all lie there: these are a heap of their own, see `two_heaps`.
    """
    away = np.abs(values - np.median(values))
    s = MAD_TO_S * float(np.median(away))
    far = np.flatnonzero(away > FAR * s)
    return far if s > 0 and far.size <= LEAST_HEAP * values.size else far[:0]


def at_rails(values: Floats) -> tuple[int, int]:
    """Return how many values are exactly the least and the largest, where so many look like the end of a range.

    Zero where fewer than AT_RAIL are equal, or no more than at the next value inwards: what an instrument rounds is
    equal often, but seldomest at the ends. Own rule.
    """
    _, counts = np.unique(values, return_counts=True)
    if counts.size < 3:
        return 0, 0
    low, high = ((int(end) if end >= AT_RAIL and end > inwards else 0)
                 for end, inwards in ((counts[0], counts[1]), (counts[-1], counts[-2])))
    return low, high


def two_heaps(values: Floats) -> TwoHeaps | None:
    """Return the two heaps that the sample consists of, None unless the evidence for them is very strong.

    Two normals of one width against one, by maximum likelihood and Schwarz's criterion; very strong as Kass and
    Raftery 1995 have it (from memory); clear of each other as Ashman, Bird and Zepf 1994 have it (from memory). Values
    far outside are left out first: a few defects are no heap.
    """
    kept = np.sort(np.delete(values, far_outside(values)))
    if kept.size < 25 or kept[0] == kept[-1]:
        return None
    low, high, s, share = _expectation_maximisation(kept, *_best_cut(kept))
    if s <= 1e-9 * (kept[-1] - kept[0]):
        return None
    one = _log_likelihood(kept, ((1.0, float(kept.mean())),), float(kept.std()))
    two = _log_likelihood(kept, ((1 - share, low), (share, high)), s)
    gain = 2 * (two - one) - 2 * log(kept.size)     # two further unknowns
    apart = (high - low) / s
    if gain < EVIDENCE or apart < APART or not LEAST_HEAP <= share <= 1 - LEAST_HEAP:
        return None
    found = TwoHeaps(low, high, s, share, apart)
    return found if _has_valley(kept, found) else None


def _has_valley(values: Floats, heaps: TwoHeaps) -> bool:
    """Return whether fewer values lie between the heaps than in the smaller one, by more than chance.

    A long tail on one side also takes two normals better than one, but has no valley.
    """
    between = np.linspace(heaps.low, heaps.high, 101)
    lower, upper = ((between - mean) / heaps.s for mean in (heaps.low, heaps.high))
    density = (1 - heaps.share) * np.exp(-lower**2 / 2) + heaps.share * np.exp(-upper**2 / 2)
    half = (heaps.high - heaps.low) / 8
    at_low, valley, at_high = (int(np.sum(np.abs(values - place) <= half))
                               for place in (heaps.low, between[np.argmin(density)], heaps.high))
    least = min(at_low, at_high)
    return least - valley > VALLEY * sqrt(least + valley)


def _best_cut(ordered: Floats) -> tuple[float, float, float, float]:
    """Return means, width and share of the two parts that a single cut leaves most even inside."""
    n = ordered.size
    sums = np.cumsum(ordered)[:-1]
    left = np.arange(1, n)
    between = (sums / left - (ordered.sum() - sums) / (n - left)) ** 2 * left * (n - left)
    cut = int(np.argmax(between)) + 1
    lower, upper = ordered[:cut], ordered[cut:]
    inside = float(np.sum((lower - lower.mean()) ** 2) + np.sum((upper - upper.mean()) ** 2))
    return float(lower.mean()), float(upper.mean()), sqrt(inside / n), (n - cut) / n


def _expectation_maximisation(
    values: Floats, low: float, high: float, s: float, share: float
) -> tuple[float, float, float, float]:
    """Return means, common width and share of the upper heap at the greatest likelihood near the start."""
    for _ in range(STEPS):
        if s <= 0 or not 0 < share < 1:
            break
        odds = log(share / (1 - share)) + (high - low) * (values - (high + low) / 2) / s**2
        upper = special.expit(odds)
        weight = float(upper.sum())
        if not 0 < weight < values.size:
            break
        low = float((1 - upper) @ values) / (values.size - weight)
        high = float(upper @ values) / weight
        s = sqrt(float((1 - upper) @ (values - low) ** 2 + upper @ (values - high) ** 2) / values.size)
        share = weight / values.size
    return low, high, s, share


def _log_likelihood(values: Floats, heaps: tuple[tuple[float, float], ...], s: float) -> float:
    logs = [log(share) - ((values - mean) / s) ** 2 / 2 for share, mean in heaps if share > 0]
    return float(np.sum(special.logsumexp(np.array(logs), axis=0))) - values.size * log(s * sqrt(2 * pi))
