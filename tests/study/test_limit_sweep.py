"""A sweep counts by each candidate what judging all runs by it would."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_records import limit_line, limits_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_rejudge import LABELS, limit_files, runs, scalar, table_of

from station.audit.verdicts import judge_again
from station.errors import UsageError
from station.study import table_file
from station.study.limit_sweep import Candidates, limit_called, sweep, with_bound


@pytest.fixture(autouse=True)
def small_groups(monkeypatch):
    monkeypatch.setattr(table_file, "ROWS_PER_GROUP", 4)


def with_candidate(limits, limit, side, bound, others=True):
    moved = with_bound(limit, side, bound)
    rest = tuple(one for one in limits.limits if one is not limit) if others else ()
    return replace(limits, limits=(*rest, moved))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_every_candidate_counts_as_if_it_were_in_force(tmp_path, data):
    in_force, draft = data.draw(limit_files("A")), data.draw(limit_files("B"))
    limit = data.draw(st.sampled_from(draft.limits))
    side = data.draw(st.sampled_from([s for s, b in (("lower", limit.lower), ("upper", limit.upper)) if b is not None]))
    other = limit.upper if side == "lower" else limit.lower
    bounds = [b for b in data.draw(st.lists(st.sampled_from([-4.0, -1.0, 0.0, 1.0, 4.0]) | st.floats(-5, 5), min_size=1,
                                            max_size=9, unique=True))
              if other is None or (b <= other if side == "lower" else b >= other)] or [other]
    records = [data.draw(runs(in_force)) for _ in range(data.draw(st.integers(1, 10)))]
    file = table_of(records, tmp_path / "table.parquet")
    found = sweep(file, draft, {in_force.sha256: in_force}, Candidates(limit.key, side, tuple(bounds)))
    seq = np.argsort(file.read(["seq"], range(file.groups))["seq"])
    for bound, passed in zip(bounds, found.passed, strict=True):
        verdicts = [scalar(record, with_candidate(draft, limit, side, bound)) for record in records]
        assert passed == verdicts.count("PASS")
        place = found.ordered.index(bound)
        assert [fails <= place for fails in found.among[seq]] == [verdict == "PASS" for verdict in verdicts]
        by_itself = [all(row.result == "PASS" for row in judge_again(
            record, LABELS, with_candidate(draft, limit, side, bound, others=False)).rows) for record in records]
        assert [fails <= place for fails in found.alone[seq]] == by_itself


def test_a_limit_that_is_not_there_is_named():
    with pytest.raises(UsageError, match="no such limit"):
        limit_called(limits_of([limit_line("hall_placement", -4.0, 4.0)]), "thd")
