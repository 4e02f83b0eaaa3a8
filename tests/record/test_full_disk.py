"""A disk that is full or cannot be written: the run has no result, it is told why, and work resumes without repair."""

import sqlite3

import numpy as np
import pytest
from small_disks import files_no_longer_than, fill, mount_again, small_disk, unwritable
from store_writer import ENDED, HEADING, SERIAL, STARTED, TRANSCRIPT, open_store, record_of
from store_writer import capture as small_capture
from survivors import Told, examine

from station.capture import Capture, Channel
from station.errors import StationError
from station.record.kept_files import keep_file
from station.record.schema import DATABASE
from station.record.store import Store


def capture(size=20_000):
    codes = np.random.default_rng(1).integers(-9999, 9999, size).astype(np.int16)
    return Capture({"v_ab": codes}, {"v_ab": Channel(1e-3)}, 4e-6, 0.0, 157.0, 157.0, 23.0, label="forward 1500")


def a_run(store, kept=None):
    """Carry out one run; return its record. `kept` learns the run's id as soon as it is known."""
    limits = keep_file(store.folder, f"limits {len(store.log)}".encode() * 500)
    run_id = store.begin(SERIAL, started=STARTED, heading=HEADING)
    if kept is not None:
        kept.append(run_id)
    return store.finish(run_id, record_of(limits), [store.keep_capture(run_id, SERIAL, 1, capture())],
                        TRANSCRIPT)


def assert_told(error):
    assert "Free space" in error.remedy or "mend" in error.remedy
    assert error.exit_code != 0


def test_wherever_a_full_disk_strikes_nothing_counts_and_work_resumes(tmp_path):
    struck = set()
    with small_disk(tmp_path / "disk") as disk:
        for number, left in enumerate(range(0, 260_000, 12_000)):
            folder, begun = disk / f"store{number}", []
            with open_store(folder) as store:
                before = [a_run(store)]
                filler = fill(disk, left)
                try:
                    before.append(a_run(store, begun))
                except StationError as error:
                    assert_told(error)
                    struck.add(error.what)
                assert store.find() == before
                filler.unlink()
                # without repair, without opening the store again
                interrupted = store.close_unfinished(ended=ENDED)
                assert [record["verdict"] for record in interrupted] == ["NO RESULT"] * (len(begun) - len(before) + 1)
                assert a_run(store)["verdict"] == "PASS"
            assert examine(folder, Told()).faults == ()
            for file in sorted(folder.rglob("*"), reverse=True):
                file.rmdir() if file.is_dir() else file.unlink()
    assert len(struck) >= 3     # the file in force, the capture, the record


def test_a_full_disk_is_told_when_the_store_is_opened_and_is_read_all_the_same(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        with open_store(disk / "store") as store:
            stored = a_run(store)
            run_id = store.begin(SERIAL, started=STARTED)
        filler = fill(disk, 0)
        try:
            open_store(disk / "store").close()
        except StationError as error:
            assert_told(error)
        with Store(disk / "store", read_only=True) as store:
            assert store.find() == [stored]
            assert len(store.captures(stored)) == 1
        filler.unlink()
        with open_store(disk / "store") as store:
            assert [run.run_id for run in store.unfinished()] == [run_id]
        assert examine(disk / "store", Told()).faults == ()


@pytest.mark.parametrize("most", range(4000, 200_000, 28_000))
def test_a_quota_that_is_used_up_is_a_full_disk(tmp_path, most):
    with open_store(tmp_path) as store:
        stored, begun = a_run(store), []
        with files_no_longer_than(most):
            try:
                a_run(store, begun)
            except StationError as error:
                assert_told(error)
                assert store.find() == [stored]
        store.close_unfinished(ended=ENDED)
        assert a_run(store)["verdict"] == "PASS"
    assert examine(tmp_path, Told()).faults == ()


def test_a_disk_that_is_mounted_read_only_is_told_and_is_read(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        with open_store(disk / "store") as store:
            stored = a_run(store)
        mount_again(disk, "ro")
        with pytest.raises(StationError, match="opening the store failed"):
            open_store(disk / "store")
        with Store(disk / "store", read_only=True) as store:
            assert store.find() == [stored]
            assert len(store.captures(stored)) == 1
        mount_again(disk, "rw")
        with open_store(disk / "store") as store:
            a_run(store)
        assert examine(disk / "store", Told()).faults == ()


@pytest.mark.parametrize("name", ["captures", "files"])
def test_a_folder_that_cannot_be_written_is_told_and_nothing_counts(tmp_path, name):
    begun = []
    with open_store(tmp_path) as store:
        stored = a_run(store)
        with unwritable(tmp_path / name), pytest.raises(StationError) as caught:
            a_run(store, begun)
        assert_told(caught.value)
        assert store.find() == [stored]
        assert len(store.close_unfinished(ended=ENDED)) == len(begun) == (name == "captures")
        assert a_run(store)["run"] == 2 + len(begun)
    assert examine(tmp_path, Told()).faults == ()


def test_a_database_that_cannot_grow_ends_no_run(tmp_path):
    """Another program holds the database for writing, as a copy program may: the station waits, then says so."""
    with open_store(tmp_path) as store:
        stored = a_run(store)
        run_id = store.begin(SERIAL, started=STARTED, heading=HEADING)
        store._connection.execute("PRAGMA busy_timeout = 50")
        other = sqlite3.connect(tmp_path / DATABASE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        record = record_of(stored["limit_file"]["sha256"])
        with pytest.raises(StationError, match="storing a record failed"):
            store.finish(run_id, record, [small_capture(1)])
        other.execute("ROLLBACK")
        other.close()
        assert store.find() == [stored]
        assert store.finish(run_id, record, [small_capture(1)])["verdict"] == "PASS"


def test_nothing_of_a_run_whose_record_does_not_fit_is_shown(tmp_path):
    with open_store(tmp_path) as store:
        run_id = store.begin(SERIAL, started=STARTED, heading=HEADING)
        long = {**record_of("0" * 64), "captures": [], "note": "x" * 400_000}
        with files_no_longer_than(150_000), pytest.raises(StationError) as caught:
            store.finish(run_id, long, [])
        assert "no result" in caught.value.remedy
        assert store.show(SERIAL) == []
        assert len(store.log) == 0
        assert store.finish(run_id, long, [])["log"]["seq"] == 0
