"""Portions of the trail in the log: chained as in the trail itself, and read by the rules of their format."""

import hashlib
import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import EvidenceError
from station.record.log_check import body_faults, count_faults, head_faults, tree_faults
from station.record.record import canonical
from station.record.record_schema import faults_of
from station.record.schema import DATABASE
from station.record.signed_note import ED25519, Ed25519Verifier, parse_key_text
from station.record.store import Store
from station.record.trail_entry import BEGINNING, begins, chain, chained, follows, portion, verify_portion

GOLDEN = Path(__file__).parents[1] / "golden" / "store-v3.sqlite"
VERIFIER = "eol-1+e0cb0222+AWvoEmGF4SHaAFADoSo/jm5xB48XCiprEqkXkYLsrvT7"
# As a station of 26 November 2026 wrote it; format 1 stays readable for ever.
WRITTEN = (
    '{"before":"0000000000000000000000000000000000000000000000000000000000000000","chained":"01ddfeab2d87c4c61000'
    '0ae202aee8b134b56aa734ac73f1657db7b566c090d0","entries":[{"about":"engineer","at":"2026-11-26T01:00:01.000Z"'
    ',"good":true,"number":1,"what":"sign in","where":"127.0.0.1","who":"R. Fink","why":""},{"about":"","at":"202'
    '6-11-26T01:00:02.000Z","good":false,"number":2,"what":"sign in","where":"127.0.0.1","who":"somebody unknown"'
    ',"why":""},{"about":"CP40-0102","at":"2026-11-26T01:00:03.000Z","good":true,"number":3,"what":"allow a run",'
    '"where":"127.0.0.1","who":"R. Fink","why":"gemessen bei 80 °C"}],"first":1,"format":1,"kind":"trail","last":'
    '3,"log":{"origin":"eol-1","previous_leaf":null,"seq":0},"statement":1}')
VERSION_3 = ["record", "record", "record", "reference check", "record", "record", "correction", "release", "retention"]


def entries(count, first=1):
    return [{"number": first + n, "at": "2026-11-25T10:00:00.000Z", "who": "A. Pirol", "what": "scan",
             "about": f"é{first + n}", "why": "", "where": "127.0.0.1", "good": True} for n in range(count)]


def whole(count):
    return portion(entries(count), BEGINNING, chain(entries(count), BEGINNING))


def test_the_chain_is_that_of_bare_hashes():
    """By hashlib and json alone, which nobody here wrote."""
    before = bytes(32)
    for entry in entries(3):
        text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        before = hashlib.sha256(before + text.encode()).digest()
    assert whole(3)["chained"] == before.hex()


@settings(deadline=None)
@given(st.integers(1, 6), st.integers(1, 6))
def test_portions_follow_each_other_wherever_they_are_cut(one, other):
    first, both = whole(one), whole(one + other)
    before, rest = bytes.fromhex(first["chained"]), entries(other, one + 1)
    second = portion(rest, before, chain(rest, before))
    assert second["chained"] == both["chained"]
    assert follows(first, None)
    assert begins(first)
    assert follows(second, first)
    assert not follows(second, None)
    assert not follows(first, second)
    for said in (first, second, both):
        verify_portion(said)


@pytest.mark.parametrize("change", [
    lambda said: said["entries"][1].update(who="B. Pirol"), lambda said: said["entries"].pop(1),
    lambda said: said["entries"].reverse(), lambda said: said.update(before="1" * 64),
    lambda said: said.update(last=4), lambda said: said["entries"][0].update(good=False)])
def test_a_changed_portion_is_told(change):
    said = whole(3)
    change(said)
    with pytest.raises(EvidenceError, match=r"entries of the trail are (missing|not those that were chained)"):
        verify_portion(said)


def test_a_portion_keeps_to_its_schema(tmp_path):
    with Store(tmp_path) as store:
        said = store.add_statement("trail", whole(2))
        assert faults_of("trail", said) == []
        assert faults_of("trail", said | {"entries": [entries(1)[0] | {"password": "x"}]}) != []
        assert store.last_statement("trail") == said
        assert store.last_statement("correction") is None


def test_a_portion_of_format_1_is_read():
    said = json.loads(WRITTEN)
    verify_portion(said)
    assert faults_of("trail", said) == []
    assert begins(said)
    assert canonical(said) == WRITTEN.encode()


@pytest.mark.parametrize("said", [{}, {"first": 1, "last": 1, "entries": [], "before": "zz"},
                                  {"first": 1, "last": "1", "entries": [5], "before": ""},
                                  {"first": 1, "last": 1, "entries": entries(1), "before": ""}])
def test_what_has_not_the_form_of_a_portion_is_told(said):
    with pytest.raises(EvidenceError, match="of the trail"):
        verify_portion(said)


def test_a_store_of_version_3_takes_the_trail_and_keeps_what_it_had(tmp_path):
    shutil.copy(GOLDEN, tmp_path / DATABASE)
    with Store(tmp_path, read_only=True) as store:
        before, head = list(store.log.entries()), store.log.head()
        assert [entry.kind for entry in before] == VERSION_3
        assert store.last_statement("trail") is None
    with Store(tmp_path, origin="eol-1") as store:
        assert list(store.log.entries()) == before
        assert store.log.head() == head
        assert list(head_faults(store.log, [Ed25519Verifier(*parse_key_text(VERIFIER, ED25519, "here"))])) == []
        assert store.add_statement("trail", whole(1))["log"]["seq"] == len(before)
        for faults in (tree_faults(store.log), count_faults(store.log.connection),
                       body_faults(store.log.entries(), "eol-1")):
            assert list(faults) == []
    forger = sqlite3.connect(tmp_path / DATABASE)
    assert forger.execute("PRAGMA user_version").fetchone() == (4,)
    for sql in ("UPDATE log SET kind = 'record'", "DELETE FROM statements"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            forger.execute(sql)
    forger.close()


def test_an_entry_of_the_trail_is_chained_to_the_one_before():
    assert chained(BEGINNING, b"x") == hashlib.sha256(bytes(32) + b"x").digest()
