"""A test under way: the bench it uses, what it has measured so far, and how it waits."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from math import inf

from station.analysis.result import CaptureAnalysis
from station.analysis.stitch import analyse_captures
from station.bench.bench import Bench
from station.bench.guard_watch import GuardWatch
from station.capture import Capture
from station.clock import Clock
from station.errors import BenchError, StoppedError
from station.judgement.limit_file import LimitFile
from station.measurement import Measurement
from station.sequence.progress import Notice, NoticeKind, Watch
from station.sequence.sequence_file import SensorSupplyStep
from station.sequence.timing import Timing
from station.units import printed

POLL_S = 0.002  # from one look to the next: what is waited for is noticed a millisecond late on average


@dataclass(slots=True)
class OngoingTest:
    """What the steps share.

    Captures are fetched by `carrier`, one after the other, and analysed by `analyst` while the drive moves on.
    """

    bench: Bench
    limits: LimitFile
    clock: Clock
    watch: Watch
    analyst: ThreadPoolExecutor
    carrier: ThreadPoolExecutor
    timing: Timing
    serial: str
    measurements: dict[tuple[str, str], Measurement] = field(default_factory=dict)
    taken: list[tuple[Capture, ...]] = field(default_factory=list)     # one label each, in parts where stitched
    conditions: dict[str, float] = field(default_factory=dict)
    step_end: float = inf  # s on the monotonic clock; no step may go on beyond it
    guard_watch: GuardWatch | None = None           # from START on
    sensor_supply: SensorSupplyStep | None = None   # while the sensors are meant to have power
    _pending: list[Future[CaptureAnalysis]] = field(default_factory=list)

    def add(self, measurement: Measurement, label: str = "") -> None:
        """Keep a measurement and show it."""
        self.measurements[measurement.name, label] = measurement
        at = f" ({label})" if label else ""
        self.say("value", f"{measurement.name}{at} = {measurement.value:.4g} {printed(measurement.unit)}")

    @property
    def captures(self) -> list[Capture]:
        """All captures so far, part by part."""
        return [capture for parts in self.taken for capture in parts]

    def hand_over(self, parts: tuple[Capture, ...]) -> None:
        """Keep a capture, or the parts of a stitched one, and begin its analysis without waiting for it."""
        self.taken.append(parts)
        self._pending.append(self.analyst.submit(self._analyse, parts))

    def _analyse(self, parts: tuple[Capture, ...]) -> CaptureAnalysis:
        with self.timing.phase("analysis", "meanwhile"):
            return analyse_captures(parts, self.limits.motor_type)

    def collect(self) -> list[CaptureAnalysis]:
        """Wait for the analyses of all captures so far, in order; their values are kept and shown."""
        analyses = [pending.result() for pending in self._pending]
        for analysis in analyses:
            for measurement in analysis.measurements.values():
                self.measurements[measurement.name, analysis.label] = measurement
        return analyses

    def analysed(self) -> list[CaptureAnalysis]:
        """Return the analyses that are finished by now."""
        return [pending.result() for pending in self._pending if pending.done()]

    def say(self, kind: NoticeKind, text: str) -> None:
        """Tell whoever watches."""
        self.watch(Notice(kind, text))

    def allow(self, seconds: float) -> None:
        """Give what follows a deadline, `seconds` from now."""
        self.step_end = self.clock.monotonic() + seconds

    def require_in_time(self, what: str, remedy: str) -> None:
        """Raise BenchError once the deadline has passed."""
        late = self.clock.monotonic() - self.step_end
        if late > 0:
            raise BenchError(f"{what} took too long", where="sequence", expected="an end before the deadline",
                             got=f"{late:.1f} s beyond it", remedy=remedy)

    def wait_until(self, reached: Callable[[], bool], *, what: str, remedy: str, within: float = inf) -> None:
        """Wait for `reached`, looking at the guard all the while.

        `within` is a deadline (s) of its own; that of the step counts anyway.

        Raises
        ------
        StoppedError
            The guard was opened or the emergency stop pressed.
        BenchError
            The deadline passed, see `allow`.
        """
        end = self.clock.monotonic() + within
        while not reached():
            self.require_guard()
            self.require_in_time(what, remedy)
            if self.clock.monotonic() > end:
                raise BenchError(f"{what} took too long", where="sequence", expected=f"an end within {within:.3g} s",
                                 got="none", remedy=remedy)
            self.clock.pause(POLL_S)

    def require_guard(self) -> None:
        """Raise StoppedError unless the guard is closed and the emergency stop is healthy.

        Once the guard is watched this is what the watch has seen; before, it is asked.
        """
        if self.guard_watch is not None:
            self.guard_watch.require_closed()
            return
        guard = self.bench.guard
        if not guard.is_closed():
            raise StoppedError("guard opened", where="guard", expected="closed until the shaft rests", got="open",
                               remedy="Wait for standstill, close the guard and test the motor again.")
        if not guard.is_emergency_stop_healthy():
            raise StoppedError("emergency stop pressed", where="guard", expected="released", got="pressed",
                               remedy="Clear the danger, reset the emergency stop and test again.")

    def require_trustworthy(self) -> None:
        """Raise BenchError when an instrument has restarted or the sensors lost their supply: values mean nothing then.

        To be asked after measuring and before anything is kept.
        """
        self.bench.require_unrestarted()
        if self.sensor_supply is not None:
            self.bench.supply.require_on(self.sensor_supply.voltage_V)
