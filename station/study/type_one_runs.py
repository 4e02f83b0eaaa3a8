"""Type-1 studies of a known motor out of its stored runs: reference checks and gauge studies alike."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from station.errors import UsageError
from station.record.record import Record
from station.record.trouble import is_trouble
from station.study.type_one import ENOUGH, LEAST, TypeOne, type_one

Key = tuple[str, str]       # characteristic, and label of its capture or ""


@dataclass(frozen=True, slots=True)
class Known:
    """One value of a known motor: its study, and the limits of the type that it was held against."""

    key: str
    unit: str
    lower: float | None
    upper: float | None
    study: TypeOne


@dataclass(frozen=True, slots=True)
class KnownMotor:
    """All of them, the least capable first; `left_out` says which values were not in every run."""

    serial: str
    runs: int
    studied: tuple[Known, ...]
    left_out: tuple[str, ...]

    @property
    def warning(self) -> str:
        """What a reader must know, or nothing."""
        return "" if self.runs >= ENOUGH else f"Only {self.runs} runs: {ENOUGH} or more say something."


def study_known_motor(records: Iterable[Record], void: frozenset[tuple[str, int]], serial: str,
                      expected: Mapping[Key, float]) -> KnownMotor:
    """Return the type-1 study of each value that is both expected and limited.

    Parameters
    ----------
    records : of this motor, oldest first; of those the runs that were no production count, by the last one's sequence
    void : runs declared void, (serial, run)
    expected : reference value of each (characteristic, label)

    Raises
    ------
    UsageError
        Too few runs, or no value that is both expected and limited.
    """
    runs = [r for r in records if r.get("purpose") and not is_trouble(r) and (serial, r["run"]) not in void]
    runs = [r for r in runs if r["sequence"]["sha256"] == runs[-1]["sequence"]["sha256"]]
    if len(runs) < LEAST:
        raise UsageError("too few runs for a type-1 study", where=serial, got=len(runs),
                         expected=f"{LEAST} runs or more of reference checks or gauge studies, by one sequence",
                         remedy="Plan a gauge study with this motor, or check the bench more often.")
    judged = [{(row["name"], row["label"]): row for row in run["judged"]} for run in runs]
    studied, left_out = [], []
    for key, row in judged[-1].items():
        if key not in expected:
            continue
        name = f"{key[0]}@{key[1]}" if key[1] else key[0]
        values = [run[key]["value"] for run in judged if key in run and run[key]["value"] is not None]
        if len(values) < len(runs):
            left_out.append(name)
            continue
        studied.append(Known(name, row["unit"], row["lower"], row["upper"],
                             type_one(np.array(values, float), expected[key], row["lower"], row["upper"])))
    if not studied:
        raise UsageError("nothing to study", where=serial, expected="values that are both expected and limited",
                         got="none", remedy="Expect some of the limited values in the motor's reference file.")
    return KnownMotor(serial, len(runs), tuple(sorted(studied, key=_concern)), tuple(left_out))


def _concern(known: Known) -> tuple[bool, float]:
    index = known.study.cgk
    return (index is None, 0.0 if index is None else index.value)
