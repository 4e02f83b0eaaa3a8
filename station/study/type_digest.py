"""A study of a type as plain numbers and texts, kept and drawn by whoever shows it without the libraries of studies."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from station.judgement.decision_rule import acceptance
from station.judgement.limit_file import LimitFile
from station.study.choice import Choice
from station.study.judged_by import FileUsed, files_used, limits_of_choice

if TYPE_CHECKING:
    from station.study.characteristic_study import CharacteristicStudy
    from station.study.type_study import TypeStudy

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Pair = tuple[float | None, float | None]

STEPS = 200         # of a fitted curve
HIGH = 0.95         # of the values are at most so uncertain as the acceptance limits shown are for


@dataclass(frozen=True, slots=True)
class Curve:
    """What was fitted to the values: its name, and how dense motors lie by it, per unit of the value."""

    name: str
    places: Floats
    density: Floats


@dataclass(frozen=True, slots=True)
class Values:
    """One characteristic: values and u (n,) of the tests at places `rows`, and what may be drawn with them.

    `far` are the places, among these, of values far outside all others. `accepted` are the narrowest acceptance limits
    for the standard uncertainty `u`, None where nothing could be accepted or u is not known.
    """

    rows: Places
    values: Floats
    us: Floats
    far: Places
    u: float | None
    accepted: Pair | None
    curve: Curve | None


@dataclass(frozen=True, slots=True)
class TypeDigest:
    """The study as JSON (see `type_study.as_json`), its tests by place, and each characteristic by key, worst first."""

    said: Mapping[str, Any]
    serials: tuple[str, ...]
    runs: tuple[int, ...]
    started: tuple[str, ...]
    verdicts: tuple[str, ...]
    lots: Places
    stations: Places
    values: Mapping[str, Values]
    files: tuple[FileUsed, ...] = ()        # limit files that the tests were judged by

    @property
    def passed(self) -> NDArray[np.bool_]:
        """Which tests passed."""
        return np.array([verdict == "PASS" for verdict in self.verdicts])

    def told(self, key: str) -> Mapping[str, Any]:
        """Return what the study says of one characteristic; KeyError where there is none."""
        found: Mapping[str, Any] = next((one for one in self.said["characteristics"] if one["key"] == key), {})
        if not found:
            raise KeyError(key)
        return found


def study_chosen(store: Path, motor_type: str, revision: str, lot_pattern: str, choice: Choice) -> TypeDigest:
    """Study tests of one store against the limits of the newest of them; errors as `read_table` and `gather`."""
    from station.study.population import gather  # noqa: PLC0415 - brings in pandas and scipy with those below
    from station.study.type_study import study_type  # noqa: PLC0415
    from station.study.wide_table import read_table  # noqa: PLC0415

    table = read_table(store, motor_type, revision, lot_pattern=lot_pattern, entries=choice.entries)
    limits = limits_of_choice(store, table, choice)
    return digest_of(study_type(gather([table], limits, choice), limits), files_used(store, choice.of(table)))


def digest_of(whole: "TypeStudy", files: tuple[FileUsed, ...] = ()) -> TypeDigest:
    """Return what is shown of a study."""
    from station.study.type_study import as_json  # noqa: PLC0415 - brings in scipy

    of = whole.population
    return TypeDigest(as_json(whole), of.serials, of.runs, of.started, of.verdicts, of.lots, of.stations,
                      {row.study.sample.key: _values(row.study, whole.limits) for row in whole.rows},
                      files)


def _values(one: "CharacteristicStudy", limits: LimitFile) -> Values:
    from station.study.distribution import far_outside  # noqa: PLC0415 - brings in scipy

    sample = one.sample
    known = sample.us[np.isfinite(sample.us)]
    u = float(np.quantile(known, HIGH, method="higher")) if known.size else None
    far = far_outside(sample.values) if one.shape else np.arange(0)
    return Values(sample.rows, sample.values, sample.us, far, u,
                  None if u is None else accepted(limits, sample.name, sample.label, u), _curve(one, far))


def accepted(limits: LimitFile, name: str, label: str, u: float) -> Pair | None:
    """Return the narrowest acceptance limits of a value with standard uncertainty `u`, None if nothing is accepted."""
    lower: float | None = None
    upper: float | None = None
    for limit in limits.limits:
        if limit.covers(name, label):
            found = acceptance(limit.lower, limit.upper, u, limit.decision or limits.decision)
            if found is None:
                return None
            lower = found.lower if lower is None else max(lower, found.lower) if found.lower is not None else lower
            upper = found.upper if upper is None else min(upper, found.upper) if found.upper is not None else upper
    return lower, upper


def _curve(one: "CharacteristicStudy", far: Places) -> Curve | None:
    from station.study.fitted_curve import fitted_curve  # noqa: PLC0415 - brings in scipy

    if one.shape is None or one.shape.least == one.shape.largest:
        return None
    usual = np.delete(one.sample.values, far)
    places = np.linspace(usual.min(), usual.max(), STEPS)
    found = fitted_curve(one, places)
    return Curve(found[0], places, found[1]) if found else None
