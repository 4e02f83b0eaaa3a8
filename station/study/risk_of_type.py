"""The risks that a limit file takes with a motor type, reckoned on the motors stored."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from math import inf, isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.errors import UsageError
from station.judgement.decision_rule import acceptance
from station.judgement.limit_file import Limit, LimitFile
from station.judgement.limit_key import read_key
from station.judgement.narrow_limits import capability_index
from station.study.capability import ENOUGH, LEAST
from station.study.distribution import MAD_TO_S
from station.study.risk import (
    Interval,
    Normal,
    Risks,
    conforming,
    global_risks,
    pass_probability,
    risks_of,
    whole_motor,
    whole_motors,
)
from station.study.table_rows import Status
from station.study.wide_table import WideTable

FORMAT = 1

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ValueRisk:
    """One value of a motor under all limits that cover it, in the characteristic's unit.

    `u` is the median of the stored ones, `process` the bulk of the motors. `modelled` takes every motor from that
    normal distribution, `stored` takes the values of the motors as they are, gross failures among them.
    """

    key: str
    unit: str
    n: int
    u: float
    capability: float | None    # index Cm, None with a single limit
    process: Normal
    tolerance: Interval
    acceptance: Interval | None
    modelled: Risks
    stored: Risks


@dataclass(frozen=True, slots=True)
class TypeRisk:
    """All values, worst for the consumer first, and the whole motor.

    `independent` multiplies the modelled risks as if no characteristic had to do with another; `together` takes
    the characteristics of each of `motors` stored motors as they belong together.
    """

    values: tuple[ValueRisk, ...]
    independent: Risks
    together: Risks
    motors: int
    left_out: int               # motors some of whose values are missing
    unseen: tuple[str, ...]     # limits and values that too few motors have values of
    warning: str


def risks_of_type(table: WideTable, limits: LimitFile) -> TypeRisk:
    """Return the risks of judging first attempts in `table` by `limits`.

    Spreads are those of measured values: the share of the uncertainty in them is not taken out, as it is not known how
    much of it changes from motor to motor. So the risks are rather too large than too small.

    Raises
    ------
    UsageError
        There are too few motors to tell a spread.
    """
    first = table.first_attempts()
    covered = {key: [limit for limit in limits.limits if limit.covers(*_name_and_label(key))] for key in first.keys}
    sizes = {key: first.measured(key).size for key, by in covered.items() if by}
    keys = [key for key, size in sizes.items() if size >= LEAST]
    if not keys:
        raise UsageError("too few motors to tell a risk", where=f"tests of {table.about.motor_type}",
                         got=max(sizes.values(), default=0),
                         expected=f"at least {LEAST} values of a limited characteristic at first attempts",
                         remedy="Test more motors first.")
    values = [_value_risk(first, key, covered[key], limits) for key in keys]
    least = min(sizes[key] for key in keys)
    seen = {limit.key for key in sizes for limit in covered[key]}
    together, motors = _together(first, values)
    return TypeRisk(
        tuple(sorted(values, key=lambda value: (value.modelled.consumer, value.stored.consumer), reverse=True)),
        whole_motor([value.modelled for value in values]), together, motors, len(first.frame) - motors,
        (*(limit.key for limit in limits.limits if limit.key not in seen), *(key for key in sizes if key not in keys)),
        f"Only {least} motors: spreads, and risks even more, are rough." if least < ENOUGH else "")


def as_json(found: TypeRisk) -> dict[str, Any]:
    """Return everything, plain JSON; null for the capability of a lone limit and of an exact value."""
    values = [asdict(value) | {"capability": value.capability if value.u else None} for value in found.values]
    return {"format": FORMAT, **asdict(found), "values": values}


def _name_and_label(key: str) -> tuple[str, str]:
    name, label = read_key(key)
    return name, label or ""


def _value_risk(first: WideTable, key: str, by: list[Limit], limits: LimitFile) -> ValueRisk:
    there = first.status(key) == Status.MEASURED
    values, u = first.values(key)[there], _typical(first.u(key)[there])
    tolerance = _common(Interval(limit.lower, limit.upper) for limit in by)
    zone = _zone(by, u, limits)
    index = None if tolerance.lower is None or tolerance.upper is None else capability_index(
        tolerance.lower, tolerance.upper, u)
    process = _bulk(values, u)
    return ValueRisk(key, first.units[key], values.size, u, index, process, tolerance, zone,
                     global_risks(process, u, tolerance, zone), risks_of(values, u, tolerance, zone))


def _typical(us: Floats) -> float:
    known = us[np.isfinite(us)]
    return float(np.median(known)) if known.size else inf


def _bulk(values: Floats, u: float) -> Normal:
    """Return place and spread of the bulk of the motors: a few that failed grossly do not widen it."""
    middle = float(np.median(values))
    spread = MAD_TO_S * float(np.median(np.abs(values - middle)))
    if spread == 0 and u > 0:       # rounded so coarsely that most are alike; of a count that is so by nature
        spread = float(np.std(values, ddof=1))
    return Normal(middle, spread)


def _zone(by: list[Limit], u: float, limits: LimitFile) -> Interval | None:
    zones = [acceptance(limit.lower, limit.upper, u, limits.decision_of(limit)) for limit in by]
    drawn = [Interval(zone.lower, zone.upper) for zone in zones if zone is not None]
    if len(drawn) < len(zones):
        return None
    common = _common(drawn)
    return None if common.ends[0] > common.ends[1] else common


def _common(intervals: Iterable[Interval]) -> Interval:
    """Return what lies within all of them."""
    lows, highs = zip(*(interval.ends for interval in intervals), strict=True)
    return Interval(*(end if isfinite(end) else None for end in (max(lows), min(highs))))


def _together(first: WideTable, values: list[ValueRisk]) -> tuple[Risks, int]:
    """Return the risks of motors as they are, and of how many: those all of whose values are there."""
    whole = np.all([first.status(value.key) == Status.MEASURED for value in values], axis=0)
    if not whole.any():
        return Risks(0.0, 0.0, 0.0, 0.0), 0
    columns = [first.values(value.key)[whole] for value in values]
    conform = np.column_stack([conforming(x, value.tolerance) for x, value in zip(columns, values, strict=True)])
    passes = np.column_stack([pass_probability(x, value.u, value.acceptance)
                              for x, value in zip(columns, values, strict=True)])
    return whole_motors(conform, passes), int(whole.sum())
