"""The tests that a study of a type is of, failures included: by characteristic, lot and station."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from station.characteristic import Nature, characteristic_of
from station.errors import UsageError
from station.judgement.limit_file import LimitFile
from station.judgement.limit_key import read_key
from station.judgement.verdict import Verdict
from station.study.capability import LEAST
from station.study.choice import Choice
from station.study.judged_by import narrowest
from station.study.table_rows import Status
from station.study.wide_table import WideTable

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

ABSENT: Mapping[Status, str] = {
    Status.MISSING: "gave no value", Status.NO_NUMBER: "no finite number", Status.REFUSED: "capture refused",
    Status.NOT_RUN: "not run"}


@dataclass(frozen=True, slots=True)
class Sample:
    """The values of one characteristic in one capture, in the order in which they were tested.

    `rows` are the motors (rows of the population) that have one, with `values` and `us` (NaN where unknown), all (n,);
    `absent` counts the others by reason. Limits are the narrowest of those that cover it, in its unit.
    """

    key: str
    name: str
    label: str
    unit: str
    nature: Nature
    lower: float | None
    upper: float | None
    rows: Places
    values: Floats
    us: Floats
    absent: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Population:
    """Tests of a motor type, oldest first; of each serial, run, instant of its start and verdict.

    `lots` and `stations` (n,) are numbers into their names, lots oldest first.
    """

    motor_type: str
    sequence_revision: str
    choice: Choice
    logs: tuple[tuple[str, int, str], ...]      # origin, size and root of each log that it was read from
    serials: tuple[str, ...]
    runs: tuple[int, ...]
    started: tuple[str, ...]
    verdicts: tuple[str, ...]
    lot_names: tuple[str, ...]
    station_names: tuple[str, ...]
    lots: Places
    stations: Places
    benches: int            # different bench files among the tests
    samples: tuple[Sample, ...]

    def __len__(self) -> int:
        return len(self.serials)

    @property
    def first(self) -> str:
        """When the oldest test began."""
        return self.started[0]

    @property
    def last(self) -> str:
        """When the newest test began."""
        return self.started[-1]

    @property
    def passed(self) -> int:
        """How many of the tests passed, by the limits that they were judged by."""
        return self.verdicts.count(Verdict.PASS)

    def column(self, sample: Sample) -> Floats:
        """Return the values of a sample for every test, NaN where it has none."""
        column = np.full(len(self), np.nan)
        column[sample.rows] = sample.values
        return column

    def cells(self) -> Places:
        """Return a number for lot and station together, of each motor."""
        return self.lots * len(self.station_names) + self.stations


def gather(tables: Sequence[WideTable], limits: LimitFile, choice: Choice | None = None) -> Population:
    """Return the chosen tests in one or several stations' tables of a type, with what `limits` limits.

    Without a `choice` they are the first attempts.

    Raises
    ------
    UsageError
        There are fewer than LEAST tests, or the limit file is of another type.
    """
    about = tables[0].about
    if limits.motor_type.name != about.motor_type:
        raise UsageError("limit file of another motor type", where=limits.name, expected=about.motor_type,
                         got=limits.motor_type.name, remedy="Name the limit file of that type.")
    asked = choice or Choice()
    chosen = [asked.of(table).frame for table in tables]
    frame = pd.concat(chosen, ignore_index=True).sort_values("started", kind="stable").reset_index(drop=True)
    if not asked.every_run:
        frame = frame.drop_duplicates("serial").reset_index(drop=True)  # tested at several stations: the first counts
    if len(frame) < LEAST:
        raise UsageError("too few motors for a study", where=about.motor_type, got=f"{len(frame)}: {asked.words()}",
                         expected=f"at least {LEAST} tests", remedy="Test or choose more motors: of fewer, an index of "
                         "1.33 could as well be below 0.93 or above 1.73.")
    lots, lot_names = pd.factorize(frame["lot"])
    stations, station_names = pd.factorize(frame["station"], sort=True)
    units = {key: unit for table in tables for key, unit in table.units.items()}
    samples = (_sample(frame, key, units[key], limits) for key in _limited(units, limits))
    return Population(
        about.motor_type, about.sequence_revision, asked,
        tuple((table.about.origin, table.about.log_size, table.about.log_root) for table in tables),
        tuple(frame["serial"]), tuple(map(int, frame["run"])), tuple(map(_instant, frame["started"])),
        tuple(map(str, frame["verdict"])), tuple(map(str, lot_names)), tuple(map(str, station_names)),
        lots.astype(np.int64), stations.astype(np.int64), frame["bench_sha256"].nunique(), tuple(samples))


def _limited(keys: Mapping[str, str], limits: LimitFile) -> list[str]:
    """Return the keys that a limit covers, in the order of the limit file and then of the captures."""
    ordered = [key for limit in limits.limits for key in keys if limit.covers(*_parts(key))]
    return list(dict.fromkeys(ordered))


def _sample(frame: pd.DataFrame, key: str, unit: str, limits: LimitFile) -> Sample:
    name, label = _parts(key)
    characteristic = characteristic_of(name)
    nature: Nature = characteristic.nature if characteristic else "value"
    lower, upper = narrowest([limit for limit in limits.limits if limit.covers(name, label)])
    status = frame[f"status({key})"].fillna(int(Status.NOT_RUN)).to_numpy(np.int8)  # unknown to another station's table
    rows = np.flatnonzero(status == Status.MEASURED)
    values, us = (frame[column].to_numpy(np.float64)[rows] for column in (key, f"u({key})"))
    absent = {words: int((status == state).sum()) for state, words in ABSENT.items()}
    return Sample(key, name, label, unit, nature, lower, upper, rows, values, us,
                  {words: count for words, count in absent.items() if count})


def _parts(key: str) -> tuple[str, str]:
    name, label = read_key(key)
    return name, label or ""


def _instant(started: pd.Timestamp) -> str:
    return started.isoformat(timespec="seconds").replace("+00:00", "Z")
