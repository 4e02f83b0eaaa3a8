"""station.bench.modbus_drive against the simulated drive: what only a CiA 402 drive over Modbus can show."""

from threading import Event, Thread

import pytest

from station.bench import modbus_drive
from station.bench.dialect import SHIPPED
from station.errors import BenchError, InstrumentError
from station.simulated.fault_plan import Fault
from station.units import RPM

RAMP = 4000 * RPM
NAME = "embedded_modbus_drive"
TEXT = (SHIPPED / f"{NAME}.toml").read_text(encoding="utf-8")


@pytest.fixture
def turning(open_embedded, tmp_path):
    """Open the bench with the register map changed by replacing texts, a motor in place and START given."""
    def make(*changes, name=None, motor="CP40-0001"):
        text = TEXT
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / "map.toml"
        path.write_text(text, encoding="utf-8")
        opened = open_embedded(lambda bench: bench.replace(f'"{NAME}"', f'"{name or path}"'), drive="modbus")
        bench, rig, make.served, clock = opened.__enter__()
        closing.append(opened)
        rig.place(motor)
        bench.guard.arm()
        rig.press_start()
        return bench, rig, clock
    closing = []
    yield make
    for opened in closing:
        opened.__exit__(None, None, None)


def test_velocity_mode_turns_both_ways(turning, wait_until):
    bench, rig, clock = turning(name="embedded_modbus_velocity")
    bench.drive.enable()
    for rpm in (700, -500):
        bench.drive.spin(rpm * RPM, RAMP)
        wait_until(bench.drive.is_settled, clock)
        assert bench.drive.speed() == pytest.approx(rpm * RPM, abs=3 * RPM)
        assert rig.shaft.slew_rpm_per_s == pytest.approx(4000)
    bench.drive.stop()
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5
    assert not rig.shaft.enabled


def test_velocity_mode_without_ramp_bits_never_counts_as_settled(turning, tmp_path):
    text = (SHIPPED / "embedded_modbus_velocity.toml").read_text(encoding="utf-8")
    path = tmp_path / "bare.toml"
    path.write_text(text.replace("= 0x007F", "= 0x000F"), encoding="utf-8")
    bench, rig, clock = turning(name=path)
    bench.drive.enable()
    bench.drive.spin(700 * RPM, RAMP)
    clock.pause(0.2)
    assert not bench.drive.is_settled()
    assert rig.shaft.speed_rpm(rig.now()) == 0


def test_stop_switches_off_a_drive_that_would_hold_the_shaft(turning, wait_until):
    bench, rig, clock = turning(("value = 2 }        # 605Ah", "value = 6 }        # 605Ah"))
    bench.drive.enable()
    bench.drive.spin(500 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    bench.drive.stop()
    assert not rig.shaft.enabled
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5
    bench.drive.enable()    # also from there
    assert rig.shaft.enabled


def test_a_near_speed_does_not_count_before_the_ramp_is_over(turning, wait_until):
    bench, rig, clock = turning()
    bench.drive.enable()
    bench.drive.spin(1000 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    bench.drive.spin(1003 * RPM, 0.02 * RPM)     # a ramp of 150 s
    assert not bench.drive.is_settled()
    assert rig.shaft.speed_rpm(rig.now()) == pytest.approx(1000, rel=0.005)


def test_lost_contact_is_a_trip_that_clears(turning, wait_until):
    bench, rig, clock = turning()
    bench.drive.enable()
    bench.drive.set_watchdog(0.2)
    bench.drive.spin(500 * RPM, RAMP)
    wait_until(lambda: not rig.shaft.enabled, clock)
    wait_until(lambda: bench.drive.trip() is not None, clock)
    assert bench.drive.trip() == "fault 7500h: contact was lost"
    assert bench.drive.self_test() == bench.drive.drain_errors()[0] == bench.drive.trip()
    assert not bench.drive.is_settled()
    with pytest.raises(InstrumentError, match="7500h"):
        bench.drive.enable()
    bench.drive.clear()
    assert bench.drive.trip() is None
    bench.drive.enable()
    bench.drive.clear()     # without a fault it takes nothing away
    assert rig.shaft.enabled


def test_a_drive_that_is_off_unasked_is_told(turning, wait_until):
    bench, _, clock = turning()
    bench.drive.enable()
    bench.drive.spin(500 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    assert bench.drive.trip() is None
    turning.served.arm("drive", Fault("restart"))
    assert "may have restarted" in bench.drive.trip()
    bench.drive.stop()
    assert bench.drive.trip() is None


def test_a_drive_without_torque_behind_an_open_guard_has_not_tripped(turning, wait_until):
    bench, rig, clock = turning()
    bench.drive.enable()
    bench.drive.spin(500 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    rig.open_guard()
    wait_until(lambda: not bench.drive.is_settled(), clock)
    assert bench.drive.trip() is None


def test_a_drive_that_stays_on_at_rest_has_not_stopped(turning, monkeypatch):
    monkeypatch.setattr(modbus_drive, "STEP_DEADLINE", 0.1)
    bench, rig, _ = turning()
    bench.drive.enable()            # at zero speed
    turning.served.arm("drive", Fault("runs_on", seconds=3600.0))
    with pytest.raises(BenchError, match="did not switch off"):
        bench.drive.stop()
    turning.served.mend()
    bench.drive.stop()
    assert not rig.shaft.enabled


def test_overload_trips(turning, wait_until):
    bench, rig, clock = turning(motor="CP60-0103")      # brakes itself through shorted turns
    bench.drive.enable()
    bench.drive.spin(6000 * RPM, 99_000 * RPM)
    wait_until(lambda: rig.shaft.tripped is not None, clock)
    assert bench.drive.trip() == "fault 8400h: torque above the limit"
    bench.drive.stop()
    bench.drive.clear()
    assert bench.drive.trip() is None


def test_watchdog_that_cannot_be_set_is_an_error(turning):
    # The map names the register of the current, which nobody can write.
    bench, _, _ = turning(("register = 0x0130", "register = 0x0119"))
    with pytest.raises(BenchError, match="the drive refused"):
        bench.drive.set_watchdog(1.0)


@pytest.mark.parametrize(("seconds", "counts"), [(0.0, 0), (0.001, 1), (5.0, 500)])
def test_watchdog_time_is_never_rounded_to_off(turning, seconds, counts):
    bench, *_ = turning()
    bench.drive.set_watchdog(seconds)
    register = bench.drive.registers.watchdog
    assert bench.drive.session.exchange("kept", lambda drive: drive.read(register)) == counts


def test_safe_state_does_not_wait_behind_a_stuck_exchange(turning, wait_until):
    bench, rig, clock = turning()
    bench.drive.enable()
    bench.drive.spin(500 * RPM, RAMP)
    wait_until(bench.drive.is_settled, clock)
    stuck, over = Event(), Event()

    def hold(drive):
        stuck.set()
        assert over.wait(20.0)
    holder = Thread(target=bench.drive.session.exchange, args=("a stuck one", hold, 30.0))
    holder.start()
    stuck.wait(20.0)
    assert bench.safe_state(["drive"]) == []
    assert holder.is_alive()
    assert not rig.shaft.enabled
    assert abs(rig.shaft.speed_rpm(rig.now())) < 5
    over.set()
    holder.join()
