"""Deciding many values by one limit, exactly as the scalar rule of `judgement.decision_rule` decides each.

The rule itself is asked, at few uncertainties: acceptance limits only draw in as the uncertainty grows, so that
between two of these a value inside the narrower zone is accepted and one outside the wider zone is not. What stands
between is looked at with closer ones, and the last few values are asked for one by one.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import inf, isfinite, nan

import numpy as np
from numpy.typing import NDArray

from station.judgement.decision_rule import Decision, acceptance, lies_within

PASS, FAIL, NO_RESULT = 0, 1, 2     # codes of results and of verdicts

FEW = 48            # values that are asked for one by one
NODES = 33          # uncertainties that the rule is asked at in one round
ROUNDS = 8          # after which all that is left is asked for one by one
ROUNDING = 1e-9     # of a limit and its uncertainty: by so much the rule may waver where it is solved for

Floats = NDArray[np.float64]
Results = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Bound:
    """Tolerance limits and the rule that they are judged by, in the characteristic's unit."""

    lower: float | None
    upper: float | None
    decision: Decision

    def one(self, value: float, u: float) -> int:
        """Return the result of one value, by the scalar rule."""
        if not (isfinite(value) and isfinite(u) and u >= 0) or (self.lower is None and self.upper is None):
            return NO_RESULT
        zone = acceptance(self.lower, self.upper, u, self.decision)
        if zone is None:
            return NO_RESULT
        return PASS if lies_within(value, zone.lower, zone.upper) else FAIL


def decide(values: Floats, us: Floats, bound: Bound) -> Results:
    """Return the result of each value.

    Parameters
    ----------
    values, us : (n,) values and their standard uncertainties, NaN where there is none
    """
    results = np.full(values.shape, NO_RESULT, np.int8)
    if bound.lower is None and bound.upper is None:
        return results
    left = np.flatnonzero(np.isfinite(values) & np.isfinite(us) & (us >= 0))
    if left.size > FEW:
        left = _settle_plain(values, us, bound, left, results)
    for _ in range(ROUNDS):
        if left.size <= FEW:
            break
        left = _settle(values, us, bound, left, results)
    for row in left:
        results[row] = bound.one(float(values[row]), float(us[row]))
    return results


def certain(bound: Bound, least_u: float, largest_u: float) -> tuple[float, float, float, float]:
    """Return zones (lower, upper) that hold for every uncertainty of a range.

    A value within the first two passes, one outside the last two fails; the first two are NaN, so that nothing is
    within, where some or all of the range leaves nothing that could be accepted, and then the last are infinite.
    """
    narrow, wide = _zone(bound, largest_u), _zone(bound, least_u)
    if np.isnan(narrow[0]):
        return nan, nan, -inf, inf
    slack = 0.0 if least_u == largest_u else ROUNDING
    low, high = (slack * (abs(edge) + largest_u) if isfinite(edge) else 0.0 for edge in narrow)
    return narrow[0] + low, narrow[1] - high, wide[0] - low, wide[1] + high


def _settle_plain(values: Floats, us: Floats, bound: Bound, rows: NDArray[np.int64], results: Results
                  ) -> NDArray[np.int64]:
    """Put the results that are certain by the least and the largest uncertainty into `results`; see `_settle`."""
    v, u = values[rows], us[rows]
    low, high, wide_low, wide_high = certain(bound, float(u.min()), float(u.max()))
    passed, failed = (v >= low) & (v <= high), (v < wide_low) | (v > wide_high)
    results[rows[passed]] = PASS
    results[rows[failed]] = FAIL
    left: NDArray[np.int64] = rows[~(passed | failed)]
    return left


def _settle(values: Floats, us: Floats, bound: Bound, rows: NDArray[np.int64], results: Results) -> NDArray[np.int64]:
    """Put the results that are certain by few uncertainties into `results`; return the rows that are left."""
    v, u = values[rows], us[rows]
    nodes = np.unique(np.quantile(u, np.linspace(0, 1, NODES), method="nearest"))
    zones = np.array([_zone(bound, float(node)) for node in nodes])
    place = np.searchsorted(nodes, u)
    exact = nodes[place] == u
    low, high = zones[place].T
    nothing = np.isnan(low)
    slack = np.where(exact, 0.0, ROUNDING)
    with np.errstate(invalid="ignore"):     # a side without limit is infinite, and has no slack
        edges = [np.where(np.isfinite(edge), slack * (np.abs(edge) + u), 0.0) for edge in (low, high)]
    wide_low, wide_high = zones[np.maximum(place - 1, 0)].T
    wide_low, wide_high = np.where(exact, low, wide_low), np.where(exact, high, wide_high)
    passed = (v >= low + edges[0]) & (v <= high - edges[1])     # never where there is no zone, which is NaN
    failed = ~nothing & ((v < wide_low - edges[0]) | (v > wide_high + edges[1]))
    none = np.isnan(wide_low)       # nothing was accepted at less uncertainty already
    results[rows[passed]] = PASS
    results[rows[failed]] = FAIL
    left: NDArray[np.int64] = rows[~(passed | failed | none)]
    return left


def _zone(bound: Bound, u: float) -> tuple[float, float]:
    """Return acceptance limits, infinite where there is none, NaN both where nothing can be accepted."""
    return _asked(bound.lower, bound.upper, u, bound.decision)


@lru_cache(maxsize=4096)
def _asked(lower: float | None, upper: float | None, u: float, decision: Decision) -> tuple[float, float]:
    zone = acceptance(lower, upper, u, decision)
    if zone is None:
        return nan, nan
    return (-inf if zone.lower is None else zone.lower), (inf if zone.upper is None else zone.upper)
