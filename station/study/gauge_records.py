"""The values of a gauge study out of the records of its runs, of one store or several."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from station.errors import UsageError
from station.record.correction import void_in
from station.record.gauge_run import GaugeRun, counting_runs, gauge_run_of, purpose_of, runs_of
from station.record.record import Record
from station.record.store import Store
from station.study.anova import Floats

LEAST_MOTORS = 2    # without which nothing is told apart
FEW_MOTORS = 5      # below which the spread of the motors is hardly known; common practice, no source


@dataclass(frozen=True, slots=True)
class Studied:
    """One limited value in every run: `values` (motors, levels, repeats); None and why where one is missing.

    `u` is the mean of the standard uncertainties that the records claim; `lacking` are the motors that lack the value.
    """

    key: str
    unit: str
    lower: float | None
    upper: float | None
    values: Floats | None
    u: float | None
    missing: str = ""
    lacking: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StudyRuns:
    """A complete study: what was planned, and what came of it."""

    study: str
    by: str
    motor_type: str
    motors: tuple[str, ...]
    levels: tuple[str, ...]
    repeats: int
    started: str
    ended: str
    plan_sha256: str
    studied: tuple[Studied, ...]
    notes: tuple[str, ...]


def read_study(stores: Iterable[Store], study: str, without: Collection[str] = ()) -> StudyRuns:
    """Return the runs of a study; `without` are motors that are left out, such as faulty ones that lack values.

    Raises
    ------
    UsageError
        There is no such study, it is not complete, its runs do not compare, or too few motors are left.
    EvidenceError
        A record was altered.
    """
    counting: dict[int, Record] = {}
    for store in stores:
        void = void_in(store.statements("correction"))
        counting |= counting_runs(runs_of(store.made_for(purpose_of(study)), study), void)
    places = [(place, record) for _, record in sorted(counting.items()) if (place := gauge_run_of(record)) is not None]
    _require_whole(places, study)
    left = [(place, record) for place, record in places if record["serial"] not in without]
    _require_motors(places, left, study, without)
    return _study_runs(left, without)


def _require_whole(places: list[tuple[GaugeRun, Record]], study: str) -> None:
    if not places:
        raise UsageError("there is no such study", where=f"gauge study {study}", expected="runs that count", got="none",
                         remedy="Carry it out with `station study gauge run`, or name the stores of all its stations.")
    of = places[0][0].of
    if len(places) < of:
        made = ", ".join(f"{level} {count}" for level, count in Counter(p.level for p, _ in places).items())
        raise UsageError("the study is not complete", where=f"gauge study {study}", expected=f"{of} runs",
                         got=f"{len(places)} ({made})", remedy="Go on with `station study gauge run`; what is made "
                         "counts. Or name the stores of all its stations.")
    for what, found in (("plan", {place.plan_sha256 for place, _ in places}),
                        ("sequence", {record["sequence"]["sha256"] for _, record in places})):
        if len(found) > 1:
            raise UsageError(f"runs by more than one {what} do not compare", where=f"gauge study {study}",
                             expected=f"one {what}", got=f"{len(found)}", remedy="Make the study anew by one.")


def _require_motors(places: list[tuple[GaugeRun, Record]], left: list[tuple[GaugeRun, Record]], study: str,
                    without: Collection[str]) -> None:
    motors, remaining = ({record["serial"] for _, record in some} for some in (places, left))
    if not motors.issuperset(without) or len(remaining) < LEAST_MOTORS:
        raise UsageError("these motors cannot be left out", where=f"gauge study {study}", got=", ".join(without),
                         expected=f"some of {', '.join(sorted(motors))}, with {LEAST_MOTORS} or more left",
                         remedy="Leave out only motors that lack values.")


def _study_runs(places: list[tuple[GaugeRun, Record]], without: Collection[str]) -> StudyRuns:
    records = [record for _, record in places]
    motors = tuple(sorted({record["serial"] for record in records}))
    levels = tuple(dict.fromkeys(place.level for place, _ in places))
    repeats = max(place.repeat for place, _ in places)
    where = {(record["serial"], place.level, place.repeat): record for place, record in places}
    cube = [[[_judged(where[motor, level, repeat]) for repeat in range(1, repeats + 1)] for level in levels]
            for motor in motors]
    first, keys = places[0][0], dict.fromkeys(key for record in records for key in _judged(record))
    last = _judged(records[-1])
    return StudyRuns(first.study, first.by, records[0]["motor_type"]["name"], motors, levels, repeats,
                     min(record["started"] for record in records), max(record["ended"] for record in records),
                     first.plan_sha256, tuple(_studied(key, motors, cube, last.get(key)) for key in keys),
                     tuple(_notes(records, motors, without)))


def _judged(record: Record) -> dict[str, Mapping[str, Any]]:
    return {f"{row['name']}@{row['label']}" if row["label"] else row["name"]: row for row in record["judged"]}


def _studied(key: str, motors: Sequence[str], cube: list[list[list[dict[str, Mapping[str, Any]]]]],
             last: Mapping[str, Any] | None) -> Studied:
    rows = [run.get(key) for motor in cube for level in motor for run in level]
    there = [row for row in rows if row is not None]
    limits = last or there[-1]
    numbers = [row["value"] if row is not None else None for row in rows]
    absent = sum(number is None for number in numbers)
    shape = len(cube), len(cube[0]), len(cube[0][0])
    lacking = tuple(motor for motor, levels in zip(motors, cube, strict=True)
                    if any(run.get(key, {}).get("value") is None for level in levels for run in level))
    claimed = [row["u"] for row in there if row["u"] is not None]
    return Studied(key, limits["unit"], limits["lower"], limits["upper"],
                   None if absent else np.array(numbers, float).reshape(shape),
                   float(np.mean(claimed)) if claimed else None,
                   f"no value in {absent} of {len(rows)} runs" if absent else "", lacking)


def _notes(records: list[Record], motors: tuple[str, ...], without: Collection[str]) -> Iterable[str]:
    if without:
        yield f"Left out of this report, though planned and tested: {', '.join(sorted(without))}."
    if len(motors) < FEW_MOTORS:
        yield f"Only {len(motors)} motors: the spread between motors, and with it ndc, is hardly known."
    for what, found in (("limit files", {record["limit_file"]["sha256"] for record in records}),
                        ("bench files", {record["bench"]["sha256"] for record in records}),
                        ("versions of the program", {record["software"].get("station_sha256", record["software"].get(
                            "station", "")) for record in records})):
        if len(found) > 1:
            yield f"The runs were made with {len(found)} {what}; the limits shown are those of the last run."
