"""Limit files side by side: each limit, from where on values are accepted, what stored tests become, and the texts."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import unified_diff

from starlette.responses import Response

from station.errors import UsageError
from station.judgement.decision_rule import acceptance
from station.judgement.limit_file import Limit, LimitFile
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import LIMITS, names
from station.screens.pages import page
from station.screens.what_if_asked import DRAFT, EARLIER, IN_FORCE, limit_file_at
from station.screens.what_if_tests import gathered
from station.screens.words import MINUS
from station.study.compare import compare
from station.study.limit_values import values_of
from station.study.rejudge import VERDICTS
from station.study.release import RELEASED
from station.study.table_file import TableFile
from station.study.what_if import Outcome, Span, Tests, flips, judged_table, outcome
from station.units import printed

PLACES = ("a", "b", "c")        # files at once; all are held against the first


@dataclass(frozen=True, slots=True)
class Cell:
    """A limit in one file: its tolerance, where values are accepted, and whether it differs from the first file."""

    tolerance: str
    accepted: str
    differs: bool


@dataclass(frozen=True, slots=True)
class Column:
    """One file, and what stored tests would have become by it."""

    where: str
    limits: LimitFile
    outcome: Outcome
    recalled: int                   # motors that may be shipped and would not pass
    difference: Sequence[str]       # of its text to that of the first file

    @property
    def counts(self) -> list[int]:
        """How many tests would have each verdict."""
        return [sum(self.outcome.confusion[old, new] for old in VERDICTS) for new in VERDICTS]


def _show(ask: Ask) -> Response:
    chosen = [ask.given(place, 80) for place in PLACES]
    files = [(where, limit_file_at(ask.site.station, where)) for where in chosen if where]
    if not files:
        raise UsageError("nothing to compare", where="limits", expected="a limit file", got="none",
                         remedy="Follow a link of the list.")
    first = files[0][1]
    _require_one_type([limits for _, limits in files])
    file = gathered(ask, first.motor_type.name)
    if isinstance(file, Response):
        return file
    columns = [_column(ask, where, limits, first, file) for where, limits in files]
    tests = judged_table(ask.site.station.store, file, first)
    station = ask.site.station
    choices = [f"{IN_FORCE}/{name}" for name in names(station.limits)]
    choices += [f"{DRAFT}/{name}" for name in names(LIMITS.drafts(station))]
    choices += [f"{EARLIER}/{name}" for name in names(station.limits / RELEASED)]
    return page(ask, "limits_compare.html", chosen=dict(zip(PLACES, chosen, strict=True)), columns=columns,
                rows=_rows([limits for _, limits in files], tests), choices=choices,
                changes=[(column, compare(first, column.limits)) for column in columns[1:]])


def _column(ask: Ask, where: str, limits: LimitFile, first: LimitFile, file: TableFile) -> Column:
    tests = judged_table(ask.site.station.store, file, limits)
    recalled = sum(flip.shipped for flip in flips([tests], limits, Span()))
    difference = [] if limits is first else list(unified_diff(
        first.text.splitlines(), limits.text.splitlines(), first.name, limits.name, lineterm="", n=1))
    return Column(where, limits, outcome([tests], Span()), recalled, difference)


def _rows(files: Sequence[LimitFile], tests: Tests) -> list[tuple[str, list[Cell | None]]]:
    """Return a row for each entry of any file: its key, and what each file says of it, None where it says nothing."""
    own = [{limit.key: limit for limit in limits.limits} for limits in files]
    first, rows = tests.within(Span()) & tests.first, []
    for key in dict.fromkeys(key for each in own for key in each):
        limit = next(each[key] for each in own if key in each)
        u = values_of(tests.file, files[0], limit, first).u
        rows.append((key, [_cell(each.get(key), own[0].get(key), limits, u)
                           for each, limits in zip(own, files, strict=True)]))
    return rows


def _cell(limit: Limit | None, first: Limit | None, limits: LimitFile, u: float) -> Cell | None:
    return None if limit is None else Cell(_range(limit.lower, limit.upper, limit.unit), _accepted(limit, limits, u),
                                           _differs(first, limit))


def _accepted(limit: Limit, limits: LimitFile, u: float) -> str:
    """Return from where to where a value of that u is accepted, "" where nothing is, or the limits are those."""
    zone = acceptance(limit.lower, limit.upper, u, limits.decision_of(limit))
    if zone is None or (zone.lower, zone.upper) == (limit.lower, limit.upper):
        return ""
    return _range(zone.lower, zone.upper, limit.unit)


def _differs(first: Limit | None, limit: Limit) -> bool:
    return first is None or (first.lower, first.upper, first.decision) != (limit.lower, limit.upper, limit.decision)


def _range(lower: float | None, upper: float | None, unit: str) -> str:
    ends = ("" if bound is None else f"{bound:.5g}".replace("-", MINUS) for bound in (lower, upper))
    return " ".join(part for part in (" … ".join(ends).strip(), printed(unit)) if part)


def _require_one_type(files: Sequence[LimitFile]) -> None:
    types = list(dict.fromkeys(limits.motor_type.name for limits in files))
    if len(types) > 1:
        raise UsageError("these are limits of different motors", where="limits", expected="files of one motor type",
                         got=", ".join(types), remedy="Choose others.")


PAGES = (Page("/limits/compare", Duty.DRAFT, _show),)
