"""station.plant.copying: the plant's copy of a station has its shape again, row by row."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from sending_station import SendingStation
from sqlalchemy import text
from store_contents import contents

from station.errors import EvidenceError
from station.plant import copying
from station.plant.copied_station import describe_station
from station.plant.copying import copy_log
from station.plant.intake import Intake
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey
from station.record.store import Store
from station.record.witness import acknowledged
from station.sequence.station_file import load_station

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def witness(tmp_path_factory):
    return WitnessKey.make(tmp_path_factory.mktemp("keys"), "varnholt-works")


@pytest.fixture
def sender(tmp_path):
    station = SendingStation(tmp_path / "store", "line/1")
    yield station
    station.close()


@pytest.fixture
def known(database, sender):
    return add_station(database, str(sender.key.verifier), person="U. Rabe", at=AT)


def hand_over(database, witness, known, sender, first=0):
    return Intake(database, witness).take(known, sender.batch(first, number=known.number), AT)


def test_a_copy_grows_with_what_is_handed_over(tmp_path, database, witness, known, sender, monkeypatch):
    monkeypatch.setattr(copying, "PORTION", 4)      # several even of so few
    assert copy_log(database, known, witness.verifier, tmp_path / "copy") == 0
    sender.fill(9)
    sender.void(sender.test("CP40-9"))
    hand_over(database, witness, known, sender)
    for _ in range(2):
        assert copy_log(database, known, witness.verifier, tmp_path / "copy") == sender.size == 11
        assert contents(tmp_path / "copy") == contents(sender.folder)
    sender.test("CP40-10", "FAIL")
    hand_over(database, witness, known, sender, first=11)
    copy_log(database, known, witness.verifier, tmp_path / "copy")
    assert contents(tmp_path / "copy") == contents(sender.folder)
    with Store(tmp_path / "copy", read_only=True) as copied:
        assert acknowledged(copied.log, witness.verifier) == 12
        assert acknowledged(sender.log, witness.verifier) == 0      # which was handed over without keeping the receipt


def test_a_copy_that_has_more_than_the_plant_or_something_else_is_told(tmp_path, database, witness, known, sender):
    sender.fill(5)
    hand_over(database, witness, known, sender)
    copy_log(database, known, witness.verifier, tmp_path / "copy")
    other = replace(known, number=known.number + 1)     # of which nothing was handed over
    with pytest.raises(EvidenceError, match="not what the plant has"):
        copy_log(database, other, witness.verifier, tmp_path / "copy")
    twin = SendingStation(tmp_path / "twin", key=sender.key).fill(6, "VB24-")
    twin.close()
    with pytest.raises(EvidenceError, match="not what the plant has"):
        copy_log(database, known, witness.verifier, twin.folder)


def test_an_entry_that_was_changed_in_the_database_gets_into_no_copy(tmp_path, database, witness, known, sender):
    sender.fill(5)
    hand_over(database, witness, known, sender)
    with database.writing() as connection:      # as somebody with all rights would
        off = "ALTER TABLE entries DISABLE TRIGGER ALL" if database.is_postgresql else "DROP TRIGGER entries_update"
        connection.execute(text(off))
        connection.execute(text("UPDATE entries SET body = :body WHERE seq = 3"), {"body": b'{"verdict": "PASS"}'})
    with pytest.raises(EvidenceError, match="cannot be copied"):
        copy_log(database, known, witness.verifier, tmp_path / "copy")
    with closing(sqlite3.connect(tmp_path / "copy" / "records.sqlite")) as connection:
        assert connection.execute("SELECT count(*) FROM log").fetchone() == (0,)


def test_a_station_file_stands_beside_a_copy(tmp_path, database, witness, known, sender):
    copy_log(database, known, witness.verifier, tmp_path / "copy" / "store")
    described = load_station(describe_station(tmp_path / "copy", known.verifier))
    assert (described.id, described.origin, described.store) == ("line/1", "line/1", tmp_path / "copy" / "store")
    sender.test("CP40-1"), sender.test("VB24-1", motor_type="VB-24")
    hand_over(database, witness, known, sender)
    copy_log(database, known, witness.verifier, tmp_path / "copy" / "store")
    described = load_station(describe_station(tmp_path / "copy", known.verifier))
    assert [mark.limit_file for mark in described.marks] == ["CP-40.toml", "VB-24.toml"]
