"""Which entries of a limit file change the verdict of a test."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from station.judgement.limit_file import LimitFile
from station.study.decide import FAIL, NO_RESULT, PASS, Results, decide
from station.study.rejudge import demands, kinds
from station.study.table_file import TableFile, columns_of
from station.study.value_counts import Demand

UNKNOWN = "(the limit file in force was not kept)"

Places = NDArray[np.int64]


def causes_of(file: TableFile, draft: LimitFile, in_force: Mapping[str, LimitFile], rows: Places, new: Results
              ) -> list[tuple[str, ...]]:
    """Return of each row the entries that make its new verdict what it is.

    For a FAIL these are the entries of the draft that fail it, for NO RESULT those of the draft that have none; for a
    PASS the entries in force then that did not pass it.

    Parameters
    ----------
    rows, new : the rows whose verdict changes, in rising order, and the code of the new verdict of each
    """
    found: list[list[str]] = [[] for _ in rows]
    for kind in kinds(file):
        own = np.ones(rows.size, bool) if kind.rows is None else kind.rows[rows]
        before = in_force.get(kind.limit_sha256)
        for code, limits in ((FAIL, draft), (NO_RESULT, draft), (PASS, before)):
            places = np.flatnonzero(own & (new == code))
            if limits is None:
                for place in places:
                    found[place].append(UNKNOWN)
            elif places.size:
                _add(file, demands(limits, kind.labels), rows, places, code, found)
    return [tuple(dict.fromkeys(keys)) for keys in found]


def _add(file: TableFile, asked: Sequence[Demand], rows: Places, places: Places, code: int, found: list[list[str]]
         ) -> None:
    chosen = rows[places]
    for demand in asked:
        results = _results(file, demand, chosen)
        for place in places[results != PASS if code == PASS else results == code]:
            found[place].append(demand.key)


def _results(file: TableFile, demand: Demand, rows: Places) -> Results:
    if demand.column not in file or file.unit(demand.column) != demand.unit:
        return np.full(rows.size, NO_RESULT, np.int8)
    value, u = (np.concatenate([file.read((name,), (group,))[name][inside] for group, inside in _by_group(file, rows)])
                for name in columns_of(demand.column)[:2])
    return decide(value, u, demand.bound)


def _by_group(file: TableFile, rows: Places) -> list[tuple[int, Places]]:
    """Return the groups that rows stand in, with their places there."""
    parts = []
    for group in range(file.groups):
        there = file.places(group)
        inside = rows[(rows >= there[0]) & (rows <= there[-1])] - there[0]
        if inside.size:
            parts.append((group, inside))
    return parts
