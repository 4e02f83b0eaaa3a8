"""An existing Dask cluster as a way to carry out chunks; the only file that imports dask.distributed, and late."""

import warnings
from collections.abc import Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from typing import Any

from distributed import Client, KilledWorker
from distributed.versions import VersionMismatchWarning

from station.errors import StationError, UsageError
from station.plant.chunk import Chunk
from station.plant.ways import AHEAD, Way
from station.plant.worker_proof import Proof, prove

PATIENCE = 10.0     # s, for a scheduler to answer and a worker to be there
RETRIES = 2         # of a chunk whose worker was lost; any other gives the same part
# Whose releases must agree for client, scheduler and workers to understand each other.
SPOKEN = ("dask", "distributed")


@contextmanager
def cluster(address: str, sample: Chunk) -> Iterator[Way]:
    """Work on the cluster whose scheduler listens at `address`, once each worker has proven that it can.

    A worker is proven by its versions, and by the part that it makes of `sample`: it must see the archive where this
    process sees it, and compute the same bits as all others.

    Raises
    ------
    UsageError
        There is no such scheduler, it has no workers, or they are not fit.
    StationError
        The cluster was lost before the work was done.
    """
    with _connected(address) as client:
        _require_same_language(client)
        remark = _require_fit(client, sample)
        executor = client.get_executor(pure=False, retries=RETRIES)
        try:
            yield Way(executor, lambda: AHEAD * sum(client.nthreads().values()),
                      f"{len(client.nthreads())} workers of {address}", remark)
        except (KilledWorker, CancelledError, OSError) as error:
            raise StationError("the cluster was lost", where=address, expected="a part of each chunk",
                               got=str(error) or type(error).__name__,
                               remedy="See what its scheduler and workers say, and run the command again: it goes on "
                               "from the parts that are there.") from error
        finally:
            executor.shutdown(wait=False)


@contextmanager
def _connected(address: str) -> Iterator[Any]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", VersionMismatchWarning)     # looked at below, and refused
            client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UsageError("no scheduler answers", where=address, expected="the scheduler of a Dask cluster",
                         got=str(error).splitlines()[0] or type(error).__name__,
                         remedy="Check the address, such as tcp://host:8786, and that the scheduler runs.") from error
    with client:
        yield client


def _require_same_language(client: Any) -> None:  # noqa: ANN401 - the library is not typed
    found = client.get_versions()
    here = found["client"]["packages"]
    for who, said in {"scheduler": found["scheduler"], **found["workers"]}.items():
        for package in SPOKEN:
            got = said["packages"].get(package)
            if got != here[package]:
                raise UsageError("the cluster has another release of its library", where=str(who), got=got or "none",
                                 expected=f"{package} {here[package]}",
                                 remedy="Install the same release here and there.")


def _require_fit(client: Any, sample: Chunk) -> str:  # noqa: ANN401
    """Refuse workers that are not fit; return what is worth saying of those that are."""
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except TimeoutError as error:
        raise UsageError("the cluster has no workers", where=client.scheduler.address, expected="at least one worker",
                         got="none", remedy="Start workers there.") from error
    here = prove(sample)
    bits: dict[str, str] = {}
    for worker, proof in client.run(prove, sample, on_error="return").items():
        bits[_fit(proof, here, str(worker)).sha256] = str(worker)
    if len(bits) > 1:
        raise UsageError("workers compute different last bits", where=" and ".join(bits.values()),
                         expected="the same bits on all workers", got="others, by the same program and libraries",
                         remedy="Use workers with one kind of processor, each with OPENBLAS_NUM_THREADS=1.")
    return "" if here.sha256 in bits else "The workers round otherwise than this computer: values are theirs."


def _fit(proof: Proof | Exception, here: Proof, worker: str) -> Proof:
    """Return the proof of a worker that is fit."""
    differing = f"{type(proof).__name__}: {proof}" if isinstance(proof, Exception) else proof.differing
    if isinstance(proof, Exception) or differing:
        raise UsageError("a worker has another program", where=worker, expected="the same versions as here",
                         got=differing, remedy="Install the same station and libraries on every worker, and start "
                         "them again.")
    if proof.unusable and not here.unusable:
        raise UsageError("a worker does not see the archive", where=worker, got=proof.unusable,
                         expected="the same files under the same path as here",
                         remedy="Mount the archive there under the same path.")
    return proof
