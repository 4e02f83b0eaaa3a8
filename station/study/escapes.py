"""What a limit lets escape and what it rejects falsely, as it is moved; pure counts with exact intervals.

Source: Clopper and Pearson for the intervals, see `capability.proportion`; the rest is counting. The share of bad
motors among all tested must come from the field and is rarely known well, hence a band instead of one best limit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, log

import numpy as np
from numpy.typing import NDArray

from station.study.capability import Estimate, proportions

CONFIDENCE = 0.95
CLAIMS = (0.10, 0.05, 0.02, 0.01)           # escape rates that one would like to claim
BAND = (1 / 3, 1 / 2, 1.0, 2.0, 3.0)        # by how much the share of bad motors may be taken wrongly

Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Costs:
    """What a falsely rejected and an escaped motor cost, in any one currency, and the share of motors that are bad."""

    reject: float
    escape: float
    share_bad: float


@dataclass(frozen=True, slots=True)
class Curves:
    """Of each bound, tightest first: the share of good motors rejected, and of bad ones that escape, by fault class."""

    bounds: tuple[float, ...]
    false_rejects: tuple[Estimate, ...]             # empty without a good motor
    escapes: Mapping[str, tuple[Estimate, ...]]     # by class, and of all under ""
    motors: Mapping[str, int]                       # known bad, by class, and all under ""
    good: int


@dataclass(frozen=True, slots=True)
class Best:
    """The bound of least cost, the cost per motor there, and the bounds that it wanders to in the band."""

    bound: float
    cost: float
    least: float
    largest: float


def curves(bounds: Sequence[float], good: Places, bad: Mapping[str, Places]) -> Curves:
    """Return the curves.

    Parameters
    ----------
    bounds : candidates, tightest first
    good, bad : of each motor, by how many of the tightest candidates it is rejected; bad ones by fault class
    """
    classes = {fault: fails for fault, fails in bad.items() if fails.size}
    together = {"": np.concatenate(list(classes.values())), **classes} if classes else {}
    places = range(len(bounds))
    return Curves(
        tuple(bounds),
        proportions([int((good > k).sum()) for k in places], good.size) if good.size else (),
        {fault: proportions([int((fails <= k).sum()) for k in places], fails.size)
         for fault, fails in together.items()},
        {fault: int(fails.size) for fault, fails in together.items()}, int(good.size))


def best_bound(found: Curves, costs: Costs) -> Best | None:
    """Return the bound of least cost per motor, None without both good and bad motors.

    Where several cost the same, as between good and bad motors that are far apart, it is the one in their middle.
    """
    if not found.false_rejects or "" not in found.escapes:
        return None
    rejects = np.array([estimate.value for estimate in found.false_rejects])
    escapes = np.array([estimate.value for estimate in found.escapes[""]])
    best, cost = _least(found.bounds, rejects, escapes, costs, 1.0)
    band = [_least(found.bounds, rejects, escapes, costs, factor)[0] for factor in BAND]
    return Best(best, cost, min(band), max(band))


def motors_needed(rate: float) -> int:
    """Return how many bad motors must all be rejected to claim an escape rate of at most `rate` at 95 %."""
    return ceil(log(1 - CONFIDENCE) / log(1 - rate))


def shown_rate(motors: int) -> float:
    """Return the escape rate, at 95 %, that so many bad motors show at best: when all of them are rejected."""
    return float(1 - (1 - CONFIDENCE) ** (1 / motors))


def size_warnings(motors: Mapping[str, int]) -> list[str]:
    """Return what too few known-bad motors cannot show, a sentence for each fault class."""
    if not motors:
        return ["No motor is known to be bad: nothing can be said about what escapes."]
    found = []
    for fault, number in motors.items():
        claims = [(rate, motors_needed(rate)) for rate in CLAIMS if motors_needed(rate) > number]
        if claims and fault:
            more = "; ".join(f"{needed} for {100 * rate:g} %" for rate, needed in claims)
            found.append(f"{fault}: {number} known-bad motor(s) show at best an escape rate of "
                         f"{100 * shown_rate(number):.2g} % (95 %); needed, all rejected: {more}.")
    return found


def _least(bounds: Sequence[float], rejects: NDArray[np.float64], escapes: NDArray[np.float64], costs: Costs,
           factor: float) -> tuple[float, float]:
    share = min(costs.share_bad * factor, 1.0)
    cost = costs.reject * (1 - share) * rejects + costs.escape * share * escapes
    least = float(cost.min())
    places = np.flatnonzero(np.isclose(cost, least, rtol=1e-12, atol=0.0))
    run = places[:int(np.argmax(np.diff(places, append=places[-1] + 2) > 1)) + 1]       # the first without a gap
    return float(bounds[int(run[len(run) // 2])]), least
