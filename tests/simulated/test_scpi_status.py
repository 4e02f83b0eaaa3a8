"""Registers and the error queue."""

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_status import NO_ERROR, POWER_ON, QUEUE_LENGTH, Register, Status


def status():
    return Status(Register(lambda: 0), Register(lambda: 0))


def test_queue_is_first_in_first_out_and_overflows_at_its_end():
    box = status()
    for code in [-113, -222] + [-104] * QUEUE_LENGTH:
        box.report(ScpiError(code))
    entries = [box.next_error() for _ in range(QUEUE_LENGTH + 1)]
    assert entries[:3] == ['-113,"Undefined header"', '-222,"Data out of range"', '-104,"Data type error"']
    assert entries[-2:] == ['-350,"Queue overflow"', NO_ERROR]


def test_event_status_register_starts_with_power_on_and_is_cleared_by_reading():
    box = status()
    assert [box.take_esr(), box.take_esr()] == [POWER_ON, 0]


def test_each_class_of_error_sets_its_bit():
    for code, bit in ((-113, 32), (-222, 16), (-330, 8), (-410, 4)):
        box = status()
        box.take_esr()
        box.report(ScpiError(code))
        assert box.take_esr() == bit


def test_status_byte_sums_up():
    box = status()
    assert box.byte(answer_waiting=False) == 0
    box.ese, box.sre = POWER_ON, 32
    assert box.byte(answer_waiting=True) == 32 + 16 + 64
    box.report(ScpiError(-113))
    assert box.byte(answer_waiting=False) == 4 + 32 + 64


def test_register_latches_a_rising_edge_until_it_is_read():
    conditions = iter([0, 8, 0, 0])
    register = Register(lambda: next(conditions))
    for _ in range(3):
        register.refresh()
    assert (register.condition, register.take_event(), register.take_event()) == (0, 8, 0)


def test_error_text_can_never_break_the_answer():
    assert ScpiError(-221, 'a "quoted"\nline').entry() == '-221,"Settings conflict;a ?quoted??line"'
