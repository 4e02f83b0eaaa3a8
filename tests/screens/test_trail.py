"""The trail on its way into the log of the station: each entry there exactly once, whatever happens between."""

import json
import shutil
import sqlite3

import pytest

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import logged
from station.audit.trails import audit_trail
from station.clock import system_clock
from station.record.store import Store
from station.record.trail_entry import BEGINNING, MOST, chained
from station.screens.people import DATABASE, People
from station.screens.trail import Trail


@pytest.fixture
def trail(tmp_path):
    return Trail(People(tmp_path / "people", system_clock()), system_clock())


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store", origin="eol-1") as opened:
        yield opened


def scanned(trail, *serials):
    for serial in serials:
        trail.add("A. Pirol", "scan", where="here", about=serial)


def in_the_log(store):
    return [entry["about"] for said in store.statements("trail") for entry in said["entries"]]


def audited(store):
    report = Report()
    audit_trail([logged(entry) for entry in store.log.entries()], report)
    return report


def found(store):
    return [(finding.code, finding.severity) for finding in audited(store).findings]


def test_each_entry_comes_into_the_log_once_and_in_order(trail, store):
    assert trail.enter(store) == 0
    scanned(trail, "A", "B")
    assert [json.loads(body)["about"] for body in trail.waiting(store)] == ["A", "B"]
    assert trail.enter(store) == 2
    assert trail.enter(store) == 0
    scanned(trail, "C")
    assert trail.enter(store) == 1
    assert in_the_log(store) == ["A", "B", "C"]
    assert trail.waiting(store) == []
    assert len(store.log) == 2
    assert audited(store).held[Step.CIRCUMSTANCE] == 2
    assert found(store) == []


def test_a_long_trail_comes_in_portions(trail, store):
    scanned(trail, *map(str, range(MOST + 1)))
    assert trail.enter(store) == MOST + 1
    assert [len(said["entries"]) for said in store.statements("trail")] == [MOST, 1]
    assert found(store) == []


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_crash_around_the_entry_neither_loses_nor_doubles(trail, tmp_path, when, monkeypatch):
    """The process ends right before, or right after, the log has what it was given."""
    scanned(trail, "A")
    enter = Store.add_statement

    def ends(store, kind, said):
        if when == "after":
            enter(store, kind, said)
        raise KeyboardInterrupt

    with Store(tmp_path / "store", origin="eol-1") as store, monkeypatch.context() as patched:
        patched.setattr(Store, "add_statement", ends)
        with pytest.raises(KeyboardInterrupt):
            trail.enter(store)
    with Store(tmp_path / "store", origin="eol-1") as store:
        scanned(trail, "B")
        trail.enter(store)
        assert in_the_log(store) == ["A", "B"]
        assert found(store) == []


def test_a_trail_from_a_backup_is_entered_anew_and_told(trail, store, tmp_path):
    scanned(trail, "A")
    backup = tmp_path / "backup.db"
    shutil.copy(trail.people.folder / DATABASE, backup)
    scanned(trail, "B")
    trail.enter(store)
    shutil.copy(backup, trail.people.folder / DATABASE)
    scanned(trail, "C")
    trail.enter(store)
    trail.enter(store)
    assert in_the_log(store) == ["A", "B", "A", "C"]
    assert found(store) == [("circumstance.trail_anew", Severity.DOUBTFUL)]


@pytest.mark.parametrize(("skilled", "told"), [(True, ("circumstance.trail_anew", Severity.DOUBTFUL)),
                                               (False, ("circumstance.trail", Severity.BROKEN))])
def test_an_entry_changed_after_it_was_logged_is_told_by_the_log(trail, store, skilled, told):
    """Whether or not who changed it knew how entries are chained; what was logged stays what it was."""
    scanned(trail, "A")
    trail.enter(store)
    body = trail.entries()[0][1].replace(b"Pirol", b"Lerche")
    end = chained(BEGINNING, body) if skilled else bytes(32)
    forge(trail, f"UPDATE trail SET body = x'{body.hex()}', chained = x'{end.hex()}'")
    assert trail.enter(store) == 1
    assert trail.enter(store) == 0
    assert found(store) == [told]
    assert store.statements("trail")[0]["entries"][0]["who"] == "A. Pirol"


def test_an_entry_taken_out_before_it_was_logged_is_told(trail, store):
    scanned(trail, "A", "B", "C")
    forge(trail, "DELETE FROM trail WHERE number = 2")
    trail.enter(store)
    assert found(store) == [("circumstance.trail", Severity.BROKEN)]


def forge(trail, sql):
    forger = sqlite3.connect(trail.people.folder / DATABASE)
    forger.executescript(f"DROP TRIGGER trail_update; DROP TRIGGER trail_delete; {sql};")
    forger.close()
