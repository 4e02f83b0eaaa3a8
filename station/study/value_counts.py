"""How many values of each run fail or are missing, counted over a table file limit by limit."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from station.study.decide import FAIL, NO_RESULT, Bound, Floats, certain, decide
from station.study.table_file import TableFile, columns_of


@dataclass(frozen=True, slots=True)
class Demand:
    """A value that a limit file asks for: the entry `key` of the file, the column of the value, and its limits."""

    key: str
    column: str
    unit: str
    bound: Bound


@dataclass(frozen=True, slots=True)
class Counts:
    """Of each row of a table, how many values fail and how many give no result."""

    failed: NDArray[np.int64]
    missing: NDArray[np.int64]


@dataclass(slots=True)
class _Doubts:
    """Values of one demand that its bounds do not decide, gathered from all groups."""

    rows: list[NDArray[np.int64]] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)
    us: list[Floats] = field(default_factory=list)


def count_results(file: TableFile, demanded: Sequence[Demand], groups: Sequence[int]) -> Counts:
    """Return the counts of the rows in some groups, zero for all others."""
    counts = Counts(np.zeros(file.rows, np.int64), np.zeros(file.rows, np.int64))
    doubts = [_Doubts() for _ in demanded]
    for group in groups:
        _count_group(file, demanded, group, counts, doubts)
    for demand, left in zip(demanded, doubts, strict=True):
        if left.rows:
            results = decide(np.concatenate(left.values), np.concatenate(left.us), demand.bound)
            rows = np.concatenate(left.rows)
            counts.failed[rows[results == FAIL]] += 1       # a row stands in it once at most
            counts.missing[rows[results == NO_RESULT]] += 1
    return counts


def _count_group(file: TableFile, demanded: Sequence[Demand], group: int, counts: Counts, doubts: Sequence[_Doubts]
                 ) -> None:
    open_demands = []
    for demand, doubt in zip(demanded, doubts, strict=True):
        if demand.column not in file or file.unit(demand.column) != demand.unit:
            counts.missing[file.places(group)] += 1
        elif not _bounds_pass(file, demand, group):
            open_demands.append((demand, doubt))
    values = file.read({demand.column for demand, _ in open_demands}, [group])
    unsure = []
    for demand, doubt in open_demands:
        left = _certain_fails(file, demand, group, values[demand.column], counts)
        if left.size:
            unsure.append((demand, doubt, left))
    us = file.read({columns_of(demand.column)[1] for demand, _, _ in unsure}, [group])
    for demand, doubt, left in unsure:
        doubt.rows.append(file.places(group)[left])
        doubt.values.append(values[demand.column][left])
        doubt.us.append(us[columns_of(demand.column)[1]][left])


def _bounds_pass(file: TableFile, demand: Demand, group: int) -> bool:
    """Return whether every value of a group passes for certain."""
    value, u = file.bounds(demand.column, group), file.bounds(columns_of(demand.column)[1], group)
    if value is None or u is None or value.nulls or u.nulls:
        return False
    low, high, _, _ = certain(demand.bound, u.least, u.largest)
    return bool(low <= value.least and value.largest <= high)


def _certain_fails(file: TableFile, demand: Demand, group: int, values: Floats, counts: Counts) -> NDArray[np.int64]:
    """Count the values of a group that fail for certain; return the places of those that are left to decide."""
    u = file.bounds(columns_of(demand.column)[1], group)
    if u is None or u.nulls:
        return np.arange(values.size)
    low, high, wide_low, wide_high = certain(demand.bound, u.least, u.largest)
    left = np.flatnonzero(~((values >= low) & (values <= high)))        # with those that are NaN
    outside = (values[left] < wide_low) | (values[left] > wide_high)
    counts.failed[file.places(group)[left[outside]]] += 1
    return left[~outside]
