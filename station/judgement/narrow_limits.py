"""Tolerances against uncertainty: is there room to accept anything, and enough to tell good motors from bad ones?"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf

from station.judgement.decision_rule import Decision, acceptance, normal_cdf, normal_quantile
from station.judgement.limit_file import Limit, LimitFile

# Capability indices below which a limit is worth a warning. Sources: below 1.5 the second limit of a tolerance
# shows in a guard band (solved, see decision_rule); 4 to 1 as the ratio for which uncertainty may be left out is
# common practice, from memory.
TIGHT = 1.5
TIGHT_UNGUARDED = 4.0

_STEPS = 80     # of bisection


@dataclass(frozen=True, slots=True)
class Narrow:
    """A limit that is too narrow for the uncertainty (`refused`), or uncomfortably so.

    `u` in the characteristic's unit; `name` and `label` say of which value, empty where the limit file declares it.
    """

    key: str
    name: str
    label: str
    u: float
    refused: bool
    text: str

    @property
    def words(self) -> str:
        """Which limit, for which value, and what of it."""
        at = f" at {self.label}" if self.label else ""
        return f"limit {self.key}: " + (f"{self.name}{at}: " if self.name else "") + self.text


def capability_index(lower: float, upper: float, u: float) -> float:
    """Return Cm = (upper - lower) / 4u, infinity for an exact value. Source: JCGM 106:2012, 7.6."""
    return inf if u == 0 else (upper - lower) / (4 * u)


def least_capability(decision: Decision) -> float:
    """Return the index below which a rule accepts nothing between two limits; 0 under the simple rule."""
    if decision.rule == "simple":
        return 0.0
    if decision.rule == "false_accept":
        return _least_of_false_accept()
    # In the middle of the tolerance both limits bear the same risk.
    return -normal_quantile(normal_cdf(-decision.factor) / 2) / 2


def find_narrow(limits: LimitFile, stored_u: Mapping[tuple[str, str], float] | None = None) -> list[Narrow]:
    """Return every limit that is too narrow for its uncertainty, or worth a warning, in the order of the file.

    Parameters
    ----------
    stored_u : standard uncertainty that stored values have, by (full name, capture label), in the characteristic's
        unit; a high percentile of many. Without it only the `u_max` of the limit file are looked at.
    """
    return [narrow for limit in limits.limits
            for narrow in _of_limit(limit, limits.decision_of(limit), stored_u or {})]


def _of_limit(limit: Limit, decision: Decision, stored_u: Mapping[tuple[str, str], float]) -> Iterator[Narrow]:
    if decision.u_max < inf:
        text, refused = _judge_room(limit, decision, decision.u_max)
        if text:
            yield Narrow(limit.key, "", "", decision.u_max, refused, f"u_max {text}")
    for (name, label), u in stored_u.items():
        if limit.covers(name, label):
            text, refused = _judge_room(limit, decision, u)
            if text:
                yield Narrow(limit.key, name, label, u, refused, f"u {text}")


def _judge_room(limit: Limit, decision: Decision, u: float) -> tuple[str, bool]:
    """Return what is to be said of a limit at this uncertainty, empty if nothing, and whether it cannot be used."""
    said = f"{u:.3g} {limit.unit}"
    if u > decision.u_max:
        return f"{said} above the u_max {decision.u_max:.3g} {limit.unit}: no value would have a result", True
    if limit.lower is None or limit.upper is None:
        return "", False
    index = capability_index(limit.lower, limit.upper, u)
    if acceptance(limit.lower, limit.upper, u, decision) is None:
        return f"{said} gives Cm {index:.2f}, and the rule accepts nothing below {least_capability(decision):.2f}", True
    enough = TIGHT_UNGUARDED if decision.rule == "simple" else TIGHT
    return (f"{said} gives Cm {index:.2f}, below {enough:g}", False) if index < enough else ("", False)


def _least_of_false_accept() -> float:
    """Return the index at which the guard band reaches the middle of the tolerance: TUR, as U = 2u."""
    least, enough = 0.1, 1.0
    for _ in range(_STEPS):
        middle = (least + enough) / 2
        found = acceptance(-1.0, 1.0, 1 / (2 * middle), Decision("false_accept"))
        least, enough = (middle, enough) if found is None else (least, middle)
    return enough
