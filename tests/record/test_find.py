"""Stored tests are found by what is known of them, and a retest never makes a first pass."""

import pytest

from station.errors import UsageError
from station.record.record import interrupted_record
from station.record.store import Store

RUNS = [  # serial, type, verdict, started
    ("CP40-0001", "CP-40", "PASS", "2026-11-24T23:59:59.999Z"),
    ("CP40-0002", "CP-40", "FAIL", "2026-11-25T08:00:00.000Z"),
    ("CP40-0002", "CP-40", "PASS", "2026-11-25T08:10:00.000Z"),
    ("VB24-0001", "VB-24", "NO RESULT", "2026-11-25T09:00:00.000Z"),
    ("VB24-0001", "VB-24", "PASS", "2026-11-25T23:59:59.999Z"),
    ("VB24-0002", "VB-24", "NO RESULT", "2026-11-26T00:00:00.000Z"),
    ("CP40-0003", "CP-40", "PASS", "2026-11-26T08:00:00.000Z"),
    ("CP40-0003", "CP-40", "FAIL", "2026-11-26T08:30:00.000Z"),
]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with Store(tmp_path_factory.mktemp("store")) as opened:
        for serial, kind, verdict, started in RUNS:
            record = {**interrupted_record(serial, started, started, {"motor_type": {"name": kind}}),
                      "verdict": verdict}
            opened.finish(opened.begin(serial, started=started), record, [])
        yield opened


@pytest.mark.parametrize(("wanted", "found"), [
    ({}, [0, 1, 2, 3, 4, 5, 6, 7]),
    ({"serial": "CP40-*"}, [0, 1, 2, 6, 7]),
    ({"serial": "*-0002"}, [1, 2, 5]),
    ({"serial": "VB24-000?", "verdict": "NO RESULT"}, [3, 5]),
    ({"serial": "CP40"}, []),
    ({"serial": "[CV]*"}, []),  # brackets stand for themselves
    ({"verdict": "FAIL"}, [1, 7]),
    ({"motor_type": "VB-24"}, [3, 4, 5]),
    ({"since": "2026-11-25", "until": "2026-11-25"}, [1, 2, 3, 4]),
    ({"since": "2026-11-25T08:10:00.000Z", "until": "2026-11-25T09:00:00.000Z"}, [2, 3]),
])
def test_find(store, wanted, found):
    keys = [(record["serial"], record["motor_type"]["name"], record["verdict"], record["started"])
            for record in store.find(**wanted)]
    assert keys == [RUNS[k] for k in found]


def test_an_unknown_verdict_is_told(store):
    with pytest.raises(UsageError, match="PASS, FAIL or NO RESULT"):
        store.find(verdict="pass")


def test_show_gives_the_runs_of_one_motor_in_order(store):
    assert [(record["run"], record["verdict"]) for record in store.show("CP40-0002")] == [(1, "FAIL"), (2, "PASS")]
    assert store.show("CP40-*") == []


def test_yield_counts_the_first_run_with_a_result(store):
    counted = store.count_yield()
    assert (counted.motors, counted.passed_first, counted.passed_last) == (4, 3, 3)
    assert counted.first_pass == pytest.approx(0.75)
    of_type = store.count_yield(motor_type="VB-24")
    assert (of_type.motors, of_type.passed_first) == (1, 1)
    later = store.count_yield(since="2026-11-25T08:05:00.000Z", until="2026-11-25")
    assert (later.motors, later.passed_first) == (1, 1)  # the retest of CP40-0002 is no first run
    assert store.count_yield(motor_type="none").first_pass is None


def test_motor_types_and_purposes(tmp_path):
    made = (("M1", "CP-40", ""), ("M2", "VB-24", "gauge study B"), ("M1", "CP-40", "reference check"),
            ("M3", "CP-40", "gauge study A"), ("M2", "VB-24", "gauge study B"), ("M4", "", ""))
    with Store(tmp_path / "store") as store:
        for serial, kind, purpose in made:
            heading = {"purpose": purpose} if purpose else {}
            record = interrupted_record(serial, "2026-11-25T08:00:00.000Z", "2026-11-25T08:00:09.000Z",
                                        {"motor_type": {"name": kind}} | heading)
            store.finish(store.begin(serial, started=record["started"], heading=heading), record, [])
        assert store.motor_types() == ["CP-40", "VB-24"]
        assert store.purposes() == ["gauge study B", "reference check", "gauge study A"]
        made_for = list(store.made_for("gauge study B"))
        assert [(record["serial"], record["run"]) for record in made_for] == [("M2", 1), ("M2", 2)]
        assert list(store.made_for("gauge study")) == []
