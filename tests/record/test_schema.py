"""The tables only grow, and a commit is on disk when it returns."""

import sqlite3

import pytest

from station.record import schema


@pytest.fixture
def connection(tmp_path):
    opened = schema.open_for_writing(tmp_path)
    opened.execute(schema.BEGIN_RUN, ("CP40-0001", 1, "2026-11-25T10:00:00.000Z", "{}"))
    opened.execute(schema.ADD_RECORD,
                   (1, "CP40-0001", 1, "CP-40", "FAIL", "2026-11-25T10:00:00.000Z", "0" * 64, b"{}"))
    yield opened
    opened.close()


@pytest.mark.parametrize("statement", [
    "UPDATE records SET verdict = 'PASS'", "DELETE FROM records", "UPDATE runs SET run = 7", "DELETE FROM runs",
    "INSERT OR REPLACE INTO records SELECT * FROM records",
    "INSERT OR REPLACE INTO runs SELECT 9, serial, run, started, heading FROM runs",
    "INSERT INTO records SELECT 9, serial, run, motor_type, 'MAYBE', started, sha256, body FROM records",
])
def test_nothing_is_ever_changed(connection, statement):
    before = connection.execute("SELECT * FROM records").fetchall()
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)
    assert connection.execute("SELECT * FROM records").fetchall() == before


def test_settings_that_make_a_commit_durable(connection):
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert connection.isolation_level is None


def test_a_reader_cannot_write(connection, tmp_path):
    reader = schema.open_for_reading(tmp_path)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        reader.execute(schema.BEGIN_RUN, ("CP40-0002", 1, "", "{}"))
    assert len(reader.execute("SELECT * FROM runs").fetchall()) == 1
    reader.close()


def test_opening_again_keeps_what_is_there(connection, tmp_path):
    again = schema.open_for_writing(tmp_path)
    assert len(again.execute("SELECT * FROM records").fetchall()) == 1
    again.close()
