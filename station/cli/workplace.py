"""A station made ready for work from its file: bench, store, sequence, and who places the motors."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from station.bench.bench import Bench, open_bench
from station.bench.bench_file import BenchFile, InstrumentEntry, load_bench
from station.clock import Clock, Date, stamp, system_clock
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.gauge_run import GaugeRun
from station.record.store import Store
from station.sequence.files_in_force import FileInForce, files_in_force, keep_files, limit_file
from station.sequence.motor_change import Hands, MotorChange
from station.sequence.opening import open_store
from station.sequence.progress import Watch
from station.sequence.record_of_run import Heading
from station.sequence.reference_gate import covering_check
from station.sequence.release_gate import require_released
from station.sequence.run import Runner, RunResult
from station.sequence.runs_gate import FurtherRun, leave_needed
from station.sequence.station_file import Simulated, Station
from station.sequence_file import Sequence, parse_sequence
from station.simulated.bench import TONGUES, SimulatedBench
from station.simulated.lot import load_lot
from station.simulated.rig import Rig
from station.simulated.side_channel import SideChannel
from station.toml_file import read_toml


class Attendant(Hands, Protocol):
    """Exchanges motors and presses START: a person at a real bench, a stand-in at a simulated one."""

    def press_start(self) -> None:
        """Press START once the station waits for it."""

    def go_on(self) -> None:
        """Raise StoppedError when nobody wants the motor any more that the station waits for."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person does all of it; the station only waits."""

    def open_guard(self) -> None:
        """Nothing to do: the person opens it."""

    def place(self, serial: str) -> None:
        """Nothing to do: the person puts in what was scanned."""

    def close_guard(self) -> None:
        """Nothing to do: the person closes it."""

    def press_start(self) -> None:
        """Nothing to do: only the person's hand starts motion."""

    def go_on(self) -> None:
        """A person who gives up interrupts the program."""


@dataclass(frozen=True, slots=True)
class EmbeddedAttendant:
    """Stands in for the operator at the embedded bench, in this process; the page `/rig` works with its hands."""

    rig: Rig

    def motors(self) -> tuple[str, ...]:
        """Return the serial numbers of the lot."""
        return self.rig.serials

    def open_guard(self) -> None:
        """Open the guard."""
        self.rig.open_guard()

    def place(self, serial: str) -> None:
        """Put the motor into the fixture."""
        self.rig.place(serial)

    def close_guard(self) -> None:
        """Close the guard."""
        self.rig.close_guard()

    def press_start(self) -> None:
        """Press the START of the rig."""
        self.rig.press_start()

    def emergency_stop(self, *, pressed: bool) -> None:
        """Press the emergency stop, or release it."""
        self.rig.emergency_stop_healthy = not pressed

    def go_on(self) -> None:
        """It never gives up."""


@dataclass(frozen=True, slots=True)
class RemoteAttendant:
    """Stands in for the operator at a simulated bench in another process."""

    side: SideChannel

    def open_guard(self) -> None:
        """Open the guard."""
        self.side.open_guard()

    def place(self, serial: str) -> None:
        """Put the motor into the fixture."""
        self.side.place(serial)

    def close_guard(self) -> None:
        """Close the guard."""
        self.side.close_guard()

    def press_start(self) -> None:
        """Press the START of that bench."""
        self.side.press_start()

    def go_on(self) -> None:
        """It never gives up."""


@dataclass(frozen=True, slots=True)
class Workplace:
    """Everything open and ready; `test` takes one motor through it."""

    station: Station
    bench: Bench
    bench_file: BenchFile
    sequence: Sequence
    store: Store
    clock: Clock
    attendant: Attendant
    operator: str
    files: tuple[FileInForce, ...]
    change: MotorChange

    def test(self, serial: str, watch: Watch, *, further: FurtherRun | None = None) -> RunResult:
        """Test one motor of the production, if it has a run left and the reference check that covers it was good.

        `further` is a person's leave for a run beyond those that the limit file allows.

        Raises
        ------
        BenchNotFitError
            A reference check is due.
        NotAllowedError
            The limit file is a draft or not the one last released, or the motor has used its runs.

        Then nothing moves and nothing is recorded.
        """
        limits = load_limits(self.station, serial)
        require_released(limits, self.store.statements("release"))
        covering = self.covering(serial)
        beyond = leave_needed(serial, self.store.attempts(serial), limits.runs_allowed, further)
        return self.run(serial, watch, reference_check=covering, further=beyond)

    def run(self, serial: str, watch: Watch, *, purpose: str = "", reference_check: dict[str, Any] | None = None,
            further: FurtherRun | None = None, gauge_run: GaugeRun | None = None, untouched: bool = False,
            files: tuple[FileInForce, ...] = ()) -> RunResult:
        """Run any motor; limits are read first, so that a faulty file stops it before anything moves.

        Every file in force, and each of `files`, is durable in the store before the run begins. With a purpose the
        motor is put in anew, unless it is to stay `untouched` since its last run.
        """
        limits = load_limits(self.station, serial)
        kept = keep_files(self.store.folder, (*self.files, limit_file(limits), *files))
        self.change.await_motor(serial, self.attendant, watch, anew=bool(purpose) and not untouched)
        shift = heading_of(self.station, self.bench_file, self.operator, self.clock.today())
        heading = replace(shift, purpose=purpose, reference_check=reference_check, files=tuple(kept),
                          attempts=() if purpose else self.store.attempts(serial),
                          further_run=further.as_record() if further else None,
                          gauge_run=gauge_run.as_record() if gauge_run else None)
        runner = Runner(self.bench, limits, self.sequence, self.store, self.clock, watch)
        return runner.run(serial, heading, invite=self.attendant.press_start, go_on=self.attendant.go_on)

    def covering(self, serial: str) -> dict[str, Any] | None:
        """Return the reference check that covers the next run of `serial`; see `covering_check`."""
        return covering_check(self.station, self.store, self.bench_file, self.sequence,
                              load_limits(self.station, serial).motor_type.name, self.clock)

    def close_interrupted(self) -> list[str]:
        """Bring the bench to its safe state and record every interrupted run as NO RESULT."""
        if not self.store.unfinished():
            return []
        self.bench.safe_state()
        return [record["serial"] for record in self.store.close_unfinished(ended=stamp(self.clock.utc()))]


def heading_of(station: Station, bench_file: BenchFile, operator: str, today: Date) -> Heading:
    """Return what the records of a shift say of station and bench; calibrations as they hold `today`."""
    simulated = station.simulated
    return Heading(station.id, station.place, operator, bench_file.name, bench_file.sha256, simulated is not None,
                   simulated.pace if simulated else 1.0,
                   tuple(_instrument(entry, today) for entry in bench_file.instruments),
                   station.maker.model_dump() if station.maker else None,
                   station.order.model_dump() if station.order else None)


def load_limits(station: Station, serial: str) -> LimitFile:
    """Return the limit file of the motor type that `serial` names."""
    return parse_limits(read_toml(station.limit_file_for(serial)))


@contextmanager
def open_workplace(station: Station, operator: str, *, elsewhere: bool = False) -> Iterator[Workplace]:
    """Open everything that `station` names; `elsewhere`: its simulated bench runs in another process.

    All files are read before anything is opened. Interrupted runs are closed first.
    """
    clock = system_clock()
    bench_file = load_bench(station.bench)
    sequence = parse_sequence(read_toml(station.sequence))
    files = files_in_force(station, bench_file, sequence)
    with ExitStack() as stack:
        store = stack.enter_context(open_store(station))
        attendant = _attendant(station, bench_file, stack, elsewhere=elsewhere)
        bench = stack.enter_context(open_bench(bench_file, clock))
        place = Workplace(station, bench, bench_file, sequence, store, clock, attendant, operator, files,
                          MotorChange(bench.guard, clock))
        place.close_interrupted()
        yield place


def embedded_bench(station: Station, simulated: Simulated, bench_file: BenchFile) -> AbstractContextManager[Any]:
    """Return the embedded bench of `station`, to be entered; its instruments serve where `bench_file` says."""
    rig = Rig(load_lot(station.folder / simulated.lot), simulated.seed, simulated.pace)
    drive: Literal["modbus", "scpi"] = "modbus" if bench_file.has_modbus_drive else "scpi"
    return SimulatedBench(rig, bench_file.ports(), seed=simulated.seed, side_port=simulated.side_port,
                          hislip_ports=bench_file.hislip_ports(), drive=drive, tongues=_tongues(bench_file),
                          digitizers=_digitizers(bench_file))


def _tongues(bench_file: BenchFile) -> dict[str, str]:
    """Return the tongue of each role whose dialect is a shipped one of another tongue than SCPI."""
    return {entry.role: tongue for entry in bench_file.instruments for tongue in TONGUES
            if entry.dialect.name == f"{tongue}_{entry.role}.toml"}


def _digitizers(bench_file: BenchFile) -> Literal["six channels", "four channels", "two instruments"]:
    """Return which digitizers the embedded bench needs to fill the roles of `bench_file`."""
    if bench_file.sensor_wiring:
        return "two instruments"
    return "four channels" if len(bench_file.capture_parts) > 1 else "six channels"


def _attendant(station: Station, bench_file: BenchFile, stack: ExitStack, *, elsewhere: bool) -> Attendant:
    if station.simulated is None:
        return Person()
    if elsewhere:
        return RemoteAttendant(stack.enter_context(SideChannel(station.simulated.side_port)))
    served = stack.enter_context(embedded_bench(station, station.simulated, bench_file))
    return EmbeddedAttendant(served.rig)


def _instrument(entry: InstrumentEntry, today: Date) -> dict[str, Any]:
    extension, fault = entry.calibration.extension, entry.calibration.fault(today)
    status = "not valid" if fault else "valid" if today <= entry.calibration.due else "extended"
    written = {} if extension is None else {"extension": {
        "person": extension.person, "reason": extension.reason, "until": extension.until.isoformat()}}
    return written | {"role": entry.role, "maker": entry.identity.maker, "model": entry.identity.model,
            "serial": entry.identity.serial, "firmware": entry.identity.firmware,
            "certificate": entry.calibration.certificate, "calibrated": entry.calibration.date.isoformat(),
            "due": entry.calibration.due.isoformat(), "status": status, "dialect": entry.dialect.name,
            "dialect_sha256": entry.dialect.sha256}
