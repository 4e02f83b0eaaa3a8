"""The state machine of CiA 402 drives: which state a status word tells, and the word that leads onwards."""

from enum import Enum

from station.errors import BenchError

# Control words. Source: IEC 61800-7-201, table of commands (read in makers' manuals).
DISABLE_VOLTAGE = 0x0000
QUICK_STOP = 0x0002
SHUTDOWN = 0x0006
SWITCH_ON = 0x0007
ENABLE_OPERATION = 0x000F
FAULT_RESET = 0x0080         # obeyed on the rising bit only

_LOW = 0x000F                # ready to switch on, switched on, operation enabled, fault
_NO_QUICK_STOP = 0x0020
_SWITCH_ON_DISABLED = 0x0040


class State(Enum):
    """The states of the drive, by the names of the standard."""

    NOT_READY = "not ready to switch on"
    SWITCH_ON_DISABLED = "switch on disabled"
    READY = "ready to switch on"
    SWITCHED_ON = "switched on"
    OPERATION_ENABLED = "operation enabled"
    QUICK_STOP_ACTIVE = "quick stop active"
    FAULT_REACTION_ACTIVE = "fault reaction active"
    FAULT = "fault"


_ENABLING = {
    State.SWITCH_ON_DISABLED: SHUTDOWN,
    State.READY: SWITCH_ON,
    State.SWITCHED_ON: ENABLE_OPERATION,
    State.QUICK_STOP_ACTIVE: DISABLE_VOLTAGE,   # not every drive may go straight back to operation
}
_FAULTY = (State.FAULT_REACTION_ACTIVE, State.FAULT)


def state_of(status: int) -> State:
    """Return the state that a status word (6041h) tells; BenchError for a word that the standard has not.

    Makers differ in the bits beside a fault (some say xx0x 1000, some x0xx 1000), so the four low bits
    alone decide there: no other state has bit 3 set.
    """
    low, ready_bit_5 = status & _LOW, bool(status & _NO_QUICK_STOP)
    if low == 0x8:
        return State.FAULT
    if low == 0xF:
        return State.FAULT_REACTION_ACTIVE
    if low == 0:
        return State.SWITCH_ON_DISABLED if status & _SWITCH_ON_DISABLED else State.NOT_READY
    if not status & _SWITCH_ON_DISABLED:
        if low == 0x7:
            return State.OPERATION_ENABLED if ready_bit_5 else State.QUICK_STOP_ACTIVE
        if low in (0x1, 0x3) and ready_bit_5:
            return State.READY if low == 0x1 else State.SWITCHED_ON
    raise BenchError("a status word that no CiA 402 drive has", where="drive",
                     expected="the word of a state of CiA 402", got=f"{status & 0xFFFF:04X}h",
                     remedy="Check the status register in the register map, its word order and its address base.")


def word_towards_operation(state: State) -> int | None:
    """Return the control word that brings `state` one step nearer to operation enabled.

    None where nothing is to be written: the drive is there, or moves on by itself, or has a fault that must be
    reset first.
    """
    return _ENABLING.get(state)


def is_fault(state: State) -> bool:
    """Return whether `state` is a fault, or the drive's reaction to one."""
    return state in _FAULTY
