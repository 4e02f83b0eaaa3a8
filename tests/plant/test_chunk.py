"""Chunks: no test lost, doubled or divided; a key for all that a part depends on; what a part tells of itself."""

import hashlib
import io
from dataclasses import dataclass, replace

import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.audit.finding import AuditFinding, Severity
from station.errors import EvidenceError, UsageError
from station.plant.chunk import (
    Chunk,
    chunks_of,
    differing_versions,
    part_bytes,
    read_about,
    reanalyse_chunk,
    versions,
)
from station.plant.reanalysis import LooseCaptures, Reanalysed, StoredTest, pack
from station.plant.result_rows import SCHEMA, Row, Whose
from station.record.log import Entry

REMARK = AuditFinding("file.missing", Severity.BROKEN, "capture is missing", "eol-1: run 3", "seq 3", "a file", "none",
                      "Restore it.")


@dataclass(frozen=True)
class Counted:
    """A test as far as chunks care for it."""

    mark: tuple
    captures: int


def stored(seq=4, leaf=bytes(32), origin="eol-1", store="/archive"):
    return StoredTest(store, origin, Entry(seq, "record", 5, leaf, None, "", None), pack(b"{}"), 2, 2)


WHOSE = Whose(None, "eol-1", 3, "A", 1, "CP-40", "2026-11-25")
ROWS = (Row("forward 1000", "thd.ab", "%", 0.1 + 0.2, 0.01, None, 0.3, 0.01, None, "same"),
        Row("forward 1000", "thd.bc", "%", None, None, None, 0.3, 0.01, 5.0, "unfounded"))


@given(st.lists(st.integers(0, 9), max_size=60), st.integers(1, 25))
def test_chunks_hold_every_test_once_in_order_and_are_full_but_not_overfull(captures, least):
    tests = [Counted((place,), count) for place, count in enumerate(captures)]
    chunks = [chunk.tests for chunk in chunks_of(tests, least)]
    assert [test for chunk in chunks for test in chunk] == tests
    weights = [[max(test.captures, 1) for test in chunk] for chunk in chunks]
    assert all(sum(each) >= least for each in weights[:-1])
    assert all(sum(each[:-1]) < least for each in weights)
    assert all(weights)


def test_the_key_tells_whatever_the_part_depends_on():
    chunk = Chunk((stored(),), versions())
    others = [stored(seq=5), stored(leaf=bytes(31) + b"1"), stored(origin="eol-2"),
              LooseCaptures(("a",), (1,), b"", "")]
    keys = {replace(chunk, tests=(other,)).key for other in others}
    keys |= {replace(chunk, tests=(stored(), stored(seq=5))).key, replace(chunk, versions={"numpy": "1"}).key}
    assert len(keys | {chunk.key}) == len(others) + 3


def test_the_key_is_that_of_the_same_archive_elsewhere():
    assert Chunk((stored(),), versions()).key == Chunk((stored(store="/mnt/archive"),), versions()).key


def test_a_loose_capture_that_was_written_anew_is_another_one():
    keys = {Chunk((LooseCaptures(("a.parquet",), state, b"format = 1", "l"),), versions()).key
            for state in ((10, 1), (11, 1), (10, 2))}
    assert len(keys) == 3


def test_a_process_of_another_program_does_not_do_the_work():
    chunk = Chunk((stored(),), versions() | {"numpy": "0.9", "station_sha256": "f" * 64})
    with pytest.raises(UsageError, match="another program") as refused:
        reanalyse_chunk(chunk)
    assert "numpy" in str(refused.value)
    assert "0.9" in str(refused.value)
    assert differing_versions(versions()) == ""
    assert "instead of none" in differing_versions({})


def test_a_part_tells_what_is_in_it_and_comes_back_as_it_was():
    chunk = Chunk((stored(), stored(seq=5)), versions())
    found = [Reanalysed(WHOSE, ROWS),
             Reanalysed(WHOSE, (), (REMARK,), ("files are missing or altered",), is_whole=False)]
    part = part_bytes(chunk, found)
    table = pq.read_table(io.BytesIO(part))
    assert table.schema.equals(SCHEMA)
    assert [tuple(each.values()) for each in table.to_pylist()] == [WHOSE + row for row in ROWS]
    about = read_about(pq.read_metadata(io.BytesIO(part)).metadata, "part")
    assert (about.tests, about.captures, about.is_whole) == (2, 4, False)
    assert about.left_out == {"files are missing or altered": 1}
    assert about.remarks == (REMARK,)
    assert about.versions == versions()
    assert part_bytes(chunk, found) == part


def test_a_part_without_any_row_is_one():
    part = part_bytes(Chunk((stored(),), versions()), [Reanalysed(WHOSE, (), (), ("no captures were taken",))])
    assert pq.read_table(io.BytesIO(part)).num_rows == 0
    assert read_about(pq.read_metadata(io.BytesIO(part)).metadata, "part").is_whole


@pytest.mark.parametrize("metadata", [None, {}, {b"reanalysis": b"{"}, {b"reanalysis": b'{"format": 2}'},
                                      {b"reanalysis": b'{"format": 1}'}, {b"reanalysis": b"[]"}])
def test_what_is_no_part_is_refused(metadata):
    with pytest.raises(EvidenceError, match="no table of a re-analysis"):
        read_about(metadata, "x.parquet")


def test_versions_are_those_that_numbers_and_bytes_depend_on():
    assert {"station_sha256", "numpy", "blas", "python", "machine", "pyarrow"} <= versions().keys()
    assert len(versions()["station_sha256"]) == len(hashlib.sha256().hexdigest())
