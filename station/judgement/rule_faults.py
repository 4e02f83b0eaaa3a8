"""What a limit file may say wrongly of decision rules: keys that do not belong to a rule, limits too narrow for it."""

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from station.errors import Fault
from station.judgement.decision_rule import Decision, acceptance
from station.judgement.rule_tables import DecisionTable, LimitTable, RuleKeys, decided, decided_for

# Keys that say something under each rule: guard_factor also draws the line between the zones in words.
_BELONG: Mapping[str, tuple[str, ...]] = {
    "guarded": ("guard_factor", "expanded_share"), "simple": ("guard_factor",),
    "conformance": ("least_probability",), "false_accept": ("guard_factor",)}
_HOME = {"guard_factor": "guarded", "expanded_share": "guarded", "least_probability": "conformance"}

_Keys = TypeVar("_Keys", bound=RuleKeys)


def find_rule_faults(file: str, tables: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield every breach; tables of wrong form are passed over, as the contract names what is wrong with them."""
    of_file = _read(DecisionTable, tables.get("decision", {}))
    if of_file is None:
        return
    decision = decided(Decision(), of_file)
    yield from _key_faults(file, "decision", of_file, decision)
    limits = tables.get("limits")
    for key, table in limits.items() if isinstance(limits, dict) else ():
        entry = _read(LimitTable, table)
        if entry is not None:
            own = decided_for(entry, decision)
            yield from _key_faults(file, f"limits.{key}", entry, own)
            yield from _room_faults(file, f"limits.{key}", entry, own)


def _read(form: type[_Keys], table: object) -> _Keys | None:
    try:
        return form.model_validate(table)
    except ValidationError:
        return None


def _key_faults(file: str, at: str, said: RuleKeys, decision: Decision) -> Iterator[Fault]:
    belong = _BELONG[decision.rule]
    for key, home in _HOME.items():
        if getattr(said, key) is not None and key not in belong:
            yield Fault(file, f"{at}.{key}", f"given under the rule {decision.rule!r}", " or ".join(belong),
                        f"Remove it, or name the rule that it belongs to: {home!r}.")
    if said.guard_factor is not None and said.expanded_share is not None:
        yield Fault(file, f"{at}.expanded_share", "given beside guard_factor", "one of them, as each gives the other",
                    "Remove one: guard_factor counts u, expanded_share counts U = 2u.")


def _room_faults(file: str, at: str, entry: LimitTable, decision: Decision) -> Iterator[Fault]:
    """Yield a fault if nothing could be accepted at the uncertainty that the limit declares."""
    lower, upper, u_max = entry.lower, entry.upper, entry.u_max
    if lower is None or upper is None or u_max is None or lower > upper:
        return
    if acceptance(lower, upper, u_max, decision) is None:
        yield Fault(file, f"{at}.u_max", f"{u_max:g}, Cm = {(upper - lower) / (4 * u_max):.2f}",
                    "a tolerance in which the rule can accept something",
                    "Measure better, widen the tolerance, or choose a rule that deducts less.")
