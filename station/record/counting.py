"""Which of a motor's runs counts, and why each of the others does not."""

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from station.judgement.verdict import Verdict

Why = Literal["counts", "superseded", "void", "no result", "purpose"]


@dataclass(frozen=True, slots=True)
class RunPlace:
    """The place of a run among the others of its motor.

    It counts, or it was `superseded` by the run `by`, was declared void, has no result, or was made for another
    purpose than the production. `is_first`: it is the one that first-pass yield counts.
    """

    run: int
    why: Why
    by: int = 0
    is_first: bool = False


def places_of(records: Iterable[Mapping[str, Any]], void: Container[int]) -> list[RunPlace]:
    """Return the place of each run of one motor, in the order given; `void` are the runs declared so.

    The last valid run with a result counts, the first one for first-pass yield: as `count_yield` has it in SQL.
    """
    reasons = [(record["run"], _fault(record, void)) for record in records]
    valid = [run for run, fault in reasons if fault is None]
    first, last = min(valid, default=0), max(valid, default=0)
    return [RunPlace(run, fault) if fault is not None else
            RunPlace(run, "counts", 0, run == first) if run == last else RunPlace(run, "superseded", last, run == first)
            for run, fault in reasons]


def _fault(record: Mapping[str, Any], void: Container[int]) -> Why | None:
    """Return why a run counts for nothing, whatever runs came after it."""
    if record.get("purpose"):
        return "purpose"
    if record["run"] in void:
        return "void"
    return "no result" if record["verdict"] == Verdict.NO_RESULT else None
