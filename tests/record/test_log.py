"""Whatever is stored has its place in the log, in the same transaction, and its proof."""

import re
import sqlite3
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stored_records import STARTED, record_of, run_of

from station.errors import EvidenceError, StationError, UsageError
from station.record.checkpoint import Checkpoint, open_checkpoint
from station.record.log_key import LogKey
from station.record.merkle import root_of, verify_consistency, verify_inclusion
from station.record.schema import DATABASE
from station.record.store import Store


@pytest.fixture
def key(tmp_path):
    return LogKey.make(tmp_path / "keys", "eol-1")


@pytest.fixture
def store(tmp_path, key):
    with Store(tmp_path / "store", log_key=key) as opened:
        yield opened


def fill(store):
    run_of(store, "A")
    store.add_reference_check({"motor_type": "CP-40", "result": "BAD"})
    store.add_statement("correction", {"about": "A"})
    run_of(store, "B", "FAIL")
    store.begin("C", started=STARTED)
    store.close_unfinished(ended="2026-11-25T12:00:00.000Z")
    store.add_statement("retention", {"rule": "keep"})


def test_every_kind_of_thing_is_logged_in_order(store):
    fill(store)
    entries = list(store.log.entries())
    assert [entry.kind for entry in entries] == ["record", "reference check", "correction", "record", "record",
                                                 "retention"]
    assert [entry.seq for entry in entries] == list(range(6))
    assert [entry.previous for entry in entries] == [None, *(entry.leaf for entry in entries[:-1])]
    for entry in entries:
        assert b'"seq":%d}' % entry.seq in entry.body


WORKS = {
    "record": lambda store: run_of(store, "A"),
    "reference check": lambda store: store.add_reference_check({"motor_type": "CP-40", "result": "GOOD"}),
    "correction": lambda store: store.add_statement("correction", {"about": "A"}),
    "retention": lambda store: store.add_statement("retention", {"rule": "keep"}),
}


@settings(max_examples=15, deadline=None)
@given(st.lists(st.lists(st.sampled_from(list(WORKS)), max_size=5), min_size=1, max_size=4))
def test_whatever_comes_in_whatever_sessions_every_head_continues_every_earlier_one(sessions):
    heads = []
    with tempfile.TemporaryDirectory() as folder:
        for session in sessions:
            with Store(Path(folder), origin="eol-1") as store:
                for kind in session:
                    WORKS[kind](store)
                    heads.append(store.log.head())
        with Store(Path(folder), read_only=True) as store:
            log = store.log
            assert [entry.kind for entry in log.entries()] == [kind for session in sessions for kind in session]
            assert [head.size for head in heads] == list(range(1, len(log) + 1))
            for old in heads:
                proof = log.consistency(old.size, len(log))
                assert verify_consistency(old.size, len(log), old.root, heads[-1].root, proof)


def test_a_body_says_where_it_stands(store):
    first, second = run_of(store, "A"), run_of(store, "A")
    check = store.add_reference_check({"motor_type": "CP-40", "result": "GOOD"})
    leaves = [entry.leaf.hex() for entry in store.log.entries()]
    assert first["log"] == {"origin": "eol-1", "seq": 0, "previous_leaf": None}
    assert second["log"] == {"origin": "eol-1", "seq": 1, "previous_leaf": leaves[0]}
    assert check["log"] == {"origin": "eol-1", "seq": 2, "previous_leaf": leaves[1]}


def test_every_head_is_signed_and_proves_what_came_before(store, key):
    fill(store)
    leaves = [entry.leaf for entry in store.log.entries()]
    heads = [open_checkpoint(store.log.checkpoint(size), [key.verifier], "here") for size in range(1, 7)]
    assert heads == [Checkpoint("eol-1", size, root_of(leaves[:size])) for size in range(1, 7)]
    for old in heads:
        for new in heads[old.size - 1:]:
            proof = store.log.consistency(old.size, new.size)
            assert verify_consistency(old.size, new.size, old.root, new.root, proof)
            for seq in range(new.size):
                assert verify_inclusion(leaves[seq], seq, new.size, store.log.inclusion(seq, new.size), new.root)


def test_evidence_of_a_record(store, key):
    stored = [run_of(store, "A") for _ in range(7)]
    for record in stored:
        evidence = store.evidence(record)
        told = open_checkpoint(evidence.checkpoint, [key.verifier], "here")
        assert (evidence.origin, evidence.seq, evidence.size) == ("eol-1", record["log"]["seq"], told.size)
        assert verify_inclusion(evidence.leaf, evidence.seq, told.size, evidence.inclusion, told.root)
    with pytest.raises(UsageError, match="no such record"):
        store.evidence({"serial": "A", "run": 8})


def test_a_store_without_a_key_keeps_its_log_unsigned(tmp_path, key):
    with Store(tmp_path / "other", origin="eol-1") as store:
        evidence = store.evidence(run_of(store, "A"))
        assert evidence.checkpoint == store.log.checkpoint(1) == store.log.witnessed(1) == ""
    with Store(tmp_path / "other", log_key=key) as store:   # the key came later
        run_of(store, "A")
        assert open_checkpoint(store.log.checkpoint(2), [key.verifier], "here") == store.log.head()


def test_a_store_keeps_the_origin_of_its_log(tmp_path, key):
    with Store(tmp_path / "store", origin="eol-1"):
        pass
    for other in ({"origin": "eol-2"}, {"log_key": LogKey("eol-2", key.private)}):
        with pytest.raises(UsageError, match="another station"):
            Store(tmp_path / "store", **other)
    with pytest.raises(UsageError, match="another station"):
        Store(tmp_path / "new", origin="eol-1", log_key=LogKey("eol-2", key.private))
    with Store(tmp_path / "store", origin="eol-1", log_key=key) as store:
        assert store.log.origin == "eol-1"
    with Store(tmp_path / "store", read_only=True) as store:
        assert store.log.origin == "eol-1"


@pytest.mark.parametrize("size", [-1, 3])
def test_no_head_that_the_log_never_had(store, size):
    run_of(store, "A")
    run_of(store, "A")
    for ask in (store.log.head, store.log.checkpoint, store.log.cosignatures, lambda size: store.log.inclusion(0, size),
                lambda size: store.log.consistency(0, size)):
        with pytest.raises(UsageError, match="no such head"):
            ask(size)
    with pytest.raises(UsageError, match="no such head"):
        store.log.consistency(2, 1)
    for seq in (-1, 2):
        with pytest.raises(UsageError, match="no such entry"):
            store.log.inclusion(seq, 2)
        with pytest.raises(UsageError, match="no such entry"):
            store.log.evidence(seq)


def test_the_empty_log(store):
    assert len(store.log) == 0
    assert store.log.head().size == 0
    assert store.log.checkpoint(0) == ""


@pytest.mark.parametrize("statement", [
    "UPDATE log SET leaf = zeroblob(32)", "DELETE FROM log", "UPDATE nodes SET hash = zeroblob(32)",
    "DELETE FROM nodes", "UPDATE log_origin SET origin = 'x'", "DELETE FROM log_origin",
    "INSERT OR REPLACE INTO log_origin VALUES (0, 'x')",
    "INSERT OR REPLACE INTO log SELECT * FROM log WHERE seq = 1",
    "INSERT OR REPLACE INTO nodes SELECT level, position, zeroblob(32) FROM nodes",
    "INSERT INTO log SELECT 9, 'retention', 9, leaf, leaf, '' FROM log WHERE seq = 2",       # a gap
    "INSERT INTO log SELECT 3, 'retention', 9, leaf, zeroblob(32), '' FROM log WHERE seq = 2",    # another before it
    "INSERT INTO log SELECT 3, 'retention', 9, leaf, NULL, '' FROM log WHERE seq = 2",
    "INSERT OR REPLACE INTO log SELECT 3, kind, subject, leaf, leaf, '' FROM log WHERE seq = 2",     # one thing twice
    "UPDATE cosignatures SET line = ''", "DELETE FROM cosignatures", "UPDATE statements SET body = x''",
    "DELETE FROM statements", "INSERT OR REPLACE INTO statements SELECT * FROM statements",
])
def test_the_log_only_grows(tmp_path, store, statement):
    run_of(store, "A")
    run_of(store, "A")
    store.add_statement("correction", {})
    with store._transaction("cosigning"):
        store.log.cosign(3, "— w AAAAAAA=\n")
    other = sqlite3.connect(tmp_path / "store" / DATABASE, isolation_level=None)
    tables = ("log", "nodes", "log_origin", "cosignatures", "statements")
    before = [other.execute(f"SELECT * FROM {table}").fetchall() for table in tables]
    with pytest.raises(sqlite3.IntegrityError):
        other.execute(statement)
    assert [other.execute(f"SELECT * FROM {table}").fetchall() for table in tables] == before
    other.close()


def test_what_is_not_stored_is_not_logged(store):
    run_of(store, "A")
    run_id = store.begin("B", started=STARTED)
    with pytest.raises(StationError, match="cannot be stored"):
        store.finish(run_id, {**record_of("B"), "hazards": float("nan")}, [])
    with pytest.raises(StationError, match="cannot be stored"):
        store.add_statement("correction", {"value": float("inf")})
    assert len(store.log) == 1
    assert store.finish(run_id, record_of("B"), [])["log"]["seq"] == 1


def test_a_lost_body_or_node_is_told(tmp_path, store):
    stored = [run_of(store, "A") for _ in range(3)]
    forger = sqlite3.connect(tmp_path / "store" / DATABASE)
    forger.executescript("DROP TRIGGER nodes_delete; DROP TRIGGER records_delete; DELETE FROM nodes; "
                         "DELETE FROM records WHERE run = 1;")
    forger.close()
    with pytest.raises(EvidenceError, match="hash of the log is missing"):
        store.evidence(stored[2])
    with pytest.raises(EvidenceError, match="altered"):
        store.log.evidence(0)


def test_an_exchanged_record_has_no_evidence(tmp_path, store):
    stored = [run_of(store, serial) for serial in ("A", "B")]
    forger = sqlite3.connect(tmp_path / "store" / DATABASE)
    forger.executescript("DROP TRIGGER records_update; UPDATE records SET body = "
                         "(SELECT body FROM records AS other WHERE other.run_id <> records.run_id);")
    forger.close()
    with pytest.raises(EvidenceError, match=re.escape("altered")):
        store.evidence(stored[0])
