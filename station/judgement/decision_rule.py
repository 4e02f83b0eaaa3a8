"""The decision rule: how far acceptance limits stand inside tolerance limits, given an uncertainty."""

from dataclasses import dataclass
from math import erfc, inf, isfinite, sqrt
from typing import Literal

# A limit so many standard uncertainties away adds less than 1e-15 of risk: it may be left out.
FAR_AWAY = 8.0

_BISECTIONS = 60  # halves the half tolerance to below the resolution of a float


@dataclass(frozen=True, slots=True)
class Decision:
    """The rule of a limit file; `guard_factor` counts standard uncertainties."""

    rule: Literal["guarded", "simple"] = "guarded"
    guard_factor: float = 1.65


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Acceptance limits in the characteristic's unit; None where there is no tolerance limit."""

    lower: float | None
    upper: float | None


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal deviate is at most `z`."""
    return 0.5 * erfc(-z / sqrt(2))


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


def acceptance(lower: float | None, upper: float | None, u: float, decision: Decision) -> Acceptance | None:
    """Return the acceptance limits for a value of standard uncertainty `u`, None if there are none.

    Under the simple rule they are the tolerance limits. `u` that is no finite number >= 0 leaves
    nothing that could be accepted, whatever the rule.
    """
    if not (isfinite(u) and u >= 0):
        return None
    width = 0.0 if decision.rule == "simple" else guard_band(lower, upper, u, decision.guard_factor)
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
