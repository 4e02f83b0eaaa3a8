"""The back-drive step: another drive turns the motor, and the digitizer takes a capture at each speed."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import ceil

import numpy as np

from station.analysis.budget import measurement
from station.bench.roles import SENSOR_DIGITIZER, Digitizer
from station.bench.wiring import CapturePart
from station.capture import HALL_CHANNELS, VOLTAGE_CHANNELS, Capture
from station.errors import BenchError
from station.measurement import BudgetRow
from station.sequence.hazards import require_discharged, require_speed_allowed
from station.sequence.ongoing_test import OngoingTest
from station.sequence.sequence_file import BackDriveStep
from station.units import RPM, from_si

HEADROOM = 1.5          # of the input range over the highest peak that the limits allow
WIDENED = 2.0           # a clipped capture is taken once more on a range this much wider
HALL_RANGE = 8.0        # V, above any sensor supply that pulls up to 5 V
SLACK = 2.0             # s that a digitizer may take beyond the capture before it counts as waiting for a trigger
TORQUE_LIMIT = 0.03     # relative; the drive's own torque estimate, common practice, no source
FALLBACK_SHARE = 2.0    # of the rated voltage, when the limit file does not limit the peak


def back_drive(step: BackDriveStep, test: OngoingTest) -> None:
    """Take every capture of `step`; each is analysed while the drive moves to the next speed."""
    drive = test.bench.drive
    drive.clear()
    test.require_guard()
    require_discharged(test)
    drive.enable()
    for label, target_rpm in zip(step.labels(), step.targets_rpm(), strict=True):
        require_speed_allowed(test, target_rpm * RPM)
        drive.spin(target_rpm * RPM, step.ramp_rpm_per_s * RPM)
        test.wait_until(lambda: _ready(test), what=f"reaching {target_rpm:g} r/min",
                        remedy="Look for a blocked or heavy shaft, or give the step more time.")
        test.say("speed", f"{label}: {from_si(drive.speed(), 'rpm'):.1f} r/min reached")
        captures = _capture(step, test, label, target_rpm)
        _measure_drag(test, label)
        test.require_trustworthy()
        test.hand_over(captures)
        if step.on_fail == "stop" and any(analysis.refused for analysis in test.analysed()):
            break
    drive.stop()
    test.wait_until(lambda: abs(drive.speed()) < RPM, what="coming to rest",
                    remedy="Wait for standstill before opening the guard.")


def _ready(test: OngoingTest) -> bool:
    _require_turning(test)
    return test.bench.drive.is_settled()


def _captured(test: OngoingTest, digitizer: Digitizer) -> bool:
    _require_turning(test)  # also keeps the drive's watchdog content while a long capture runs
    return digitizer.is_done()


def _require_turning(test: OngoingTest) -> None:
    trip = test.bench.drive.trip()
    if trip:
        raise BenchError("the drive tripped", where="drive", expected="turning", got=trip,
                         remedy="Find the cause, clear the trip and test the motor again.")


def _capture(step: BackDriveStep, test: OngoingTest, label: str, target_rpm: float) -> tuple[Capture, ...]:
    peak_range = _peak_range(test, target_rpm)
    captures = _take(step, test, label, target_rpm, peak_range)
    if any(_is_clipped(capture) for capture in captures):
        test.say("note", f"{label}: input clipped, taken again on a wider range")
        captures = _take(step, test, label, target_rpm, peak_range * WIDENED)
    return captures


def _take(step: BackDriveStep, test: OngoingTest, label: str, target_rpm: float, peak_range: float
          ) -> tuple[Capture, ...]:
    """Take all signals: in one capture, by two digitizers at once, or through a switch part after part."""
    parts = test.bench.file.capture_parts
    if test.limits.motor_type.sensors is None:
        parts = parts[:1]       # nothing to stitch
    at_once = len({part.role for part in parts}) == len(parts)
    taken: list[Capture] = []
    for together in [parts] if at_once else [(part,) for part in parts]:
        taken += _take_together(step, test, together, peak_range, target_rpm)
    return tuple(replace(capture, label=label, part=(number, len(taken)))
                 for number, capture in enumerate(taken, start=1))


def _take_together(step: BackDriveStep, test: OngoingTest, parts: Sequence[CapturePart], peak_range: float,
                   target_rpm: float) -> list[Capture]:
    bench, duration = test.bench, step.revolutions * 60 / abs(target_rpm)
    ranges = dict.fromkeys(VOLTAGE_CHANNELS, peak_range) | dict.fromkeys(HALL_CHANNELS, HALL_RANGE)
    for part in parts:
        interval = _interval(step, part)
        bench.digitizer_of(part).configure({name: ranges[name] for name in part.signals}, interval,
                                           ceil(duration / interval))
    before = bench.drive.speed()
    for part in parts:
        bench.digitizer_of(part).initiate()
    for part in parts:
        test.wait_until(partial(_captured, test, bench.digitizer_of(part)), what="the capture",
                        remedy="Check the digitizer's trigger and sample interval.", within=3 * duration + SLACK)
    speed = (before + bench.drive.speed()) / 2
    return [Capture(*bench.digitizer_of(part).fetch(), _interval(step, part), 0.0, target_rpm * RPM, speed,
                    bench.thermometer.winding(), bench.file.accuracy_of(part.role)) for part in parts]


def _interval(step: BackDriveStep, part: CapturePart) -> float:
    own = step.sensor_sample_interval_s if part.role == SENSOR_DIGITIZER else None
    return own or step.sample_interval_s


def _peak_range(test: OngoingTest, target_rpm: float) -> float:
    """Return the input range in V: above the highest peak that the limits allow at this speed."""
    peaks = [limit.upper for limit in test.limits.limits
             if limit.name.startswith("back_emf_constant_peak") and limit.upper is not None]
    if not peaks:
        return FALLBACK_SHARE * test.limits.motor_type.rated_voltage
    return HEADROOM * max(peaks) * abs(target_rpm) / 1000


def _is_clipped(capture: Capture) -> bool:
    return any(np.max(capture.codes[name]) >= capture.channels[name].code_max
               or np.min(capture.codes[name]) <= capture.channels[name].code_min
               for name in VOLTAGE_CHANNELS if name in capture.codes)


def _measure_drag(test: OngoingTest, label: str) -> None:
    torque = from_si(abs(test.bench.drive.drag_torque()), "mN m")
    u = torque * TORQUE_LIMIT / 3**0.5
    test.add(measurement("drag_torque", torque,
                         [BudgetRow("drive torque", "B", "rectangular", u, float("inf"))]), label)
