"""Many candidates of one limit at once: how many runs would pass by each, all other limits as they are.

A run that passes by one candidate passes by every looser one, so that a run is told by the tightest candidate that it
passes by. Candidates are halved: the middle one parts the runs, and each part is left with half of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from station.errors import UsageError
from station.judgement.limit_file import Limit, LimitFile
from station.study.decide import NO_RESULT, PASS, Bound, Floats, decide
from station.study.rejudge import demands, kinds, rejudge
from station.study.table_file import TableFile, columns_of
from station.study.value_counts import Demand

Side = Literal["lower", "upper"]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Candidates:
    """Bounds to be tried for one side of one limit, in the characteristic's unit."""

    key: str
    side: Side
    bounds: tuple[float, ...]

    def tightest_first(self) -> list[float]:
        """Return the bounds, from the tightest to the loosest."""
        return sorted(self.bounds, reverse=self.side == "lower")


@dataclass(frozen=True, slots=True)
class Sweep:
    """What becomes of every run by each candidate.

    `alone` and `among` give of each row how many of the tightest candidates it does not pass by, by this limit
    alone and with all others in force: the run passes by all after them. `measured` tells the rows that have every
    value that the limit asks for. `passed` counts the passing runs by each of `bounds`, as they were given.
    """

    bounds: tuple[float, ...]
    ordered: tuple[float, ...]
    alone: Places
    among: Places
    measured: NDArray[np.bool_]
    passed: tuple[int, ...]


def sweep(file: TableFile, limits: LimitFile, in_force: Mapping[str, LimitFile], candidates: Candidates) -> Sweep:
    """Return what becomes of every run in a table; `limits` holds the limit that is swept, errors as `rejudge`."""
    limit = limit_called(limits, candidates.key)
    ordered = candidates.tightest_first()
    alone, measured = np.zeros(file.rows, np.int64), np.ones(file.rows, bool)
    for kind in kinds(file):
        own = np.ones(file.rows, bool) if kind.rows is None else kind.rows
        for demand in demands(replace(limits, limits=(limit,)), kind.labels):
            fails, there = _fails(file, demand, candidates.side, ordered)
            alone = np.maximum(alone, np.where(own, fails, 0))
            measured &= there | ~own
    among = np.where(_others_pass(file, limits, limit, in_force), alone, len(ordered))
    counted = np.cumsum(np.bincount(among, minlength=len(ordered) + 1))
    found = dict(zip(ordered, counted.tolist(), strict=False))
    return Sweep(candidates.bounds, tuple(ordered), alone, among, measured,
                 tuple(found[bound] for bound in candidates.bounds))


def limit_called(limits: LimitFile, key: str) -> Limit:
    """Return the entry of a limit file, or raise UsageError naming those that there are."""
    for limit in limits.limits:
        if limit.key == key:
            return limit
    raise UsageError("no such limit", where=limits.name, expected=", ".join(limit.key for limit in limits.limits),
                     got=key, remedy="Spell it as the limit file does.")


def with_bound(limit: Limit, side: Side, bound: float) -> Limit:
    """Return a limit with another bound on one side."""
    return replace(limit, lower=bound) if side == "lower" else replace(limit, upper=bound)


def _others_pass(file: TableFile, limits: LimitFile, limit: Limit, in_force: Mapping[str, LimitFile]
                 ) -> NDArray[np.bool_]:
    """Return which runs pass by all other limits; where there is no other, all that can have a verdict."""
    rest = replace(limits, limits=tuple(one for one in limits.limits if one is not limit))
    if rest.limits:
        passing: NDArray[np.bool_] = rejudge(file, rest, in_force).new == PASS
        return passing
    said = file.read(("refused", "trouble"), range(file.groups))
    clear: NDArray[np.bool_] = np.logical_not(said["refused"].astype(bool) | said["trouble"].astype(bool))
    return clear


def _fails(file: TableFile, demand: Demand, side: Side, ordered: list[float]) -> tuple[Places, NDArray[np.bool_]]:
    """Return of each row by how many candidates its value in one column does not pass, and whether there is one."""
    fails = np.full(file.rows, len(ordered), np.int64)
    if demand.column not in file or file.unit(demand.column) != demand.unit:
        return fails, np.zeros(file.rows, bool)
    name, name_u, _, _ = columns_of(demand.column)
    read = file.read((name, name_u), range(file.groups))
    halving = _Halving(demand.bound, side, ordered, fails)
    _part(read[name], read[name_u], np.arange(file.rows), halving, (0, len(ordered)))
    return fails, np.isfinite(read[name]) & np.isfinite(read[name_u])


@dataclass(frozen=True, slots=True)
class _Halving:
    bound: Bound
    side: Side
    ordered: list[float]
    fails: Places

    def results(self, values: Floats, us: Floats, candidate: int) -> NDArray[np.int8]:
        edge = self.ordered[candidate]
        lower, upper = (edge, self.bound.upper) if self.side == "lower" else (self.bound.lower, edge)
        if lower is not None and upper is not None and lower > upper:
            return np.full(values.shape, NO_RESULT, np.int8)
        return decide(values, us, replace(self.bound, lower=lower, upper=upper))


def _part(values: Floats, us: Floats, rows: Places, halving: _Halving, left: tuple[int, int]) -> None:
    """Put into `fails` by how many candidates each row fails, which is from left[0] to left[1]."""
    first, end = left
    if not rows.size:
        return
    if first == end:
        halving.fails[rows] = first
        return
    # most values pass by every candidate, so the tightest is asked first
    middle = first if left == (0, len(halving.ordered)) else (first + end) // 2
    passed = halving.results(values, us, middle) == PASS
    _part(values[passed], us[passed], rows[passed], halving, (first, middle))
    _part(values[~passed], us[~passed], rows[~passed], halving, (middle + 1, end))
