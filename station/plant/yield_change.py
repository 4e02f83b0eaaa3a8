"""How one entry changes the yield of its station: what a motor counted for before, and after; pure.

A motor counts on the day of its first run that has a result and is not void, as in `record.find.count_yield`. What
changes is added to the sums of a day, so that whoever asks for them need not look at single motors.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Result:
    """One run of a motor that has a result and is no reference check."""

    run: int
    day: str
    motor_type: str
    passed: bool


@dataclass(frozen=True, slots=True)
class Change:
    """What is added to the counts of a day and a motor type."""

    day: str
    motor_type: str
    motors: int
    passed_first: int
    passed_last: int


def changes(before: Iterable[Result], after: Iterable[Result]) -> list[Change]:
    """Return what changes where the runs of one motor that count were `before` and are `after`."""
    old, new = _counted(before), _counted(after)
    if old is not None and new is not None and (old.day, old.motor_type) == (new.day, new.motor_type):
        both = Change(new.day, new.motor_type, 0, new.passed_first - old.passed_first,
                      new.passed_last - old.passed_last)
        return [both] if both.passed_first or both.passed_last else []
    taken = [] if old is None else [Change(old.day, old.motor_type, -1, -old.passed_first, -old.passed_last)]
    return taken if new is None else [*taken, new]


def _counted(results: Iterable[Result]) -> Change | None:
    """Return what a motor counts for."""
    in_order = sorted(results, key=lambda result: result.run)
    if not in_order:
        return None
    first, last = in_order[0], in_order[-1]
    return Change(first.day, first.motor_type, 1, int(first.passed), int(last.passed))
