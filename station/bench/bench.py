"""The bench: every role filled, checked before use, and taken to its safe state on every way out."""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field

from station.bench.bench_file import BenchFile, InstrumentEntry
from station.bench.dialect import Dialect
from station.bench.digitizer import ScpiDigitizer
from station.bench.drive import ScpiDrive
from station.bench.guard import ScpiGuard
from station.bench.guard_watch import GuardWatch
from station.bench.identity import Identity
from station.bench.insulation_tester import ScpiInsulationTester
from station.bench.modbus_drive import ModbusDrive
from station.bench.modbus_session import ModbusSession
from station.bench.ohmmeter import ScpiOhmmeter
from station.bench.register_map import RegisterMap
from station.bench.roles import (
    SENSOR_DIGITIZER,
    Digitizer,
    Drive,
    Guard,
    Instrument,
    InsulationTester,
    Ohmmeter,
    Role,
    SensorSupply,
    Thermometer,
)
from station.bench.safe_state import Step, reach_safe_state
from station.bench.scpi_session import ScpiSession
from station.bench.sensor_supply import ScpiSensorSupply
from station.bench.stop_path import StopPath
from station.bench.thermometer import ScpiThermometer
from station.bench.transcript import Transcript
from station.bench.wiring import CapturePart
from station.capture import Accuracy
from station.clock import Clock, Date
from station.errors import BenchError, BenchNotFitError
from station.units import from_si

Session = ScpiSession | ModbusSession
SAFE_ORDER: tuple[Role, ...] = ("drive", "insulation", "supply", "digitizer", SENSOR_DIGITIZER)


@dataclass(frozen=True, slots=True)
class RoleReport:
    """What `Bench.check` found of one role; each fault is a sentence with its remedy."""

    role: Role
    identity: Identity | None      # None: no reply, or no instrument of ours
    due: Date
    self_test: str                 # "passed", "failed" or "not run"
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bench:
    """All roles of one bench, ready to be used; made by `open_bench`."""

    file: BenchFile
    drive: Drive
    digitizer: Digitizer
    ohmmeter: Ohmmeter
    supply: SensorSupply
    insulation: InsulationTester
    thermometer: Thermometer
    guard: Guard
    stop_path: StopPath
    transcript: Transcript
    sensor_digitizer: Digitizer | None = None
    sessions: Mapping[Role, Session] = field(default_factory=dict)

    @property
    def accuracy(self) -> Accuracy:
        """Limits of error of the digitizer and thermometer."""
        return self.file.accuracy

    def digitizer_of(self, part: CapturePart) -> Digitizer:
        """Return the digitizer that takes `part`."""
        return self.sensor_digitizer if part.role == SENSOR_DIGITIZER and self.sensor_digitizer else self.digitizer

    def check(self, clock: Clock) -> tuple[RoleReport, ...]:
        """Look at every role: identity, calibration, self-test; nothing moves. Never raises for a faulty bench."""
        return tuple(self._report(entry, clock) for entry in self.file.instruments)

    def require_fit(self, clock: Clock, max_speed: float) -> None:
        """Raise BenchNotFitError, naming every reason, unless the bench may test up to `max_speed`, rad/s."""
        entries = self.file.instruments
        with ThreadPoolExecutor(len(entries)) as pool:      # each instrument answers by itself
            faults = [fault for found in pool.map(lambda entry: self._unfit(entry, clock), entries) for fault in found]
        faults = faults or self._unsafe()
        if not abs(max_speed) <= self.file.drive_limits.max_speed * (1 + 1e-9):
            faults.append(f"drive: the sequence asks for {from_si(max_speed, 'rpm'):g} r/min, the bench allows "
                          f"{from_si(self.file.drive_limits.max_speed, 'rpm'):g}. Use a bench for that speed.")
        if faults:
            raise BenchNotFitError("the bench is not fit", where=self.file.name, expected="a bench without faults",
                                   got="\n".join(faults).removesuffix("."),
                                   remedy="Mend each fault; `station bench check` shows them.")

    def safe_state(self, roles: Sequence[Role] = SAFE_ORDER) -> list[str]:
        """Stop the drive, discharge the winding, switch the supply off, abort the digitizer; in that order.

        Returns what went wrong, a sentence each; an empty list when the bench is safe. No step is skipped.
        """
        return reach_safe_state([self._safe_step(role) for role in roles if role in self.file.roles])

    def require_unrestarted(self) -> None:
        """Raise BenchError when an instrument's power failed since it was connected, as far as each can tell."""
        for session in self.sessions.values():
            if isinstance(session, ScpiSession):
                session.require_unrestarted()

    def watch_guard(self) -> GuardWatch:
        """Return the watch that stops the drive when the guard opens, to be entered before anything moves."""
        return GuardWatch(self.guard, [("drive", self.stop_drive), ("insulation", self.insulation.off)])

    def stop_drive(self) -> None:
        """Bring the drive to rest, from any thread; waits behind no exchange. BenchError when that fails."""
        self.stop_path.stop()

    def _safe_step(self, role: Role) -> Step:
        return role, self.stop_drive if role == "drive" else self._instrument(role).safe

    def _instrument(self, role: Role) -> Instrument:
        instruments: dict[Role, Instrument] = {
            "drive": self.drive, "digitizer": self.digitizer, "ohmmeter": self.ohmmeter, "supply": self.supply,
            "insulation": self.insulation, "thermometer": self.thermometer, "guard": self.guard,
            SENSOR_DIGITIZER: self.sensor_digitizer or self.digitizer,
        }
        return instruments[role]

    def _unfit(self, entry: InstrumentEntry, clock: Clock) -> list[str]:
        faults = [f"{entry.role}: {fault}" for fault in [entry.calibration.fault(clock.today())] if fault]
        try:
            self._instrument(entry.role).identity()
            if entry.role == "drive":
                self.stop_path.require_open()
        except BenchError as error:
            faults.append(str(error))
        return faults

    def _unsafe(self) -> list[str]:
        # Asked only of a guard that is the right one.
        try:
            closed, healthy = self.guard.is_closed(), self.guard.is_emergency_stop_healthy()
        except BenchError as error:
            return [str(error)]
        return ([] if closed else ["guard: open. Close it."]) + (
            [] if healthy else ["emergency stop: pressed or broken. Release it, or have its circuit mended."])

    def _report(self, entry: InstrumentEntry, clock: Clock) -> RoleReport:
        instrument, faults = self._instrument(entry.role), self._unfit(entry, clock)
        identity, self_test = None, "not run"
        try:
            identity = instrument.identity()
            failure = instrument.self_test()
            self_test = {None: "passed", "": "not run"}.get(failure, "failed")
            if failure:
                faults.append(f"{entry.role}: self-test answered {failure}. Have the instrument repaired.")
        except BenchError as error:
            if str(error) not in faults:
                faults.append(str(error))
        return RoleReport(entry.role, identity, entry.calibration.due, self_test, tuple(faults))


@contextmanager
def open_bench(bench_file: BenchFile, clock: Clock) -> Iterator[Bench]:
    """Open every instrument of `bench_file`; on every way out the bench goes to its safe state and is closed.

    An instrument that is absent, or another one, does not stop this: `check` tells, `require_fit` refuses,
    and every use raises. Raises BenchError at the end when a bench that answered could not be made safe.
    """
    transcript = Transcript(clock)
    sessions = {entry.role: _session(entry, clock, transcript) for entry in bench_file.instruments}
    stopper = _stop_session(bench_file.entry("drive"), clock, transcript)
    bench = _fill(bench_file, sessions, stopper, clock, transcript)
    failures: list[str] = []
    try:
        yield bench
    finally:
        try:
            known = [role for role in SAFE_ORDER if role in sessions and sessions[role].was_identified]
            # Once more where something failed: a connection that broke since its last use is opened anew by then.
            failures = bench.safe_state(known) and bench.safe_state(known)
        finally:
            for session in [*sessions.values(), *([stopper] if stopper else [])]:
                session.close()
    if failures:
        raise BenchError("the bench did not reach its safe state", where=bench_file.name, expected="a safe bench",
                         got="; ".join(failures), remedy="Keep the guard closed, press the emergency stop.")


def _session(entry: InstrumentEntry, clock: Clock, transcript: Transcript) -> Session:
    if isinstance(entry.dialect, RegisterMap):
        return ModbusSession(entry.role, entry.resource, entry.dialect, entry.identity, clock, entry.deadline,
                             transcript)
    return ScpiSession(entry.role, entry.resource, entry.identity, clock, entry.deadline, entry.dialect.speech,
                       transcript, entry.baud)


def _stop_session(entry: InstrumentEntry, clock: Clock, transcript: Transcript) -> ScpiSession | None:
    """Return a second session with a drive that serves several clients; `require_open` connects it."""
    if isinstance(entry.dialect, RegisterMap) or entry.dialect.speech.clients < 2:
        return None
    return ScpiSession("drive (stop)", entry.resource, entry.identity, clock, entry.deadline,
                       entry.dialect.speech, transcript)


def _fill(file: BenchFile, sessions: Mapping[Role, Session], stopper: ScpiSession | None, clock: Clock,
          transcript: Transcript) -> Bench:
    def scpi(role: Role) -> tuple[ScpiSession, Dialect]:
        session, dialect = sessions[role], file.entry(role).dialect
        if not isinstance(session, ScpiSession) or not isinstance(dialect, Dialect):
            raise TypeError(f"the {role} cannot be reached over Modbus")    # the bench file's check rules this out
        return session, dialect

    guard, session = ScpiGuard(*scpi("guard")), sessions["drive"]
    drive = (ModbusDrive(session, session.aside(), session.registers, guard, file.drive_limits, clock)
             if isinstance(session, ModbusSession) else ScpiDrive(*scpi("drive"), guard, file.drive_limits, clock))
    own = ScpiDrive(stopper, scpi("drive")[1], guard, file.drive_limits, clock) if stopper else None
    # A drive over Modbus has a connection for its stop by itself, and gives up the usual one only without it.
    give_up = session.give_up if isinstance(session, ScpiSession) else lambda: None
    return Bench(
        file,
        drive,
        ScpiDigitizer(*scpi("digitizer"), file.wiring, clock, file.switch_settle),
        ScpiOhmmeter(*scpi("ohmmeter")),
        ScpiSensorSupply(*scpi("supply")),
        ScpiInsulationTester(*scpi("insulation"), guard, clock, file.discharged_below, file.discharge_deadline),
        ScpiThermometer(*scpi("thermometer")),
        guard,
        StopPath(drive, own, give_up, clock),
        transcript,
        ScpiDigitizer(*scpi(SENSOR_DIGITIZER), file.sensor_wiring, clock) if SENSOR_DIGITIZER in sessions else None,
        sessions,
    )
