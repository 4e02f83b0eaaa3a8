"""Failures in a row as the store counts them, against a count that walks through what happened."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.record.record import interrupted_record
from station.record.store import Store
from station.record.trail_entry import BEGINNING, UNLOCKED, portion

AT = "2026-11-25T10:00:00.000Z"


def run_motor(store, verdict, purpose="", void=False):
    heading = {"motor_type": {"name": "CP-40"}, **({"purpose": purpose} if purpose else {})}
    serial = f"CP40-{len(store.find()):04d}"
    stored = store.finish(store.begin(serial, started=AT, heading=heading),
                          {**interrupted_record(serial, AT, AT, heading), "verdict": verdict}, [])
    if void:
        store.correct(stored, "void", person="R. Fink", reason="fitted askew", at=AT)


def enter(store, what):
    entry = {"number": 1, "at": AT, "who": "R. Fink", "what": what, "where": "127.0.0.1", "about": "", "why": "",
             "good": True}
    store.add_statement("trail", portion([entry], BEGINNING, BEGINNING))


def check(store, result):
    store.add_reference_check({"motor_type": "CP-40", "result": result, "motors": []})


# What may happen, and what each makes of a count of failures.
HAPPENS = {
    "PASS": (lambda store: run_motor(store, "PASS"), lambda _: 0),
    "FAIL": (lambda store: run_motor(store, "FAIL"), lambda count: count + 1),
    "NO RESULT": (lambda store: run_motor(store, "NO RESULT"), lambda count: count),
    "void FAIL": (lambda store: run_motor(store, "FAIL", void=True), lambda count: count),
    "void PASS": (lambda store: run_motor(store, "PASS", void=True), lambda count: count),
    "reference PASS": (lambda store: run_motor(store, "PASS", "reference check"), lambda count: count),
    "reference FAIL": (lambda store: run_motor(store, "FAIL", "reference check"), lambda count: count),
    "good check": (lambda store: check(store, "GOOD"), lambda _: 0),
    "bad check": (lambda store: check(store, "BAD"), lambda count: count),
    "unlocked": (lambda store: enter(store, UNLOCKED), lambda _: 0),
    "signed in": (lambda store: enter(store, "sign in"), lambda count: count),
}


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with Store(tmp_path_factory.mktemp("fails")) as opened:
        yield opened


@given(st.lists(st.sampled_from(sorted(HAPPENS)), min_size=1, max_size=8))
@settings(max_examples=30, deadline=None)
def test_the_store_counts_as_one_who_looks_on(store, happened):
    count = store.fails_in_a_row()
    for name in happened:
        do, counted = HAPPENS[name]
        do(store)
        count = counted(count)
        assert store.fails_in_a_row() == count, happened


def test_an_empty_store_and_one_opened_for_reading(tmp_path):
    with Store(tmp_path) as store:
        assert store.fails_in_a_row() == 0
        run_motor(store, "FAIL")
        with Store(tmp_path, read_only=True) as reading:
            assert reading.fails_in_a_row() == 1
