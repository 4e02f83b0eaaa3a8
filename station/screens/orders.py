"""From a scanned code to what the motor is tested by, or to the reason why it is not."""

from collections.abc import Callable, Mapping
from collections.abc import Sequence as Ordered

from station.bench.bench_file import BenchFile
from station.clock import Clock
from station.errors import BenchNotFitError, NotAllowedError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.attempt import Attempt
from station.record.store import Store
from station.screens.line_state import Earlier, Order
from station.screens.refusal import Refusal, RefusedError
from station.screens.standing import NEWEST, after_bad_check, why_locked
from station.sequence.hazards import touch_speed
from station.sequence.reference_check import require_both_kinds, require_captures, require_mended
from station.sequence.reference_due import Due
from station.sequence.reference_file import ReferenceMotor, load_references
from station.sequence.reference_gate import covering_check
from station.sequence.release_gate import require_released
from station.sequence.runs_gate import FurtherRun, require_unpassed
from station.sequence.station_file import Station
from station.sequence_file import InsulationStep, Sequence
from station.toml_file import read_toml
from station.units import from_si


class Orders:
    """Reads what is in force at a station, anew for each motor; from any thread."""

    def __init__(self, station: Station, bench_file: BenchFile, sequence: Sequence, clock: Clock,
                 drifted: Callable[[Store], Refusal | None] = lambda _store: None) -> None:
        self._station, self._bench_file, self._sequence, self._clock = station, bench_file, sequence, clock
        self._drifted = drifted

    def order(self, serial: str, further: FurtherRun | None, seconds: Mapping[str, Mapping[str, float]]) -> Order:
        """Return what a motor would be tested by, or the check that a reference motor begins.

        `seconds` are those that each step took last, by motor type; `further` is an engineer's leave.

        Raises
        ------
        RefusedError
            It may not be tested, for one of the reasons that operators are told in their language.
        StationError
            It cannot be, for another reason.
        """
        limits = self._limits(serial)
        kind = limits.motor_type.name
        with Store(self._station.store, read_only=True) as store:
            locked = why_locked(store, self._bench_file, self._sequence, self._clock)
            if locked is not None:
                raise RefusedError(locked.key, serial, **dict(locked.given))
            motors = load_references(self._station.references, kind)
            if serial in {motor.serial for motor in motors}:
                self._require_check(store, motors, further)
                return self._order(serial, limits, seconds, references=tuple(motor.serial for motor in motors))
            attempts = store.attempts(serial)
            self._require_run(store, serial, limits, attempts, further)
        return self._order(serial, limits, seconds, attempts)

    def _limits(self, serial: str) -> LimitFile:
        marks = sorted(mark.serial_begins for mark in self._station.marks)
        if not any(serial.startswith(mark) for mark in marks):
            raise RefusedError("type", serial, known=", ".join(marks))
        return parse_limits(read_toml(self._station.limit_file_for(serial)))

    def _require_check(self, store: Store, motors: Ordered[ReferenceMotor], further: FurtherRun | None) -> None:
        """Raise unless these reference motors may be run; after a BAD check an engineer says what was mended."""
        checks = store.newest_reference_checks(NEWEST)
        bad = after_bad_check(checks)
        if bad is not None and further is None:
            raise RefusedError(bad.key, motors[0].serial, **dict(bad.given))
        require_mended(checks, further.reason if further else "")
        require_both_kinds(motors, motors[0].motor_type, str(self._station.references))
        require_captures(motors, self._sequence.labels())

    def _require_run(self, store: Store, serial: str, limits: LimitFile, attempts: Ordered[Attempt],
                     further: FurtherRun | None) -> None:
        kind, used = limits.motor_type.name, [attempt for attempt in attempts if attempt.counts]
        drifted = self._drifted(store)
        if drifted is not None:
            raise RefusedError(drifted.key, serial, **dict(drifted.given))
        try:
            covering_check(self._station, store, self._bench_file, self._sequence, kind, self._clock)
        except BenchNotFitError as error:
            serials = ", ".join(motor.serial for motor in load_references(self._station.references, kind))
            if not isinstance(error.got, Due):
                raise
            raise RefusedError("reference_due", serial, **dict(error.got.given), motor_type=kind,
                               serials=serials or "–", due=error.got.code) from error
        try:
            require_released(limits, store.statements("release"))
        except NotAllowedError as error:
            raise RefusedError("draft", serial, motor_type=kind, revision=limits.revision.number) from error
        try:
            require_unpassed(serial, attempts, further)
        except NotAllowedError as error:
            raise RefusedError("passed", serial, run=str(used[-1].run), at=used[-1].started[:16].replace("T", " ")
                          ) from error
        if len(used) >= limits.runs_allowed and further is None:
            raise RefusedError("runs_used", serial, allowed=str(limits.runs_allowed))

    def _order(self, serial: str, limits: LimitFile, seconds: Mapping[str, Mapping[str, float]],
               attempts: Ordered[Attempt] = (), references: tuple[str, ...] = ()) -> Order:
        touch, kind, sequence = touch_speed(limits), limits.motor_type.name, self._sequence
        insulation = [step.voltage_V for step in sequence.steps if isinstance(step, InsulationStep)]
        return Order(
            serial, kind, limits.revision.number, limits.sha256, f"{sequence.name} {sequence.revision}",
            tuple(step.name for step in sequence.steps), sum(attempt.counts for attempt in attempts) + 1,
            limits.runs_allowed, None if touch is None else from_si(touch, "rpm"), max(insulation, default=None),
            seconds.get(kind, {}), tuple(Earlier(one.run, one.verdict, one.started) for one in attempts),
            limits.limits, references)


def unknown_code(text: str) -> bool:
    """Return whether a text can be no serial number: those are of letters, digits, and - . _ / : # + alone."""
    return not (2 < len(text) <= 80 and all((c.isalnum() and c.isascii()) or c in "-._/:#+" for c in text))


