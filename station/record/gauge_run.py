"""A run of a gauge study as its record holds it, and which of several runs of the same place in a plan counts."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from station.record.record import Record
from station.record.trouble import is_trouble

KEY = "gauge_run"       # in the record
_BEGINS = "gauge study "


@dataclass(frozen=True, slots=True)
class GaugeRun:
    """Place of a run in its study.

    `by` says what stands for the operator (refit, shift, station), `level` which one, `fitting` which time of putting
    a motor in, counted through the plan; runs of one fitting follow each other untouched.
    """

    study: str
    number: int         # 1 … of, in the order of the plan
    of: int
    by: str
    level: str
    repeat: int         # 1 …
    fitting: int        # 1 …
    plan_sha256: str

    @property
    def purpose(self) -> str:
        """What the record says the run was for: no production."""
        return purpose_of(self.study)

    def as_record(self) -> dict[str, Any]:
        """Return the entry of the record."""
        return asdict(self)


def purpose_of(study: str) -> str:
    """Return the purpose in the records of a study."""
    return _BEGINS + study


def study_of(purpose: str) -> str | None:
    """Return the name of the study that a purpose is of, None where it is of none."""
    return purpose.removeprefix(_BEGINS) if purpose.startswith(_BEGINS) else None


def gauge_run_of(record: Mapping[str, Any]) -> GaugeRun | None:
    """Return the place of a run in its study; None for one of no study."""
    return GaugeRun(**record[KEY]) if KEY in record else None


def runs_of(records: Iterable[Record], study: str) -> list[Record]:
    """Return the runs of a study, in the order given."""
    return [record for record in records if record.get(KEY, {}).get("study") == study]


def counting_runs(records: Iterable[Record], void: frozenset[tuple[str, int]] = frozenset()) -> dict[int, Record]:
    """Return the run that counts for each number of the plan.

    A fitting that was broken off is made anew from its first run: what came of it before counts no more, as the
    motor was touched in between. Runs that could not finish, and those declared `void` (serial, run), count never.

    Parameters
    ----------
    records : runs of one study, oldest first
    """
    fittings: dict[int, dict[int, Record]] = {}
    for record in records:
        place = gauge_run_of(record)
        if place is None:
            continue
        made = fittings.setdefault(place.fitting, {})
        if any(number >= place.number for number in made):
            made.clear()
        if not is_trouble(record) and (record["serial"], record["run"]) not in void:
            made[place.number] = record
    return {number: record for made in fittings.values() for number, record in made.items()}
