"""A witness cosigns a head only when it continues the last one that it saw; and a log keeps what it got."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from stored_records import run_of

from station.errors import EvidenceError, UsageError
from station.record.cosignature import WitnessKey, cosigned_at
from station.record.cosigned import add_cosignatures
from station.record.log_key import LogKey
from station.record.schema import DATABASE
from station.record.signed_note import parse_note, verify_note
from station.record.store import Store
from station.record.witness import Request, Witness, acknowledged, parse_request, request_of

AT = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)


@pytest.fixture
def key(tmp_path):
    return LogKey.make(tmp_path / "keys", "eol-1")


@pytest.fixture
def witness(tmp_path):
    return Witness(WitnessKey.make(tmp_path / "elsewhere", "plant-1"), tmp_path / "elsewhere" / "seen")


@pytest.fixture
def store(tmp_path, key):
    with Store(tmp_path / "store", log_key=key) as opened:
        run_of(opened, "A")
        yield opened


def asked(store, witness):
    """The request of a log that knows what its witness saw last, as it travels."""
    return parse_request(str(request_of(store.log, witness.seen("eol-1").size)), "here")


def test_a_growing_log_is_cosigned_again_and_again(store, witness, key):
    for _ in range(5):
        line = witness.cosign(asked(store, witness), [key.verifier], AT, "here")
        note = store.log.checkpoint(len(store.log)) + line
        signature, = verify_note(parse_note(note, "here"), [witness.key.verifier], "here")
        assert cosigned_at(signature) == AT
        assert witness.seen("eol-1") == store.log.head()
        run_of(store, "A")
        run_of(store, "B")


def test_the_same_head_may_be_cosigned_twice(store, witness, key):
    first = witness.cosign(asked(store, witness), [key.verifier], AT, "here")
    assert witness.cosign(asked(store, witness), [key.verifier], AT, "here") == first


def test_a_shorter_log_is_refused(tmp_path, store, witness, key):
    store.close()
    shutil.copytree(tmp_path / "store", tmp_path / "copy")
    with Store(tmp_path / "store", log_key=key) as grown:
        run_of(grown, "A")
        witness.cosign(asked(grown, witness), [key.verifier], AT, "here")
    with Store(tmp_path / "copy", log_key=key) as restored, pytest.raises(EvidenceError, match="shorter than it was"):
        witness.cosign(request_of(restored.log, 0), [key.verifier], AT, "here")
    assert witness.seen("eol-1").size == 2


def test_a_log_that_went_another_way_is_refused(tmp_path, store, witness, key):
    store.close()
    shutil.copytree(tmp_path / "store", tmp_path / "copy")
    with Store(tmp_path / "store", log_key=key) as grown:
        run_of(grown, "A", "FAIL")
        witness.cosign(asked(grown, witness), [key.verifier], AT, "here")
        seen = witness.seen("eol-1")
    with Store(tmp_path / "copy", log_key=key) as other:
        run_of(other, "A", "PASS")
        for _ in range(2):      # of the same size, then longer
            with pytest.raises(EvidenceError, match="the log was rewritten"):
                witness.cosign(request_of(other.log, 2), [key.verifier], AT, "here")
            run_of(other, "A")
    assert witness.seen("eol-1") == seen


def test_the_witness_tells_where_to_begin(store, witness, key):
    witness.cosign(asked(store, witness), [key.verifier], AT, "here")
    run_of(store, "A")
    with pytest.raises(UsageError, match="log head --since 1"):
        witness.cosign(request_of(store.log, 0), [key.verifier], AT, "here")


def test_only_the_key_of_that_log_counts(tmp_path, store, witness, key):
    other, foreign = LogKey.make(tmp_path / "2", "eol-2"), LogKey.make(tmp_path / "3", "eol-1")
    for known in ([], [other.verifier], [foreign.verifier]):
        with pytest.raises(EvidenceError, match="signed by no known key"):
            witness.cosign(asked(store, witness), known, AT, "here")
    note = other.sign(store.log.head().text())      # one log's key on another's head
    with pytest.raises(EvidenceError, match="signed by no known key"):
        witness.cosign(Request(0, (), note), [key.verifier, other.verifier], AT, "here")
    assert witness.seen("eol-1").size == 0


def test_logs_are_told_apart_whatever_they_are_called(tmp_path, witness):
    for name in ("eol/1", "eol-1", "eol.1", "EOL-1"):
        log_key = LogKey.make(tmp_path / name.replace("/", "_") / "keys", name)
        with Store(tmp_path / name.replace("/", "_") / "store", log_key=log_key) as store:
            run_of(store, name)
            witness.cosign(request_of(store.log, 0), [log_key.verifier], AT, "here")
            assert witness.seen(name) == store.log.head()


def test_an_unsigned_log_cannot_be_witnessed(tmp_path):
    with Store(tmp_path / "unsigned") as store:
        run_of(store, "A")
        with pytest.raises(UsageError, match="not signed"):
            request_of(store.log, 0)


@pytest.mark.parametrize("text", [
    "", "old 1\n", "old -1\n\nnote", "old 01\n\nnote", "new 1\n\nnote", "old 1\nAAAA\n\nnote", "old 1\n!\n\nnote",
    "old 1\n" + 64 * ("A" * 43 + "=\n") + "\nnote"])
def test_what_is_no_request_is_refused(text):
    with pytest.raises(EvidenceError, match="not a request"):
        parse_request(text, "here")


def test_a_request_is_read_as_it_was_written(store):
    for _ in range(6):
        run_of(store, "A")
    for old in range(8):
        request = request_of(store.log, old)
        assert parse_request(str(request), "here") == request


def test_cosignatures_are_kept_with_their_head(store, witness, key):
    head = len(store.log)
    note = store.log.checkpoint(head) + witness.cosign(asked(store, witness), [key.verifier], AT, "here")
    run_of(store, "A")      # the log goes on while the head travels
    for _ in range(2):
        assert add_cosignatures(store.folder, note, [witness.key.verifier], "here") == 1
    assert store.log.witnessed(head) == note
    assert store.log.witnessed(head + 1) == store.log.checkpoint(head + 1)


def test_what_does_not_belong_to_the_log_is_not_kept(tmp_path, store, witness, key):
    line = witness.cosign(asked(store, witness), [key.verifier], AT, "here")
    unknown = WitnessKey.make(tmp_path / "unknown", "plant-1")
    with pytest.raises(EvidenceError, match="signed by no known key"):
        add_cosignatures(store.folder, store.log.checkpoint(1) + line, [unknown.verifier], "here")
    run_of(store, "A")
    with Store(tmp_path / "other", log_key=key) as other:
        run_of(other, "B")
        for note in (store.log.checkpoint(1) + line, store.log.checkpoint(2)):  # another head, and one not reached yet
            with pytest.raises(EvidenceError, match="not a head of this log"):
                add_cosignatures(other.folder, note, [witness.key.verifier], "here")
    assert store.log.cosignatures(1) == []


def test_what_a_witness_acknowledges_is_the_largest_head_that_it_signed(tmp_path, store, witness, key):
    other = WitnessKey.make(tmp_path / "namesake", "plant-1")       # the same name, another key
    assert acknowledged(store.log, witness.key.verifier) == 0
    for _ in range(3):
        run_of(store, "A")
        line = witness.cosign(asked(store, witness), [key.verifier], AT, "here")
        add_cosignatures(store.folder, store.log.checkpoint(len(store.log)) + line, [witness.key.verifier], "here")
    run_of(store, "A")
    head = store.log.checkpoint(len(store.log))
    line = other.cosign(head.partition("\n\n")[0] + "\n", AT).line()
    add_cosignatures(store.folder, head + line, [other.verifier], "here")
    assert acknowledged(store.log, witness.key.verifier) == len(store.log) - 1
    forged = replace(witness.key.cosign(store.log.head().text(), AT), content=bytes(72)).line()
    with store._transaction("forging"):
        store.log.cosign(len(store.log), forged)
    assert acknowledged(store.log, witness.key.verifier) == len(store.log) - 1
    assert acknowledged(store.log, other.verifier) == len(store.log)


def test_cosignatures_need_a_store_that_its_station_has_brought_up_to_date(tmp_path, store, witness, key):
    with pytest.raises(UsageError, match="no store here"):
        add_cosignatures(tmp_path, "note", [witness.key.verifier], "here")
    store.close()
    with closing(sqlite3.connect(store.folder / DATABASE)) as old:
        old.execute("PRAGMA user_version = 3")
    with pytest.raises(UsageError, match="another version"):
        add_cosignatures(store.folder, "note", [witness.key.verifier], "here")
