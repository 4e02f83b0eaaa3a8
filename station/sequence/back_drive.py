"""The back-drive step: another drive turns the motor, and the digitizer takes a capture at each speed."""

from collections.abc import Sequence
from concurrent.futures import Future
from functools import partial

from station.analysis.budget import measurement
from station.measurement import BudgetRow, Measurement
from station.sequence.capturing import Capturing, Stop, await_turning, peak_range, require_turning
from station.sequence.hazards import require_discharged, require_speed_allowed
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import BackDriveStep
from station.units import RPM, from_si

TORQUE_LIMIT = 0.03     # relative; the drive's own torque estimate, common practice, no source


def back_drive(step: BackDriveStep, test: OngoingTest) -> None:
    """Take every capture of `step`; each is fetched and analysed while the drive moves to the next speed.

    Whether an input was clipped shows in the codes only, when the shaft is on its way already: such a speed is
    visited once more, on a wider range, after all others.
    """
    drive = test.bench.drive
    drive.clear()
    test.require_guard()
    require_discharged(test)
    drive.enable()
    stops = [Stop(label, target, peak_range(test.limits, target))
             for label, target in zip(step.labels(), step.targets_rpm(), strict=True)]
    clipped = _visit_all(step, test, stops)
    for stop in clipped:
        test.say("note", f"{stop.label}: input clipped, taken again on a wider range")
    _visit_all(step, test, [stop.widened() for stop in clipped])
    test.conclude_ahead()
    test.say("rest", "the shaft comes to rest")
    with test.timing.phase("ramp to rest", "physics"):
        drive.stop()
        test.wait_until(lambda: abs(drive.speed()) < RPM, what="coming to rest",
                        remedy="Wait for standstill before opening the guard.")


def _visit_all(step: BackDriveStep, test: OngoingTest, stops: Sequence[Stop]) -> list[Stop]:
    """Visit every stop, then head for rest; return the stops whose captures were clipped and not kept."""
    kept: list[tuple[Stop, Future[bool]]] = []
    came_from_rpm = 0.0
    for stop in stops:
        for _, known in kept:
            if known.done():
                known.result()      # raises what went wrong meanwhile
        kept.append((stop, _visit(Capturing(step, test, stop, came_from_rpm))))
        came_from_rpm = stop.target_rpm
        if step.on_fail == "stop" and any(analysis.refused for analysis in test.analysed()):
            break
    if kept:
        test.bench.drive.spin(0.0, step.ramp_rpm_per_s * RPM)
    with test.timing.phase("ramp to rest", "physics"):
        return [stop for stop, future in kept
                if not await_turning(test, future, what="the transfer of the captures",
                                     remedy="Check the connection of the digitizer, then test again.")]


def _visit(capturing: Capturing) -> Future[bool]:
    """Bring the shaft to speed and capture there; return whether the captures could be kept, once that is known."""
    step, test, stop = capturing.step, capturing.test, capturing.stop
    drive, groups = test.bench.drive, capturing.groups()
    require_speed_allowed(test, stop.target_rpm * RPM)
    ramp = abs(stop.target_rpm - capturing.came_from_rpm) / step.ramp_rpm_per_s     # s
    with test.timing.phase("ramp and settling", "physics"):
        drive.spin(stop.target_rpm * RPM, step.ramp_rpm_per_s * RPM)
        prepared = capturing.prepare(groups[0])
        test.wait_until(lambda: _is_ready(test), what=f"reaching {stop.target_rpm:g} r/min", expected=ramp,
                        remedy="Look for a blocked or heavy shaft, or give the step more time.")
    test.say("speed", f"{stop.label}: {stop.target_rpm:g} r/min reached", stop.label)
    fetched = [capturing.take(groups[0], prepared, meanwhile=partial(_measure_drag, test, stop.label))]
    for together in groups[1:]:
        fetched.append(capturing.take(together, capturing.prepare(together)))
    return capturing.keep(fetched)


def _is_ready(test: OngoingTest) -> bool:
    require_turning(test)
    return test.bench.drive.is_settled()


def _measure_drag(test: OngoingTest, label: str) -> None:
    test.add(measured_drag(test.bench.drive.drag_torque()), label)


def measured_drag(torque: float) -> Measurement:
    """Return what the torque indicated by the drive, N m, says of the motor's drag."""
    drag = from_si(abs(torque), "mN m")
    u = drag * TORQUE_LIMIT / 3**0.5
    return measurement("drag_torque", drag, [BudgetRow("drive torque", "B", "rectangular", u, float("inf"))])
