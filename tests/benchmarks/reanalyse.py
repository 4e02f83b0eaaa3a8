"""Re-analysis of an archive: two processes beside one, and what chunks of 100 captures cost beside their analysis.

The archive is a population of generated motors, two captures each; its chunks are given out again and again, so that
there is enough work. What chunks cost is all processor time of all processes that is not the analysis of their tests,
both taken in the same run: the same work may take a tenth more from one run to the next. What a cluster computes while
it has no work at all is measured, printed and deducted: it does so whether or not chunks come.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")     # as the command line does, before numpy is imported

import argparse
import statistics
import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from itertools import chain, repeat
from pathlib import Path
from time import perf_counter, sleep, thread_time
from unittest.mock import patch

import psutil
from figures import Figure, print_figures

sys.path.insert(0, str(Path(__file__).parents[1] / "plant"))

from dask_cluster import cluster

from station.cli.population import make_population
from station.plant import ways
from station.plant.archive_tests import Wanted, find_tests
from station.plant.chunk import CAPTURES, Chunk, chunks_of
from station.plant.cluster import cluster as on_cluster
from station.plant.reanalysis import Reanalysed, Test, reanalyse
from station.plant.result_table import PartFolder

LEAST_GAIN = 1.8        # of two processes over one
MOST_OVERHEAD = 5.0     # %
WARMING = 2             # chunks before anything is measured
REST = 20.0             # s


def given_out(store: Path, times: int) -> Iterator[Chunk]:
    """Yield the chunks of an archive that holds the tests of `store` so many times."""
    return chunks_of(chain.from_iterable(find_tests(store, Wanted(), None) for _ in repeat(None, times)))


def whole_way(store: Path, way: ways.Way, table: Path, times: int) -> None:
    """Make a table as the command does: tests read, chunks given out, parts kept and put together."""
    with PartFolder(table) as parts:
        keys = []
        for chunk, part in ways.parts_made(given_out(store, times), way):
            parts.keep(chunk.key, part)
            keys.append(chunk.key)
        parts.assemble(keys)


def gain(store: Path, folder: Path, times: int, rounds: int) -> tuple[float, float, float]:
    """Return how much faster two processes are than one, its standard error, and captures per second of one."""
    gains, alone = [], []
    for _ in range(rounds):
        began = perf_counter()
        with ways.one_process() as way:
            whole_way(store, way, folder / "one.parquet", times)
        between = perf_counter()
        with ways.process_pool(2) as way:
            whole_way(store, way, folder / "two.parquet", times)
        ended = perf_counter()
        gains.append((between - began) / (ended - between))
        alone.append(times * CAPTURES / (between - began))
    error = statistics.stdev(gains) / rounds**0.5 if rounds > 1 else 0.0
    return statistics.mean(gains), error, max(alone)


def overhead(store: Path, folder: Path, way: ways.Way, rounds: int) -> tuple[float, float]:
    """Return by how many percent of the analysis within it the whole way takes more processor time, and its error."""
    timed = Timed(way.executor)
    found, idle = [], 0.0
    for number in range(WARMING + rounds):
        if number == WARMING:
            idle = load_at_rest()
        timed.analysis, began, computed = 0.0, perf_counter(), processor_time()
        whole_way(store, replace(way, executor=timed), folder / "overhead.parquet", 1)
        if number >= WARMING:
            computed = processor_time() - computed - idle * (perf_counter() - began)
            found.append(100 * (computed / timed.analysis - 1))
    return statistics.mean(found), statistics.stdev(found) / rounds**0.5


def load_at_rest() -> float:
    """Return how many processors this process and all that it started take while they have nothing to do."""
    began, computed = perf_counter(), processor_time()
    sleep(REST)
    load = (processor_time() - computed) / (perf_counter() - began)
    print(f"at rest: {100 * load:.1f} % of a processor, deducted from what follows")
    return load


class Timed(Executor):
    """An executor that has `within` do what it is given, and adds up the seconds of analysis in it."""

    def __init__(self, executor: Executor) -> None:
        self.executor, self.analysis = executor, 0.0

    def submit(self, fn, /, *given):
        inner, outer = self.executor.submit(within, fn, *given), Future()

        def done(_) -> None:
            if inner.exception() is not None:
                outer.set_exception(inner.exception())
                return
            part, seconds = inner.result()
            self.analysis += seconds
            outer.set_result(part)

        inner.add_done_callback(done)
        return outer


def within(make: Callable[[Chunk], bytes], chunk: Chunk) -> tuple[bytes, float]:
    """Return the part of a chunk, and the seconds that this thread computed for the analysis of its tests alone."""
    seconds = 0.0

    def timed(test: Test) -> Reanalysed:
        nonlocal seconds
        began = thread_time()
        try:
            return reanalyse(test)
        finally:
            seconds += thread_time() - began

    with patch("station.plant.chunk.reanalyse", timed):
        return make(chunk), seconds


def processor_time() -> float:
    """Return the seconds that this process and all that it started have computed so far."""
    here = psutil.Process()
    return sum(sum(process.cpu_times()[:2]) for process in [here, *here.children(recursive=True)])


@contextmanager
def dask_cluster(folder: Path, store: Path) -> Iterator[ways.Way]:
    """Work on a cluster of one worker, scheduler and worker being processes of their own."""
    with cluster(folder, 1) as one, on_cluster(one.address, next(given_out(store, 1))) as way:
        yield way


def main() -> int:
    """Print the figures; 0 only if all are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chunks", type=int, default=36, help="of 100 captures, for the gain of two processes")
    parser.add_argument("--rounds", type=int, default=2, help="of these")
    parser.add_argument("--overheads", type=int, default=10, help="rounds for what chunks cost")
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        make_population(folder / "line", CAPTURES // 2)
        store = folder / "line" / "store"
        print(f"{psutil.cpu_percent(1.0):.0f} % of {os.cpu_count()} processors are at work with something else")
        gained, error, rate = gain(store, folder, words.chunks, words.rounds)
        figures = [Figure(f"two processes over one, {words.chunks * CAPTURES} captures", gained, error,
                          least=LEAST_GAIN),
                   Figure("captures of 20 000 samples a second and processor", rate)]
        for name, way in (("this process", ways.one_process()), ("a pool", ways.process_pool(1)),
                          ("a Dask cluster", dask_cluster(folder, store))):
            with way as one:
                more, error = overhead(store, folder, one, words.overheads)
            figures.append(Figure(f"more than the analysis alone, {name}", more, error, most=MOST_OVERHEAD, unit="%"))
    return print_figures(f"Re-analysis in chunks of {CAPTURES} captures, {os.cpu_count()} processors", figures)


if __name__ == "__main__":
    sys.exit(main())
