"""A gauge study as plain numbers and texts, for whoever shows it: how far it has come, and what came of it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.record.correction import void_in
from station.record.gauge_run import GaugeRun, counting_runs, gauge_run_of, purpose_of
from station.record.record import Record
from station.record.store import Store
from station.record.trouble import is_trouble

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a study has come: `made` runs count of `of`; `counts` says of each (motor, level) how many.

    `anew` runs count no more, as their fitting was broken off and made again; `troubled` could not finish. `trouble` is
    the reason of the newest run where that could not finish. No run yet: `of` is 0, and the plan says what is to come.
    """

    name: str
    made: int
    of: int
    anew: int
    troubled: int
    trouble: str
    by: str
    plan_sha256: str
    motor_type: str
    started: str
    ended: str
    counts: Mapping[tuple[str, str], int]

    @property
    def state(self) -> str:
        """In one word: planned, interrupted, under way, complete."""
        if not self.of:
            return "planned"
        return "complete" if self.made >= self.of else "interrupted" if self.trouble else "under way"


@dataclass(frozen=True, slots=True)
class GaugeDigest:
    """A complete study: its report as JSON, see `gauge_report.as_json`, and values (motors, levels, repeats) by key."""

    said: Mapping[str, Any]
    values: Mapping[str, Floats]

    def told(self, key: str) -> Mapping[str, Any]:
        """Return what the report says of one value; KeyError where there is none."""
        found: Mapping[str, Any] = next((one for one in self.said["values"] if one["key"] == key), {})
        if not found:
            raise KeyError(key)
        return found


def progress_of(store: Store, name: str) -> Progress:
    """Return how far a study has come in one store."""
    records = list(store.made_for(purpose_of(name)))
    counting = counting_runs(records, void_in(store.statements("correction")))
    places = [(record, place) for record in counting.values() if (place := gauge_run_of(record)) is not None]
    every = [place for record in records if (place := gauge_run_of(record)) is not None]
    if not every:
        return Progress(name, 0, 0, 0, 0, "", "", "", "", "", "", {})
    troubled = sum(is_trouble(record) for record in records)
    return Progress(name, len(counting), every[0].of, len(records) - len(counting) - troubled, troubled,
                    _trouble(records), every[0].by, every[0].plan_sha256, records[-1]["motor_type"]["name"],
                    records[0]["started"], records[-1]["ended"], _counts(places))


def study_gauge(folder: Path, name: str, without: Sequence[str], pool_above: float) -> GaugeDigest:
    """Return the report of a complete study in one store; errors as of `read_study`."""
    from station.study.gauge_records import read_study  # noqa: PLC0415 - slow to import, and for studies only
    from station.study.gauge_report import as_json, gauge_report  # noqa: PLC0415

    with Store(folder, read_only=True) as store:
        report = gauge_report(read_study([store], name, without), pool_above)
    return GaugeDigest(as_json(report), {one.key: one.values for one in report.runs.studied
                                         if one.values is not None})


def _trouble(records: Sequence[Record]) -> str:
    return str(records[-1]["reason"]) if is_trouble(records[-1]) else ""


def _counts(places: Sequence[tuple[Record, GaugeRun]]) -> Mapping[tuple[str, str], int]:
    return dict(Counter((str(record["serial"]), place.level) for record, place in places))
