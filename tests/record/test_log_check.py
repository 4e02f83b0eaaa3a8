"""An altered, shortened or rewritten log is told, at every start for its end, in an audit for all of it."""

import sqlite3

import pytest
from stored_records import record_of, run_of

from station.errors import EvidenceError
from station.record.log_check import TAIL, body_faults, count_faults, head_faults, kept_head_faults, tree_faults
from station.record.log_key import LogKey
from station.record.merkle import leaf_hash
from station.record.record import canonical
from station.record.schema import DATABASE
from station.record.store import Store
from station.record.store_folder import HEAD

TRIGGERS = ("records_update", "records_delete", "records_replace", "log_update", "log_delete", "log_next",
            "nodes_update", "nodes_delete", "nodes_replace", "runs_delete")


@pytest.fixture
def key(tmp_path):
    return LogKey.make(tmp_path / "keys", "eol-1")


@pytest.fixture
def folder(tmp_path, key):
    with Store(tmp_path / "store", log_key=key) as store:
        for verdict in ("PASS", "FAIL", "PASS", "PASS", "FAIL"):
            run_of(store, "A", verdict)
    return tmp_path / "store"


def forge(folder, *statements):
    connection = sqlite3.connect(folder / DATABASE)
    connection.create_function("leaf_hash", 1, leaf_hash)
    connection.executescript("".join(f"DROP TRIGGER {name};" for name in TRIGGERS))
    for statement in statements:
        assert connection.execute(statement).rowcount
    connection.commit()
    connection.close()


def told(folder, key):
    """What a whole check finds."""
    with Store(folder, read_only=True) as store:
        log = store.log
        return [fault.what for faults in (count_faults(log.connection), body_faults(log.entries(), log.origin),
                                          tree_faults(log), head_faults(log, [key.verifier]),
                                          kept_head_faults(log, folder / HEAD)) for fault in faults]


def test_an_untouched_log_has_no_fault(folder, key):
    assert told(folder, key) == []
    Store(folder).close()


ALTERED = "UPDATE records SET body = CAST(replace(CAST(body AS TEXT), 'FAIL', 'PASS') AS BLOB) WHERE run = 2"
REWRITTEN = "the log was rewritten: its head is not the one that was kept"


@pytest.mark.parametrize(("statements", "found"), [
    ([ALTERED], "record was altered"),
    (["DELETE FROM records WHERE run = 2"], "record is missing"),
    ([ALTERED, "UPDATE log SET leaf = leaf_hash((SELECT body FROM records WHERE run = 2)) WHERE seq = 1"], REWRITTEN),
    (["DELETE FROM log WHERE seq = 4"], "not every record is in the log, or some are missing"),
    (["DELETE FROM log WHERE seq = 4", "DELETE FROM records WHERE run = 5"],
     "entries at the end of the log are missing"),
    (["DELETE FROM log WHERE seq = 2", "DELETE FROM records WHERE run = 3"],
     "not every entry is in the log, or some are missing"),
    (["UPDATE log SET previous = zeroblob(32) WHERE seq = 3"], "the entry before it is another one than it names"),
    (["UPDATE nodes SET hash = zeroblob(32) WHERE level = 2"], REWRITTEN),
    (["UPDATE records SET body = (SELECT body FROM records AS other WHERE other.run = 3 - records.run) WHERE run < 3"],
     "record was altered"),
    (["UPDATE log SET subject = -subject WHERE seq < 2", "UPDATE log SET subject = 3 + subject WHERE seq < 2",
      "UPDATE log SET leaf = leaf_hash((SELECT body FROM records WHERE run_id = subject)) WHERE seq < 2"],
     "record stands in another place than it says"),
    (["UPDATE log SET checkpoint = (SELECT checkpoint FROM log WHERE seq = 2) WHERE seq = 3"], REWRITTEN),
    (["UPDATE log SET checkpoint = replace(checkpoint, '— eol-1', '— eol-2') WHERE seq = 3"],
     "checkpoint: signed by no known key"),
    (["UPDATE log SET checkpoint = replace(checkpoint, substr(checkpoint, -20, 4), 'AAAA') WHERE seq = 3"],
     "checkpoint: signature does not belong to this text"),
    (["UPDATE log SET checkpoint = 'eol-1' WHERE seq = 3"], "checkpoint: not a signed note"),
])
def test_what_was_done_to_it_is_told(folder, key, statements, found):
    forge(folder, *statements)
    assert found in told(folder, key)


@pytest.mark.parametrize("statements", [
    [ALTERED], ["DELETE FROM records WHERE run = 2"], ["DELETE FROM log WHERE seq = 4"],
    ["DELETE FROM log WHERE seq = 4", "DELETE FROM records WHERE run = 5"],
    ["DELETE FROM log WHERE seq = 2", "DELETE FROM records WHERE run = 3"],
    ["UPDATE nodes SET hash = zeroblob(32) WHERE level = 2"],
])
def test_the_station_does_not_start_on_it(folder, key, statements):
    forge(folder, *statements)
    before = (folder / HEAD).read_bytes()
    for _ in range(2):
        with pytest.raises(EvidenceError, match="ask who changed it"):
            Store(folder, log_key=key)
    assert (folder / HEAD).read_bytes() == before   # what proves the loss is never written over


def test_a_log_rewritten_and_signed_anew_is_told_by_the_kept_head(folder, key):
    rewritten = folder.parent / "rewritten"
    with Store(rewritten, log_key=key) as store:
        for _ in range(6):
            run_of(store, "A", "PASS")
    kept = (folder / HEAD).read_text(encoding="utf-8")
    (rewritten / HEAD).write_text(kept, encoding="utf-8")
    assert told(rewritten, key) == [REWRITTEN]
    with pytest.raises(EvidenceError, match="rewritten"):
        Store(rewritten, log_key=key)


@pytest.mark.parametrize("content", ["", "eol-1\n", "eol-1\n9\nAAAA\n", "\x00" * 90, "eol-1\n5\n"])
def test_half_a_kept_head_says_nothing_and_is_written_anew(folder, key, content):
    whole = (folder / HEAD).read_text(encoding="utf-8")
    (folder / HEAD).write_text(content, encoding="utf-8")
    Store(folder, log_key=key).close()
    assert (folder / HEAD).read_text(encoding="utf-8") == whole


def test_a_kept_head_is_that_of_the_last_entry(folder, key):
    with Store(folder, log_key=key) as store:
        for work in (lambda: run_of(store, "B"), lambda: store.add_statement("correction", {}),
                     lambda: store.add_reference_check({"motor_type": "CP-40", "result": "GOOD"})):
            work()
            assert (folder / HEAD).read_text(encoding="utf-8") == store.log.checkpoint(len(store.log))


def test_what_is_stored_counts_though_its_head_cannot_be_kept(tmp_path):
    with Store(tmp_path) as store:
        (tmp_path / HEAD).unlink()
        (tmp_path / HEAD).mkdir()       # nothing can be renamed to it
        assert run_of(store, "A")["log"]["seq"] == 0
        assert [record["serial"] for record in store.find()] == ["A"]
    (tmp_path / HEAD).rmdir()
    with Store(tmp_path) as store:
        assert (tmp_path / HEAD).read_text(encoding="utf-8") == store.log.head().text()
        assert not list(tmp_path.glob("*.tmp"))


def test_an_unsigned_kept_head_counts_as_well(tmp_path):
    with Store(tmp_path) as store:
        for _ in range(3):
            run_of(store, "A")
        assert (tmp_path / HEAD).read_text(encoding="utf-8") == store.log.head().text()
    forge(tmp_path, "DELETE FROM log WHERE seq = 2", "DELETE FROM records WHERE run = 3")
    with pytest.raises(EvidenceError, match="entries at the end of the log are missing"):
        Store(tmp_path)


def test_a_head_of_another_key_is_told(folder, key):
    other = LogKey.make(folder.parent / "other", "eol-1")
    with Store(folder, read_only=True) as store:
        assert [(fault.seq, fault.what) for fault in head_faults(store.log, [other.verifier], 3)] == [
            (3, "checkpoint: signed by no known key"), (4, "checkpoint: signed by no known key")]


def test_only_the_end_is_hashed_at_every_start(tmp_path, key):
    with Store(tmp_path / "store", log_key=key) as store:
        for number in range(TAIL + 2):
            store.add_statement("correction", {"number": number, "record": record_of("A")})
    for run, refused in ((1, False), (3, True)):
        connection = sqlite3.connect(tmp_path / "store" / DATABASE)
        connection.executescript("DROP TRIGGER IF EXISTS statements_update; UPDATE statements SET body = "
                                 f"CAST(replace(body, 'PASS', 'pass') AS BLOB) WHERE statement_id = {run};")
        connection.close()
        if refused:
            with pytest.raises(EvidenceError, match="entry 2 of the log of eol-1: correction was altered"):
                Store(tmp_path / "store", log_key=key)
        else:
            Store(tmp_path / "store", log_key=key).close()


def test_whole_portions_are_held_to_the_kept_subtrees(tmp_path):
    """More leaves than are read at once, entered in bulk through the same tables."""
    count = 4096 + 3
    with Store(tmp_path) as store:
        log = store.log
        with store._transaction("filling"):
            for number in range(count):
                log.append(log.next_place(), "correction", number, canonical({"number": number}))
        assert list(tree_faults(log)) == []
    forge(tmp_path, "UPDATE nodes SET hash = zeroblob(32) WHERE level = 12")
    with Store(tmp_path, read_only=True) as store:
        fault, = tree_faults(store.log)
        assert fault.what == "hashes of the tree are not those of its leaves"
