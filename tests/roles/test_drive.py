"""The drive role against the embedded bench: over SCPI, and over Modbus TCP with CiA 402."""

import math

import pytest

from station.errors import BenchNotFitError, InstrumentError, NoReplyError
from station.simulated.side_channel import SideChannel
from station.units import RPM

RAMP = 4000 * RPM
KINDS = ("scpi", "modbus")


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


@pytest.fixture
def station(open_embedded, kind):
    """The bench with a good motor in the fixture, guard closed, nobody at START, for each drive."""
    with open_embedded(drive=kind) as (bench, rig, served, clock):
        rig.place("CP40-0001")
        yield bench, rig, served, clock


@pytest.mark.parametrize("rpm", [1500.0, -900.0])
def test_spins_settles_and_stops(started, rpm, wait_until):
    bench, rig, _, clock = started
    bench.drive.enable()
    bench.drive.spin(rpm * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    assert bench.drive.speed() == pytest.approx(rpm * RPM, rel=0.01)
    assert rig.shaft.speed_rpm(rig.now()) == pytest.approx(rpm, rel=0.01)
    assert 1e-3 < abs(bench.drive.drag_torque()) < 0.2
    assert bench.drive.trip() is None
    bench.drive.stop()
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5
    assert not rig.shaft.enabled


def test_is_not_settled_while_ramping(started):
    bench, *_ = started
    bench.drive.enable()
    bench.drive.spin(1500 * RPM, 1 * RPM)   # takes a minute of the wall clock even at this pace
    assert not bench.drive.is_settled()


def test_stop_is_safe_at_rest_and_to_repeat(station):
    bench, rig, *_ = station
    bench.drive.stop()
    bench.drive.stop()
    assert rig.shaft.speed_rpm(rig.now()) == 0


def test_refuses_to_turn_with_the_guard_open(started):
    bench, rig, *_ = started
    bench.drive.enable()
    rig.open_guard()
    with pytest.raises(BenchNotFitError, match="open guard"):
        bench.drive.spin(100.0, RAMP)
    with pytest.raises(BenchNotFitError, match="open guard"):
        bench.drive.enable()
    assert rig.shaft.speed_rpm(rig.now()) == 0


@pytest.mark.parametrize("speed", [6001 * RPM, -6001 * RPM, math.nan, math.inf])
def test_refuses_speeds_above_the_limit_of_the_bench(started, speed):
    bench, rig, *_ = started
    bench.drive.enable()
    with pytest.raises(BenchNotFitError, match="speed refused"):
        bench.drive.spin(speed, RAMP)
    assert rig.shaft.target_rpm == 0


def test_drive_itself_refuses_without_start(station, kind):
    bench, rig, *_ = station
    with pytest.raises(InstrumentError, match={"scpi": "-221", "modbus": "switch on disabled"}[kind]):
        bench.drive.enable()
    assert not rig.shaft.enabled


def test_an_old_target_does_not_come_back_when_enabling(started, wait_until):
    bench, rig, _, clock = started
    bench.drive.enable()
    bench.drive.spin(1000 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    bench.drive.stop()
    bench.drive.enable()
    wait_until(bench.drive.is_settled, clock)
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5


def test_stops_by_itself_when_nobody_speaks(started, wait_until):
    bench, rig, _, clock = started
    bench.drive.enable()
    bench.drive.set_watchdog(0.2)
    bench.drive.spin(1000 * RPM, RAMP)
    wait_until(lambda: not rig.shaft.enabled and abs(rig.shaft.speed_rpm(rig.now())) < 5, clock)


def test_silent_drive_is_an_error_and_comes_back(station):
    bench, _, served, clock = station
    bench.drive.speed()
    with SideChannel(served.side_port) as side:
        side.silence("drive", 60.0)
        with pytest.raises(NoReplyError, match="no reply"):
            bench.drive.speed()
        side.silence("drive", 0.0)
    clock.pause(0.05)
    assert bench.drive.speed() == 0


@pytest.mark.parametrize("kind", KINDS)
def test_another_drive_gets_no_command(open_embedded, kind):
    wrong = lambda text: text.replace("EB-DRV-", "EB-DRX-")  # noqa: E731
    with open_embedded(wrong, drive=kind) as (bench, rig, *_):
        rig.place("CP40-0001")
        bench.guard.arm()
        rig.press_start()
        with pytest.raises(BenchNotFitError, match="another instrument"):
            bench.drive.enable()
        assert not rig.shaft.enabled


def test_guard_opened_while_turning_takes_torque_and_is_no_reached_speed(started, wait_until):
    bench, rig, _, clock = started
    bench.drive.enable()
    bench.drive.spin(600 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    rig.open_guard()
    assert not bench.drive.is_settled()
    bench.drive.stop()
    assert not rig.shaft.enabled
