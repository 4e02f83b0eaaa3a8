"""The tables of a limit file that say how uncertainty counts, and the decision rule that comes of them."""

from dataclasses import replace
from typing import Annotated

from pydantic import Field

from station.judgement.decision_rule import Decision, Rule
from station.toml_file import Table

Text = Annotated[str, Field(min_length=1)]
Positive = Annotated[float, Field(gt=0)]


class RuleKeys(Table):
    """What may be said of the rule; what is left out stays as it was."""

    rule: Rule | None = None
    guard_factor: Annotated[float, Field(gt=0, le=6)] | None = None
    expanded_share: Annotated[float, Field(gt=0, le=3)] | None = None   # another way to give guard_factor
    least_probability: Annotated[float, Field(gt=0.5, le=0.999999)] | None = None


class DecisionTable(RuleKeys):
    """`[decision]`: how uncertainty counts where a limit says nothing of its own."""


class LimitTable(RuleKeys):
    """One entry of `[limits]`."""

    unit: Text
    lower: float | None = None
    upper: float | None = None
    u_max: Positive | None = None       # a value of larger standard uncertainty has no result


def decided(decision: Decision, said: RuleKeys) -> Decision:
    """Return `decision` with what a table says of it; `expanded_share` counts U = 2u."""
    factor = said.guard_factor if said.expanded_share is None else 2 * said.expanded_share
    return replace(decision, rule=said.rule or decision.rule,
                   guard_factor=decision.guard_factor if factor is None else factor,
                   least_probability=said.least_probability or decision.least_probability)


def decided_for(limit: LimitTable, of_file: Decision, scale: float = 1.0) -> Decision:
    """Return the rule of a limit: that of the file with its own keys; `scale` turns `u_max` into another unit."""
    own = decided(of_file, limit)
    return own if limit.u_max is None else replace(own, u_max=limit.u_max * scale)
