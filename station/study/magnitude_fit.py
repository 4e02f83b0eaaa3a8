"""Fits for characteristics that are magnitudes: never below zero, so never normal around their mean; pure.

Of an unbalance or a ripple only the size is reported, as of a number folded at zero. Four families that begin at zero
are fitted by maximum likelihood; the likeliest, less its number of unknowns (Akaike 1974, from memory), is taken, and
the figure shows it over the data.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import copysign, inf, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from station.study.capability import LEVEL, Estimate

Floats = NDArray[np.float64]
Loss = Callable[[Floats], float]

FAR_TAIL = 0.99865      # what a normal distribution has below its mean + 3 s
STEP = 1e-4             # of the logarithm of an unknown, for derivatives
POOR = 0.01             # chance of the distance to the data below which a fit is called poor


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted family; `unknowns` are logarithms of scale and shape, `covariance` theirs."""

    family: str
    unknowns: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    information: float      # Akaike's criterion, smaller is better
    p: float                # chance of a distance to the data as large as this one (Kolmogorov), too kind by far

    @property
    def is_poor(self) -> bool:
        """Whether even the kind test of distance refuses it."""
        return self.p < POOR

    def quantile(self, share: float) -> float:
        """Return the value that `share` of the motors lie below."""
        return float(_FAMILIES[self.family](np.array(self.unknowns)).ppf(share))

    def above(self, limit: float) -> float:
        """Return the share of motors above `limit`."""
        return float(_FAMILIES[self.family](np.array(self.unknowns)).sf(limit))

    def density(self, values: Floats) -> Floats:
        """Return the density at `values`."""
        found: Floats = _FAMILIES[self.family](np.array(self.unknowns)).pdf(values)
        return found


_FAMILIES: Mapping[str, Callable[[Floats], stats.rv_continuous]] = {
    "half-normal": lambda x: stats.halfnorm(scale=np.exp(x[0])),
    "gamma": lambda x: stats.gamma(np.exp(x[1]), scale=np.exp(x[0])),
    "Weibull": lambda x: stats.weibull_min(np.exp(x[1]), scale=np.exp(x[0])),
    "log-normal": lambda x: stats.lognorm(np.exp(x[1]), scale=np.exp(x[0])),
}


def fit_magnitude(values: Floats) -> Fit | None:
    """Return the family that fits best; None where a value is below zero, or all are equal."""
    if values.min() < 0 or values.min() == values.max():
        return None
    fits = [_fit(family, values) for family in _FAMILIES]
    return min((fit for fit in fits if fit is not None), key=lambda fit: fit.information, default=None)


def index_of_fit(fit: Fit, lower: float | None, upper: float | None, level: float = LEVEL) -> Estimate:
    """Return Ppk of a fitted family: room to the nearer limit over room to the far quantile on that side.

    (upper - x50) / (x99.865 - x50) and (x50 - lower) / (x50 - x0.135), the quantile method (ISO 22514-2, from memory);
    of a normal distribution it gives Ppk. The interval is the linear one from the covariance of the fit (delta
    method), and knows nothing of a wrong family. At least one limit is there.
    """
    def index(unknowns: Floats) -> float:
        low, middle, high = (float(q) for q in _FAMILIES[fit.family](unknowns).ppf((1 - FAR_TAIL, 0.5, FAR_TAIL)))
        return _nearest(low, middle, high, lower, upper)

    at = np.array(fit.unknowns)
    value = index(at)
    slope = np.array([(index(at + step) - index(at - step)) / (2 * STEP) for step in STEP * np.eye(at.size)])
    half = float(stats.norm.ppf((1 + level) / 2)) * sqrt(max(float(slope @ np.array(fit.covariance) @ slope), 0.0))
    return Estimate(value, value - half, value + half)


def index_of_quantiles(values: Floats, lower: float | None, upper: float | None) -> float:
    """Return the same from the quantiles of the data themselves; needs about 1000 values to mean something."""
    low, middle, high = (float(q) for q in np.quantile(values, (1 - FAR_TAIL, 0.5, FAR_TAIL)))
    return _nearest(low, middle, high, lower, upper)


def _nearest(low: float, middle: float, high: float, lower: float | None, upper: float | None) -> float:
    sides = [] if lower is None else [(middle - lower, middle - low)]
    sides += [] if upper is None else [(upper - middle, high - middle)]
    return min(room / reach if reach > 0 else copysign(inf, room) for room, reach in sides)


def _fit(family: str, values: Floats) -> Fit | None:
    start = _start(family, values)
    if start is None:
        return None     # the family has no place for a value that there is, such as zero
    loss = _LOSSES[family](values)
    found = optimize.minimize(loss, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-7 * values.size})
    covariance = _covariance(loss, found.x)
    if covariance is None:
        return None
    p = float(stats.kstest(values, _FAMILIES[family](found.x).cdf).pvalue)
    return Fit(family, tuple(map(float, found.x)), tuple(tuple(map(float, row)) for row in covariance),
               2 * float(found.fun) + 2 * start.size, p)


def _half_normal(values: Floats) -> Loss:
    n, square = values.size, float(values @ values)
    return lambda x: float(n * x[0] + square * np.exp(-2 * x[0]) / 2 + n * log(pi / 2) / 2)


def _gamma(values: Floats) -> Loss:
    n, total, logs = values.size, float(values.sum()), float(np.log(values).sum())
    return lambda x: float(n * (np.exp(x[1]) * x[0] + special.gammaln(np.exp(x[1])))
                           - (np.exp(x[1]) - 1) * logs + total * np.exp(-x[0]))


def _weibull(values: Floats) -> Loss:
    n, logs = values.size, np.log(values)
    total = float(logs.sum())

    def loss(x: Floats) -> float:
        shape = np.exp(x[1])
        with np.errstate(over="ignore"):
            powers = float(np.exp(shape * (logs - x[0])).sum())
        return float(n * (shape * x[0] - x[1]) - (shape - 1) * total + powers)

    return loss


def _log_normal(values: Floats) -> Loss:
    n, logs = values.size, np.log(values)
    total = float(logs.sum())
    return lambda x: float(n * (x[1] + log(2 * pi) / 2) + total + np.sum((logs - x[0]) ** 2) * np.exp(-2 * x[1]) / 2)


# Minus the logarithm of the likelihood over logarithms of scale and shape; scipy's own densities take 50 times as long.
_LOSSES: Mapping[str, Callable[[Floats], Loss]] = {
    "half-normal": _half_normal, "gamma": _gamma, "Weibull": _weibull, "log-normal": _log_normal}


def _start(family: str, values: Floats) -> Floats | None:
    """Return logarithms of scale and shape from mean and spread, near enough to go on from."""
    mean, s = float(values.mean()), float(values.std())
    ratio = mean / s
    if family == "half-normal":
        return np.log([sqrt(float(np.mean(values**2)))])
    if values.min() <= 0:
        return None     # a likelihood without end, or none
    if family == "gamma":
        return np.log([s / ratio, ratio**2])
    if family == "Weibull":
        return np.log([mean * 1.1, ratio**1.086])
    logs = np.log(values)
    return np.array([logs.mean(), np.log(logs.std())])


def _covariance(loss: Loss, at: Floats) -> Floats | None:
    """Return the inverse of the curvature of the likelihood; None where it has no top here."""
    steps = STEP * 10 * np.eye(at.size)
    curvature = np.array([[(loss(at + a + b) - loss(at + a - b) - loss(at - a + b) + loss(at - a - b))
                           / (4 * (STEP * 10) ** 2) for b in steps] for a in steps])
    if not np.all(np.linalg.eigvalsh(curvature) > 0):
        return None
    inverse: Floats = np.linalg.inv(curvature)
    return inverse
