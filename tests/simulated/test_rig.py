"""station.simulated.rig: the bench as instruments meet it."""

from datetime import UTC, datetime

import numpy as np
import pytest

from station.clock import Clock
from station.errors import UsageError
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.rig import Rig

LOT = load_lot(demo_lot_path())
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


class Hall:
    """A rig with time in the test's hands."""

    def __init__(self, serial="CP40-0001", pace=10.0):
        self.wall = 100.0
        self.rig = Rig(LOT, 1, pace, Clock(lambda: NOON, lambda: self.wall, self._pass))
        self.rig.place(serial)

    def _pass(self, seconds):
        self.wall += seconds

    def wait(self, simulated):
        self.wall += simulated / self.rig.pace

    def start(self):
        self.rig.arm(True)
        self.rig.press_start()

    def run(self, rpm):
        self.start()
        self.rig.set_sensor_supply(5.0, True)
        self.rig.shaft.set_target(rpm)
        assert self.rig.shaft.enable(True)
        self.wait(3.0)
        assert self.rig.shaft.settled()

    def sample(self, count=40000, interval=5e-6):
        return self.rig.line_signals(self.rig.now() - count * interval + interval * np.arange(count))


def test_time_runs_at_the_pace():
    hall = Hall(pace=50.0)
    hall.wall += 2.0
    assert hall.rig.now() == pytest.approx(100.0)


@pytest.mark.parametrize(("serial", "rpm", "peak"), [
    ("CP40-0001", 1000, 10.0), ("CP40-0001", -2000, 20.0), ("VB24-0001", 2000, 10.0), ("CP60-0001", -1000, 8.0)])
def test_good_motor_gives_its_declared_voltage_and_two_state_sensors(serial, rpm, peak):
    hall = Hall(serial)
    hall.run(rpm)
    signals = hall.sample()
    assert set(signals) == {"v_ab", "v_bc", "v_ca", "h_a", "h_b", "h_c"}
    for name in ("v_ab", "v_bc", "v_ca"):
        assert np.max(np.abs(signals[name])) == pytest.approx(peak, rel=0.025)
    for name in ("h_a", "h_b", "h_c"):
        assert np.count_nonzero((signals[name] > 0.5) & (signals[name] < 4.5)) < 0.01 * signals[name].size
        assert 0.45 < np.mean(signals[name] > 2.5) < 0.55


def test_signals_do_not_depend_on_how_they_are_asked_for():
    hall = Hall()
    hall.run(1000)
    times = hall.rig.now() - 0.1 + 5e-6 * np.arange(2000)
    whole = hall.rig.line_signals(times)
    second = hall.rig.line_signals(times[1000:])
    for name, values in whole.items():
        assert np.array_equal(values[1000:], second[name])


def test_opening_the_guard_takes_everything_away_and_closing_restores_nothing():
    hall = Hall()
    hall.rig.set_insulation(500.0, True)
    hall.run(1000)
    assert hall.rig.insulation_voltage() == pytest.approx(500.0, rel=0.01)
    hall.rig.open_guard()
    assert not hall.rig.shaft.enabled
    hall.wait(10.0)
    assert hall.rig.shaft.speed_rpm(hall.rig.now()) == 0.0
    assert hall.rig.insulation_voltage() < 0.01
    hall.rig.set_insulation(500.0, True)
    hall.wait(1.0)
    assert hall.rig.insulation_voltage() < 0.01
    hall.rig.close_guard()
    assert not hall.rig.start_latched
    assert hall.rig.shaft.enable(True) is False


def test_emergency_stop_takes_torque_away():
    hall = Hall()
    hall.run(1000)
    hall.rig.emergency_stop_healthy = False
    assert not hall.rig.shaft.enabled
    hall.rig.emergency_stop_healthy = True
    assert hall.rig.shaft.enable(True) is False


def test_shaft_needs_start():
    hall = Hall()
    hall.rig.shaft.set_target(500.0)
    assert hall.rig.shaft.enable(True) is False


def test_attended_bench_starts_by_itself():
    hall = Hall()
    hall.rig.attended = True
    hall.rig.arm(True)
    assert not hall.rig.start_latched
    hall.wait(0.4)
    assert hall.rig.start_latched


def test_motor_is_not_exchanged_on_a_turning_shaft():
    hall = Hall()
    hall.run(1000)
    with pytest.raises(UsageError, match="still turns"):
        hall.rig.remove()
    with pytest.raises(UsageError, match="still turns"):
        hall.rig.place("CP40-0003")
    hall.rig.shaft.stop()
    hall.wait(2.0)
    hall.rig.place("CP40-0003")
    assert hall.rig.serial == "CP40-0003"


@pytest.mark.parametrize("ending", [lambda rig: rig.shaft.stop(), lambda rig: rig.open_guard()],
                         ids=["stop", "coast"])
def test_hand_waits_for_a_shaft_that_comes_to_rest(ending):
    hall = Hall()
    hall.run(2000)
    ending(hall.rig)
    assert hall.rig.shaft.speed_rpm(hall.rig.now()) > 1900
    hall.rig.place("CP40-0003")
    assert hall.rig.serial == "CP40-0003"
    assert hall.rig.shaft.speed_rpm(hall.rig.now()) == 0.0


def test_start_given_for_one_motor_does_not_count_for_the_next():
    hall = Hall()
    hall.start()
    hall.rig.shaft.set_target(1000.0)
    assert hall.rig.shaft.enable(True)
    hall.rig.place("CP40-0003")
    assert not hall.rig.shaft.enabled
    assert not hall.rig.shaft.settled()
    assert hall.rig.shaft.enable(True) is False


def test_unknown_motor_pair_and_place_are_refused():
    rig = Hall().rig
    with pytest.raises(UsageError, match="lot"):
        rig.place("CP40-9999")
    with pytest.raises(UsageError):
        rig.pair_resistance("ba", 0.0)
    with pytest.raises(UsageError):
        rig.temperature("bearing")
    assert rig.serial == "CP40-0001"


def test_empty_fixture_shows_nothing():
    hall = Hall()
    hall.rig.remove()
    assert hall.rig.serial is None
    assert hall.rig.pair_resistance("ab", 0.0) == float("inf")
    assert hall.rig.sensor_supply_current() == 0.0
    assert np.ptp(hall.sample(100)["v_ab"]) == 0.0


def test_sensors_settle_after_the_supply_goes_on():
    hall = Hall("CP40-0111")   # its pull-ups alone make a steady level
    hall.rig.set_sensor_supply(5.0, True)
    since = hall.rig.now()
    early, late = hall.rig.line_signals(np.array([since + 1e-4, since + 3e-3]))["h_a"]
    assert early < 0.5 * late
    assert late == pytest.approx(4.9, rel=1e-3)
    hall.wait(1.0)
    hall.rig.set_sensor_supply(5.0, False)
    hall.wait(1.0)
    assert hall.rig.line_signals(np.array([hall.rig.now()]))["h_a"] == pytest.approx(0.0, abs=1e-9)


def test_temperatures_are_those_of_a_workshop():
    rig = Hall().rig
    assert rig.temperature("ambient") == pytest.approx(22.9)
    assert 23.0 <= rig.temperature("winding") <= 25.0
