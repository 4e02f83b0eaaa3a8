"""One run: a motor in, a judged and durable record out, and the bench safe on every way out."""

from collections.abc import Callable
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from functools import partial
from typing import Any

from station.bench.bench import Bench
from station.bench.roles import Guard
from station.bench.transcript_spool import TranscriptSpool
from station.clock import Clock, stamp
from station.errors import BenchNotFitError, StationError
from station.judgement.conclusion import Measured
from station.judgement.judge import judge
from station.judgement.limit_file import LimitFile
from station.record.store import Store
from station.sequence.back_drive import back_drive
from station.sequence.hazards import require_speed_of_type
from station.sequence.insulation import insulation
from station.sequence.ongoing_test import OngoingTest
from station.sequence.progress import Notice, Watch
from station.sequence.record_of_run import Heading, Outcome, assemble, known_at_start
from station.sequence.sensor_supply import sensor_supply
from station.sequence.timing import Timing
from station.sequence.watchdog_proofs import require_proof
from station.sequence.winding import winding
from station.sequence.workers import at_work
from station.sequence_file import (
    AnyStep,
    BackDriveStep,
    InsulationStep,
    SensorSupplyStep,
    Sequence,
    WindingStep,
)
from station.units import RPM


@dataclass(slots=True)
class StepTrace:
    """What became of one step."""

    name: str
    kind: str
    outcome: str = "not run"
    started: str = ""
    ended: str = ""
    note: str = ""

    def as_record(self) -> dict[str, str]:
        """Return the step as the record holds it."""
        return {"name": self.name, "kind": self.kind, "outcome": self.outcome,
                "started": self.started, "ended": self.ended, "note": self.note}


@dataclass(frozen=True, slots=True)
class RunResult:
    """The record of a run as stored, and what kept the run from finishing, if anything."""

    record: dict[str, Any]
    trouble: BaseException | None
    timing: Timing


@dataclass(frozen=True, slots=True)
class Runner:
    """Everything a run needs apart from the motor."""

    bench: Bench
    limits: LimitFile
    sequence: Sequence
    store: Store
    clock: Clock
    watch: Watch

    def run(self, serial: str, heading: Heading, *, invite: Callable[[], None] = lambda: None,
            go_on: Callable[[], None] = lambda: None) -> RunResult:
        """Test one motor; its record is durable when this returns.

        `invite` is called once the station waits for START, and `go_on` again and again until it comes: it raises
        StoppedError when nobody wants the motor any more. Whatever happens, the bench ends in its
        safe state and the run has a record; trouble is returned with it, never lost.

        Raises
        ------
        FileContractError
            The sequence turns the motor faster than its type bears. No run has begun then.
        BenchNotFitError
            The bench file asks for a proof of the drive's watchdog, and none holds; nor then.
        StationError
            The store has no room for another run, or cannot be written; nor then.
        """
        require_speed_of_type(self.limits, self.sequence)
        require_proof(self.store.folder, self.bench.file, self.clock)
        self.store.require_room(self.sequence.capture_bytes())
        started, timing = self.clock.now(), Timing(self.clock.monotonic)
        timing.begin("Before START")
        known = known_at_start(heading, self.limits, self.sequence, started, self.clock.boot_id)
        run_id = self.store.begin(serial, started=stamp(started.utc), heading=known)
        self.bench.transcript.restart()
        traces = [StepTrace(step.name, step.kind) for step in self.sequence.steps]
        trouble: BaseException | None = None
        with at_work() as workers, TranscriptSpool(self.bench.transcript, self.store.spool(run_id)):
            test = OngoingTest(self.bench, self.limits, self.clock, self.watch, workers,
                               partial(self.store.keep_capture, run_id, serial), timing, serial,
                               tuple(self.sequence.labels()), heading.pace)
            try:
                self._start(test, invite, go_on)
                with self.bench.watch_guard() as test.guard_watch:
                    self._steps(test, traces)
            except (StationError, KeyboardInterrupt) as error:
                # What stopped the bench comes first: the rest may follow from it.
                trouble = (test.guard_watch and test.guard_watch.trouble) or error
                if test.guard_watch is not None:
                    test.say("rest", "the test is broken off, and the shaft comes to rest")
            finally:
                timing.begin("Verdict")
                with timing.phase("safe state", "station"):
                    unsafe = self._make_safe()
            workers.finish()    # whatever has been fetched by now counts
            analyses = test.collect()
        with timing.phase("judgement", "station"):
            outcome = Outcome(test.concluded(analyses), [trace.as_record() for trace in traces], started,
                              self.clock.now(), trouble, unsafe)
            found = assemble(test, outcome)
        spent = {"timing": [row.as_record() for row in timing.rows()]}
        with timing.phase("record", "station"):
            record = self.store.finish(run_id, known | found | spent, test.kept(),
                                       self.bench.transcript.as_json_lines())
        return RunResult(record, trouble, timing)

    def _make_safe(self) -> list[str]:
        """Take the bench to its safe state and withdraw the START; return what did not succeed.

        What fails is told at once, and everything is tried once more: an instrument may have been deaf for a moment.
        """
        unsafe = self.bench.safe_state()
        if unsafe:
            self.watch(Notice("note", "the bench is NOT SAFE: " + "; ".join(unsafe)))
            unsafe = self.bench.safe_state()
        try:
            self.bench.guard.disarm()
        except StationError as error:
            unsafe.append(str(error))
        return unsafe

    def _start(self, test: OngoingTest, invite: Callable[[], None], go_on: Callable[[], None]) -> None:
        self.bench.require_fit(self.clock, self.sequence.max_speed_rpm() * RPM)
        unsafe = self.bench.safe_state()    # whatever an earlier run or another program has left switched on
        if unsafe:
            raise BenchNotFitError("the bench cannot be made safe before the test", where=self.bench.file.name,
                                   expected="all at rest and off", got="; ".join(unsafe),
                                   remedy="Keep the guard closed, press the emergency stop, and have it mended.",
                                   code="unsafe")
        guard = self.bench.guard
        guard.arm()
        self.watch(Notice("wait", f"{test.serial}: armed, press START (keep clear of the shaft)", "START"))
        invite()
        test.allow(self.sequence.start_deadline)
        with test.timing.phase("waiting for START", "person"):
            test.wait_until(lambda: _is_started(guard, go_on), what="waiting for START",
                            remedy="Close the guard and press START.",
                            code="no_start")

    def _steps(self, test: OngoingTest, traces: list[StepTrace]) -> None:
        for step, trace in zip(self.sequence.steps, traces, strict=True):
            test.require_guard()
            self.watch(Notice("step", step.name, step.name))
            test.timing.begin(step.name)
            before, trace.started = set(test.measurements), stamp(self.clock.utc())
            test.allow(step.deadline_s)
            try:
                _carry_out(step, test)
                test.require_guard()
                test.require_trustworthy()
                test.require_in_time(f"the step {step.name}", "Look what held it up, or give the step more time.")
            except BaseException as error:
                trace.outcome, trace.note = "no result", str(error)
                raise
            finally:
                trace.ended = stamp(self.clock.utc())
            failed = self._failed(test, before)
            trace.outcome = "failed" if failed else "done"
            if failed and step.on_fail == "stop":
                trace.note = f"stopped here: {', '.join(sorted(failed))}"
                return

    def _failed(self, test: OngoingTest, before: set[tuple[str, str]]) -> set[str]:
        """Return the names of new values outside their limits; absent ones do not count yet."""
        new = {key: value for key, value in test.measurements.items() if key not in before}
        return outside_limits(new, self.sequence.labels(), self.limits)


def outside_limits(measured: Measured, labels: Ordered[str], limits: LimitFile) -> set[str]:
    """Return the names of the values that fail, whatever is not measured yet."""
    return {row.name for row in judge(measured, labels, limits).rows if row.result == "FAIL"}


def _is_started(guard: Guard, go_on: Callable[[], None]) -> bool:
    """Return whether START came; if not, raise StoppedError when nobody wants it any more."""
    if not guard.is_started():
        go_on()
        return False
    return True


def _carry_out(step: AnyStep, test: OngoingTest) -> None:
    match step:
        case SensorSupplyStep():
            sensor_supply(step, test)
        case WindingStep():
            winding(step, test)
        case InsulationStep():
            insulation(step, test)
        case BackDriveStep():
            back_drive(step, test)
            test.collect()
