"""Which run counts: as the rule says in words, and as the yield of a store counts in SQL."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.record.counting import RunPlace, places_of
from station.record.record import interrupted_record
from station.record.store import Store

AT = "2026-11-25T10:00:00.000Z"
RUN = st.tuples(st.sampled_from(["PASS", "FAIL", "NO RESULT"]), st.booleans(), st.booleans())


def run(number, verdict, purpose=""):
    return {"run": number, "verdict": verdict, **({"purpose": purpose} if purpose else {})}


def test_the_last_valid_run_with_a_result_counts():
    runs = [run(1, "FAIL"), run(2, "NO RESULT"), run(3, "PASS"), run(4, "FAIL"), run(5, "FAIL", "reference check")]
    assert places_of(runs, {4}) == [
        RunPlace(1, "superseded", 3, is_first=True), RunPlace(2, "no result"), RunPlace(3, "counts"),
        RunPlace(4, "void"), RunPlace(5, "purpose")]
    assert places_of(runs[1:3], set()) == [RunPlace(2, "no result"), RunPlace(3, "counts", is_first=True)]
    assert places_of([run(1, "NO RESULT")], set()) == [RunPlace(1, "no result")]
    assert places_of([], set()) == []


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with Store(tmp_path_factory.mktemp("counting")) as opened:
        yield opened


@given(st.lists(RUN, max_size=6))
@settings(max_examples=25, deadline=None)
def test_yield_counts_the_same_runs(store, runs):
    serial = f"M{len(store.find()):06d}"
    before = store.count_yield()
    for verdict, is_void, is_reference in runs:
        heading = {"motor_type": {"name": "CP-40"}, **({"purpose": "reference check"} if is_reference else {})}
        stored = store.finish(store.begin(serial, started=AT, heading=heading),
                              {**interrupted_record(serial, AT, AT, heading), "verdict": verdict}, [])
        if is_void and not is_reference:
            store.correct(stored, "void", person="R. Fink", reason="fitted askew", at=AT)
    records = store.show(serial)
    void = {number for number, (_, is_void, is_reference) in enumerate(runs, 1) if is_void and not is_reference}
    found = list(zip(records, places_of(records, void), strict=True))
    first = [record["verdict"] == "PASS" for record, place in found if place.is_first]
    last = [record["verdict"] == "PASS" for record, place in found if place.why == "counts"]
    after = store.count_yield()
    assert (after.motors - before.motors, after.passed_first - before.passed_first,
            after.passed_last - before.passed_last) == (len(last), sum(first), sum(last))
