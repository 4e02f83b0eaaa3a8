"""station.bench.bench on the embedded bench: fit or not, and the safe state."""

import socket
from datetime import UTC, datetime

import pytest

from station.clock import Clock, system_clock
from station.errors import BenchError, BenchNotFitError
from station.simulated.side_channel import SideChannel
from station.units import RPM


def silence(served, role, seconds):
    with SideChannel(served.side_port) as side:
        side.silence(role, seconds)


def impatient(text):
    return text.replace("deadline_s = 4.0", "deadline_s = 0.5")


def at(year, month, day):
    system = system_clock()
    moment = datetime(year, month, day, 23, 59, tzinfo=UTC)
    return Clock(lambda: moment, system.monotonic, system.pause)


def test_good_bench_is_fit(station):
    bench, *_ = station
    bench.require_fit(at(2026, 11, 25), 3000 * RPM)


@pytest.mark.parametrize("speed", [6001 * RPM, float("nan")])
def test_speed_above_the_limit_is_not_fit(station, speed):
    bench, *_ = station
    with pytest.raises(BenchNotFitError, match="r/min"):
        bench.require_fit(at(2026, 11, 25), speed)


def test_open_guard_and_pressed_emergency_stop_are_not_fit(station):
    bench, rig, *_ = station
    rig.open_guard()
    rig.emergency_stop_healthy = False
    with pytest.raises(BenchNotFitError) as caught:
        bench.require_fit(at(2026, 11, 25), 100.0)
    assert "guard: open" in str(caught.value)
    assert "emergency stop" in str(caught.value)


def test_calibration_holds_to_the_end_of_its_day(open_embedded):
    edit = lambda text: text.replace("due = 2099-01-01", "due = 2027-01-10", 1)  # noqa: E731
    with open_embedded(edit) as (bench, *_):
        bench.require_fit(at(2027, 1, 10), 100.0)
        with pytest.raises(BenchNotFitError, match=r"drive: calibration .* ran out"):
            bench.require_fit(at(2027, 1, 11), 100.0)
        reports = bench.check(at(2027, 1, 11))
    assert [report.role for report in reports if report.faults] == ["drive"]


def test_wrong_instrument_is_not_fit_and_gets_no_command(open_embedded):
    with open_embedded(lambda text: text.replace("EB-SUP-001", "EB-SUP-002")) as (bench, rig, _, clock):
        with pytest.raises(BenchNotFitError, match="EB-SUP-002"):
            bench.require_fit(clock, 100.0)
        with pytest.raises(BenchNotFitError, match="EB-SUP-002"):
            bench.supply.on(5.0, 0.1)
        rig.place("CP40-0001")
        assert rig.sensor_supply_current() == 0
        report = next(report for report in bench.check(clock) if report.role == "supply")
    assert report.identity is None
    assert report.self_test == "not run"


def test_absent_instrument_is_reported_with_a_remedy(open_embedded):
    with socket.create_server(("127.0.0.1", 0)) as server:
        nobody = server.getsockname()[1]

    def edit(text):
        head, tail = text.split("[instruments.thermometer]")
        before, port, after = tail.split("::")[0], str(nobody), "::".join(tail.split("::")[3:])
        return head + "[instruments.thermometer]" + f"{before}::127.0.0.1::{port}::{after}"
    with open_embedded(edit) as (bench, _, _, clock):
        reports = {report.role: report for report in bench.check(clock)}
        with pytest.raises(BenchNotFitError, match="thermometer"):
            bench.require_fit(clock, 100.0)
    assert "Check" in reports["thermometer"].faults[0]
    assert reports["drive"].faults == ()


def test_safe_state_from_full_work(started, wait_until):
    bench, rig, _, clock = started
    bench.supply.on(5.0, 0.1)
    bench.drive.enable()
    bench.drive.spin(1500 * RPM, 8000 * RPM)
    wait_until(bench.drive.is_settled, clock)
    assert bench.safe_state() == []
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5
    assert not rig.shaft.enabled
    assert rig.insulation_voltage() < 25
    assert rig.sensor_supply_current() == 0


def test_safe_state_discharges_the_winding(started):
    bench, rig, *_ = started
    bench.insulation.apply(500.0, 0.01)
    assert bench.safe_state() == []
    assert rig.insulation_voltage() < 25


def test_silent_drive_stops_no_other_step(open_embedded):
    with open_embedded(impatient) as (bench, rig, served, _):
        rig.place("CP40-0001")
        bench.supply.on(5.0, 0.1)
        bench.insulation.apply(500.0, 0.01)
        bench.drive.speed()
        silence(served, "drive", 60.0)
        failures = bench.safe_state()
        current, volts = rig.sensor_supply_current(), rig.insulation_voltage()
        silence(served, "drive", 0.0)
    assert [failure.split(":")[0] for failure in failures] == ["drive"]
    assert current == 0
    assert volts < 25


def test_every_way_out_is_safe(open_embedded):
    with pytest.raises(RuntimeError, match="broken"):  # noqa: SIM117, PT012
        with open_embedded() as (bench, rig, *_):
            rig.place("CP40-0001")
            bench.supply.on(5.0, 0.1)
            raise RuntimeError("broken")
    assert rig.sensor_supply_current() == 0


def test_leaving_an_unsafe_bench_is_an_error(open_embedded):
    with pytest.raises(BenchError, match="safe state"):  # noqa: SIM117, PT012
        with open_embedded(impatient) as (bench, _, served, _):
            bench.drive.speed()
            silence(served, "drive", 60.0)
