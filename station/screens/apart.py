"""Computations in a process of their own: a running test and the pages have this one, with its lock, to themselves."""

import os
import signal
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from station.errors import EvidenceError, StationError, UsageError

Result = TypeVar("Result")
KINDS = (UsageError, EvidenceError, StationError)       # as which errors come back: pages answer each in its own way
LATER = 10      # how far the process stands behind all others (nice(2))


def apart(work: Callable[..., Result], *given: Any) -> Result:  # noqa: ANN401 - whatever `work` takes
    """Return what `work`, a function of a module, makes of `given` in a process of its own, which ends with this one.

    Raises
    ------
    UsageError, EvidenceError, StationError
        As `work` raised it, with the same words; or the process came to no end of its own.
    """
    context = get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    process = context.Process(target=_carry_out, args=(sender, work, given), daemon=True)
    process.start()
    sender.close()
    try:
        result, told = receiver.recv()
    except EOFError as error:
        raise StationError("the computation was broken off", where=work.__name__, expected="a result", got="none",
                           remedy="Begin it again; what its process printed tells why.") from error
    finally:
        process.join()
        receiver.close()
    if told is not None:
        kind, words = told
        raise kind(**words)
    found: Result = result
    return found


def _carry_out(sender: Connection, work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    os.nice(LATER)
    signal.signal(signal.SIGINT, signal.SIG_IGN)    # who interrupts the station ends this process, too
    answer: tuple[Any, tuple[type[StationError], dict[str, str]] | None]
    try:
        answer = work(*given), None
    except StationError as error:
        told = {"what": error.what, "where": error.where, "expected": str(error.expected), "got": str(error.got),
                "remedy": error.remedy}
        answer = None, (next(kind for kind in KINDS if isinstance(error, kind)), told)
    sender.send(answer)
    sender.close()
