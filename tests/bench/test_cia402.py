"""station.bench.cia402 against the table of states as the standard has it.

Source: IEC 61800-7-201 (CiA 402), table of the status word, as printed in makers' manuals.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.bench.cia402 import State, is_fault, state_of, word_towards_operation
from station.errors import BenchError

# Bits 6, 5, 3, 2, 1, 0 decide; x is any.
PUBLISHED = {
    "x0xx0000": State.NOT_READY,
    "x1xx0000": State.SWITCH_ON_DISABLED,
    "x01x0001": State.READY,
    "x01x0011": State.SWITCHED_ON,
    "x01x0111": State.OPERATION_ENABLED,
    "x00x0111": State.QUICK_STOP_ACTIVE,
    "x0xx1111": State.FAULT_REACTION_ACTIVE,
    "x0xx1000": State.FAULT,
}


def fits(word, pattern):
    return all(bit in ("x", drawn) for bit, drawn in zip(pattern, f"{word & 0xFF:08b}", strict=True))


@pytest.mark.parametrize("word", range(256))
def test_every_word_of_the_table_and_no_other_operation(word):
    named = [state for pattern, state in PUBLISHED.items() if fits(word, pattern)]
    if named:
        assert [state_of(word)] == named
    elif word & 0xF in (0x8, 0xF):      # some makers' tables leave bit 6 open here
        assert is_fault(state_of(word))
    else:
        with pytest.raises(BenchError, match="no CiA 402 drive"):
            state_of(word)


@given(word=st.integers(0, 255), high=st.integers(0, 255))
def test_the_high_byte_says_nothing_of_the_state(word, high):
    def told(status):
        try:
            return state_of(status)
        except BenchError:
            return None
    assert told(word) is told(high << 8 | word)


@pytest.mark.parametrize(("state", "word"), [
    (State.SWITCH_ON_DISABLED, 0x06), (State.READY, 0x07), (State.SWITCHED_ON, 0x0F),
    (State.QUICK_STOP_ACTIVE, 0x00), (State.NOT_READY, None), (State.OPERATION_ENABLED, None),
    (State.FAULT, None), (State.FAULT_REACTION_ACTIVE, None),
])
def test_the_way_to_operation_is_06_07_0f(state, word):
    assert word_towards_operation(state) == word
