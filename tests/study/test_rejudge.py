"""Judging a whole table again comes to what the scalar judge says of each record, and to what other engines say."""

import sys
from dataclasses import replace
from math import inf, nan
from pathlib import Path

import numpy as np
import pytest
from drawn_records import LABELS, limit_line, limits_of, record_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from station.audit.verdicts import judge_again
from station.errors import EvidenceError
from station.record import export
from station.record.trouble import is_trouble
from station.study import table_file
from station.study.rejudge import VERDICTS, changed, demands, rejudge
from station.study.table_file import About, TableFile, write_table
from station.study.table_rows import TableRows

sys.path.append(str(Path(__file__).parents[1] / "benchmarks"))
from engines import ENGINES

NAMES = ("hall_placement.a", "hall_placement.b", "hall_placement.c", "hall_position.a")
KEYS = ("hall_placement", "hall_placement.b", "hall_placement.a@forward 1000", "hall_position.a",
        "hall_placement.c@reverse 1000", "hall_angle_rise.a")
EDGES = (-4.0, -1.0, 0.0, 1.0, 4.0)

number = st.sampled_from([*EDGES, nan, inf, -inf]) | st.floats(-6, 6)
u_of = st.sampled_from([0.0, 0.1, 0.5, nan, inf]) | st.floats(0, 2)


@st.composite
def limit_files(draw, number_of="A", rules=("simple", "guarded", "conformance", "false_accept")):
    lines = []
    for key in draw(st.lists(st.sampled_from(KEYS), min_size=1, unique=True)):
        lower, upper = sorted(draw(st.tuples(st.sampled_from(EDGES), st.sampled_from(EDGES))))
        side = draw(st.sampled_from([(lower, upper), (lower, None), (None, upper)]))
        lines.append(limit_line(key, *side))
    return limits_of(lines, draw(st.sampled_from(rules)), number_of)


@st.composite
def runs(draw, limits, serial="M"):
    measured = draw(st.dictionaries(st.tuples(st.sampled_from(NAMES), st.sampled_from(["", *LABELS])),
                                    st.tuples(number, u_of)))
    refused = draw(st.dictionaries(st.sampled_from(LABELS), st.sampled_from(["open_phase", "no_emf", "unsteady"]),
                                   max_size=1))
    taken = draw(st.sampled_from([LABELS, LABELS, LABELS, ()])) or tuple(refused)
    placed = {(name, "" if name.startswith("hall_position") else label or LABELS[0]): value
              for (name, label), value in measured.items()}
    return record_of(serial, {key: value for key, value in placed.items() if key[1] in ("", *taken)}, limits,
                     refused=refused, trouble=draw(st.sampled_from([False] * 5 + [True])), taken=taken)


def table_of(records, path):
    rows = TableRows(export.WideTable())
    for k, record in enumerate(records):
        rows.add({**record, "run": k + 1, "log": {"seq": k}})
    table, values = rows.table()
    write_table(path, table, About("CP-40", "A", "EOL-1", len(records), "", values, rows.labels))
    return TableFile(path)


def scalar(record, limits):
    return "NO RESULT" if is_trouble(record) else str(judge_again(record, LABELS, limits).verdict)


def told(file, codes):
    seq = file.read(["seq"], range(file.groups))["seq"]
    return [VERDICTS[code] for code in codes[np.argsort(seq)]]


@pytest.fixture(autouse=True)
def small_groups(monkeypatch):
    monkeypatch.setattr(table_file, "ROWS_PER_GROUP", 4)      # so that a few runs make several groups


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_every_run_by_any_draft(tmp_path, data):
    files = [data.draw(limit_files(number)) for number in ("A", "B")]
    draft = data.draw(limit_files("C"))
    records = [data.draw(runs(data.draw(st.sampled_from(files)))) for _ in range(data.draw(st.integers(1, 14)))]
    file = table_of(records, tmp_path / "table.parquet")
    expected = [scalar(record, draft) for record in records]
    known = {limits.sha256: limits for limits in files}
    for in_force in (known, {}, {files[0].sha256: files[0]}):
        again = rejudge(file, draft, in_force)
        assert told(file, again.new) == expected
        assert told(file, again.old) == [record["verdict"] for record in records]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_every_engine_and_the_scalar_judge_agree(tmp_path, data):
    draft = data.draw(limit_files("C", rules=("simple", "guarded")))
    exact = st.sampled_from([0.0, 0.05, nan])       # wide limits against them, so that no guard is to be solved for
    draft = replace(draft, limits=tuple(limit if limit.lower != limit.upper else replace(limit, lower=None)
                                        for limit in draft.limits))
    records = []
    for k in range(data.draw(st.integers(1, 12))):
        keys = [(name, label) for name in (*NAMES[:3], "hall_angle_rise.a") for label in LABELS] + [(NAMES[3], "")]
        measured = {key: (data.draw(number), data.draw(exact)) for key in keys if data.draw(st.integers(0, 5))}
        records.append(record_of(f"M{k}", measured, draft, trouble=data.draw(st.booleans())))
    # one run with every value, so that every column is there for SQL to name
    whole = [(name, label) for name in (*NAMES[:3], "hall_angle_rise.a") for label in LABELS] + [(NAMES[3], "")]
    records.append(record_of("whole", dict.fromkeys(whole, (0.0, 0.0)), draft))
    file = table_of(records, tmp_path / "table.parquet")
    expected = sum(scalar(record, draft) == "PASS" for record in records)
    assert told(file, rejudge(file, draft, {}).new).count("PASS") == expected
    for name, engine in ENGINES.items():
        assert engine(file.path, demands(draft, LABELS)) == expected, name


A = limits_of([limit_line("hall_placement.b", -4.0, 4.0), limit_line("hall_placement.c", -4.0, 4.0)], "simple")


def whole_run(value, limits=A, **options):
    measured = {(name, label): (value, 0.1) for name in NAMES[:3] for label in LABELS}
    return record_of("M", measured, limits, **options)


def test_a_stopped_sequence_gives_no_pass_by_a_looser_draft(tmp_path):
    stopped = record_of("M", {("hall_placement.a", "forward 1000"): (9.0, 0.1)},
                        limits_of([limit_line("hall_placement.a", -4.0, 4.0)], "simple"), taken=("forward 1000",))
    looser = limits_of([limit_line("hall_placement.a", -10.0, 10.0)], "simple", "B")
    file = table_of([stopped], tmp_path / "table.parquet")
    assert told(file, rejudge(file, looser, {}).new) == ["NO RESULT"]


def test_a_limit_on_what_was_never_measured_gives_no_pass(tmp_path):
    file = table_of([whole_run(0.0)], tmp_path / "table.parquet")
    draft = limits_of([limit_line("hall_jitter", upper=1.0)], "simple", "B")
    assert told(file, rejudge(file, draft, {A.sha256: A}).new) == ["NO RESULT"]


@pytest.mark.parametrize("spoilt", [nan, inf, -inf])
def test_what_is_no_number_does_not_pass_even_if_the_table_was_given_it_as_measured(tmp_path, spoilt):
    rows = TableRows(export.WideTable())
    for k in range(8):
        rows.add({**whole_run(0.0), "run": k + 1, "log": {"seq": k}})
    table, values = rows.table()
    place = table.column_names.index("hall_placement.b@forward 1000")
    numbers = [0.0] * 5 + [spoilt] + [0.0] * 2
    table = table.set_column(place, table.schema.field(place), [numbers])
    write_table(tmp_path / "table.parquet", table, About("CP-40", "A", "", 8, "", values, rows.labels))
    file = TableFile(tmp_path / "table.parquet")
    again = rejudge(file, limits_of([limit_line("hall_placement", -5.0, 5.0)], "simple", "B"), {})
    assert told(file, again.new) == ["PASS"] * 5 + ["NO RESULT"] + ["PASS"] * 2


def test_only_values_whose_limits_differ_are_read_and_only_where_it_matters(tmp_path, monkeypatch):
    file = table_of([whole_run(value) for value in (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 9.0, 9.5)],
                    tmp_path / "table.parquet")
    read = []
    monkeypatch.setattr(file, "read", lambda names, groups: read.append((set(names), list(groups)))
                        or TableFile.read(file, names, groups))
    draft = limits_of([limit_line("hall_placement.b", -4.0, 2.25), limit_line("hall_placement.c", -4.0, 4.0)],
                      "simple", "B")
    assert told(file, rejudge(file, draft, {A.sha256: A}).new) == ["PASS"] * 5 + ["FAIL"] * 5
    values = {name for names, groups in read for name in names if name in file.about.values and groups == [0]}
    assert not values       # the first four runs pass by their bounds
    assert not any("hall_placement.c" in name for names, _ in read for name in names)


def test_entries_that_only_have_another_name_change_nothing():
    plain, each = (demands(limits_of(lines), LABELS) for lines in (
        [limit_line("hall_placement", -4.0, 4.0)],
        [limit_line(f"hall_placement.{s}@{label}", -4.0, 4.0) for s in "abc" for label in LABELS]))
    assert changed(plain, each) == ([], [])


def test_counts_that_do_not_follow_are_refused(tmp_path):
    rows = [{**whole_run(9.0), "judged": [], "verdict": "FAIL"}]
    file = table_of(rows, tmp_path / "table.parquet")
    with pytest.raises(EvidenceError, match="stored counts"):
        rejudge(file, limits_of([limit_line("hall_placement.c", -4.0, 4.0)], "simple", "B"), {A.sha256: A})
