"""Captures go by rule, after the log says so; everything that may be asked about stays."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from station.capture import Capture, Channel
from station.clock import stamp
from station.errors import EvidenceError
from station.record.record import interrupted_record
from station.record.record_schema import faults_of
from station.record.retention import Rule, removed_files
from station.record.store import Store

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
RULES = (Rule("PASS", 30), Rule("FAIL", 300))


def capture(label):
    return Capture({"v_ab": np.arange(400, dtype=np.int16)}, {"v_ab": Channel(1e-3)}, 4e-6, 0.0, 157.0, 157.0, 23.0,
                   label=label)


def run_of(store, serial, verdict, days_ago, purpose=""):
    at = stamp(NOW - timedelta(days=days_ago))
    heading = {"motor_type": {"name": "CP-40"}, **({"purpose": purpose} if purpose else {})}
    both = [capture("forward 1500"), capture("reverse 1500")]
    record = {**interrupted_record(serial, at, at, heading), "verdict": verdict,
              "captures": [{"label": one.label} for one in both]}
    return store.finish(store.begin(serial, started=at, heading=heading), record, both)


def files_of(*records):
    return [entry["file"] for record in records for entry in record["captures"]]


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path) as opened:
        yield opened


def test_only_what_an_archive_elsewhere_has_goes_where_there_is_one(store):
    old = [run_of(store, serial, "PASS", days_ago) for serial, days_ago in zip("ABCD", (33, 32, 31, 0), strict=True)]
    assert store.removals_due(RULES, NOW, 0) == []
    removal, = store.removals_due(RULES, NOW, 2)
    assert [file["file"] for file in removal.files] == files_of(*old[:2])


def test_what_is_old_enough_goes_and_the_rest_stays(store, tmp_path):
    old, failed, young = run_of(store, "A", "PASS", 31), run_of(store, "B", "FAIL", 31), run_of(store, "C", "PASS", 0)
    removal, = store.removals_due(RULES, NOW)
    assert [file["file"] for file in removal.files] == files_of(old)
    assert removal.size == sum((tmp_path / name).stat().st_size for name in files_of(old))
    kept = {name: (tmp_path / name).read_bytes() for name in files_of(old)}
    said = store.remove(removal, person="K. Muster", at=stamp(NOW))
    assert faults_of("retention", said) == []
    assert [(tmp_path / name).exists() for name in files_of(old, failed, young)] == [False] * 2 + [True] * 4
    assert store.removals_due(RULES, NOW) == []
    assert store.show("A") == [old]
    with pytest.raises(EvidenceError, match=r"removed on 2026-11-25T12:00:00.000Z by the rule: captures of PASS older"):
        store.captures(old)
    assert len(store.captures(failed)) == 2
    for name, content in kept.items():      # put back for a while
        (tmp_path / name).write_bytes(content)
    assert len(store.captures(old)) == 2
    assert store.removals_due(RULES, NOW) == []
    assert (store.finish_removals(), len(store.statements("retention"))) == (2, 1)
    (tmp_path / files_of(young)[0]).unlink()
    with pytest.raises(EvidenceError, match="cannot be read"):
        store.captures(young)


def test_the_log_says_so_before_the_file_goes(store, monkeypatch):
    old = run_of(store, "A", "PASS", 31)
    run_of(store, "C", "PASS", 0)
    removal, = store.removals_due(RULES, NOW)
    with monkeypatch.context() as patched:
        patched.setattr("station.record.store.remove_files", lambda *_: pytest.fail("stop here"))
        with pytest.raises(pytest.fail.Exception):
            store.remove(removal, person="K", at=stamp(NOW))
    assert list(removed_files(store.statements("retention"))) == files_of(old)
    assert len(store.captures(old)) == 2        # still there, as after a kill
    assert store.finish_removals() == 2
    assert store.finish_removals() == 0
    assert len(store.statements("retention")) == 1


def test_a_clock_set_wrong_removes_nothing(store):
    run_of(store, "A", "PASS", 20)
    run_of(store, "B", "PASS", 0)
    assert store.removals_due(RULES, NOW + timedelta(days=3650)) == []
    run_of(store, "C", "PASS", -3650)                                       # the last record is the one in doubt
    assert store.removals_due(RULES, NOW) == []
    assert len(store.removals_due(RULES, NOW + timedelta(days=11))) == 1


def test_what_may_be_asked_about_stays(store, tmp_path):
    run_of(store, "R", "PASS", 400, purpose="reference check")
    doubtful = run_of(store, "S", "PASS", 400)
    store.add_reference_check({"format": 1, "motor_type": "CP-40", "result": "BAD"})
    altered, missing = run_of(store, "A", "PASS", 400), run_of(store, "M", "PASS", 400)
    with (tmp_path / files_of(altered)[0]).open("ab") as file:
        file.write(b" ")
    (tmp_path / files_of(missing)[0]).unlink()
    run_of(store, "C", "NO RESULT", 0)
    removal, = store.removals_due(RULES, NOW)
    assert [file["file"] for file in removal.files] == [files_of(altered)[1], files_of(missing)[1]]
    assert store.captures(doubtful)


def test_nothing_is_due_in_a_store_without_records_or_rules(store):
    assert store.removals_due(RULES, NOW) == []
    run_of(store, "A", "PASS", 400)
    run_of(store, "C", "PASS", 0)
    assert store.removals_due((), NOW) == []


def test_a_long_removal_is_stated_in_parts(store, monkeypatch):
    monkeypatch.setattr("station.record.retention.MOST", 4)
    for serial in "ABCDE":
        run_of(store, serial, "PASS", 31)
    run_of(store, "Z", "PASS", 0)
    assert [len(removal.files) for removal in store.removals_due(RULES, NOW)] == [4, 4, 2]


KILLED = """
import os, signal, sys
from datetime import datetime
from pathlib import Path
from station.record.retention import Rule
from station.record.store import Store
with Store(Path(sys.argv[1])) as store:
    removal, = store.removals_due([Rule("PASS", 30)], datetime.fromisoformat(sys.argv[2]))
    unlink, left = Path.unlink, [1]
    def unlink_one(path, **options):
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)
        left.pop()
        unlink(path, **options)
    Path.unlink = unlink_one
    store.remove(removal, person="K", at=sys.argv[2])
"""


def test_a_kill_between_two_files_leaves_nothing_unexplained(tmp_path):
    with Store(tmp_path) as store:
        old = run_of(store, "A", "PASS", 31)
        run_of(store, "C", "PASS", 0)
    killed = subprocess.run([sys.executable, "-c", KILLED, tmp_path, stamp(NOW)], check=False)
    assert killed.returncode == -9
    with Store(tmp_path) as store:
        assert sum((tmp_path / name).exists() for name in files_of(old)) == 1
        assert set(removed_files(store.statements("retention"))) == set(files_of(old))
        assert store.finish_removals() == 1
