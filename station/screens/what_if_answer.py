"""What stored tests say of a what-if: counts, yields, motors that change and by what, and the bound that is moved."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from station.judgement.limit_file import LimitFile
from station.screens.still_charts import Chart
from station.screens.what_if_asked import Asked
from station.screens.what_if_charts import moved_chart
from station.study.limit_study import candidates_of, study_limit
from station.study.limit_values import Reach, reach_of, values_of
from station.study.rejudge import VERDICTS
from station.study.table_file import TableFile
from station.study.what_if import Flip, Outcome, Tests, changes_alone, flips, judged_table, outcome, warnings_of

SHOWN = 30      # motors of a list
STEPS = 61      # bounds of a curve


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of every stored test by the limits asked for."""

    outcome: Outcome
    causes: Sequence[tuple[str, str, str, int, int]]    # entry, verdict then and now, flips alone and with others
    flips: Sequence[Flip]
    warnings: Sequence[str]
    chart: Chart
    log_size: int

    @property
    def recalled(self) -> list[Flip]:
        """Motors that may be shipped and that would not pass."""
        return [flip for flip in self.flips if flip.shipped]

    @property
    def rows(self) -> list[tuple[str, list[int]]]:
        """How many tests of each verdict then get which one now."""
        return [(old, [self.outcome.confusion[old, new] for new in VERDICTS]) for old in VERDICTS]


def answered(store: Path, file: TableFile, asked: Asked, in_force: LimitFile | None) -> Answer:
    """Return what the tests in a table say; errors as `judged_table`."""
    tests = judged_table(store, file, asked.limits)
    found = outcome([tests], asked.span)
    changed = flips([tests], asked.limits, asked.span)
    causes = [(*key, *counts) for key, counts in changes_alone(changed).items()]
    return Answer(found, causes, changed, warnings_of([tests], found), _chart(tests, asked, in_force),
                  file.about.log_size)


def reach_in(tests: Tests, asked: Asked) -> Reach:
    """Return how far the bound that is moved is worth moving, by the file that it is moved in."""
    limit = next(one for one in asked.base.limits if one.key == asked.shown.limit.key)
    return reach_of(values_of(tests.file, asked.base, limit, tests.within(asked.span) & tests.first), limit,
                    asked.shown.side)


def _chart(tests: Tests, asked: Asked, in_force: LimitFile | None) -> Chart:
    shown, reach = asked.shown, reach_in(tests, asked)
    rows = tests.within(asked.span) & tests.first
    first, last = min(reach.first, shown.bound), max(reach.last, shown.bound)
    candidates = candidates_of(asked.limits, shown.limit.key, shown.side, (first, last), STEPS)
    study = study_limit([tests], asked.limits, candidates, {}, None, asked.span, None)
    return moved_chart(study, values_of(tests.file, asked.limits, shown.limit, rows), asked, in_force, (first, last))
