"""How the station stands while nothing is tested: fit or not and why, reference motors, shift counters, print queue."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from station.bench.bench_file import BenchFile
from station.bench.calibration import CalibrationFault
from station.clock import Clock, Date, stamp
from station.errors import BenchNotFitError, StationError
from station.plant.forward_thread import HandOverState
from station.record.print_queue import DATABASE, PrintQueue
from station.record.store import Store
from station.screens.refusal import Refusal, refusal_of
from station.sequence.reference_due import Rules, latest_check, rules_of, shift_start
from station.sequence.reference_file import ReferenceMotor, load_references
from station.sequence.reference_gate import covering_check
from station.sequence.station_file import Station
from station.sequence_file import Sequence

NEWEST = 10     # reference checks of each motor type that are looked at for the last one with a result
DAY = Rules((time(0),), UTC, timedelta(days=1), after_changeover=False)     # where the station file names no shifts


@dataclass(frozen=True, slots=True)
class ReferenceStanding:
    """The reference motors of a type: when they were checked last, what came of it, how far the worst value was out.

    `drift` is the largest deviation of a value from what its file expects, over its tolerance there: above 1 is BAD.
    """

    motor_type: str
    serials: tuple[str, ...]
    checked: datetime | None = None
    result: str = ""
    drift: float | None = None
    due: str = ""       # why a check must come before the next motor; empty when none must


@dataclass(frozen=True, slots=True)
class Standing:
    """What the operator's page tells of the station itself."""

    locked: Refusal | None = None       # why no motor at all may be tested
    calibrated_until: Date | None = None
    references: tuple[ReferenceStanding, ...] = ()
    drifting: tuple[str, ...] = ()      # what the charts of the reference motors warn of
    tested: int = 0                     # motors with a result in this shift
    passed_first: int = 0               # of them, in their first run
    to_print: int | None = None         # certificates that wait for the printer; None without one
    print_note: str = ""                # why the first of them waits
    plant: HandOverState | None = None  # how handing over to the plant stands; None without one

    @property
    def needs_reference(self) -> bool:
        """Whether no motor of any type may be tested before a reference check."""
        return bool(self.references) and all(one.due for one in self.references)

    def to_check(self) -> tuple[str, ...]:
        """Return the reference motors of the types for which a check is due."""
        return tuple(serial for one in self.references if one.due for serial in one.serials)


def standing_of(station: Station, store: Store, bench_file: BenchFile, sequence: Sequence, clock: Clock) -> Standing:
    """Look at everything once; what cannot be told locks the line and says why."""
    try:
        checks, motors = store.newest_reference_checks(NEWEST), load_references(station.references)
        locked = why_locked(store, bench_file, sequence, clock) or after_bad_check(checks)
        references = tuple(_references(station, store, bench_file, sequence, clock, motors, checks))
        counted = store.count_yield(since=stamp(_shift_began(station, clock)))
        waiting = waiting_to_print(station)
    except StationError as error:
        return Standing(locked=refusal_of(error))
    return Standing(
        locked=locked, calibrated_until=min(entry.calibration.until for entry in bench_file.instruments),
        references=references, tested=counted.motors, passed_first=counted.passed_first,
        to_print=None if waiting is None else len(waiting), print_note=next(iter(waiting or ()), ""))


def why_locked(store: Store, bench_file: BenchFile, sequence: Sequence, clock: Clock) -> Refusal | None:
    """Return why the bench tests nothing, reference motors included: calibration, room on the disk; None if it may."""
    today = clock.today()
    for entry in bench_file.instruments:
        fault = entry.calibration.fault(today)
        if fault:
            return out_of_calibration(fault, entry.role)
    try:
        store.require_room(sequence.capture_bytes())
    except StationError as error:
        return Refusal("room", (("expected", str(error.expected)), ("got", str(error.got))))
    return None


def out_of_calibration(fault: CalibrationFault, role: str) -> Refusal:
    """Return why the instrument that fills a role may not be used."""
    given = {"certificate": fault.certificate, "date": fault.day.isoformat(), "role": role}
    if fault.extension is not None:
        given |= {"person": fault.extension.person, "until": fault.extension.until.isoformat()}
    return Refusal(fault.code, tuple(sorted(given.items())))


def after_bad_check(checks: list[dict[str, Any]]) -> Refusal | None:
    """Return the lock that a BAD reference check leaves until a check is GOOD again."""
    last = next((check for check in reversed(checks) if check["result"] != "NO RESULT"), None)
    if last is None or last["result"] != "BAD":
        return None
    return Refusal("reference_bad", (("check", str(last["check"])), ("motor_type", last["motor_type"]),
                                     ("reason", next(iter(last["reasons"]), ""))))


def waiting_to_print(station: Station) -> list[str] | None:
    """Return a note for each certificate that waits for the printer; None where the station file names none."""
    if station.printer is None:
        return None
    if not (station.store / DATABASE).exists():
        return []
    with PrintQueue(station.store) as queue:
        return [one.note for one in queue.open()]


def _references(station: Station, store: Store, bench_file: BenchFile, sequence: Sequence, clock: Clock,
                motors: tuple[ReferenceMotor, ...], checks: list[dict[str, Any]]) -> Iterator[ReferenceStanding]:
    for kind in sorted({motor.motor_type for motor in motors}):
        due, last = "", latest_check(checks, kind)
        try:
            covering_check(station, store, bench_file, sequence, kind, clock)
        except BenchNotFitError as error:
            due = str(error.got)
        serials = tuple(motor.serial for motor in motors if motor.motor_type == kind)
        if last is None:
            yield ReferenceStanding(kind, serials, due=due)
            continue
        out = [abs(row["value"] - row["expected"]) / row["tolerance"] for motor in last["motors"]
               for row in motor["compared"] if row["value"] is not None and row["tolerance"] > 0]
        yield ReferenceStanding(kind, serials, datetime.fromisoformat(last["started"]), last["result"],
                                max(out, default=None), due)


def _shift_began(station: Station, clock: Clock) -> datetime:
    rules = rules_of(station.reference) if station.reference and station.reference.shift_starts else DAY
    began = shift_start(rules, clock.utc())
    return began or clock.utc() - timedelta(days=1)


def zone_of(station: Station) -> ZoneInfo:
    """Return the time zone that people at this station live by."""
    return ZoneInfo(station.reference.time_zone if station.reference else "UTC")
