"""The one table of exit codes: the program, the manual and the tests read it."""

from enum import IntEnum


class ExitCode(IntEnum):
    """What the shell learns from a command."""

    meaning: str

    def __new__(cls, number: int, meaning: str) -> "ExitCode":
        """Make a member that carries its meaning beside its number."""
        member = int.__new__(cls, number)
        member._value_ = number
        member.meaning = meaning
        return member

    PASS = 0, "PASS, or the work is done"
    FAIL = 1, "FAIL: at least one motor failed"
    WRONG_USE = 2, "wrong use: an argument or a file is faulty; nothing was done"
    NO_RESULT = 3, "NO RESULT: the station could not tell"
    STOPPED = 4, "stopped by a person or by the guard"
    BENCH_NOT_FIT = 5, "the bench is not fit for use"
    NOT_ALLOWED = 6, "not allowed for this person"
    EVIDENCE = 7, "trouble with stored evidence"
    INTERRUPTED = 130, "interrupted from the keyboard"


def table() -> list[tuple[int, str]]:
    """Return (number, meaning) rows in ascending order, for help texts and the manual."""
    return [(int(code), code.meaning) for code in ExitCode]
