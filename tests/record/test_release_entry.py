"""Releases: what is stated, what is signed, and that older stores take them."""

import sqlite3

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import EvidenceError, UsageError
from station.record import log_schema, statement
from station.record.checkpoint import open_checkpoint
from station.record.log_check import body_faults, count_faults, head_faults, tree_faults
from station.record.log_key import LogKey
from station.record.record_schema import faults_of
from station.record.release_entry import Revision, StudyUsed, release, releases_of, verify_release
from station.record.schema import DATABASE
from station.record.store import Store

AT = "2026-11-26T08:00:00.000Z"
STUDY = StudyUsed("what-if.json", "5" * 64, 12, "6" * 64)


def said_of(key, number="B", motor_type="CP-40", **other):
    return release(Revision(motor_type, number, "a" * 64), file="CP-40.toml", draft_sha256="d" * 64, study=STUDY,
                   predecessor=None, person="A. Tester", reason="narrower", at=AT, key=key, **other)


@pytest.fixture
def key(tmp_path):
    return LogKey.make(tmp_path / "keys", "eol-1")


@pytest.fixture
def store(tmp_path, key):
    with Store(tmp_path / "store", log_key=key, origin="eol-1") as opened:
        yield opened


def test_a_release_is_an_entry_of_the_log(store, key):
    said = store.add_statement("release", said_of(key))
    assert faults_of("release", said) == []
    assert (said["kind"], said["log"]["seq"], said["log"]["origin"]) == ("release", 0, "eol-1")
    other = store.add_statement("release", said_of(key, motor_type="VB-24"))
    assert releases_of("CP-40", store.statements("release")) == [said]
    assert releases_of("VB-24", store.statements("release")) == [other]
    entry = next(store.log.entries())
    assert (entry.kind, entry.subject) == ("release", 1)
    for faults in (tree_faults(store.log), head_faults(store.log, [key.verifier]),
                   count_faults(store.log.connection), body_faults(store.log.entries(), "eol-1")):
        assert list(faults) == []


@pytest.mark.parametrize(("field", "text"), [("person", " "), ("reason", "")])
def test_somebody_must_answer_for_it(key, field, text):
    words = {"person": "A. Tester", "reason": "narrower"} | {field: text}
    with pytest.raises(UsageError, match=f"without a {field}"):
        release(Revision("CP-40", "B", "a" * 64), file="f", draft_sha256="d" * 64, study=STUDY, predecessor=None,
                at=AT, key=key, **words)


@pytest.mark.parametrize(("field", "value"), [
    ("motor_type", "VB-24"), ("revision", "C"), ("sha256", "b" * 64)])
def test_the_signature_is_of_type_revision_and_file(key, field, value):
    said = said_of(key)
    verify_release(said, [key.verifier])
    with pytest.raises(EvidenceError, match="another revision"):
        verify_release(said | {field: value}, [key.verifier])


def test_a_signature_of_another_key_or_of_a_head_is_none(key, tmp_path):
    other = LogKey.make(tmp_path / "other", "eol-1")
    with pytest.raises(EvidenceError, match="no known key"):
        verify_release(said_of(other), [key.verifier])
    with pytest.raises(EvidenceError):      # a release never passes for a head of the log
        open_checkpoint(said_of(key)["note"], [key.verifier], "here")


@given(st.text(min_size=1), st.text(min_size=1))
def test_no_two_revisions_are_signed_alike(one, other):
    texts = [Revision(kind, number, "a" * 64).note_text().split("\n") for kind, number in ((one, other), (other, one))]
    if one != other and "\n" not in one + other:
        assert texts[0] != texts[1]


NEW_KINDS = ", 'release', 'trail'"
OLD_KINDS = ("'record', 'reference check', 'correction', 'retention'", "'correction', 'retention'")


@pytest.fixture
def version_2(tmp_path, key):
    """A store as version 2 made it: with its constraints, a correction of a record, and signed heads."""
    folder = tmp_path / "old"
    with Store(folder, log_key=key, origin="eol-1") as store:
        for _ in range(3):
            store.add_statement("correction", {"format": 1, "of": {"serial": "A", "run": 1}, "what": "note"})
        store.add_statement("retention", {"format": 1, "files": []})
    connection = sqlite3.connect(folder / DATABASE)
    tables = (log_schema.TABLES + statement.TABLES).replace("IF NOT EXISTS ", "")
    old_log, old_statements = (tables[tables.index(f"CREATE TABLE {name} ("):].split(";")[0].replace(NEW_KINDS, "")
                               for name in ("log", "statements"))
    assert "release" not in old_log + old_statements
    assert all(kinds in old_log + old_statements for kinds in OLD_KINDS)
    connection.executescript(
        "ALTER TABLE log RENAME TO l; ALTER TABLE statements RENAME TO s;" + old_log + ";" + old_statements
        + "; INSERT INTO log SELECT * FROM l; INSERT INTO statements SELECT * FROM s; DROP TABLE l; DROP TABLE s;"
        + statement.TRIGGERS + log_schema.TRIGGERS + "PRAGMA user_version = 2;")
    connection.close()
    return folder


def test_a_store_of_version_2_takes_releases_and_keeps_what_it_had(version_2, key):
    with Store(version_2, read_only=True) as store:
        before, head = list(store.log.entries()), store.log.head()
        assert store.statements("release") == []
    with Store(version_2, log_key=key, origin="eol-1") as store:
        assert list(store.log.entries()) == before
        assert store.log.head() == head
        said = store.add_statement("release", said_of(key))
        assert said["log"]["seq"] == len(before)
        for faults in (tree_faults(store.log), head_faults(store.log, [key.verifier]),
                       count_faults(store.log.connection), body_faults(store.log.entries(), "eol-1")):
            assert list(faults) == []
    forger = sqlite3.connect(version_2 / DATABASE)
    for sql in ("UPDATE log SET kind = 'record'", "DELETE FROM statements", "UPDATE statements SET kind = 'release'"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            forger.execute(sql)
    names = {name for name, in forger.execute("SELECT name FROM sqlite_schema")}
    forger.close()
    assert not {"log_before", "statements_before"} & names
