"""What begin and finish return is on disk, whole, and stays; whatever kills the station."""

import resource
import sqlite3

import numpy as np
import pytest
from stored_records import ENDED, STARTED, capture, record_of, run_of

from station.capture import Capture, Channel
from station.errors import EvidenceError, StationError, UsageError
from station.record.capture_file import codes_sha256
from station.record.schema import DATABASE
from station.record.store import Store
from station.units import RPM


def test_a_record_is_stored_with_its_captures(tmp_path):
    both = [capture("forward 1500"), capture("reverse 1500")]
    with Store(tmp_path / "store") as store:
        stored = run_of(store, "CP40/ 0001", captures=both)
    with Store(tmp_path / "store", read_only=True) as store:
        shown, = store.show("CP40/ 0001")
        assert shown == stored
        assert stored["run"] == 1
        assert [entry["label"] for entry in stored["captures"]] == ["forward 1500", "reverse 1500"]
        assert [one.label for one in store.captures(shown)] == ["forward 1500", "reverse 1500"]
        assert [entry["codes_sha256"] for entry in stored["captures"]] == [codes_sha256(one) for one in both]


def test_runs_are_counted_for_each_motor(tmp_path):
    with Store(tmp_path) as store:
        runs = [run_of(store, serial)["run"] for serial in ("A", "B", "A", "A", "B")]
    assert runs == [1, 1, 2, 3, 2]


def test_a_begun_run_is_durable_and_is_closed_as_no_result(tmp_path):
    with Store(tmp_path) as store:
        run_id = store.begin("A", started=STARTED, heading={"operator": "K"})
    with Store(tmp_path) as store:
        left, = store.unfinished()
        assert (left.run_id, left.serial, left.run, left.started) == (run_id, "A", 1, STARTED)
        closed, = store.close_unfinished(ended=ENDED)
        assert (closed["verdict"], closed["reason"], closed["operator"]) == ("NO RESULT", "interrupted", "K")
        assert store.unfinished() == []
        assert store.show("A") == [closed]


def test_a_run_has_one_record(tmp_path):
    with Store(tmp_path) as store:
        run_id = store.begin("A", started=STARTED)
        with pytest.raises(UsageError, match="no such run"):
            store.finish(run_id, record_of("B"), [])
        with pytest.raises(UsageError, match="differ in number"):
            store.finish(run_id, record_of("A"), [capture()])
        store.finish(run_id, record_of("A", "FAIL"), [])
        with pytest.raises(UsageError, match="already"):
            store.finish(run_id, record_of("A", "PASS"), [])
        with pytest.raises(UsageError, match="no such run"):
            store.finish(run_id + 1, record_of("A"), [])
        assert [record["verdict"] for record in store.show("A")] == ["FAIL"]


def test_no_run_without_a_serial(tmp_path):
    with Store(tmp_path) as store, pytest.raises(UsageError, match="serial"):
        store.begin("  ", started=STARTED)


def test_a_record_that_is_no_json_leaves_the_run_unfinished(tmp_path):
    with Store(tmp_path) as store:
        run_id = store.begin("A", started=STARTED)
        with pytest.raises(StationError, match="cannot be stored"):
            store.finish(run_id, {**record_of("A"), "hazards": float("nan")}, [])
        assert [run.run_id for run in store.unfinished()] == [run_id]


def test_one_station_for_each_store(tmp_path):
    with Store(tmp_path):
        with pytest.raises(UsageError, match="in use"):
            Store(tmp_path)
        with Store(tmp_path, read_only=True) as reader:
            assert reader.find() == []
    Store(tmp_path).close()


def test_nothing_to_read(tmp_path):
    with pytest.raises(UsageError, match="no store here"):
        Store(tmp_path / "absent", read_only=True)
    assert not (tmp_path / "absent").exists()


def test_altered_evidence_is_told(tmp_path):
    with Store(tmp_path) as store:
        stored = run_of(store, "A", "FAIL", [capture()])
        path = tmp_path / stored["captures"][0]["file"]
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
        with pytest.raises(EvidenceError, match="altered"):
            store.captures(stored)
        path.unlink()
        with pytest.raises(EvidenceError, match="cannot be read"):
            store.captures(stored)
    forger = sqlite3.connect(tmp_path / DATABASE)
    forger.executescript("DROP TRIGGER records_update; UPDATE records SET verdict = 'PASS', "
                         "body = CAST(replace(CAST(body AS TEXT), 'FAIL', 'PASS') AS BLOB);")
    forger.close()
    with Store(tmp_path, read_only=True) as store, pytest.raises(EvidenceError, match="altered"):
        store.find()


def test_a_disk_without_room_is_told_and_the_run_can_be_finished_later(tmp_path):
    noise = np.random.default_rng(1).integers(-9999, 9999, 200_000).astype(np.int16)
    large = Capture({"v_ab": noise}, {"v_ab": Channel(1e-3)}, 4e-6, 0.0, 1500 * RPM, 1499 * RPM, 23.0)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store(tmp_path) as store:
        run_id = store.begin("A", started=STARTED)
        for captures, note in (([large], ""), ([], "x" * 400_000)):  # the capture file, then the database
            resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, hard))
            try:
                with pytest.raises(StationError, match="Free space"):
                    store.finish(run_id, {**record_of("A", captures=captures), "note": note}, captures)
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            assert store.find() == []
            assert [run.run_id for run in store.unfinished()] == [run_id]
        assert store.finish(run_id, record_of("A", captures=[large]), [large])["verdict"] == "PASS"


def test_the_transcript_is_kept_with_the_record_and_an_altered_one_is_told(tmp_path):
    lines = b'{"text": "*IDN?"}\n{"text": "PLANT,TOY,T-1,1"}\n'
    with Store(tmp_path) as store:
        stored = store.finish(store.begin("A", started=STARTED), record_of("A"), [], lines)
        without = run_of(store, "B")
        assert store.transcript(stored) == lines
        assert stored["transcript"]["lines"] == 2
        assert store.transcript(without) is None
        file = tmp_path / stored["transcript"]["file"]
        file.write_bytes(file.read_bytes() + b" ")
        with pytest.raises(EvidenceError, match="altered"):
            store.transcript(stored)
        file.unlink()
        with pytest.raises(EvidenceError, match="cannot be read"):
            store.transcript(stored)


def test_a_store_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(StationError, match="opening the store failed"):
        Store(tmp_path / "file" / "store")
