"""station.record.gauge_run: which of several runs of a place in the plan counts."""

from station.record.gauge_run import GaugeRun, counting_runs, gauge_run_of, purpose_of, runs_of, study_of

TROUBLE = {"verdict": "NO RESULT", "reason": "interrupted"}


def record(number, run, fitting=1, repeat=1, study="G1", **change):
    place = GaugeRun(study, number, 6, "refit", "round 1", repeat, fitting, "a" * 64)
    return {"serial": "M1", "run": run, "verdict": "PASS", "reason": "", "purpose": place.purpose,
            "gauge_run": place.as_record(), **change}


def counted(records, **more):
    return {number: one["run"] for number, one in counting_runs(records, **more).items()}


def test_a_place_comes_back_as_it_was_stored():
    place = GaugeRun("G1", 3, 6, "shift", "early", 2, 3, "b" * 64)
    assert gauge_run_of({"gauge_run": place.as_record()}) == place
    assert gauge_run_of({"serial": "M1"}) is None
    assert place.purpose == purpose_of("G1") == "gauge study G1"
    assert [study_of(purpose) for purpose in (place.purpose, "reference check", "gauge study ")] == ["G1", None, ""]


def test_runs_of_one_study_only():
    assert [r["run"] for r in runs_of([record(1, 1), record(1, 2, study="G2"), {"serial": "M1"}], "G1")] == [1]


def test_a_plan_made_once():
    assert counted([record(1, 1), record(2, 2), record(3, 3, fitting=2)]) == {1: 1, 2: 2, 3: 3}


def test_a_fitting_that_was_broken_off_counts_from_its_new_beginning():
    broken = [record(1, 1), record(2, 2), record(3, 3, **TROUBLE)]
    assert counted(broken) == {1: 1, 2: 2}
    again = [*broken, record(1, 4)]
    assert counted(again) == {1: 4}                 # the second run of the old fitting is no part of the new one
    assert counted([*again, record(2, 5), record(3, 6)]) == {1: 4, 2: 5, 3: 6}
    assert counted([*broken, record(1, 4, **TROUBLE)]) == {}


def test_other_fittings_are_left_alone():
    assert counted([record(1, 1), record(3, 2, fitting=2), record(1, 3)]) == {1: 3, 3: 2}


def test_a_void_run_never_counts():
    assert counted([record(1, 1), record(2, 2)], void=frozenset({("M1", 2)})) == {1: 1}


def test_a_failing_motor_is_a_result_and_one_that_could_not_be_judged_too():
    fail, open_ = record(1, 1, verdict="FAIL"), record(2, 2, verdict="NO RESULT", reason="thd.ab has no value")
    assert counted([fail, open_]) == {1: 1, 2: 2}
