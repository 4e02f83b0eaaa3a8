"""station.sequence.gauge_runs: what is still to be made after an interruption anywhere, and what ends a session."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import StoppedError, UsageError
from station.record.gauge_run import counting_runs
from station.sequence.gauge_plan import StudyTable, draw_plan, parse_plan, plan_toml
from station.sequence.gauge_runs import make_runs, plan_file, runs_to_make
from station.toml_file import parse_toml

STOPPED = StoppedError("stopped", where="guard", expected="closed", got="open", remedy="Close it.")


def plan_of(by="refit", seed=1):
    study = StudyTable(id="G1", by=by, levels=["L1", "L2"], motors=["M1", "M2", "M3"], repeats=2, seed=seed)
    text = plan_toml(study, draw_plan(study, np.random.default_rng(seed)))
    return parse_plan(parse_toml(text.encode(), "plans/G1.toml"))


class Bench:
    """Remembers what was run; breaks off at the runs told, by count."""

    def __init__(self, breaks=()):
        self.records, self.anew, self.breaks = [], [], set(breaks)

    def run(self, planned, anew):
        trouble = STOPPED if len(self.records) in self.breaks else None
        self.anew.append((planned.place.number, anew))
        self.records.append({"serial": planned.motor, "run": len(self.records) + 1,
                             "verdict": "NO RESULT" if trouble else "PASS",
                             "reason": "The test could not finish: stopped" if trouble else "",
                             "gauge_run": planned.place.as_record()})
        return SimpleNamespace(record=self.records[-1], trouble=trouble)


@pytest.mark.parametrize("by", ["refit", "shift"])
def test_a_plan_in_one_go(by):
    plan, bench = plan_of(by), Bench()
    made = make_runs(runs_to_make(plan, []), bench.run)
    assert (made.runs, made.trouble) == (12, None)
    assert runs_to_make(plan, bench.records) == []
    assert [anew for _, anew in bench.anew] == ([True, False] * 6 if by == "refit" else [True] * 12)


@given(st.lists(st.integers(0, 20), max_size=4))
def test_broken_off_anywhere_it_comes_to_its_end_with_whole_fittings(breaks):
    plan, bench = plan_of(), Bench(breaks)
    for _ in range(len(breaks) + 1):
        make_runs(runs_to_make(plan, bench.records), bench.run)
    assert runs_to_make(plan, bench.records) == []
    counting = counting_runs(bench.records)
    assert sorted(counting) == list(range(1, 13))
    for first in range(1, 13, 2):       # both runs of a fitting were made one right after the other
        assert counting[first + 1]["run"] == counting[first]["run"] + 1


def test_trouble_ends_the_session():
    bench = Bench([3])
    made = make_runs(runs_to_make(plan_of(), []), bench.run)
    assert (made.runs, made.trouble, len(bench.records)) == (3, STOPPED, 4)
    assert bench.anew[-1] == (4, False)
    bench.breaks = set()
    make_runs(runs_to_make(plan_of(), bench.records), bench.run)
    assert bench.anew[4] == (3, True)           # the fitting is begun again


def test_one_level_at_a_time():
    plan = plan_of("shift")
    assert {run.place.level for run in runs_to_make(plan, [], level="L2")} == {"L2"}
    with pytest.raises(UsageError, match="no such level"):
        runs_to_make(plan, [], level="L3")


def test_another_plan_of_the_same_name_is_refused():
    bench = Bench()
    make_runs(runs_to_make(plan_of(seed=1), [])[:2], bench.run)
    with pytest.raises(UsageError, match="another plan"):
        runs_to_make(plan_of(seed=2), bench.records)


def test_a_run_declared_void_is_made_again_with_its_fitting():
    plan, bench = plan_of(), Bench()
    make_runs(runs_to_make(plan, []), bench.run)
    void = frozenset({(bench.records[1]["serial"], 2)})
    assert [run.place.number for run in runs_to_make(plan, bench.records, void)] == [1, 2]


def test_the_plan_is_kept_as_it_was_read():
    plan = plan_of()
    file = plan_file(plan)
    assert (file.kind, file.name, file.content.decode(), file.sha256) == ("gauge plan", "G1.toml", plan.text,
                                                                          plan.sha256)
