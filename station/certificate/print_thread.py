"""Printing beside the tests: a thread that works the print queue and is gone within a bounded time."""

from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Self

from station.certificate.print_worker import PrintWorker, Tell
from station.clock import Clock
from station.errors import StationError, UsageError
from station.record.print_queue import DATABASE, Printout, PrintQueue, PrintState

LINGER = 5.0            # s that the end of a command waits for certificates to leave for the printer
LAST_EXCHANGE = 20.0    # s more for an exchange under way, which has a deadline of its own
LOOK_AGAIN = 2.0        # s between two looks whether another process still works the queue


class PrintThread:
    """Prints from entering to leaving the `with` block. Nothing of it is ever raised there: it is told.

    `make_worker` is called in the thread, with a queue of its own. Where nothing was ever queued, nothing is made.
    """

    def __init__(self, folder: Path, make_worker: Callable[[PrintQueue], PrintWorker], clock: Clock, tell: Tell
                 ) -> None:
        self._folder, self._make_worker, self._clock, self._tell = folder, make_worker, clock, tell
        self._closing = Event()
        self._until = 0.0
        # A daemon: should the name service hang, which no deadline bounds, the program ends all the same.
        self._thread = Thread(target=self._run, name="printing", daemon=True)

    def __enter__(self) -> Self:
        """Start printing."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
                 ) -> None:
        """Let waiting certificates leave for a while, stop, and say what is left in the queue."""
        self._until = self._clock.monotonic() + (LINGER if error is None else 0.0)
        self._closing.set()
        self._thread.join(LINGER + LAST_EXCHANGE)
        self._say_what_is_left()

    def _run(self) -> None:
        try:
            while True:
                is_closing = self._closing.is_set()     # asked before looking, so that the last one in is seen
                if (self._has_queue() and self._has_worked()) or is_closing:
                    return
                self._closing.wait(LOOK_AGAIN)
        except StationError as error:
            self._tell(str(error))
        except Exception as error:      # whatever is wrong with printing, tests go on
            self._tell(f"Printing has stopped ({type(error).__name__}: {error}). Tests go on; `station print` prints "
                       "what waits. Report this as a defect.")

    def _has_queue(self) -> bool:
        return (self._folder / DATABASE).exists()

    def _has_worked(self) -> bool:
        """Work the queue until the end, or return False because another process does."""
        try:
            with PrintQueue(self._folder) as queue, queue.work():
                worker = self._make_worker(queue)
                while not self._is_done(queue, worker):
                    self._closing.wait(self._shortened(worker.step()))
        except UsageError:
            return False
        return True

    def _shortened(self, pause: float) -> float:
        if not self._closing.is_set():
            return pause
        self._clock.pause(min(pause, max(self._until - self._clock.monotonic(), 0.0)))
        return 0.0

    def _is_done(self, queue: PrintQueue, worker: PrintWorker) -> bool:
        if not self._closing.is_set():
            return False
        is_leaving = any(one.state != PrintState.SENT for one in queue.open())
        return not is_leaving or worker.is_stuck or self._clock.monotonic() >= self._until

    def _say_what_is_left(self) -> None:
        try:
            left = self._left()
        except StationError as error:
            self._tell(str(error))
            return
        sent = sum(one.state == PrintState.SENT for one in left)
        if sent:
            self._tell(f"{sent} certificate(s) at the printer, not yet confirmed as printed.")
        if len(left) > sent:
            self._tell(f"{len(left) - sent} certificate(s) wait in the print queue; `station print` prints them.")

    def _left(self) -> list[Printout]:
        if not self._has_queue():
            return []
        with PrintQueue(self._folder) as queue:
            return queue.open()
