"""The one thread that speaks with an instrument, so that no answers are mixed up; what is said when none comes."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from station.errors import NoReplyError

OPEN_DEADLINE = 1.0     # s to connect and identify; within a plant network that takes milliseconds

Answer = TypeVar("Answer")


class Owner:
    """Does what it is given one after the other; every method may be called from any thread."""

    def __init__(self, role: str) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"owner of {role}")
        self._given_up = 0      # how often; work handed over before the last time is not begun

    def do(self, work: Callable[[Callable[[], bool]], Answer], seconds: float, silence: Callable[[], NoReplyError]
           ) -> Answer:
        """Return what `work` returns, which is told how to ask whether it is still wanted.

        Work has deadlines of its own; `seconds` is that for a wedged thread, when `silence` gives what is raised.
        """
        mark = self._given_up
        future = self._thread.submit(work, lambda: mark == self._given_up)
        try:
            return future.result(seconds)
        except NoReplyError:
            raise
        except TimeoutError:
            future.cancel()
            raise silence() from None

    def after_that(self, work: Callable[[], None]) -> None:
        """Let `work` be done in its turn, without waiting for it."""
        self._thread.submit(work)

    def give_up(self) -> None:
        """Let what is under way, and what waits behind it, be wanted no more."""
        self._given_up += 1

    def end(self, last: Callable[[], None]) -> None:
        """Do `last` in its turn, and end the thread."""
        self._thread.submit(last)
        self._thread.shutdown(wait=True)


def open_deadline(deadline: float) -> float:
    """Return how long connecting may take (s), where an answer may take `deadline`: longer where that is long."""
    return min(deadline, max(OPEN_DEADLINE, deadline / 2))


def no_reply(where: str, asked: str, seconds: float, got: str) -> NoReplyError:
    """Return the error for an answer that did not come within `seconds`."""
    return NoReplyError("no reply", where=where, expected=f"an answer to {asked} within {seconds:g} s", got=got,
                        remedy="Check that the instrument is on and its cable, then test again.")


def connection_broke(where: str, asked: str, error: OSError) -> NoReplyError:
    """Return the error for a connection that was refused or broke off."""
    return NoReplyError("the connection broke", where=where, expected=f"an answer to {asked}",
                        got=str(error) or type(error).__name__,
                        remedy="Check that the instrument is on and reachable, then test again.")


def given_up(where: str, asked: str) -> NoReplyError:
    """Return the error for an exchange that gave way to a stop."""
    return NoReplyError("given up", where=where, expected=f"an answer to {asked}", got="a stop that could not wait",
                        remedy="Test the motor again.")
