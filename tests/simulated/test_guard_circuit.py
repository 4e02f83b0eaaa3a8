"""station.simulated.guard_circuit: START counts only when armed and closed, and nothing restarts by itself."""

import pytest

from station.simulated.guard_circuit import PRESS_AFTER, GuardCircuit


class Time:
    def __init__(self):
        self.t = 0.0

    def __call__(self):
        return self.t


@pytest.fixture
def guard():
    return GuardCircuit(Time())


def test_start_counts_only_with_lamp_and_guard_closed(guard):
    guard.press_start()
    assert not guard.is_latched()
    guard.arm(True)
    guard.open()
    guard.press_start()
    assert not guard.is_latched()
    guard.close()
    guard.press_start()
    assert guard.is_latched()


@pytest.mark.parametrize("disturb", [
    lambda guard: (guard.open(), guard.close()),
    lambda guard: (guard.set_emergency_stop(False), guard.set_emergency_stop(True)),
    lambda guard: guard.arm(True),
    lambda guard: guard.arm(False),
], ids=["guard", "emergency stop", "arming again", "disarming"])
def test_latch_is_lost(guard, disturb):
    guard.arm(True)
    guard.press_start()
    disturb(guard)
    assert not guard.is_latched()


def test_attended_bench_presses_after_a_moment_once():
    time = Time()
    guard = GuardCircuit(time)
    guard.attended = True
    guard.arm(True)
    time.t = 0.9 * PRESS_AFTER
    assert not guard.is_latched()
    time.t = 1.1 * PRESS_AFTER
    assert guard.is_latched()
    guard.open()
    guard.close()
    time.t = 10.0
    assert not guard.is_latched()


def test_attended_bench_waits_for_the_guard():
    time = Time()
    guard = GuardCircuit(time)
    guard.attended = True
    guard.open()
    guard.arm(True)
    time.t = 5.0
    assert not guard.is_latched()
    guard.close()
    assert guard.is_latched()
