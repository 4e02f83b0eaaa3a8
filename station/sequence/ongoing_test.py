"""A test under way: the bench it uses, what it has measured so far, and how it waits."""

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from math import inf

from station.analysis.result import CaptureAnalysis
from station.analysis.stitch import analyse_captures
from station.bench.bench import Bench
from station.bench.guard_watch import GuardWatch, require_closed
from station.capture import Capture
from station.clock import Clock
from station.errors import BenchError
from station.judgement.limit_file import LimitFile
from station.measurement import Measurement
from station.record.capture_file import as_filed
from station.record.record import Fragment, fragment
from station.record.store import Kept
from station.record.written import written
from station.sequence.concluding import Concluded, conclude_run
from station.sequence.progress import Notice, NoticeKind, Watch
from station.sequence.timing import Timing
from station.sequence.workers import Workers
from station.sequence_file import SensorSupplyStep
from station.units import printed

POLL_S = 0.002      # from one look to the next: what is waited for is noticed a millisecond late on average
TOO_SLOW = "too_slow"
LAZY_POLL_S = 0.02  # while the time in which it can be expected is not near


@dataclass(slots=True)
class OngoingTest:
    """What the steps share.

    Captures are fetched, analysed and kept by `workers` while the drive moves on; `keep` makes the file of a capture,
    given its number from 1, durable.
    """

    bench: Bench
    limits: LimitFile
    clock: Clock
    watch: Watch
    workers: Workers
    keep: Callable[[int, Capture], Kept]
    timing: Timing
    serial: str
    labels: tuple[str, ...]     # of the captures that the sequence asks for
    pace: float = 1.0   # simulated seconds a second, for what is expected when; 1 at a real bench
    measurements: dict[tuple[str, str], Measurement] = field(default_factory=dict)
    taken: list[tuple[Capture, ...]] = field(default_factory=list)     # one label each, in parts where stitched
    conditions: dict[str, float] = field(default_factory=dict)
    step_end: float = inf  # s on the monotonic clock; no step may go on beyond it
    guard_watch: GuardWatch | None = None           # from START on
    sensor_supply: SensorSupplyStep | None = None   # while the sensors are meant to have power
    sensors_settled_at: float = 0.0                 # s on the monotonic clock; no capture begins before
    _pending: list[Future[CaptureAnalysis]] = field(default_factory=list)
    _keeping: list[Future[Kept]] = field(default_factory=list)
    _concluding: Future[Concluded] | None = None
    _written: dict[tuple[str, str], tuple[Measurement, Fragment]] = field(default_factory=dict)

    @property
    def boot_id(self) -> str:
        """Of the clock."""
        return self.clock.boot_id

    def add(self, measurement: Measurement, label: str = "") -> None:
        """Keep a measurement and show it."""
        self.measurements[measurement.name, label] = measurement
        at = f" ({label})" if label else ""
        self.watch(Notice("value", f"{measurement.name}{at} = {measurement.value:.4g} {printed(measurement.unit)}",
                          measurement.name, measurement, label))

    def hand_over(self, parts: tuple[Capture, ...]) -> None:
        """Keep a capture, or the parts of a stitched one, and begin its analysis without waiting for it."""
        parts = tuple(as_filed(capture) for capture in parts)
        self.taken.append(parts)
        self._pending.append(self.workers.analyst.submit(self._analyse, parts))
        for capture in parts:
            self._keeping.append(self.workers.archivist.submit(self._keep, len(self._keeping) + 1, capture))

    def _analyse(self, parts: tuple[Capture, ...]) -> CaptureAnalysis:
        with self.timing.phase("analysis", "meanwhile"):
            analysis = analyse_captures(parts, self.limits.motor_type)
            for measurement in analysis.measurements.values():
                self._write_down(measurement, analysis.label)
            return analysis

    def _write_down(self, measurement: Measurement, label: str) -> None:
        self._written[measurement.name, label] = measurement, self.written(measurement, label)

    def _keep(self, number: int, capture: Capture) -> Kept:
        with self.timing.phase("writing captures", "meanwhile"):
            return self.keep(number, capture)

    def written(self, measurement: Measurement, label: str) -> Fragment:
        """Return a measurement as the record holds it; most were written down while there was time."""
        known, content = self._written.get((measurement.name, label), (None, None))
        return content if content is not None and known is measurement else fragment(written(measurement, label))

    def kept(self) -> list[Kept]:
        """Wait for the files of all captures so far; StationError when one could not be written."""
        return [keeping.result() for keeping in self._keeping]

    def collect(self) -> list[CaptureAnalysis]:
        """Wait for the analyses of all captures so far, in order; their values are kept and shown."""
        analyses = [pending.result() for pending in self._pending]
        for analysis in analyses:
            for measurement in analysis.measurements.values():
                self.measurements[measurement.name, analysis.label] = measurement
        return analyses

    def conclude_ahead(self) -> None:
        """Begin to conclude from the captures handed over and the values so far: the last capture has been taken."""
        self._concluding = self.workers.analyst.submit(self._conclude, dict(self.measurements))

    def _conclude(self, measured: dict[tuple[str, str], Measurement]) -> Concluded:
        with self.timing.phase("judgement", "meanwhile"):
            analyses = [pending.result() for pending in self._pending]
            concluded = conclude_run(analyses, measured, self.labels, self.limits)
            for (_, label), measurement in concluded.conclusion.measurements.items():
                self._write_down(measurement, label)
            return concluded

    def concluded(self, analyses: list[CaptureAnalysis]) -> Concluded:
        """Return what the run comes to, drawn afresh if anything has come in since `conclude_ahead`."""
        if self._concluding is not None:
            ahead = self._concluding.result()
            if ahead.holds_for(analyses, self.measurements):
                return ahead
        return conclude_run(analyses, self.measurements, self.labels, self.limits)

    def analysed(self) -> list[CaptureAnalysis]:
        """Return the analyses that are finished by now."""
        return [pending.result() for pending in self._pending if pending.done()]

    def say(self, kind: NoticeKind, text: str, code: str = "") -> None:
        """Tell whoever watches."""
        self.watch(Notice(kind, text, code))

    def allow(self, seconds: float) -> None:
        """Give what follows a deadline, `seconds` from now."""
        self.step_end = self.clock.monotonic() + seconds

    def require_in_time(self, what: str, remedy: str, code: str = TOO_SLOW) -> None:
        """Raise BenchError once the deadline has passed."""
        late = self.clock.monotonic() - self.step_end
        if late > 0:
            raise BenchError(f"{what} took too long", where="sequence", expected="an end before the deadline",
                             got=f"{late:.1f} s beyond it", remedy=remedy, code=code)

    def wait_until(self, reached: Callable[[], bool], *, what: str, remedy: str, within: float = inf,
                   expected: float = 0.0, code: str = TOO_SLOW) -> None:
        """Wait for `reached`, looking at the guard all the while.

        `within` is a deadline (s) of its own; that of the step counts anyway. Before `expected` (s at the bench)
        has nearly passed, it looks less often.

        Raises
        ------
        StoppedError
            The guard was opened or the emergency stop pressed.
        BenchError
            The deadline passed, see `allow`.
        """
        began = self.clock.monotonic()
        end, near = began + within, began + expected / self.pace - LAZY_POLL_S
        while not reached():
            self.require_guard()
            self.require_in_time(what, remedy, code)
            if self.clock.monotonic() > end:
                raise BenchError(f"{what} took too long", where="sequence", expected=f"an end within {within:.3g} s",
                                 got="none", remedy=remedy, code=code)
            self.clock.pause(POLL_S if self.clock.monotonic() > near else LAZY_POLL_S)

    def require_guard(self) -> None:
        """Raise StoppedError unless the guard is closed and the emergency stop is healthy.

        Once the guard is watched this is what the watch has seen; before, it is asked.
        """
        if self.guard_watch is not None:
            self.guard_watch.require_closed()
            return
        require_closed(self.bench.guard.state())

    def require_trustworthy(self) -> None:
        """Raise BenchError when an instrument has restarted or the sensors lost their supply: values mean nothing then.

        To be asked after measuring and before anything is kept.
        """
        self.bench.require_unrestarted()
        if self.sensor_supply is not None:
            self.bench.supply.require_on(self.sensor_supply.voltage_V)
