"""A real Dask cluster for tests: a scheduler and workers, each a process of its own on the loopback."""

import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import station

PACKAGE = Path(station.__file__).parents[1]
PATIENCE = 120      # s, for a process to be there on a busy machine


class Cluster:
    """A scheduler and its workers; `folder` holds what they say."""

    def __init__(self, folder):
        self.folder, self.processes = folder, []
        self._file = folder / "scheduler.json"
        self.scheduler = self._start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-show",
                                     "--scheduler-file", str(self._file))
        self.address = self._await(lambda: json.loads(self._file.read_text())["address"])

    def worker(self, package=PACKAGE, threads=1):
        """Start a worker with the program in the folder `package`, with so many threads of BLAS; return its process."""
        return self._start("dask_worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard",
                           "--local-directory", str(self.folder), package=package,
                           threads=threads)

    def _start(self, program, *words, package=PACKAGE, threads=1):
        words = [sys.executable, "-m", f"distributed.cli.{program}", *words]
        with (self.folder / f"{len(self.processes)}.log").open("w") as log:
            process = subprocess.Popen(words, cwd=self.folder, stdout=log, stderr=log,
                                       env={**os.environ, "PYTHONPATH": str(package),
                                            "OPENBLAS_NUM_THREADS": str(threads)})
        self.processes.append(process)
        return process

    def _await(self, look):
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end and self.scheduler.poll() is None:
            try:
                return look()
            except (OSError, ValueError):
                time.sleep(0.05)
        raise AssertionError((self.folder / "0.log").read_text())


@contextmanager
def cluster(folder, workers):
    """Run a cluster with so many workers."""
    one = Cluster(folder)
    try:
        for _ in range(workers):
            one.worker()
        yield one
    finally:
        for process in one.processes:
            process.kill()
        for process in one.processes:
            process.wait()
