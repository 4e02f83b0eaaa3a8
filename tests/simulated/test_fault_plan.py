"""When an armed fault strikes: counted by messages, only those that it fits, one after another."""

import pytest

from station.errors import UsageError
from station.simulated.fault_plan import FAULTS, FRAMES, OF_FRAMES, OF_TEXT, Fault, FaultPlan


def strikes(plan, messages):
    return [fault.kind if (fault := plan.due(message)) else None for message in messages]


def test_strikes_once_the_messages_before_it_have_passed():
    plan = FaultPlan()
    plan.arm(Fault("hang", after=2))
    assert strikes(plan, [b"A", b"B", b"C", b"D"]) == [None, None, "hang", None]
    assert plan.struck == ["hang"]


def test_waits_for_a_message_that_it_fits():
    plan = FaultPlan()
    plan.arm(Fault("not_a_number"))
    plan.arm(Fault("drop_answer"))
    assert strikes(plan, [b"OUTP ON", b"SYST:ERR?", b"*ESR?", b"MEAS:VOLT?"]) == [
        None, "drop_answer", None, "not_a_number"]


def test_repeats_as_often_as_asked():
    plan = FaultPlan()
    plan.arm(Fault("late", times=3))
    assert strikes(plan, [b"A?"] * 4) == ["late", "late", "late", None]


def test_faults_of_one_message_strike_one_after_another():
    plan = FaultPlan()
    plan.arm(Fault("restart"))
    plan.arm(Fault("error_left"))
    assert strikes(plan, [b"A", b"B"]) == ["restart", "error_left"]


def test_nothing_strikes_after_clearing():
    plan = FaultPlan()
    plan.arm(Fault("hang"))
    plan.clear()
    assert strikes(plan, [b"A"]) == [None]
    assert plan.struck == []


def test_unknown_fault_names_those_that_exist():
    with pytest.raises(UsageError, match="half_close"):
        Fault("gremlin")
    assert all(len(text) > 10 for text in FAULTS.values())


def test_each_medium_takes_its_own_faults_only():
    text, frames = FaultPlan(), FaultPlan(FRAMES)
    for plan, kinds in ((text, OF_FRAMES), (frames, OF_TEXT)):
        for kind in kinds:
            with pytest.raises(UsageError, match="half_close"):
                plan.arm(Fault(kind))
    assert text.armed == frames.armed == []


def test_a_frame_can_suffer_any_fault_of_its_medium():
    for kind in FRAMES.kinds:
        plan = FaultPlan(FRAMES)
        plan.arm(Fault(kind))
        assert strikes(plan, [b"\0\1\0\0\0\6\1\3\1\1\0\1"]) == [kind]
