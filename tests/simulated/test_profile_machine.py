"""station.simulated.profile_machine: the drive's own state machine, word by word."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.simulated.profile_machine import DISABLED, ENABLED, FAULT, ON, QUICK, REACTION, READY, ProfileMachine


class Stage:
    """A power stage whose safety circuit and ramp the test moves by hand."""

    def __init__(self):
        self.safe_torque_on, self.on, self.ramping = True, False, False

    def may_turn(self):
        return self.safe_torque_on

    def energise(self):
        self.on = True
        return True

    def cut(self):
        self.on = self.ramping = False

    def ramp_to_rest(self):
        self.ramping = True

    def ramp_and_hold(self):
        self.ramping = True

    def clear_trip(self):
        self.on = False

    def is_on(self):
        return self.on


@pytest.fixture
def enabled():
    stage = Stage()
    machine = ProfileMachine(stage)
    for word in (0x06, 0x07, 0x0F):
        machine.command(word)
    return machine, stage


def state(machine):
    return machine.status & 0x6F


def test_enabling_goes_step_by_step():
    stage = Stage()
    machine = ProfileMachine(stage)
    passed = [state(machine)]
    for word in (0x06, 0x07, 0x0F):
        machine.command(word)
        passed.append(state(machine))
    assert passed == [DISABLED, READY, ON, ENABLED]
    assert stage.on


def test_no_step_is_skipped_from_rest():
    stage = Stage()
    machine = ProfileMachine(stage)
    machine.command(0x0F)
    assert state(machine) == DISABLED
    assert not stage.on


def test_quick_stop_ramps_then_switches_off(enabled):
    machine, stage = enabled
    machine.command(0x02)
    assert state(machine) == QUICK
    assert stage.ramping
    machine.command(0x0F)
    assert state(machine) == QUICK
    stage.on = False
    machine.look()
    assert state(machine) == DISABLED


def test_quick_stop_that_holds_waits_for_a_word(enabled):
    machine, stage = enabled
    machine.quick_stop_option = 6
    machine.command(0x02)
    machine.look()
    assert state(machine) == QUICK
    assert stage.on
    machine.command(0x00)
    assert state(machine) == DISABLED
    assert not stage.on


def test_safe_torque_off_takes_operation_away_and_keeps_it(enabled):
    machine, stage = enabled
    stage.safe_torque_on = False
    machine.look()
    assert state(machine) == DISABLED
    for word in (0x06, 0x07, 0x0F):
        machine.command(word)
    assert state(machine) == DISABLED
    assert not stage.on


def test_fault_waits_for_a_rising_reset_bit(enabled):
    machine, stage = enabled
    machine.fail(0x7500, coast=False)
    assert state(machine) == REACTION
    machine.command(0x80)
    assert state(machine) == REACTION     # no reset while it still reacts
    stage.on = False
    machine.look()
    assert state(machine) == FAULT
    machine.command(0x80)
    assert state(machine) == FAULT        # the bit was high before
    machine.command(0x00)
    machine.command(0x80)
    assert state(machine) == DISABLED
    assert machine.fault_code == 0


@given(st.lists(st.integers(0, 0xFFFF), max_size=30))
def test_no_words_give_torque_without_the_safety_circuit(words):
    stage = Stage()
    stage.safe_torque_on = False
    machine = ProfileMachine(stage)
    for word in words:
        machine.command(word)
        assert not stage.on


@given(st.lists(st.integers(0, 0xFFFF), max_size=30))
def test_torque_only_in_operation_or_on_the_way_to_rest(words):
    stage = Stage()
    machine = ProfileMachine(stage)
    for word in words:
        machine.command(word)
        assert stage.on == (state(machine) in (ENABLED, QUICK))
