"""Comparing two limit files, characteristic by characteristic, in words and numbers."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from math import inf
from typing import Any, Literal

from station.judgement.decision_rule import Decision
from station.judgement.limit_file import Limit, LimitFile
from station.units import printed

Direction = Literal["narrower", "wider", "moved", "new", "dropped", "rule", "type"]


@dataclass(frozen=True, slots=True)
class Change:
    """What differs under one key; `before` and `after` in short, `words` what it means."""

    key: str
    direction: Direction
    before: str
    after: str
    words: str

    def as_json(self) -> dict[str, str]:
        """Return it as a report holds it."""
        return {"key": self.key, "direction": self.direction, "before": self.before, "after": self.after,
                "words": self.words}


def compare(before: LimitFile, after: LimitFile) -> tuple[Change, ...]:
    """Return what differs from `before` to `after`: the type first, then the rule and runs, then limit by limit.

    Notes, names and the revision are left out. Two files without a change judge every motor alike.
    """
    return (*_type_changes(before, after), *_rule_changes(before, after), *_limit_changes(before, after))


def _type_changes(before: LimitFile, after: LimitFile) -> Iterator[Change]:
    for key, old, new in _differing("type", asdict(before.motor_type), asdict(after.motor_type)):
        yield Change(key, "type", str(old), str(new), "values are measured or named otherwise: they do not compare")


def _differing(prefix: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[tuple[str, Any, Any]]:
    """Yield what differs of two tables with the same keys, down to plain values."""
    for name, was in old.items():
        key, now = f"{prefix}.{name}", new[name]
        if isinstance(was, dict) and isinstance(now, dict):
            yield from _differing(key, was, now)
        elif was != now:
            yield key, was, now


def _rule_changes(before: LimitFile, after: LimitFile) -> Iterator[Change]:
    if before.decision != after.decision:
        yield Change("decision", "rule", _rule(before.decision), _rule(after.decision),
                     "all limits without a rule of their own are judged otherwise")
    if before.runs_allowed != after.runs_allowed:
        more = after.runs_allowed > before.runs_allowed
        yield Change("runs.allowed", "rule", str(before.runs_allowed), str(after.runs_allowed),
                     f"a motor may be tested {'more' if more else 'less'} often")


def _limit_changes(before: LimitFile, after: LimitFile) -> Iterator[Change]:
    old, new = ({limit.key: limit for limit in file.limits} for file in (before, after))
    for key in dict.fromkeys((*old, *new)):
        if key not in new:
            yield Change(key, "dropped", _range(old[key]), "", _left(old[key], after))
        elif key not in old:
            yield Change(key, "new", "", _range(new[key]), _left(new[key], before))
        else:
            yield from _bound_changes(old[key], new[key])
            was, now = before.decision_of(old[key]), after.decision_of(new[key])
            if was != now and (old[key].decision, new[key].decision) != (None, None):
                yield Change(key, "rule", _rule(was), _rule(now), "this limit is judged by another rule")


def _bound_changes(old: Limit, new: Limit) -> Iterator[Change]:
    said = [move for move in (_moved("lower", old.lower, new.lower, new.unit),
                              _moved("upper", old.upper, new.upper, new.unit)) if move is not None]
    if said:
        directions = {direction for direction, _ in said}
        direction: Direction = said[0][0] if len(directions) == 1 else "moved"
        words = "; ".join([*(text for _, text in said), *_width(old, new)])
        yield Change(old.key, direction, _range(old), _range(new), words)


def _moved(side: Literal["lower", "upper"], was: float | None, now: float | None, unit: str
           ) -> tuple[Direction, str] | None:
    """Return which way one bound went, and that in words; None when it stayed."""
    if was == now:
        return None
    if was is None:
        return "narrower", f"{side} limit {now:g} is new"
    if now is None:
        return "wider", f"{side} limit {was:g} is dropped"
    direction: Direction = "narrower" if (now > was) == (side == "lower") else "wider"
    return direction, f"{side} limit {direction} by {abs(now - was):.4g} {printed(unit)}".rstrip()


def _width(old: Limit, new: Limit) -> list[str]:
    was, now = _tolerance(old), _tolerance(new)
    if was is None or now is None or was <= 0 or was == now:
        return []
    return [f"tolerance {was:.4g} to {now:.4g} ({100 * (now / was - 1):+.3g} %)"]


def _tolerance(limit: Limit) -> float | None:
    return None if limit.lower is None or limit.upper is None else limit.upper - limit.lower


def _left(limit: Limit, other: LimitFile) -> str:
    """Return which limits of the other file stand for some of the values of a limit that it has not."""
    covering = [one.key for one in other.limits
                if set(one.names) & set(limit.names) and (None in (one.label, limit.label) or one.label == limit.label)]
    if covering:
        return f"in the other file its values are limited by {', '.join(covering)}"
    return "in the other file nothing limits its values"


def _range(limit: Limit) -> str:
    lower, upper = ("" if bound is None else f"{bound:g}" for bound in (limit.lower, limit.upper))
    return " ".join(part for part in (lower, "…", upper, printed(limit.unit)) if part)


def _rule(decision: Decision) -> str:
    with_u = "" if decision.u_max == inf else f", u at most {decision.u_max:g}"
    if decision.rule == "conformance":
        return f"conformance, at least {100 * decision.least_probability:g} %{with_u}"
    if decision.rule == "guarded":
        return f"guarded, {decision.guard_factor:g} u{with_u}"
    return f"{decision.rule.replace('_', ' ')}{with_u}"
