"""Carrying out a gauge plan: which runs are still to be made, one after the other, resumable at any point."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from station.errors import UsageError
from station.record.gauge_run import counting_runs, gauge_run_of, runs_of
from station.record.record import Record
from station.record.trouble import is_trouble
from station.sequence.files_in_force import FileInForce
from station.sequence.gauge_plan import GaugePlan, PlannedRun


class Ran(Protocol):
    """A run that is over: its record, and what kept it from finishing, if anything."""

    @property
    def record(self) -> dict[str, Any]:
        """The record as stored."""

    @property
    def trouble(self) -> BaseException | None:
        """None when the run finished."""


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a session: runs made, and the trouble that ended it early, if any."""

    runs: int
    trouble: BaseException | None


def plan_file(plan: GaugePlan) -> FileInForce:
    """Return the plan as it was read, to be kept with the records that it led to."""
    return FileInForce("gauge plan", plan.name.rpartition("/")[2], plan.sha256, plan.text.encode())


def runs_to_make(plan: GaugePlan, records: Iterable[Record], void: frozenset[tuple[str, int]] = frozenset(),
                 level: str = "") -> list[PlannedRun]:
    """Return the runs that are still to be made, in order; only those of `level` if one is given.

    A fitting that was broken off is made anew as a whole: the motor may have been taken out meanwhile.

    Raises
    ------
    UsageError
        The study was begun by another plan, or has no such level.
    """
    if level and level not in plan.study.levels:
        raise UsageError("the study has no such level", where=plan.name, expected=" or ".join(plan.study.levels),
                         got=level, remedy="Name one of them, or leave it out.")
    begun = runs_of(records, plan.study.id)
    for record in begun:
        place = gauge_run_of(record)
        if place is not None and place.plan_sha256 != plan.sha256:
            raise UsageError(f"study {plan.study.id} was begun by another plan", where=plan.name,
                             expected=f"the plan with SHA-256 {place.plan_sha256}", got=plan.sha256,
                             remedy="Go on with that plan; it is kept in the store. For another study draw a plan "
                             "with another name.")
    done = set(counting_runs(begun, void))
    open_fittings = {run.place.fitting for run in plan.runs if run.place.number not in done}
    return [run for run in plan.runs if run.place.fitting in open_fittings and level in ("", run.place.level)]


def make_runs(to_make: Iterable[PlannedRun], run: Callable[[PlannedRun, bool], Ran]) -> Made:
    """Make the runs until one meets trouble; `run` is told whether the motor is to be put in anew for it."""
    made, fitting = 0, 0
    for planned in to_make:
        ran = run(planned, planned.place.fitting != fitting)
        fitting = planned.place.fitting
        if ran.trouble is not None or is_trouble(ran.record):
            return Made(made, ran.trouble)
        made += 1
    return Made(made, None)
