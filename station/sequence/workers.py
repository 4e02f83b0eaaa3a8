"""Who works while the run itself goes on: one thread each, so that everything stays in order."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Workers:
    """Threads of one run; each does what it is given one after the other."""

    carrier: ThreadPoolExecutor     # speaks with the digitizers: settings and transfer
    analyst: ThreadPoolExecutor     # analyses captures
    archivist: ThreadPoolExecutor   # writes capture files

    def finish(self) -> None:
        """Wait until everything handed over so far is done, whatever came of it."""
        for each in (self.carrier, self.analyst, self.archivist):   # each hands over to those after it
            each.submit(lambda: None).result()


@contextmanager
def at_work() -> Iterator[Workers]:
    """Give three threads, which have ended on the way out."""
    with (ThreadPoolExecutor(1, thread_name_prefix="archivist") as archivist,
          ThreadPoolExecutor(1, thread_name_prefix="analyst") as analyst,
          ThreadPoolExecutor(1, thread_name_prefix="carrier") as carrier):
        yield Workers(carrier, analyst, archivist)
