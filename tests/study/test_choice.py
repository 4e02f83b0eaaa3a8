"""station.study.choice: which tests are studied, against the rows of a table chosen by hand; and said in words."""

import numpy as np
import pandas as pd
import pytest

from station.errors import UsageError
from station.study.choice import Choice
from station.study.table_file import About
from station.study.wide_table import WideTable

ROWS = (    # serial, run, started, verdict, kind, void, suspect, first, limits, place in the log
    ("A", 1, "2026-11-20T23:59:59Z", "FAIL", "production", False, False, True, "aa11", 0),
    ("A", 2, "2026-11-21T00:00:00Z", "PASS", "production", False, False, False, "aa11", 1),
    ("B", 1, "2026-11-21T12:00:00Z", "NO RESULT", "production", False, False, False, "aa11", 2),
    ("B", 2, "2026-11-21T13:00:00Z", "PASS", "production", False, True, True, "ab22", 3),
    ("C", 1, "2026-11-22T08:00:00Z", "PASS", "production", True, False, False, "ab22", 4),
    ("C", 2, "2026-11-22T09:00:00Z", "PASS", "production", False, False, True, "ab22", 6),
    ("R", 1, "2026-11-22T10:00:00Z", "PASS", "reference check", False, False, False, "ab22", 8),
    ("D", 1, "2026-11-23T10:00:00Z", "FAIL", "production", False, False, True, "ab22", 9),
)
NAMES = ("serial", "run", "started", "verdict", "kind", "void", "suspect", "first", "limit_sha256", "seq")


@pytest.fixture
def table():
    frame = pd.DataFrame(list(ROWS), columns=list(NAMES))
    frame["started"] = pd.to_datetime(frame["started"])
    return WideTable(About("CP-40", "A", "eol-1", 10, "00" * 32, (), {}), {}, frame)


@pytest.mark.parametrize(("choice", "runs"), [
    (Choice(), "A1 B2 C2 D1"),
    (Choice(every_run=True), "A1 A2 B2 C2 D1"),
    (Choice(since="2026-11-21"), "B2 C2 D1"),
    (Choice(until="2026-11-21"), "A1 B2"),
    (Choice(since="2026-11-21", until="2026-11-21", every_run=True), "A2 B2"),
    (Choice(limits="aa"), "A1"), (Choice(limits="a"), "A1 B2 C2 D1"), (Choice(limits="ff"), ""),
    (Choice(trusted=True), "A1 C2 D1"),
    (Choice(without=("A", "D", "X")), "B2 C2"),
    (Choice(entries=6), "A1 B2"), (Choice(entries=7), "A1 B2 C2"), (Choice(entries=0), ""),
])
def test_which_runs_are_chosen(table, choice, runs):
    frame = choice.of(table).frame
    assert " ".join(f"{serial}{run}" for serial, run in zip(frame["serial"], frame["run"], strict=True)) == runs
    assert list(frame.index) == list(np.arange(len(frame)))


@pytest.mark.parametrize("text", ["2026-13-01", "yesterday", "20261121", "2026-11-21T00:00:00Z", "2026-11-1"])
@pytest.mark.parametrize("name", ["since", "until"])
def test_what_is_no_date_is_refused(name, text):
    with pytest.raises(UsageError, match="no date"):
        Choice(**{name: text})


def test_all_that_is_asked_for_stands_in_the_words():
    said = Choice("2026-11-01", "2026-11-30", "ab22" * 16, True, True, ("CP40-0001", "CP40-0002")).words()
    for part in ("every run", "since 2026-11-01", "until 2026-11-30", "ab22ab22ab22,", "in doubt", "CP40-0001",
                 "CP40-0002"):
        assert part in said
    assert "first attempts" in Choice().words()
