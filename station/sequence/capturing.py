"""Taking one capture while the shaft turns: inputs set beforehand, codes fetched while the drive moves on."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import partial
from math import ceil
from typing import TypeVar

import numpy as np

from station.bench.roles import SENSOR_DIGITIZER, Digitizer
from station.bench.wiring import CapturePart
from station.capture import HALL_CHANNELS, VOLTAGE_CHANNELS, Capture
from station.errors import BenchError
from station.judgement.limit_file import LimitFile
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import BackDriveStep
from station.units import RPM

HEADROOM = 1.5          # of the input range over the highest peak that the limits allow
WIDENED = 2.0           # a clipped capture is taken once more on a range this much wider
HALL_RANGE = 8.0        # V, above any sensor supply that pulls up to 5 V
SLACK = 2.0             # s that a digitizer may take beyond the capture before it counts as waiting for a trigger;
                        # longer where the bench file allows its answers longer
FALLBACK_SHARE = 2.0    # of the rated voltage, when the limit file does not limit the peak

Result = TypeVar("Result")
Together = tuple[CapturePart, ...]      # parts that are captured at the same time


@dataclass(frozen=True, slots=True)
class Stop:
    """One speed at which all signals are captured."""

    label: str
    target_rpm: float       # signed
    peak_range: float       # V
    is_last_try: bool = False

    def widened(self) -> "Stop":
        """Return the stop once more, on a wider range; what is clipped even so is kept and refused by the analysis."""
        return replace(self, peak_range=self.peak_range * WIDENED, is_last_try=True)


@dataclass(frozen=True, slots=True)
class Capturing:
    """Captures all signals at one stop: at once, by two digitizers, or through a switch part after part.

    Everything said to digitizers apart from starting them and asking whether they are done is said by the test's
    carrier, in the order in which it is handed over: the inputs are set while the drive ramps up, and codes are
    fetched while it ramps to the next speed.
    """

    step: BackDriveStep
    test: OngoingTest
    stop: Stop
    came_from_rpm: float = 0.0      # the speed before

    def groups(self) -> list[Together]:
        """Return the parts in the order of capture, those that are captured at the same time together."""
        parts = self.test.bench.file.capture_parts
        if self.test.limits.motor_type.sensors is None:
            parts = parts[:1]       # nothing to stitch
        at_once = len({part.role for part in parts}) == len(parts)
        return [tuple(parts)] if at_once else [(part,) for part in parts]

    def prepare(self, together: Together) -> Future[None]:
        """Begin to set the inputs for `together`, behind whatever is still being fetched."""
        return self.test.workers.carrier.submit(self._configure, together)

    def take(self, together: Together, prepared: Future[None], meanwhile: Callable[[], None] = lambda: None
             ) -> Future[list[Capture]]:
        """Capture `together` at the present speed; return once the capture is over, its codes to be fetched.

        `meanwhile` is carried out while it runs. The speed is what the drive shows at its beginning and middle.
        """
        test, drive = self.test, self.test.bench.drive
        digitizers = [test.bench.digitizer_of(part) for part in together]
        with test.timing.phase("waiting for the digitizer", "station"):
            await_turning(test, prepared, what="setting the digitizer", remedy="Look what keeps the digitizer busy.")
        with test.timing.phase("settling of the sensors", "physics"):
            test.wait_until(lambda: test.clock.monotonic() >= test.sensors_settled_at, what="settling of the sensors",
                            remedy="Shorten settle_s of the sensor supply step.")
        with test.timing.phase("capture", "physics"):
            for digitizer in digitizers:
                digitizer.initiate()
            middle = test.clock.monotonic() + 0.5 * self._duration / test.pace
            temperature = test.workers.carrier.submit(test.bench.thermometer.winding)
            speed = drive.speed()
            meanwhile()
            test.wait_until(lambda: self._has_come(middle), what="the middle of the capture",
                            remedy="Look what keeps the drive busy.")
            speed = (speed + drive.speed()) / 2
            for part, digitizer in zip(together, digitizers, strict=True):
                test.wait_until(partial(self._is_done, digitizer), what="the capture",
                                remedy="Check the digitizer's trigger and sample interval.",
                                within=3 * self._duration + max(SLACK, test.bench.file.entry(part.role).deadline),
                                expected=self._duration / 2)
        return test.workers.carrier.submit(self._fetch, together, speed, temperature)

    def keep(self, fetched: Sequence[Future[list[Capture]]]) -> Future[bool]:
        """Hand the captures over once they are fetched, unless one is clipped; return whether they were kept.

        The result raises BenchError when they cannot be trusted, see `OngoingTest.require_trustworthy`.
        """
        return self.test.workers.carrier.submit(self._keep, fetched)

    def _has_come(self, moment: float) -> bool:
        require_turning(self.test)
        return self.test.clock.monotonic() >= moment

    def _is_done(self, digitizer: Digitizer) -> bool:
        require_turning(self.test)  # also keeps the drive's watchdog content while a long capture runs
        return digitizer.is_done()

    def _configure(self, together: Together) -> None:
        ranges = dict.fromkeys(VOLTAGE_CHANNELS, self.stop.peak_range) | dict.fromkeys(HALL_CHANNELS, HALL_RANGE)
        with self.test.timing.phase("setting the digitizer", "meanwhile"):
            for part in together:
                interval = self._interval(part)
                self.test.bench.digitizer_of(part).configure({name: ranges[name] for name in part.signals}, interval,
                                                             ceil(self._duration / interval))

    def _fetch(self, together: Together, speed: float, temperature: Future[float]) -> list[Capture]:
        bench, target = self.test.bench, self.stop.target_rpm * RPM
        with self.test.timing.phase("transfer", "meanwhile"):
            return [Capture(*bench.digitizer_of(part).fetch(), self._interval(part), 0.0, target, speed,
                            temperature.result(), bench.file.accuracy_of(part.role)) for part in together]

    def _keep(self, fetched: Sequence[Future[list[Capture]]]) -> bool:
        captures = [capture for group in fetched for capture in group.result()]
        if not self.stop.is_last_try and any(is_clipped(capture) for capture in captures):
            return False
        self.test.require_trustworthy()
        self.test.hand_over(tuple(replace(capture, label=self.stop.label, part=(number, len(captures)))
                                  for number, capture in enumerate(captures, start=1)))
        return True

    @property
    def _duration(self) -> float:
        return self.step.revolutions * 60 / abs(self.stop.target_rpm)   # s

    def _interval(self, part: CapturePart) -> float:
        own = self.step.sensor_sample_interval_s if part.role == SENSOR_DIGITIZER else None
        return own or self.step.sample_interval_s


def require_turning(test: OngoingTest) -> None:
    """Raise BenchError when the drive has switched itself off."""
    trip = test.bench.drive.trip()
    if trip:
        raise BenchError("the drive tripped", where="drive", expected="turning", got=trip,
                         remedy="Find the cause, clear the trip and test the motor again.", code="drive_tripped")


def await_turning(test: OngoingTest, pending: Future[Result], *, what: str, remedy: str) -> Result:
    """Return what the carrier works on, and keep the drive's watchdog content until then; errors as `wait_until`."""
    def is_done() -> bool:
        require_turning(test)
        return pending.done()
    test.wait_until(is_done, what=what, remedy=remedy)
    return pending.result()


def peak_range(limits: LimitFile, target_rpm: float) -> float:
    """Return the input range in V: above the highest peak that the limits allow at this speed."""
    peaks = [limit.upper for limit in limits.limits
             if limit.name.startswith("back_emf_constant_peak") and limit.upper is not None]
    if not peaks:
        return FALLBACK_SHARE * limits.motor_type.rated_voltage
    return HEADROOM * max(peaks) * abs(target_rpm) / 1000


def is_clipped(capture: Capture) -> bool:
    """Return whether a line voltage met a rail."""
    return any(np.max(capture.codes[name]) >= capture.channels[name].code_max
               or np.min(capture.codes[name]) <= capture.channels[name].code_min
               for name in VOLTAGE_CHANNELS if name in capture.codes)
