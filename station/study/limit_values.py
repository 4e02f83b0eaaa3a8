"""The stored values that one limit covers, and how far it is worth moving."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, log10

import numpy as np
from numpy.typing import NDArray

from station.judgement.limit_file import Limit, LimitFile
from station.study.limit_sweep import Side
from station.study.rejudge import demands, kinds
from station.study.table_file import TableFile, columns_of

BULK = (0.005, 0.995)       # quantiles: what lies outside of them is no reason to move a limit so far
MARGIN = 0.25               # of the width between values and limit, beyond both
STEPS = 200                 # from one end to the other, about

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LimitValues:
    """(n,) values of every capture and member that a limit covers, and the median of their u; NaN without one."""

    values: Floats
    u: float


@dataclass(frozen=True, slots=True)
class Reach:
    """From where to where a bound may be moved, and by which steps, in the characteristic's unit."""

    first: float
    last: float
    step: float


def values_of(file: TableFile, limits: LimitFile, limit: Limit, rows: NDArray[np.bool_]) -> LimitValues:
    """Return the values in some rows of a table that `limit` covers, as far as they are measured in its unit."""
    groups, values, us = range(file.groups), list[Floats](), list[Floats]()
    for column in _columns(file, limits, limit):
        name, name_u, _, _ = columns_of(column)
        read = file.read((name, name_u), groups)
        there = rows & np.isfinite(read[name]) & np.isfinite(read[name_u])
        values.append(read[name][there])
        us.append(read[name_u][there])
    found, u = (np.concatenate(some) if some else np.zeros(0) for some in (values, us))
    return LimitValues(found, float(np.median(u)) if u.size else float("nan"))


def reach_of(found: LimitValues, limit: Limit, side: Side) -> Reach:
    """Return how far one side of a limit is worth moving: past the bulk of the values, and past where it stands."""
    bound = limit.lower if side == "lower" else limit.upper
    ends = [bound] if bound is not None else []
    ends += np.quantile(found.values, BULK).tolist() if found.values.size else []
    low, high = min(ends, default=0.0), max(ends, default=1.0)
    width = (high - low) or abs(high) or 1.0
    step = _round_step(width * (1 + 2 * MARGIN) / STEPS)
    first, last = floor((low - MARGIN * width) / step) * step, ceil((high + MARGIN * width) / step) * step
    if low >= 0.0 > first:
        first = 0.0     # most such quantities have no negative values
    return Reach(*(float(f"{end:.12g}") for end in (first, last, step)))     # 0.3, not 0.30000000000000004


def _columns(file: TableFile, limits: LimitFile, limit: Limit) -> Sequence[str]:
    asked = (demand for kind in kinds(file) for demand in demands(replace(limits, limits=(limit,)), kind.labels))
    return [column for column in dict.fromkeys(demand.column for demand in asked)
            if column in file and file.unit(column) == limit.unit]


def _round_step(rough: float) -> float:
    decade = 10.0 ** floor(log10(rough))
    return next(decade * digit for digit in (1, 2, 5, 10) if decade * digit >= rough)
