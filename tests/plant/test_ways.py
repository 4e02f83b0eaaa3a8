"""The same table, byte for byte, from one process, a pool and a real cluster; and what becomes of work on lost ones."""

import hashlib
import io
import os
import shutil
import signal
import time
from dataclasses import replace
from itertools import islice

import pyarrow.parquet as pq
import pytest
from dask_cluster import PACKAGE, cluster
from distributed import Client
from drawn_archive import make_archive

from station.errors import StationError, UsageError
from station.plant import ways
from station.plant.archive_tests import Wanted, find_tests
from station.plant.chunk import chunks_of, versions
from station.plant.cluster import _fit
from station.plant.cluster import cluster as on_cluster
from station.plant.result_table import PartFolder
from station.plant.worker_proof import prove

EACH = 4        # captures of a chunk, so that the archive has four
TESTS = 8


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    return make_archive(tmp_path_factory.mktemp("archive"))


@pytest.fixture(scope="module")
def chunks(archive):
    return list(chunks_of(find_tests(archive, Wanted(), None), EACH))


@pytest.fixture(scope="module")
def parts(chunks):
    """What one process makes of each chunk, by its key."""
    with ways.one_process() as way:
        return {chunk.key: part for chunk, part in ways.parts_made(chunks, way)}


@pytest.fixture(scope="module")
def two_workers(tmp_path_factory):
    with cluster(tmp_path_factory.mktemp("cluster"), 2) as one:
        await_workers(one, 2)
        yield one


def await_workers(one, count):
    with Client(one.address, set_as_default=False) as client:
        end = time.monotonic() + 120
        while len(client.scheduler_info(n_workers=-1)["workers"]) != count:
            assert time.monotonic() < end
            time.sleep(0.05)


def made(chunks, way):
    return {chunk.key: part for chunk, part in ways.parts_made(chunks, way)}


def test_one_process_computes_the_values_of_the_records_to_the_last_bit(chunks, parts):
    assert len(chunks) == TESTS * 2 / EACH == len(parts)
    agreement = [each for part in parts.values()
                 for each in pq.read_table(io.BytesIO(part))["agreement"].to_pylist()]
    assert len(agreement) > TESTS * 200
    assert set(agreement) == {"same"}


def test_a_pool_makes_the_same_parts_byte_for_byte(chunks, parts):
    with ways.process_pool(2) as way:
        assert made(chunks, way) == parts
        assert way.workers == "2 processes"


def test_a_cluster_makes_the_same_parts_byte_for_byte(chunks, parts, two_workers):
    with on_cluster(two_workers.address, chunks[0]) as way:
        assert made(chunks, way) == parts
        assert (way.workers, way.remark) == (f"2 workers of {two_workers.address}", "")


def test_the_table_is_the_same_whatever_order_parts_come_in(chunks, parts, tmp_path):
    for name, order in (("one", list(parts)), ("two", list(parts)[::-1])):
        with PartFolder(tmp_path / name) as folder:
            for key in order:
                folder.keep(key, parts[key])
            folder.assemble([chunk.key for chunk in chunks])
    one, two = (hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() for name in ("one", "two"))
    assert one == two


def test_a_worker_that_is_killed_costs_nothing_but_time(chunks, parts, two_workers):
    third = two_workers.worker()
    await_workers(two_workers, 3)
    with on_cluster(two_workers.address, chunks[0]) as way:
        arriving = ways.parts_made(chunks * 3, way)
        first = dict(islice(((chunk.key, part) for chunk, part in arriving), 1))
        third.kill()
        rest = {chunk.key: part for chunk, part in arriving}
    assert first | rest == parts
    third.wait()
    await_workers(two_workers, 2)


def test_a_worker_with_another_program_is_refused_before_any_work(chunks, two_workers, tmp_path):
    shutil.copytree(PACKAGE / "station", tmp_path / "station")
    with (tmp_path / "station" / "units.py").open("a") as file:
        file.write("# another program\n")
    other = two_workers.worker(tmp_path)
    await_workers(two_workers, 3)
    try:
        with pytest.raises(UsageError, match="another program") as refused, \
                on_cluster(two_workers.address, chunks[0]):
            raise AssertionError("no work is given out")
        assert "station_sha256" in str(refused.value)
    finally:
        other.kill()
        other.wait()
        await_workers(two_workers, 2)


def test_a_worker_without_the_program_is_refused(chunks, two_workers, tmp_path):
    (tmp_path / "station").mkdir()
    (tmp_path / "station" / "__init__.py").write_text("raise ModuleNotFoundError('no station here')\n")
    other = two_workers.worker(tmp_path)
    await_workers(two_workers, 3)
    try:
        with pytest.raises(UsageError, match="another program") as refused, \
                on_cluster(two_workers.address, chunks[0]):
            raise AssertionError("no work is given out")
        assert "no station here" in str(refused.value)
    finally:
        other.kill()
        other.wait()
        await_workers(two_workers, 2)


def test_a_scheduler_that_is_lost_ends_the_work_with_what_to_do(chunks, tmp_path):
    def work_until_it_is_killed():
        with on_cluster(one.address, chunks[0]) as way:
            for _ in ways.parts_made(chunks * 5, way):
                one.scheduler.kill()

    with cluster(tmp_path, 1) as one:
        await_workers(one, 1)
        with pytest.raises(StationError, match="goes on from the parts that are there") as lost:
            work_until_it_is_killed()
        assert lost.value.where == one.address


@pytest.mark.skipif(os.cpu_count() == 1, reason="one processor has no second thread to round otherwise")
def test_workers_that_round_otherwise_than_each_other_are_refused(chunks, two_workers):
    other = two_workers.worker(threads=2)
    await_workers(two_workers, 3)
    try:
        with pytest.raises(UsageError, match="different last bits") as refused, \
                on_cluster(two_workers.address, chunks[0]):
            raise AssertionError("no work is given out")
        assert refused.value.where.count("tcp://") == 2
    finally:
        other.kill()
        other.wait()
        await_workers(two_workers, 2)


def test_a_worker_that_does_not_see_the_archive_is_refused(chunks, tmp_path):
    good = prove(chunks[0])
    blind = prove(replace(chunks[0], tests=(replace(chunks[0].tests[0], store=str(tmp_path / "elsewhere")),)))
    with pytest.raises(UsageError, match="does not see the archive") as refused:
        _fit(blind, good, "tcp://192.0.2.7:40001")
    assert refused.value.where == "tcp://192.0.2.7:40001"
    assert _fit(blind, blind, "") == blind      # where files are missing here as well, the worker is not to blame


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nonsense://there"])
def test_an_address_where_no_scheduler_answers(chunks, address, monkeypatch):
    monkeypatch.setattr("station.plant.cluster.PATIENCE", 0.5)
    with pytest.raises(UsageError, match="no scheduler answers"), on_cluster(address, chunks[0]):
        raise AssertionError


def test_a_cluster_without_workers(chunks, tmp_path, monkeypatch):
    monkeypatch.setattr("station.plant.cluster.PATIENCE", 2.0)
    with cluster(tmp_path, 0) as one, pytest.raises(UsageError, match="no workers"), \
            on_cluster(one.address, chunks[0]):
        raise AssertionError


def test_a_process_of_the_pool_that_is_killed_ends_the_work_with_what_to_do(chunks):
    def work_until_they_are_killed():
        with ways.process_pool(2) as way:
            arriving = ways.parts_made(chunks * 5, way)
            next(arriving)
            for process in way.executor._processes.values():
                os.kill(process.pid, signal.SIGKILL)
            list(arriving)

    with pytest.raises(StationError, match="it goes on from the parts that are there"):
        work_until_they_are_killed()


def test_a_proof_tells_versions_and_files_that_are_not_there(archive, chunks, tmp_path):
    good = prove(chunks[0])
    assert (good.differing, good.unusable) == ("", "")
    other = prove(replace(chunks[0], versions=versions() | {"numpy": "0.9"}))
    assert ("0.9" in other.differing, other.sha256) == (True, "")
    blind = prove(replace(chunks[0], tests=(replace(chunks[0].tests[0], store=str(tmp_path / "elsewhere")),)))
    assert "is missing" in blind.unusable
    assert blind.sha256 != good.sha256


def test_no_more_is_given_out_than_the_workers_need():
    """Records are large: only a few may be on their way at a time."""
    out = []

    class Counting(ways._Here):
        def submit(self, fn, /, chunk):
            out.append(chunk)
            return super().submit(lambda each: b"", chunk)

    taken = iter(range(100))
    arriving = ways.parts_made(taken, ways.Way(Counting(), lambda: 4, "four"))
    next(arriving)
    assert len(out) == 4
    assert len(list(arriving)) == 99


@pytest.mark.parametrize(("workers", "kind"), [(1, "this process"), (3, "3 processes")])
def test_the_way_on_this_computer(workers, kind):
    with ways.way_on_this_computer(workers) as way:
        assert way.workers == kind
