"""Ways to carry out chunks: in this process, in a pool of processes, or by whatever takes work as an executor does."""

import gc
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from station.errors import StationError, UsageError
from station.plant.chunk import Chunk, reanalyse_chunk

AHEAD = 2       # chunks given out for each worker: one that it works on, and one that waits beside it


@dataclass(frozen=True, slots=True)
class Way:
    """An executor, how many chunks it should have at a time, who works there, and what is worth saying of them."""

    executor: Executor
    slots: Callable[[], int]
    workers: str
    remark: str = ""


@contextmanager
def one_process() -> Iterator[Way]:
    """Work here, one chunk after the other."""
    gc.freeze()     # as in a process of a pool
    try:
        yield Way(_Here(), lambda: 1, "this process")
    finally:
        gc.unfreeze()


@contextmanager
def process_pool(workers: int) -> Iterator[Way]:
    """Work in so many processes of this computer.

    Raises
    ------
    StationError
        A process ended before its work was done.
    """
    # Processes begin anew instead of as copies: what this one holds open (database, locks) is none of their business.
    with ProcessPoolExecutor(workers, get_context("spawn"), _begin) as pool:
        try:
            yield Way(pool, lambda: AHEAD * workers, f"{workers} processes")
        except BrokenProcessPool as error:
            raise StationError("a process ended before its work was done", where="process pool", expected="a part",
                               got=str(error), remedy="See whether memory ran out, use fewer --workers, and run the "
                               "command again: it goes on from the parts that are there.") from error
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def way_on_this_computer(workers: int) -> AbstractContextManager[Way]:
    """Return the way for so many workers; 0 is one for each processor."""
    if workers < 0:
        raise UsageError("no such number of workers", where="--workers", expected="0 or more", got=workers,
                         remedy="Leave it out for one a processor.")
    count = workers or os.cpu_count() or 1
    return one_process() if count == 1 else process_pool(count)


def parts_made(chunks: Iterable[Chunk], way: Way) -> Iterator[tuple[Chunk, bytes]]:
    """Yield each chunk with its part as soon as it is made, in whatever order; only a few are under way at a time."""
    under_way: dict[Future[bytes], Chunk] = {}
    for chunk in chunks:
        under_way[way.executor.submit(reanalyse_chunk, chunk)] = chunk
        while under_way and len(under_way) >= way.slots():
            yield from _next_made(under_way)
    while under_way:
        yield from _next_made(under_way)


def _next_made(under_way: dict[Future[bytes], Chunk]) -> Iterator[tuple[Chunk, bytes]]:
    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
    for future in done:
        yield under_way.pop(future), future.result()


def _begin() -> None:
    """Make a process of the pool ready."""
    # An interruption from the keyboard reaches every process: it ends the first one, and that one its pool.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # What the program itself is made of stays: looking for garbage in it again and again is 4 % of the work.
    gc.freeze()


class _Here(Executor):
    """Does what it is given at once."""

    def submit(self, fn: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:  # noqa: ANN401
        done: Future[Any] = Future()
        done.set_result(fn(*given, **named))
        return done
