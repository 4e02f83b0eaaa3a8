"""Reference checks in the store: never changed, and each marks exactly what no good one has followed."""

import json
import sqlite3

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import EvidenceError
from station.record.record import interrupted_record
from station.record.store import Store

STARTED = "2026-11-25T10:00:00.000Z"


def run(store, serial, motor_type, verdict="PASS", **heading):
    heading = {"motor_type": {"name": motor_type}} | heading
    run_id = store.begin(serial, started=STARTED, heading=heading)
    record = interrupted_record(serial, STARTED, STARTED, heading) | {"verdict": verdict, "reason": "measured"}
    return store.finish(run_id, record, [])


def check(store, motor_type, result):
    return store.add_reference_check({"motor_type": motor_type, "result": result, "motors": []})


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store") as opened:
        yield opened


def marked(store):
    return [(suspect.serial, suspect.run) for suspect in store.suspects()]


def test_a_failed_check_marks_what_was_tested_since_the_last_good_one(store):
    run(store, "CP40-0001", "CP-40")
    check(store, "CP-40", "GOOD")
    run(store, "CP40-0002", "CP-40", "FAIL")
    run(store, "CP40-R001", "CP-40", purpose="reference check")
    run(store, "CP40-0003", "CP-40", "NO RESULT")
    run(store, "CP40-0001", "CP-40")
    made = check(store, "CP-40", "BAD")
    assert marked(store) == [("CP40-0002", 1), ("CP40-0001", 2)]
    assert made["suspects"] == [{"serial": "CP40-0002", "run": 1}, {"serial": "CP40-0001", "run": 2}]
    check(store, "CP-40", "GOOD")
    run(store, "CP40-0002", "CP-40")
    assert marked(store) == [("CP40-0002", 1), ("CP40-0001", 2)]      # what is in doubt stays in doubt
    check(store, "CP-40", "BAD")
    assert marked(store)[-1] == ("CP40-0002", 2)
    assert {suspect.check for suspect in store.suspects()} == {2, 4}


def test_another_type_is_marked_unless_a_good_check_of_its_own_followed(store):
    check(store, "CP-40", "GOOD")
    check(store, "VB-24", "GOOD")
    run(store, "VB24-0001", "VB-24")
    check(store, "VB-24", "GOOD")
    run(store, "VB24-0002", "VB-24")
    run(store, "CP60-0001", "CP-60D")      # never checked: goes by the last good check of any type
    check(store, "CP-40", "BAD")
    assert marked(store) == [("VB24-0002", 1), ("CP60-0001", 1)]


def test_no_result_and_good_mark_nothing(store):
    run(store, "CP40-0001", "CP-40")
    assert check(store, "CP-40", "NO RESULT")["suspects"] == []
    assert check(store, "CP-40", "GOOD")["suspects"] == []
    assert marked(store) == []


@settings(max_examples=40, deadline=None)
@given(events=st.lists(st.sampled_from(["run A", "run B", "good A", "good B", "bad A", "bad B"]), max_size=16))
def test_marks_are_those_of_the_rule_written_out(events, tmp_path_factory):
    with Store(tmp_path_factory.mktemp("line") / "store") as store:
        wanted = set()
        for now, event in enumerate(events):
            what, kind = event.split()
            if what == "run":
                run(store, f"{kind}-{now}", kind)
                continue
            if what == "bad":
                wanted |= {at for at, other in enumerate(events[:now]) if other.startswith("run")
                           and not _confirmed(events[:now], at)}
            check(store, kind, what.upper())
        assert {serial for serial, _ in marked(store)} == {f"{events[at][-1]}-{at}" for at in wanted}


def _confirmed(events, at):
    """Whether a good check follows event `at`: of its own type, or of any if its own type has no check at all."""
    kind = events[at][-1]
    own = any(event in (f"good {kind}", f"bad {kind}") for event in events)
    return any(event == f"good {kind}" or (event.startswith("good") and not own) for event in events[at:])


@pytest.mark.parametrize("statement", [
    "UPDATE reference_checks SET result = 'GOOD'", "DELETE FROM reference_checks", "DELETE FROM suspects",
    "INSERT OR REPLACE INTO reference_checks SELECT * FROM reference_checks",
    "UPDATE suspects SET run_id = 2", "INSERT INTO reference_checks SELECT 9, motor_type, 'MAYBE', last_run, sha256, "
    "body FROM reference_checks",
])
def test_nothing_is_ever_changed(store, statement):
    run(store, "CP40-0001", "CP-40")
    check(store, "CP-40", "BAD")
    with sqlite3.connect(store.folder / "records.sqlite") as other, pytest.raises(sqlite3.IntegrityError):
        other.execute(statement)
    other.close()
    assert marked(store) == [("CP40-0001", 1)]
    assert store.reference_checks()[0]["result"] == "BAD"


def test_an_altered_entry_is_told(store):
    check(store, "CP-40", "BAD")
    with sqlite3.connect(store.folder / "records.sqlite") as other:
        other.execute("DROP TRIGGER reference_checks_update")
        other.execute("UPDATE reference_checks SET result = 'GOOD'")
    other.close()
    with pytest.raises(EvidenceError, match="index differ"):
        store.reference_checks()
    with sqlite3.connect(store.folder / "records.sqlite") as other:
        body = json.dumps({"result": "GOOD"}).encode()
        other.execute("UPDATE reference_checks SET body = ?", (body,))
    other.close()
    with pytest.raises(EvidenceError, match="was altered"):
        store.reference_checks()


def test_what_happened_since(store):
    made = check(store, "CP-40", "GOOD")
    run(store, "CP40-0001", "CP-40", "NO RESULT")
    since = store.since(made["last_run"], "CP-40")
    assert (since.interrupted, since.other_type) == (None, None)
    run(store, "VB24-R001", "VB-24", purpose="reference check")
    assert store.since(made["last_run"], "CP-40").other_type is None
    run(store, "VB24-0001", "VB-24")
    store.begin("CP40-0002", started=STARTED, heading={"motor_type": {"name": "CP-40"}})
    since = store.since(made["last_run"], "CP-40")
    assert (since.interrupted, since.other_type) == ("CP40-0002", "VB-24")
    store.close_unfinished(ended=STARTED)
    assert store.since(made["last_run"], "CP-40").interrupted == "CP40-0002"
    again = check(store, "CP-40", "GOOD")
    since = store.since(again["last_run"], "CP-40")
    assert (since.interrupted, since.other_type) == (None, None)


def test_runs_of_a_check_are_no_production(store):
    run(store, "CP40-R002", "CP-40", "FAIL", purpose="reference check")
    run(store, "CP40-0001", "CP-40")
    assert store.count_yield().motors == 1


def test_the_newest_checks_and_those_from_the_last_of_a_type(store):
    kinds = ["CP-40", "VB-24", "CP-40", "CP-40", "CP-60D", "VB-24", "CP-60D", "VB-24"]
    made = [check(store, kind, "GOOD") for kind in kinds]
    for count in range(6):
        assert store.newest_reference_checks(count) == [
            one for place, one in enumerate(made) if kinds[place:].count(kinds[place]) <= count]
    for kind in set(kinds):
        assert store.reference_checks_from_the_last(kind) == made[len(kinds) - 1 - kinds[::-1].index(kind):]
    assert store.reference_checks_from_the_last("CP-99") == []


def test_a_store_older_than_reference_checks_can_be_read(store):
    run(store, "CP40-0001", "CP-40")
    store.close()
    with sqlite3.connect(store.folder / "records.sqlite") as old:
        old.executescript("DROP TABLE suspects; DROP TABLE reference_checks;")
    old.close()
    with Store(store.folder, read_only=True) as reader:
        assert reader.reference_checks() == reader.newest_reference_checks(9) == []
        assert reader.reference_checks_from_the_last("CP-40") == []
        assert reader.suspects() == []


def test_the_checks_around_a_test_are_told_by_the_log(store):
    early = run(store, "CP40-0001", "CP-40")
    first = check(store, "CP-40", "GOOD")
    check(store, "VB-24", "BAD")
    between = run(store, "CP40-0002", "CP-40")
    second = check(store, "CP-40", "NO RESULT")
    check(store, "CP-40", "GOOD")
    late = run(store, "CP40-0003", "CP-40")
    assert store.reference_checks_around(early) == (None, first)
    assert store.reference_checks_around(between) == (first, second)
    before, after = store.reference_checks_around(late)
    assert (before["check"], after) == (4, None)
    assert store.reference_checks_around({**late, "log": None}) == (None, None)     # from before there was a log
