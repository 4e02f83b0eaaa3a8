"""Wide tables say of every run what its record says, and are never older than the log."""

import shutil

import numpy as np
import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.errors import EvidenceError, UsageError
from station.record.store import Store
from station.record.trail_entry import BEGINNING, portion
from station.study.table_rows import Status
from station.study.wide_table import TABLES, read_table

KEY, DRAG = "hall_placement.b@forward 1000", "drag_torque@forward 1000"
LIMITS = limits_of([limit_line("hall_placement.b", -4.0, 4.0)])
B = {("hall_placement.b", "forward 1000"): (1.0, 0.1), ("hall_placement.b", "reverse 1000"): (1.5, 0.1)}


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path) as opened:
        yield opened


def test_each_status_is_told_from_every_other(store):
    forward = ("hall_placement.b", "forward 1000")
    runs = {
        "whole": record_of("whole", B, LIMITS),
        "left out": record_of("left out", {k: v for k, v in B.items() if k != forward}, LIMITS),
        "no number": record_of("no number", B | {forward: (np.nan, 0.1)}, LIMITS),
        "refused": record_of("refused", B | {("drag_torque", "forward 1000"): (3.0, 0.1)}, LIMITS,
                             refused={"forward 1000": "unsteady"}),
        "stopped": record_of("stopped", {}, LIMITS, taken=()),
    }
    for record in runs.values():
        store_record(store, record)
    table = read_table(store.folder, "CP-40")
    assert dict(zip(table.frame["serial"], table.status(KEY), strict=True)) == {
        "whole": Status.MEASURED, "left out": Status.MISSING, "no number": Status.NO_NUMBER,
        "refused": Status.REFUSED, "stopped": Status.NOT_RUN}
    assert (np.isfinite(table.values(KEY)) == (table.status(KEY) == Status.MEASURED)).all()
    # a value that an instrument indicated while its capture was refused is not judged, so it is none
    assert table.status(DRAG)[3] == Status.REFUSED
    assert np.isnan(table.values(DRAG)).all()
    assert list(table.frame["missing"]) == [0, 1, 1, 1, 2]
    assert list(table.frame["verdict"]) == ["PASS"] + ["NO RESULT"] * 4
    assert list(table.measured(KEY)) == [1.0]
    assert table.units[KEY] == "deg"
    assert table.u(KEY)[0] == 0.1
    assert table.dof(KEY)[0] == np.inf


def test_rows_stand_in_the_order_of_the_log(store):
    for k, value in enumerate((1.0, 9.0, 2.0, 9.0, 3.0)):
        store_record(store, record_of(f"M{k}", dict.fromkeys(B, (value, 0.1)), LIMITS))
    table = read_table(store.folder, "CP-40")
    assert list(table.values(KEY)) == [1.0, 9.0, 2.0, 9.0, 3.0]
    assert list(table.frame["seq"]) == [0, 1, 2, 3, 4]
    assert list(table.frame["failed"]) == [0, 2, 0, 2, 0]


def test_what_is_logged_since_is_in_the_table(store):
    stored = [store_record(store, record_of("A", B, LIMITS))]
    assert len(read_table(store.folder, "CP-40").frame) == 1
    stored.append(store_record(store, record_of("B", B, LIMITS)))
    assert len(read_table(store.folder, "CP-40").frame) == 2
    store.correct(stored[0], "void", person="Line engineering", reason="wrong motor", at="2026-11-25T11:00:00.000Z")
    assert list(read_table(store.folder, "CP-40").frame["void"]) == [True, False]


def test_each_row_names_its_leaf_in_the_log(store):
    for serial in "ABC":
        store_record(store, record_of(serial, B, LIMITS))
    found = read_table(store.folder, "CP-40").frame
    assert list(found["leaf"]) == [entry.leaf.hex() for entry in store.log.entries(0)]


def test_a_table_that_is_up_to_date_is_not_made_again(store):
    store_record(store, record_of("A", B, LIMITS))
    read_table(store.folder, "CP-40")
    path, = (store.folder / TABLES).iterdir()
    before = path.stat().st_ino, path.stat().st_mtime_ns
    read_table(store.folder, "CP-40")
    assert (path.stat().st_ino, path.stat().st_mtime_ns) == before
    path.write_bytes(b"spoilt")
    assert len(read_table(store.folder, "CP-40").frame) == 1


def test_what_changes_nothing_in_a_table_makes_none_anew(store):
    store_record(store, record_of("A", B, LIMITS))
    made_at = read_table(store.folder, "CP-40").about.log_size
    store.add_statement("trail", portion([{"number": 1, "at": "2026-11-25T11:00:00.000Z"}], BEGINNING, b"1" * 32))
    assert read_table(store.folder, "CP-40").about.log_size == made_at
    record = store_record(store, record_of("B", B, LIMITS))
    assert read_table(store.folder, "CP-40").about.log_size == made_at + 2
    store.correct(record, "void", person="Line engineering", reason="wrong motor", at="2026-11-25T11:00:00.000Z")
    assert list(read_table(store.folder, "CP-40").frame["void"]) == [False, True]


def test_a_table_that_has_all_that_is_asked_for_is_not_made_again(store):
    for serial in "AB":
        store_record(store, record_of(serial, B, LIMITS))
    table = read_table(store.folder, "CP-40")
    store_record(store, record_of("C", B, LIMITS))
    assert len(read_table(store.folder, "CP-40", entries=table.about.log_size).frame) == 2
    assert len(read_table(store.folder, "CP-40", entries=table.about.log_size + 1).frame) == 3
    assert len(read_table(store.folder, "CP-40", entries=10**6).frame) == 3


def test_a_table_of_another_log_is_made_anew(store, tmp_path):
    store_record(store, record_of("A", B, LIMITS))
    read_table(store.folder, "CP-40")
    with Store(tmp_path / "other") as other:
        for serial in "XYZ":
            store_record(other, record_of(serial, B, LIMITS))
        shutil.copytree(store.folder / TABLES, other.folder / TABLES)
        assert list(read_table(other.folder, "CP-40", entries=1).frame["serial"]) == ["X", "Y", "Z"]


def test_an_altered_record_makes_no_table(store, tmp_path):
    store_record(store, record_of("A", B, LIMITS))
    database = store.folder / "records.sqlite"
    store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = database.read_bytes()
    assert b"Varnholt" in content
    database.write_bytes(content.replace(b"Varnholt", b"Varnhalt"))
    with pytest.raises(EvidenceError, match="altered"):
        read_table(store.folder, "CP-40")


def test_first_attempts_are_those_that_the_yield_counts(store):
    rng = np.random.default_rng(7)
    for k in range(60):
        value = float(rng.normal(0, 4))
        kind = int(rng.integers(4))
        record = store_record(store, record_of(
            f"M{int(rng.integers(20))}", dict.fromkeys(B, (value, 0.1)), LIMITS, trouble=kind == 1,
            purpose="reference check" if kind == 2 else "", started=f"2026-11-25T10:{k:02d}:00.000Z"))
        if kind == 3:
            store.correct(record, "void", person="Line engineering", reason="wrong motor",
                          at="2026-11-25T11:00:00.000Z")
    first = read_table(store.folder, "CP-40").first_attempts().frame
    counted = store.count_yield(motor_type="CP-40")
    assert (len(first), int((first["verdict"] == "PASS").sum())) == (counted.motors, counted.passed_first)
    assert first["serial"].is_unique


def test_lots_come_from_the_serial_the_order_or_the_date(store):
    for serial in ("L7-001", "plain"):
        store_record(store, record_of(serial, B, LIMITS))
    store_record(store, {**record_of("ordered", B, LIMITS), "order": {
        "customer": "Varnholt Pumps", "number": "1", "part": "CP-40", "part_revision": "", "drawing": "",
        "drawing_revision": "", "lot": "K12", "sampling": "each"}})
    table = read_table(store.folder, "CP-40", lot_pattern=r"^(?P<lot>L\d+)-")
    assert list(table.frame["lot"]) == ["L7", "2026-11-25", "K12"]


def test_only_what_is_asked_for_is_read(store):
    store_record(store, record_of("A", B, LIMITS))
    table = read_table(store.folder, "CP-40", keys=[KEY])
    assert table.keys == (KEY,)
    assert "hall_placement.b@reverse 1000" not in table.frame
    assert "serial" in table.frame


@pytest.mark.parametrize(("motor_type", "revision"), [("VB-24", ""), ("CP-40", "B")])
def test_tests_that_are_not_there_are_named(store, motor_type, revision):
    store_record(store, record_of("A", B, LIMITS))
    with pytest.raises(UsageError, match="make no table"):
        read_table(store.folder, motor_type, revision)
