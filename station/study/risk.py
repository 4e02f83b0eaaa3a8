"""Risks of deciding by uncertain values: bad motors that pass, good ones that fail; pure.

A process makes motors whose true values are normally distributed; each is measured with an error of its own, normally
distributed too, and accepted where the value measured lies within the acceptance limits. Source: JCGM 106:2012, 9.5
(global risks), from memory; its figures and those of other sources are held in tests.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import inf, prod

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.special import ndtr

REACH = 10.0        # standard deviations to both sides of a normal distribution; beyond are less than 1e-22
NODES = 100         # of each piece; pieces are short enough for what is integrated to be smooth

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Normal:
    """How true values of motors spread, in the characteristic's unit; `sd` >= 0."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class Interval:
    """Tolerance or acceptance limits in the characteristic's unit; None where there is none."""

    lower: float | None
    upper: float | None

    @property
    def ends(self) -> tuple[float, float]:
        """Both limits, an absent one as infinity."""
        return (-inf if self.lower is None else self.lower, inf if self.upper is None else self.upper)


@dataclass(frozen=True, slots=True)
class Risks:
    """Shares of all motors tested.

    `consumer`: accepted although not conforming; `producer`: rejected although conforming; `accepted` and
    `conforming`: whatever the other.
    """

    consumer: float
    producer: float
    accepted: float
    conforming: float

    @property
    def among_accepted(self) -> float:
        """The share of accepted motors that do not conform: what a customer meets."""
        return self.consumer / self.accepted if self.accepted else 0.0


def global_risks(process: Normal, u: float, tolerance: Interval, acceptance: Interval | None) -> Risks:
    """Return the risks of one characteristic.

    Parameters
    ----------
    u : standard uncertainty of a value, >= 0
    acceptance : None where nothing is accepted
    """
    if process.sd == 0:
        x, weight = np.array([process.mean]), np.ones(1)
    else:
        x, weight = _nodes(process, _kinks(u, tolerance, acceptance))
    return risks_of(x, u, tolerance, acceptance, weight)


def risks_of(values: Floats, u: float, tolerance: Interval, acceptance: Interval | None,
             weight: Floats | None = None) -> Risks:
    """Return the risks for motors of known true values.

    Parameters
    ----------
    values : (n,) true values, all finite
    weight : (n,) share of each; the same for all if left out
    """
    share = np.full(values.shape, 1 / values.size) if weight is None else weight
    conforms, passes = conforming(values, tolerance), pass_probability(values, u, acceptance)
    return Risks(*(float(np.sum(share * part)) for part in (
        ~conforms * passes, conforms * (1 - passes), passes, conforms)))


def conforming(values: Floats, tolerance: Interval) -> NDArray[np.bool_]:
    """Return which true values (n,) lie within the tolerance limits."""
    lower, upper = tolerance.ends
    within: NDArray[np.bool_] = (lower <= values) & (values <= upper)
    return within


def pass_probability(values: Floats, u: float, acceptance: Interval | None) -> Floats:
    """Return with which probability motors of true `values` (n,) are accepted."""
    if acceptance is None:
        return np.zeros(values.shape)
    if u == 0:
        return conforming(values, acceptance).astype(np.float64)
    lower, upper = acceptance.ends
    with np.errstate(over="ignore"):    # an infinite number of standard uncertainties is as good as any large one
        within: Floats = ndtr((upper - values) / u) - ndtr((lower - values) / u)
    return within


def whole_motor(risks: Sequence[Risks]) -> Risks:
    """Return the risks of a motor all of whose characteristics must be accepted, each independent of the others."""
    accepted, conform = prod(risk.accepted for risk in risks), prod(risk.conforming for risk in risks)
    both = prod(risk.accepted - risk.consumer for risk in risks)
    return Risks(accepted - both, conform - both, accepted, conform)


def whole_motors(conform: NDArray[np.bool_], passes: Floats) -> Risks:
    """Return the risks of motors whose characteristics belong together as they were made.

    Errors of measurement are independent, true values are not: no assumption is made on how motors are bad.

    Parameters
    ----------
    conform : (motors, characteristics) does the true value conform?
    passes : (motors, characteristics) probability that it is accepted
    """
    good, taken = conform.all(axis=1), passes.prod(axis=1)
    return Risks(*(float(np.mean(part)) for part in (~good * taken, good * (1 - taken), taken, good)))


def _kinks(u: float, tolerance: Interval, acceptance: Interval | None) -> list[float]:
    """Return where what is integrated turns sharply: at the tolerance, and around the acceptance limits."""
    around = () if acceptance is None else acceptance.ends
    return [*tolerance.ends, *(end + step * u for end in around for step in (-8, -4, 0, 4, 8))]


def _nodes(process: Normal, kinks: Sequence[float]) -> tuple[Floats, Floats]:
    """Return values that stand for the process, and the share of motors that each stands for."""
    first, last = (process.mean + side * REACH * process.sd for side in (-1, 1))
    steps = np.linspace(first, last, 11)
    edges = np.unique([*steps, *(kink for kink in kinks if first < kink < last)])
    unit, unit_weight = _rule()
    half, middle = np.diff(edges)[:, np.newaxis] / 2, (edges[1:] + edges[:-1])[:, np.newaxis] / 2
    x = (middle + half * unit).ravel()
    density = np.exp(-((x - process.mean) / process.sd) ** 2 / 2) / (process.sd * np.sqrt(2 * np.pi))
    return x, (half * unit_weight).ravel() * density


@cache
def _rule() -> tuple[Floats, Floats]:
    return leggauss(NODES)
