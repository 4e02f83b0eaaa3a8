"""What must hold before anything moves or is live: guard, rest, discharge, sensors without power, speed."""

from collections.abc import Iterator
from contextlib import contextmanager

from station.analysis.conversion import touch_voltage_speed
from station.errors import BenchError, BenchNotFitError, Fault, FileContractError
from station.judgement.limit_file import LimitFile
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import Sequence
from station.units import RPM, VOLT_PER_KRPM, from_si


def touch_speed(limits: LimitFile) -> float | None:
    """Return from which speed (rad/s) a motor within `limits` has 25 V rms between lines; None when they do not say."""
    peaks = [limit.upper for limit in limits.limits
             if limit.name.startswith("back_emf_constant_peak") and limit.upper is not None]
    return touch_voltage_speed(max(peaks) * VOLT_PER_KRPM) if peaks else None


def require_speed_of_type(limits: LimitFile, sequence: Sequence) -> None:
    """Raise FileContractError when `sequence` turns the motor faster than its type bears; before a run begins."""
    bears, asked = limits.motor_type.max_speed, sequence.max_speed_rpm()
    if bears is not None and not asked * RPM <= bears * (1 + 1e-9):
        raise FileContractError([Fault(
            limits.name, "type.max_speed_rpm", f"{asked:g} r/min asked for by the sequence {sequence.name}",
            f"at most {from_si(bears, 'rpm'):g} r/min",
            "Lower the speed in the sequence file; raise the key only if the motor type bears more.")])


def require_speed_allowed(test: OngoingTest, target: float) -> None:
    """Raise BenchNotFitError unless the motor may be turned at `target`, rad/s, with the guard as it is now.

    With a guard that is not closed, nothing from the touch-voltage speed on; where that is unknown, nothing at all.
    The drive refuses motion with an open guard anyway: this says why the terminals are dangerous.
    """
    if test.bench.guard.state().closed:
        return
    touchable = touch_speed(test.limits) or 0.0
    if not abs(target) < touchable:
        raise BenchNotFitError("speed refused with the guard open", where="guard", got="an open guard",
                               expected=f"a closed guard above {from_si(touchable, 'rpm'):.0f} r/min, where the "
                               "terminals carry 25 V and more", remedy="Close the guard and press START again.",
                               code="guard_opened")


def require_discharged(test: OngoingTest) -> None:
    """Raise BenchError unless the winding carries no insulation voltage; to be asked before anything moves."""
    volts, below = test.bench.insulation.voltage(), test.bench.file.discharged_below
    if not abs(volts) < below:
        raise BenchError("the winding is not discharged", where="insulation tester", expected=f"below {below:g} V",
                         got=f"{volts:g} V", remedy="Keep the guard closed; do not touch the terminals; "
                         "call maintenance.", code="not_discharged")


def require_at_rest(test: OngoingTest) -> None:
    """Raise BenchError unless the shaft rests."""
    speed = test.bench.drive.speed()
    if not abs(speed) < RPM:
        raise BenchError("the shaft turns", where="drive", expected="standstill",
                         got=f"{from_si(speed, 'rpm'):.0f} r/min",
                         remedy="Press the emergency stop; keep the guard closed until the shaft rests.",
                         code="shaft_turns")


@contextmanager
def sensors_unpowered(test: OngoingTest) -> Iterator[None]:
    """Switch the sensor supply off, and on again as it was once the block has ended without trouble.

    The sensors then settle while the shaft is brought to speed, see `OngoingTest.sensors_settled_at`.
    """
    powered, test.sensor_supply = test.sensor_supply, None
    test.bench.supply.safe()
    yield
    if powered is not None:
        test.bench.supply.on(powered.voltage_V, powered.current_limit_A)
        test.sensor_supply = powered
        test.sensors_settled_at = test.clock.monotonic() + powered.settle_s
