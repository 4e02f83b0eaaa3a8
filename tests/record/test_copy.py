"""station.record.copy: what is made entry by entry out of a log is the store that the log is of."""

import sqlite3
import tarfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_contents import contents
from stored_records import ENDED, run_of

from station.errors import EvidenceError, StationError, UsageError
from station.record.copy import CopiedEntry, StoreCopy
from station.record.log_check import body_faults, count_faults, head_faults, tree_faults
from station.record.log_key import LogKey
from station.record.schema import DATABASE
from station.record.store import Store

GOLDEN = Path(__file__).parents[1] / "golden"
def entries_of(store, first=0):
    return [CopiedEntry(one.kind, one.subject, one.body, one.checkpoint) for one in store.log.entries(first)]


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    """A small store of every kind of entry: runs of a reference motor, suspects, a correction, an interrupted run."""
    folder = tmp_path_factory.mktemp("original")
    with Store(folder / "store", log_key=LogKey.make(folder / "keys", "eol-1")) as store:
        store.begin("LEFT", started=ENDED)
        run_of(store, "A"), run_of(store, "A", "FAIL"), run_of(store, "Ω-1", "NO RESULT")
        store.close_unfinished(ended=ENDED)     # so that runs are logged in another order than they began
        store.begin("OPEN", started=ENDED)
        check = {"motor_type": "CP-40", "reasons": ["drift"], "motors": []}
        store.add_reference_check(check | {"result": "GOOD"})
        run_of(store, "B")
        store.add_reference_check(check | {"result": "BAD"})
        store.correct(store.show("A")[0], "void", person="K. Amsel", reason="lead was off", at=ENDED)
        store.add_statement("retention", {"format": 1, "files": [], "person": "R. Fink", "at": ENDED})
        run_of(store, "C")
        yield store, entries_of(store)


def test_a_copy_is_the_store_row_by_row(tmp_path, original):
    store, entries = original
    with StoreCopy(tmp_path / "copy", "eol-1") as copy:
        assert copy.add(entries) == len(store.log) == 10
    assert contents(tmp_path / "copy") == contents(store.folder)
    with Store(tmp_path / "copy", read_only=True) as copied:
        assert copied.suspects() == store.suspects() != []
        assert copied.count_yield() == store.count_yield()
        assert copied.attempts("A") == store.attempts("A")
        assert copied.unfinished() == []
        verifier = LogKey.load(store.folder.parent / "keys").verifier
        assert not [*count_faults(copied.log.connection), *tree_faults(copied.log),
                    *body_faults(copied.log.entries(), "eol-1"), *head_faults(copied.log, [verifier])]


@given(portions=st.lists(st.integers(0, 4), max_size=12))
@settings(max_examples=15)
def test_it_does_not_matter_in_how_many_portions_a_copy_grows(tmp_path_factory, original, portions):
    store, entries = original
    folder, first = tmp_path_factory.mktemp("copy"), 0
    for size in [*portions, len(entries)]:
        with StoreCopy(folder, "eol-1") as copy:
            assert len(copy.log) == first
            first = copy.add(entries[first:first + size])
    assert contents(folder) == contents(store.folder)


@pytest.mark.parametrize("golden", ["signed-log", "without-log"])
def test_stores_of_earlier_times_are_copied_whole(tmp_path, golden):
    with tarfile.open(GOLDEN / f"{golden}.tar.xz") as tar:
        tar.extractall(tmp_path, filter="data")
    for folder in sorted(path.parent for path in tmp_path.rglob(DATABASE)):
        with Store(folder) as store, StoreCopy(folder.parent / "copy", store.log.origin) as copy:
            assert copy.add(entries_of(store)) == len(store.log) > 0
        assert contents(folder.parent / "copy") == contents(folder)


@pytest.mark.parametrize("spoilt", [
    pytest.param(lambda e: [*e[:4], e[5], e[4], *e[6:]], id="exchanged"),
    pytest.param(lambda e: [*e[:4], *e[5:]], id="one left out"),
    pytest.param(lambda e: [*e[:5], e[4], *e[5:]], id="one twice"),
    pytest.param(lambda e: [*e[:4], replace(e[4], body=e[4].body.replace(b"GOOD", b"BAD")), *e[5:]], id="altered"),
    pytest.param(lambda e: [*e[:4], replace(e[4], checkpoint=e[3].checkpoint), *e[5:]], id="head of another entry"),
    pytest.param(lambda e: [*e[:4], replace(e[4], checkpoint="no note"), *e[5:]], id="no head"),
    pytest.param(lambda e: [*e[:4], replace(e[4], body=b"{}"), *e[5:]], id="says nothing"),
    pytest.param(lambda e: [*e[:4], replace(e[4], body=b"[1]"), *e[5:]], id="no object"),
    pytest.param(lambda e: [*e[:4], replace(e[4], body=b"\xff"), *e[5:]], id="no JSON"),
    pytest.param(lambda e: [*e[:4], replace(e[4], subject=2, kind="record"), *e[5:]], id="about another row"),
])
def test_what_is_not_the_next_entry_is_refused_and_nothing_of_its_portion_stays(tmp_path, original, spoilt):
    store, entries = original
    with StoreCopy(tmp_path / "copy", "eol-1") as copy:
        copy.add(entries[:2])
        with pytest.raises(EvidenceError):
            copy.add(spoilt(entries)[2:])
        assert len(copy.log) == 2
        copy.add(entries[2:])
    assert contents(tmp_path / "copy") == contents(store.folder)


def test_a_copy_is_of_one_log_and_has_one_writer(tmp_path, original):
    _, entries = original
    with StoreCopy(tmp_path / "copy", "eol-1") as copy:
        copy.add(entries[:2])
        with pytest.raises(UsageError, match="in use"), StoreCopy(tmp_path / "copy", "eol-1"):
            pass
    with pytest.raises(UsageError, match="another station"), StoreCopy(tmp_path / "copy", "eol-2"):
        pass
    with StoreCopy(tmp_path / "other", "eol-2") as other, pytest.raises(EvidenceError, match="cannot be copied"):
        other.add(entries)


def test_an_altered_copy_is_not_gone_on_with(tmp_path, original):
    _, entries = original
    with StoreCopy(tmp_path / "copy", "eol-1") as copy:
        copy.add(entries[:5])
    with closing(sqlite3.connect(tmp_path / "copy" / DATABASE)) as connection:
        connection.executescript("DROP TRIGGER records_update; UPDATE records SET body = x'7b7d' WHERE run_id = 2;")
    with pytest.raises(StationError, match="altered"), StoreCopy(tmp_path / "copy", "eol-1"):
        pass
