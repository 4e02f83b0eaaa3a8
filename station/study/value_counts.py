"""How many values of each run fail or are missing, counted over a table file limit by limit."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from station.study.decide import FAIL, NO_RESULT, Bound, Floats, certain, decide
from station.study.plain_pages import NO_GAPS, Lying
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

    failed: NDArray[np.int16]
    missing: NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class _Doubt:
    """Values of one demand in one group that bounds do not decide."""

    rows: NDArray[np.int64]
    values: Floats
    us: Floats


def count_results(file: TableFile, demanded: Sequence[Demand], groups: Sequence[int]) -> Counts:
    """Return the counts of the rows in some groups, zero for all others."""
    counts = Counts(np.zeros(file.rows, np.int16), np.zeros(file.rows, np.int16))
    counting = _Counting(file, demanded, counts)
    with ThreadPoolExecutor(os.cpu_count()) as threads:     # each counts in rows of its own
        found = list(threads.map(counting.count, groups))
    for demand, doubts in zip(demanded, zip(*found, strict=True), strict=True) if found else ():
        left = [doubt for doubt in doubts if doubt is not None]
        if left:
            rows = np.concatenate([doubt.rows for doubt in left])       # each row stands in it once
            results = decide(np.concatenate([doubt.values for doubt in left]),
                             np.concatenate([doubt.us for doubt in left]), demand.bound)
            counts.failed[rows[results == FAIL]] += 1
            counts.missing[rows[results == NO_RESULT]] += 1
    return counts


@dataclass(frozen=True, slots=True)
class _Counting:
    """Counts group by group what is certain; thread-safe as long as no two threads count the same group."""

    file: TableFile
    demanded: Sequence[Demand]
    counts: Counts
    _reading: Lock = field(default_factory=Lock)

    def count(self, group: int) -> list[_Doubt | None]:
        """Count the results of a group that are certain; return what is not, for each demand."""
        rows = self.file.places(group)
        return [self._count_one(demand, group, rows) for demand in self.demanded]

    def _count_one(self, demand: Demand, group: int, rows: NDArray[np.int64]) -> _Doubt | None:
        file, (name, name_u, _, _) = self.file, columns_of(demand.column)
        if name not in file or file.unit(name) != demand.unit:
            self.counts.missing[rows] += 1
            return None
        value, u = file.bounds(name, group), file.bounds(name_u, group)
        if value is None or u is None or u.nulls:
            return _Doubt(rows, self._all(name, group), self._all(name_u, group))
        low, high, wide_low, wide_high = certain(demand.bound, u.least, u.largest)
        if value.nulls == 0 and low <= value.least and value.largest <= high:
            return None
        lying = file.in_place(name, group) or Lying(self._all(name, group), NO_GAPS)
        self.counts.missing[rows[lying.gaps]] += 1
        values = lying.values
        inside = values >= low
        inside &= values <= high
        left = np.flatnonzero(~inside)      # with those that are NaN
        outside = (values[left] < wide_low) | (values[left] > wide_high)
        self.counts.failed[rows[lying.rows(left[outside])]] += 1
        left = left[~outside]
        if not left.size:
            return None
        us, places = file.in_place(name_u, group), lying.rows(left)
        return _Doubt(rows[places], values[left], (self._all(name_u, group) if us is None else us.values)[places])

    def _all(self, name: str, group: int) -> Floats:
        with self._reading:
            values: Floats = self.file.read((name,), (group,))[name]
        return values
