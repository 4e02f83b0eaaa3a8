"""The decision rule: how far acceptance limits stand inside tolerance limits, given an uncertainty."""

from dataclasses import dataclass
from functools import lru_cache
from math import erfc, exp, inf, isfinite, log, sqrt
from statistics import NormalDist
from typing import Literal

Rule = Literal["guarded", "simple", "conformance", "false_accept"]

# A limit so many standard uncertainties away adds less than 1e-15 of risk: it may be left out.
FAR_AWAY = 8.0

FALSE_ACCEPT = 0.02     # what the rule of that name allows; source: ANSI/NCSL Z540.3-2006, 5.3 b, from memory

_BISECTIONS = 60  # halves the half tolerance to below the resolution of a float


@dataclass(frozen=True, slots=True)
class Decision:
    """The rule that a limit is judged by.

    `guard_factor` counts standard uncertainties: the guard band of the guarded rule, and where the simple
    and the false-accept rule draw the line between "allowing for uncertainty" and "nearer than that".
    `least_probability` (above 0.5) is what the conformance rule asks for. No rule accepts a value whose
    standard uncertainty is above `u_max`, in the characteristic's unit.
    """

    rule: Rule = "guarded"
    guard_factor: float = 1.65
    least_probability: float = 0.95
    u_max: float = inf

    @property
    def factor(self) -> float:
        """Standard uncertainties within which a value stands nearer to a limit than its uncertainty allows."""
        return normal_quantile(self.least_probability) if self.rule == "conformance" else self.guard_factor


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Acceptance limits in the characteristic's unit; None where there is no tolerance limit."""

    lower: float | None
    upper: float | None


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal deviate is at most `z`."""
    return 0.5 * erfc(-z / sqrt(2))


@lru_cache(maxsize=64)      # of a few rules, asked for with every value
def normal_quantile(probability: float) -> float:
    """Return the standard normal deviate that is not exceeded with `probability`, 0 < probability < 1."""
    return NormalDist().inv_cdf(probability)


def conformance_probability(value: float, u: float, lower: float | None, upper: float | None) -> float:
    """Return the probability that the quantity lies within its tolerance limits.

    `value` and `u` > 0 in one unit; normal distribution. Source: JCGM 106:2012, 7.3 and 7.4.
    """
    below = 0.0 if lower is None else normal_cdf((lower - value) / u)
    above = 0.0 if upper is None else normal_cdf((value - upper) / u)
    return 1.0 - below - above


def guard_band(lower: float | None, upper: float | None, u: float, factor: float) -> float | None:
    """Return the width by which each tolerance limit is drawn in, or None if nothing can be accepted.

    A value on an acceptance limit conforms with the probability that `factor` standard
    uncertainties give for a single limit (1.65: 95 %). With two limits close to each other the far
    one adds its share of risk, so the width is solved for instead of multiplied out. `u` >= 0; an
    exact value (u = 0, a count) needs no guard.

    Source: JCGM 106:2012, 8.3; ILAC-G8:09/2019, 4.2.
    """
    if u == 0 or factor == 0:
        return 0.0
    if lower is None or upper is None:
        return factor * u
    if upper - lower >= (factor + FAR_AWAY) * u:
        return factor * u
    return _two_sided_guard((upper - lower) / 2, u, factor)


def false_accept_band(lower: float | None, upper: float | None, u: float) -> float | None:
    """Return the width that keeps false accepts at 2 % of all motors, or None if nothing can be accepted.

    With two limits: U M, M = 1.04 - exp(0.38 ln(TUR) - 0.54) and not below zero, TUR = (upper - lower) / 2U,
    U = 2u. It holds whatever the spread of the process is, as long as it is centred between the limits.
    With one limit there is no TUR; then each motor beyond it is accepted with a probability of 2 % at
    most, which holds for every process.

    Source: the managed guard band of the handbook of ANSI/NCSL Z540.3, "method 6", as stated in public tests of
    risk calculations; one limit: derived.
    """
    if u == 0:
        return 0.0
    if lower is None or upper is None:
        return normal_quantile(1 - FALSE_ACCEPT) * u
    expanded = 2 * u
    ratio = (upper - lower) / (2 * expanded)
    multiplier = _managed_multiplier(ratio) if ratio > 0 else inf
    return multiplier * expanded if multiplier <= ratio else None


def acceptance(lower: float | None, upper: float | None, u: float, decision: Decision) -> Acceptance | None:
    """Return the acceptance limits for a value of standard uncertainty `u`, None if there are none.

    Under the simple rule they are the tolerance limits. `u` that is no finite number from 0 to the largest
    allowed leaves nothing that could be accepted, whatever the rule.
    """
    if not (isfinite(u) and 0 <= u <= decision.u_max):
        return None
    width = _width(lower, upper, u, decision)
    if width is None:
        return None
    drawn = Acceptance(None if lower is None else lower + width, None if upper is None else upper - width)
    if drawn.lower is not None and drawn.upper is not None and drawn.lower > drawn.upper:
        return None
    return drawn


def lies_within(value: float, lower: float | None, upper: float | None) -> bool:
    """Return whether a finite value lies within both limits; never true for NaN or infinity."""
    low = -inf if lower is None else lower
    high = inf if upper is None else upper
    return isfinite(value) and low <= value <= high


def _width(lower: float | None, upper: float | None, u: float, decision: Decision) -> float | None:
    if decision.rule == "simple":
        return 0.0
    if decision.rule == "false_accept":
        return false_accept_band(lower, upper, u)
    return guard_band(lower, upper, u, decision.factor)


def _managed_multiplier(ratio: float) -> float:
    """Return the guard band over U for a test uncertainty ratio above zero."""
    return max(0.0, 1.04 - exp(0.38 * log(ratio) - 0.54))


def _two_sided_guard(half: float, u: float, factor: float) -> float | None:
    """Return the smallest width whose acceptance limits bear no more risk than `factor` allows."""
    allowed = normal_cdf(-factor)

    def risk(off_centre: float) -> float:
        return normal_cdf((off_centre - half) / u) + normal_cdf(-(off_centre + half) / u)

    if risk(0.0) > allowed:
        return None
    inside, outside = 0.0, half  # distances from the middle: the first is acceptable, the second is not
    for _ in range(_BISECTIONS):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if risk(middle) <= allowed else (inside, middle)
    return half - inside
