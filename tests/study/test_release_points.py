"""Before a release, each point says by itself whether it holds, and in words why it does not."""

import json

import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.errors import UsageError
from station.record.kept_files import keep_file
from station.record.log_key import LogKey
from station.record.store import Store
from station.study.compare import compare
from station.study.release_points import Finders, release_points
from station.study.release_study import consequences, study_for_release, told_by

IN_FORCE = limits_of([limit_line("hall_placement.b", -4.0, 4.0), limit_line("hall_position.a", None, 40.0)], "simple")
DRAFT = limits_of([limit_line("hall_placement.b", -2.0, 2.0), limit_line("hall_position.a", None, 40.0)], "simple", "B",
                  released=False)
AT = "2026-11-26T08:00:00.000Z"


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store", log_key=LogKey.make(tmp_path / "keys", "eol-1"), origin="eol-1") as opened:
        keep_file(opened.folder, IN_FORCE.text.encode())
        for serial, placement in (("A", 0.0), ("B", 3.0), ("C", 9.0)):
            add(opened, serial, placement)
        yield opened


def add(store, serial, placement):
    labels = ("forward 1000", "reverse 1000")
    measured = {("hall_placement.b", label): (placement, 0.1) for label in labels}
    store_record(store, record_of(serial, measured | {("hall_position.a", ""): (20.0, 0.1)}, IN_FORCE))


def study(store, draft=DRAFT):
    return study_for_release(store.folder, draft.text.encode(), draft.name, "", AT).encode()


def points(store, tmp_path, draft=DRAFT, report=None, key=True):
    target = tmp_path / "CP-40.toml"
    target.write_text(IN_FORCE.text)

    def load():
        if not key:
            raise UsageError("the station signs nothing", where="here", expected="keys", got="none",
                             remedy="Make some.")
        return LogKey.load(tmp_path / "keys")

    found = release_points(store, draft, report, compare(IN_FORCE, draft), Finders(lambda: target, load))
    return {point.key: (point.state, point.words) for point in found}


def test_a_draft_that_may_be_released_has_no_open_point(store, tmp_path):
    found = points(store, tmp_path, report=study(store))
    assert {key: state for key, (state, _) in found.items()} == dict.fromkeys(
        ("file", "number", "key", "dropped", "study"), "holds")


def test_each_point_that_fails_is_told_by_itself(store, tmp_path):
    other = limits_of([limit_line("hall_placement.b", -4.0, 4.0)], "simple", "A", released=False)
    found = points(store, tmp_path, other, key=False)
    assert {key: state for key, (state, _) in found.items()} == {
        "file": "holds", "number": "broken", "key": "broken", "dropped": "open", "study": "broken"}
    assert "released before" in found["number"][1]
    assert "signs nothing" in found["key"][1]
    assert found["dropped"][1] == "hall_position.a"


def test_a_draft_that_changes_nothing_is_worth_a_question(store, tmp_path):
    lines = [limit_line("hall_placement.b", -4.0, 4.0), limit_line("hall_position.a", None, 40.0)]
    same = limits_of(lines, "simple", "B", released=False)
    assert points(store, tmp_path, same)["changes"][0] == "open"


def test_a_study_older_than_the_tests_is_open_and_its_consequences_are_what_changes(store, tmp_path):
    report = study(store)
    assert consequences(report) == {("B", 1, "FAIL")}
    told = told_by(report)
    assert (told.tests, told.entries, told.made, [flip["serial"] for flip in told.recalled]) == (3, 3, AT, ["B"])
    assert told.yields["old"]["passed"] - told.yields["draft"]["passed"] == 1
    add(store, "D", 9.0)
    state, words = points(store, tmp_path, report=report)["study"]
    assert state == "open"
    assert "older than its data" in words
    assert consequences(study(store)) == consequences(report)
    add(store, "E", 3.0)
    assert consequences(study(store)) - consequences(report) == {("E", 1, "FAIL")}


def test_a_tolerance_too_narrow_for_what_is_measured_has_no_study(store):
    narrow = limits_of([limit_line("hall_placement.b", -0.01, 0.01)], "guarded", "B", released=False)
    with pytest.raises(Exception, match="accepts nothing") as told:
        study(store, narrow)
    assert "hall_placement.b" in str(told.value)


def test_the_report_is_one_that_a_release_takes(store):
    report = json.loads(study(store))
    assert (report["study"], report["draft"]["sha256"], report["log"]["size"]) == ("what-if", DRAFT.sha256, 3)
