"""What a draft would have said of stored tests: counted by hand on a few, and accepted by a release."""

import json
from shutil import copytree

import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.cli import program
from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.record.kept_files import keep_file
from station.record.store import Store
from station.study.causes import UNKNOWN
from station.study.escapes import Costs
from station.study.limit_study import candidates_of, study_limit
from station.study.study_report import study_of
from station.study.what_if import Span, changes_alone, flips, judged_stores, judged_tests, outcome, warnings_of
from station.study.what_if_report import WhatIf, as_json
from station.toml_file import parse_toml

LINES = [limit_line("hall_placement.b", -4.0, 4.0), limit_line("hall_position.a", -4.0, 4.0)]
IN_FORCE = limits_of(LINES, "simple")
DRAFT = limits_of([limit_line("hall_placement.b", -2.0, 2.0), limit_line("hall_position.a", -6.0, 3.0)], "simple", "B",
                  released=False)


def measured(placement, position, labels=("forward 1000", "reverse 1000")):
    placements = {("hall_placement.b", label): (placement, 0.1) for label in labels}
    return placements | {("hall_position.a", ""): (position, 0.1)}


# serial, placement, position, day; what becomes of it by the draft
MOTORS = [
    ("good", 0.0, 0.0, 1), ("tight", 3.0, 0.0, 1), ("both", 3.0, 3.5, 2), ("saved", 0.0, -5.0, 2),
    ("bad", 9.0, 0.0, 3), ("again", 9.0, 0.0, 3), ("again", 3.0, 0.0, 4), ("last", 0.0, 3.5, 4)]


@pytest.fixture
def folder(tmp_path):
    where = tmp_path / "store"
    with Store(where) as store:
        keep_file(where, IN_FORCE.text.encode())
        for serial, placement, position, day in MOTORS:
            store_record(store, record_of(serial, measured(placement, position), IN_FORCE,
                                          started=f"2026-11-0{day}T10:00:00.000Z"))
        store_record(store, record_of("check", measured(3.0, 0.0), IN_FORCE, purpose="reference check"))
        void = store_record(store, record_of("void", measured(3.0, 0.0), IN_FORCE))
        store.correct(void, "void", person="Line engineering", reason="wrong motor", at="2026-11-25T11:00:00.000Z")
        store_record(store, record_of("stopped", measured(0.0, 0.0, ()), IN_FORCE, trouble=True))
    return where


def test_the_confusion_of_verdicts(folder):
    found = outcome([judged_tests(folder, DRAFT)], Span())
    assert {pair: count for pair, count in found.confusion.items() if count} == {
        ("PASS", "PASS"): 1, ("PASS", "FAIL"): 4, ("FAIL", "PASS"): 1, ("FAIL", "FAIL"): 2,
        ("NO RESULT", "NO RESULT"): 1}
    assert found.tests == 9


def test_first_pass_yield_counts_each_motor_once_and_first(folder):
    found = outcome([judged_tests(folder, DRAFT)], Span())
    assert (found.old.passed, found.old.motors) == (4, 7)
    assert (found.new.passed, found.new.motors) == (2, 7)
    with Store(folder, read_only=True) as store:
        counted = store.count_yield(motor_type="CP-40")
    assert (found.old.passed, found.old.motors) == (counted.passed_first, counted.motors)
    assert found.old.share.low < 4 / 7 < found.old.share.high


def test_a_copy_of_a_store_is_not_counted_beside_it(folder, tmp_path):
    copytree(folder, tmp_path / "copy")
    with pytest.raises(UsageError, match="same log"):
        judged_stores([folder, tmp_path / "copy"], DRAFT)
    with Store(tmp_path / "elsewhere", origin="eol-2") as store:
        keep_file(store.folder, IN_FORCE.text.encode())
        store_record(store, record_of("good", measured(0.0, 0.0), IN_FORCE, station="EOL-2"))
    found = outcome(judged_stores([folder, tmp_path / "elsewhere"], DRAFT), Span())
    assert (found.tests, found.old.motors) == (10, 8)


def test_each_flip_has_its_cause(folder):
    found = flips([judged_tests(folder, DRAFT)], DRAFT, Span())
    assert [(flip.serial, flip.old, flip.new, flip.causes, flip.shipped) for flip in found] == [
        ("tight", "PASS", "FAIL", ("hall_placement.b",), True),
        ("both", "PASS", "FAIL", ("hall_placement.b", "hall_position.a"), True),
        ("saved", "FAIL", "PASS", ("hall_position.a",), False),
        ("again", "PASS", "FAIL", ("hall_placement.b",), True),
        ("last", "PASS", "FAIL", ("hall_position.a",), True)]
    assert changes_alone(found) == {
        ("hall_placement.b", "PASS", "FAIL"): (2, 1), ("hall_position.a", "PASS", "FAIL"): (1, 1),
        ("hall_position.a", "FAIL", "PASS"): (1, 0)}


def test_a_motor_that_failed_last_was_not_shipped(folder):
    with Store(folder) as store:
        store_record(store, record_of("tight", measured(9.0, 0.0), IN_FORCE, started="2026-11-09T10:00:00.000Z"))
    found = flips([judged_tests(folder, DRAFT)], DRAFT, Span())
    assert [flip.serial for flip in found if flip.shipped] == ["both", "again", "last"]


def test_spans_part_the_tests(folder):
    tests = [judged_tests(folder, DRAFT)]
    before, after = (outcome(tests, span) for span in (Span(until="2026-11-03"), Span(since="2026-11-03")))
    assert (before.tests, after.tests) == (4, 5)
    assert (before.old.motors, after.old.motors) == (4, 3)
    assert [flip.serial for flip in flips(tests, DRAFT, Span("2026-11-02", "2026-11-03"))] == ["both", "saved"]


def test_several_stores_are_added_up(folder):
    one, two = (outcome([judged_tests(folder, DRAFT)] * times, Span()) for times in (1, 2))
    assert two.confusion == {pair: 2 * count for pair, count in one.confusion.items()}
    assert two.new.motors == 2 * one.new.motors


def test_a_limit_on_more_than_was_measured_decides_nothing(folder):
    draft = limits_of([*LINES, limit_line("hall_jitter", upper=1.0)], "simple", "B")
    tests = [judged_tests(folder, draft)]
    found = outcome(tests, Span())
    assert found.confusion["PASS", "NO RESULT"] == 5
    assert found.new.motors == 3       # those that fail all the same
    assert any("5 test(s) have values missing" in words for words in warnings_of(tests, found))
    assert {flip.causes for flip in flips(tests, draft, Span())} == {("hall_jitter",)}


def test_limits_that_were_not_kept_are_told(folder):
    for path in (folder / "files").iterdir():
        path.unlink()
    tests = [judged_tests(folder, DRAFT)]
    assert outcome(tests, Span()).confusion["PASS", "FAIL"] == 4
    assert next(flip.causes for flip in flips(tests, DRAFT, Span()) if flip.serial == "saved") == (UNKNOWN,)
    assert any("was not kept" in words for words in warnings_of(tests, outcome(tests, Span())))


def test_a_draft_that_measures_otherwise_is_refused(folder):
    other = limits_of(LINES, "simple", "B").text.replace("c = 240.0", "c = 239.9")
    with pytest.raises(UsageError, match="other values"):
        judged_tests(folder, parse_limits(parse_toml(other.encode(), "draft.toml")))


def test_the_study_of_a_limit(folder):
    tests = [judged_tests(folder, DRAFT)]
    candidates = candidates_of(DRAFT, "hall_placement.b", "upper", (1.0, 10.0), 10)
    study = study_limit(tests, DRAFT, candidates, {"tight": "turned", "bad": "turned"}, Costs(1.0, 10.0, 0.1),
                        Span(until="2026-11-04"), Span(since="2026-11-04"))
    assert study.alone.good == 4            # good, both, saved, again
    assert study.alone.motors == {"": 2, "turned": 2}
    at = {bound: k for k, bound in enumerate(study.alone.bounds)}
    assert [study.alone.false_rejects[at[bound]].value for bound in (2.0, 3.0, 8.0, 9.0)] == [0.5, 0.25, 0.25, 0.0]
    assert [study.alone.escapes["turned"][at[bound]].value for bound in (2.0, 3.0, 9.0)] == [0.0, 0.5, 1.0]
    assert study.among.false_rejects[at[9.0]].value == 0.25     # both fails the other limit
    assert study.first_tests == 6
    assert study.passed[at[9.0]] == 5
    assert study.best.bound == 2.0
    assert (study.score.good, study.score.bounds) == (1, (2.0,))


@pytest.mark.parametrize(("key", "side"), [("hall_placement.b", ""), ("hall_placement.b", "left")])
def test_a_side_must_be_named_where_there_are_two(key, side):
    with pytest.raises(UsageError, match="side"):
        candidates_of(DRAFT, key, side)


def test_candidates_hold_the_drafts_own_bound_and_do_not_cross_the_other():
    found = candidates_of(DRAFT, "hall_placement.b", "lower", (-5.0, 5.0), 11)
    assert -2.0 in found.bounds
    assert max(found.bounds) <= 2.0
    assert found.tightest_first()[0] == max(found.bounds)


def test_the_report_is_what_a_release_asks_for(folder):
    tests = [judged_tests(folder, DRAFT)]
    report = as_json(WhatIf(DRAFT, tests, "2026-11-25T12:00:00.000Z", [outcome(tests, Span())],
                            flips(tests, DRAFT, Span()), None, "", []))
    with Store(folder, read_only=True) as store:
        used = study_of(report.encode(), "report.json", DRAFT.sha256, store.log)
        assert used.log_size == len(store.log)
    said = json.loads(report)
    assert [one["serial"] for one in said["shipped_and_not_passed"]] == ["tight", "both", "again", "last"]
    assert said["against"][0]["limit_files"] == [{"sha256": IN_FORCE.sha256, "revision": "A"}]
    assert said["outcomes"][0]["first_pass_yield"]["draft"]["passed"] == 2


def test_the_command(folder, tmp_path, capsys):
    draft = tmp_path / "draft.toml"
    draft.write_text(DRAFT.text)
    bad = tmp_path / "bad.toml"
    bad.write_text('format = 1\n[[motor]]\nserial = "bad"\nfault = "turned"\n')
    words = ["study", "what-if", str(draft), "--against", str(folder), "--known-bad", str(bad), "--limit",
             "hall_placement.b", "--side", "upper", "--costs", "1", "10", "--hold-out", "2026-11-04"]
    assert program.run(words) == 0
    said = capsys.readouterr().out
    assert "57.14 % (4 of 7" in said
    assert "would not pass: 4" in said
    assert "29 for 10 %" in said
    assert program.run([*words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["draft"]["sha256"] == DRAFT.sha256


@pytest.mark.parametrize("words", [["--since", "yesterday"], ["--limit", "thd"], ["--sequence-revision", "Z"]])
def test_wrong_words_are_told(folder, tmp_path, capsys, words):
    draft = tmp_path / "draft.toml"
    draft.write_text(DRAFT.text)
    assert program.run(["study", "what-if", str(draft), "--against", str(folder), *words]) == 2
    assert words[1] in capsys.readouterr().err
