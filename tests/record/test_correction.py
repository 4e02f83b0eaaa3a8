"""Corrections change no record, and a void run counts neither in the yield nor as a run of its motor."""

import sqlite3

import pytest

from station.errors import UsageError
from station.record.correction import corrections_of
from station.record.merkle import leaf_hash
from station.record.record import canonical, interrupted_record
from station.record.record_schema import faults_of
from station.record.schema import DATABASE
from station.record.store import Store

AT = "2026-11-26T08:00:00.000Z"


def run_of(store, serial, verdict, purpose="", at="2026-11-25T10:00:00.000Z"):
    heading = {"motor_type": {"name": "CP-40"}, **({"purpose": purpose} if purpose else {})}
    record = {**interrupted_record(serial, at, at, heading), "verdict": verdict}
    return store.finish(store.begin(serial, started=at, heading=heading), record, [])


def void(store, record, reason="fitted askew"):
    return store.correct(record, "void", person="K. Muster", reason=reason, at=AT)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path) as opened:
        yield opened


def test_a_correction_names_its_record_and_leaves_it_as_it_is(store):
    run_of(store, "A", "PASS")
    record = run_of(store, "A", "FAIL")
    said = void(store, record)
    assert faults_of("correction", said) == []
    assert said["of"] == {"serial": "A", "run": 2, "seq": 1, "leaf": leaf_hash(canonical(record)).hex()}
    assert said["log"]["seq"] == 2
    assert store.show("A")[1] == record
    assert store.statements("correction") == [said]
    assert corrections_of(record, [said]) == [said]
    assert corrections_of(store.show("A")[0], [said]) == []


def test_a_void_run_counts_nowhere(store):
    first = run_of(store, "A", "FAIL")
    run_of(store, "A", "PASS")
    run_of(store, "B", "PASS")
    assert (store.count_yield().motors, store.count_yield().passed_first) == (2, 1)
    void(store, first)
    assert (store.count_yield().motors, store.count_yield().passed_first) == (2, 2)
    assert [attempt.counts for attempt in store.attempts("A")] == [False, True]
    void(store, store.show("B")[0])
    assert store.count_yield().motors == 1


def test_a_note_takes_nothing_away(store):
    record = run_of(store, "A", "FAIL")
    for words in ("rust on the shaft", "wiped off since"):
        store.correct(record, "note", person="K", reason=words, at=AT)
    assert store.count_yield().motors == 1
    assert [said["reason"] for said in store.statements("correction")] == ["rust on the shaft", "wiped off since"]
    assert store.attempts("A")[0].counts


def test_what_makes_no_sense_is_refused_and_nothing_is_stored(store):
    record, check = run_of(store, "A", "FAIL"), run_of(store, "R", "PASS", purpose="reference check")
    for changed, words in (({"person": " "}, "without a person"), ({"reason": ""}, "without a reason")):
        with pytest.raises(UsageError, match=words):
            store.correct(record, "void", **{"person": "K", "reason": "askew", "at": AT, **changed})
    with pytest.raises(UsageError, match="no production"):
        void(store, check)
    with pytest.raises(UsageError, match="no such record"):
        void(store, {**record, "run": 7})
    void(store, record)
    with pytest.raises(UsageError, match="void already"):
        void(store, record)
    assert len(store.statements("correction")) == 1


def test_attempts_are_the_runs_of_the_production(store):
    kept = [run_of(store, "A", verdict, at=f"2026-11-25T1{k}:00:00.000Z")
            for k, verdict in enumerate(("NO RESULT", "FAIL", "PASS"))]
    run_of(store, "A", "PASS", purpose="reference check")
    run_of(store, "B", "PASS")
    attempts = store.attempts("A")
    assert [(a.run, a.verdict, a.started, a.counts) for a in attempts] == [
        (1, "NO RESULT", kept[0]["started"], False), (2, "FAIL", kept[1]["started"], True),
        (3, "PASS", kept[2]["started"], True)]
    assert [a.leaf for a in attempts] == [leaf_hash(canonical(record)) for record in kept]
    assert store.attempts("nobody") == ()


def test_a_correction_is_never_taken_back(store, tmp_path):
    void(store, run_of(store, "A", "FAIL"))
    meddler = sqlite3.connect(tmp_path / DATABASE)
    for sql in ("DELETE FROM statements", "UPDATE statements SET kind = 'retention'"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            meddler.execute(sql)
    meddler.close()
