"""A store from before there was a log stays readable as it is, and is logged whole when a station opens it."""

import resource
import shutil
import sqlite3
from pathlib import Path

import pytest

from station.errors import EvidenceError, StationError, UsageError
from station.record.checkpoint import open_checkpoint
from station.record.log_check import body_faults, count_faults, head_faults, tree_faults
from station.record.log_key import LogKey
from station.record.merkle import leaf_hash, verify_inclusion
from station.record.schema import DATABASE
from station.record.store import Store

GOLDEN = Path(__file__).parents[1] / "golden" / "store-v1.sqlite"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "store").mkdir()
    shutil.copy(GOLDEN, tmp_path / "store" / DATABASE)
    return tmp_path / "store"


def bodies(folder):
    connection = sqlite3.connect(folder / DATABASE)
    rows = connection.execute("SELECT run_id, sha256, body FROM records ORDER BY run_id").fetchall()
    checks = connection.execute("SELECT check_id, sha256, body FROM reference_checks").fetchall()
    connection.close()
    return rows, checks


def test_an_old_store_is_read_as_it_is(folder):
    before = (folder / DATABASE).read_bytes()
    with Store(folder, read_only=True) as store:
        assert [(record["serial"], record["run"], record["verdict"]) for record in store.find()] == [
            ("CP40-0101", 1, "PASS"), ("CP40-0102", 1, "FAIL"), ("CP40-R001", 1, "PASS"), ("CP40-0102", 2, "PASS")]
        assert [suspect.serial for suspect in store.suspects()] == ["CP40-0101", "CP40-0102"]
        assert store.statements("correction") == []
        with pytest.raises(UsageError, match="no log yet"):
            store.evidence(store.find()[0])
    assert (folder / DATABASE).read_bytes() == before


def test_it_is_logged_whole_in_the_order_in_which_it_came(folder):
    before = bodies(folder)
    key = LogKey.make(folder.parent / "keys", "eol-1")
    with Store(folder, log_key=key, origin="eol-1") as store:
        entries = list(store.log.entries())
        assert [(entry.kind, entry.subject) for entry in entries] == [
            ("record", 1), ("record", 2), ("record", 3), ("reference check", 1), ("record", 4)]
        for faults in (tree_faults(store.log), head_faults(store.log, [key.verifier]),
                       count_faults(store.log.connection), body_faults(iter(entries), "eol-1")):
            assert list(faults) == []
        for record in store.find():
            assert "log" not in record
            evidence = store.evidence(record)
            told = open_checkpoint(evidence.checkpoint, [key.verifier], "here")
            assert leaf_hash(evidence.record_bytes) == evidence.leaf
            assert verify_inclusion(evidence.leaf, evidence.seq, told.size, evidence.inclusion, told.root)
    assert bodies(folder) == before


def test_it_goes_on_where_it_stood(folder):
    with Store(folder, origin="eol-1") as store:
        left, = store.unfinished()
        assert left.serial == "CP40-0103"
        closed, = store.close_unfinished(ended="2026-11-26T06:00:00.000Z")
        assert closed["log"]["seq"] == 5
        assert closed["log"]["previous_leaf"] == list(store.log.entries())[4].leaf.hex()
    with Store(folder) as store:
        assert len(store.log) == 6
        assert store.log.origin == "eol-1"


def test_an_altered_record_of_an_old_store_stays_altered(folder):
    forger = sqlite3.connect(folder / DATABASE)
    forger.executescript("DROP TRIGGER records_update; UPDATE records SET body = "
                         "CAST(replace(CAST(body AS TEXT), 'FAIL', 'PASS') AS BLOB);")
    forger.close()
    with Store(folder, origin="eol-1") as store, pytest.raises(EvidenceError, match="altered"):
        store.find()


@pytest.mark.parametrize("room", [5_000, 20_000, 40_000])
def test_a_migration_without_room_leaves_the_old_store(folder, room):
    before = bodies(folder)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
    try:
        with pytest.raises(StationError, match="Free space"):
            Store(folder)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    connection = sqlite3.connect(folder / DATABASE)
    assert connection.execute("PRAGMA user_version").fetchone() == (1,)
    assert connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'log'").fetchone() is None
    connection.close()
    assert bodies(folder) == before
    with Store(folder) as store:
        assert len(store.log) == 5


def test_a_store_of_a_later_version_is_left_alone(folder):
    connection = sqlite3.connect(folder / DATABASE)
    connection.execute("PRAGMA user_version = 5")
    connection.close()
    with pytest.raises(UsageError, match="later version"):
        Store(folder)
