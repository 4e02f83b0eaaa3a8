"""The gate before every motor: a good reference check must cover it where the station file asks for one."""

from typing import Any

import station
from station.bench.bench_file import BenchFile
from station.clock import Clock
from station.errors import BenchNotFitError
from station.record.store import Store
from station.sequence.reference_due import Conditions, latest_check, rules_of, why_due
from station.sequence.reference_file import load_references
from station.sequence.station_file import Station
from station.sequence_file import Sequence


def covering_check(place: Station, store: Store, bench_file: BenchFile, sequence: Sequence, motor_type: str,
                   clock: Clock) -> dict[str, Any] | None:
    """Return the check that covers the next motor of `motor_type`, for its record; None where none is required.

    Raises
    ------
    BenchNotFitError
        A check is due, or the last one was not good.
    """
    if place.reference is None or not place.reference.required:
        return None
    checks = store.reference_checks_from_the_last(motor_type)
    latest = latest_check(checks, motor_type)
    references = {motor.serial: motor.sha256 for motor in load_references(place.references, motor_type)}
    present = Conditions(motor_type, bench_file.sha256, sequence.sha256, station.__version__, references)
    since = store.since(latest["last_run"] if latest else 0, motor_type)
    reason = why_due(rules_of(place.reference), checks, since, present, clock.utc())
    if reason is not None or latest is None:
        raise BenchNotFitError(
            "the reference check is due", where=place.id, expected=f"a good reference check of {motor_type}",
            got=reason, remedy=f"Run `station reference check --type {motor_type} --station {place.file}`; it asks for "
            "each reference motor. If it stays BAD, have the bench mended.")
    return {key: latest[key] for key in ("check", "started", "ended")}
