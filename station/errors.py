"""Everything the station can say went wrong, each with a remedy.

StationError                     the station could not do its work
├── UsageError                   the person asked for something that cannot be
│   └── FileContractError        a file breaks its contract; lists every fault at once
├── BenchError                   the bench did not do as asked
│   ├── NoReplyError             an instrument stayed silent past its deadline
│   ├── InstrumentError          an instrument reported an error of its own
│   └── BenchNotFitError         the bench may not be used: guard, calibration, identity, limits of the drive
├── PrinterError                 a printer did not do as asked; the certificate waits in the print queue
│   ├── UnreachableError         it could not be spoken to at all: for certain, nothing was sent
│   └── DeclinedError            it answered that it will not
├── StoppedError                 a person or the guard stopped the work
├── NotAllowedError              this person may not do this
│   ├── PatienceError            not so soon again, or not so many at once
│   └── RefusedError             this motor is not tested; told in the operator's language
├── PlantError                   the plant did not take what was sent, or did not answer; nothing is lost
│   ├── SilenceError             it could not be reached, or gave no answer of its own
│   ├── MalformedError, TooLargeError                  what was sent is not what is agreed
│   ├── UnsignedError, UnknownLogError, OtherLogError  who sent it may not
│   ├── GapError, ForkError      it does not continue what the plant has of the log
│   └── AwayError, NoRoomError   the plant's database or disk is at fault; to be sent again later
└── EvidenceError                stored evidence is missing or altered

A failing motor is a verdict, never an exception.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from station.exit_code import ExitCode


class StationError(Exception):
    """Tell a person what went wrong, where, and what to do next.

    `code` names it for those who say it in another language: `refused.<code>` in the words of the screens.
    """

    exit_code = ExitCode.NO_RESULT
    code = "trouble"

    def __init__(self, what: str, *, where: str, expected: object, got: object, remedy: str, code: str = "") -> None:
        self.code = code or self.code
        self.what, self.where, self.expected, self.got, self.remedy = what, where, expected, got, remedy
        super().__init__(f"{where}: {what}: expected {expected}, got {got}. {remedy}")

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how it is made again in another process, as errors come back from there, too."""
        return _made_again, (type(self), self.args, self.__dict__)


def _made_again(kind: type[StationError], args: tuple[object, ...], parts: dict[str, object]) -> StationError:
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(parts)
    return error


class UsageError(StationError):
    """A command or argument that cannot be carried out as given."""

    exit_code = ExitCode.WRONG_USE


@dataclass(frozen=True, slots=True)
class Fault:
    """One breach of a file's contract, in words for the person who wrote the file."""

    file: str
    key: str
    got: str
    wanted: str
    remedy: str

    def __str__(self) -> str:
        """One line: file, key, got, wanted, remedy."""
        return f"{self.file}: {self.key}: got {self.got}, wanted {self.wanted}. {self.remedy}"


class FileContractError(UsageError):
    """A file breaks its contract; `faults` holds every breach found, not only the first."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        super().__init__(
            f"{len(self.faults)} fault(s) in {first.file}", where=first.file, expected=first.wanted,
            got=first.got, remedy=first.remedy,
        )

    def __str__(self) -> str:
        """All faults, a line each."""
        return "\n".join(str(fault) for fault in self.faults)


class BenchError(StationError):
    """An instrument, the fixture or the drive did not do as asked."""

    code = "bench_error"


class NoReplyError(BenchError, TimeoutError):
    """An instrument stayed silent past its deadline; its session is closed and must be opened again."""

    code = "no_reply"


class InstrumentError(BenchError):
    """An instrument put an error of its own into its error queue."""

    code = "instrument_error"


class BenchNotFitError(BenchError):
    """The bench may not be used as it is: guard open, calibration out of date, wrong instrument."""

    exit_code = ExitCode.BENCH_NOT_FIT
    code = "bench_not_fit"


class PrinterError(StationError):
    """A printer did not do as asked, or answered what is none; never has a say in a verdict."""


class UnreachableError(PrinterError):
    """A printer could not be spoken to; for certain, nothing has been sent."""


class DeclinedError(PrinterError):
    """A printer answered that it will not; `status` is its reason as IPP numbers them, 0 when it gave none."""

    status = 0


class StoppedError(StationError):
    """A person or the guard stopped the work; the motor has no result."""

    exit_code = ExitCode.STOPPED


class NotAllowedError(StationError):
    """The person lacks the role that this asks for."""

    exit_code = ExitCode.NOT_ALLOWED


class EvidenceError(StationError):
    """Stored evidence is missing, altered or unreadable."""

    exit_code = ExitCode.EVIDENCE
