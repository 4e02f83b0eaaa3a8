"""The plant's own check: silent over what was handed over, and loud about whatever is changed behind its back."""

from datetime import UTC, datetime

import pytest
from sending_station import SendingStation
from sqlalchemy import text

from station.plant.archive import open_archive
from station.plant.check import check_files, check_log
from station.plant.file_intake import FileIntake
from station.plant.intake import Intake
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def witness(tmp_path_factory):
    return WitnessKey.make(tmp_path_factory.mktemp("keys"), "varnholt-works")


@pytest.fixture(scope="module")
def sender(tmp_path_factory):
    station = SendingStation(tmp_path_factory.mktemp("sender") / "store").fill(9)
    for verdict in ("FAIL", "PASS", "NO RESULT"):
        station.test("CP40-7", verdict)
    station.void(station.test("CP40-8"))
    station.test("CP40-9", purpose="reference check")
    yield station
    station.close()


@pytest.fixture
def known(database, sender, witness):
    one = add_station(database, str(sender.key.verifier), person="U. Rabe", at=AT)
    for first, end in ((0, 4), (4, 11), (11, sender.size)):
        Intake(database, witness).take(one, sender.batch(first, end), AT)
    return one


def faults(database, known, witness):
    return [(fault.seq, fault.what) for fault in check_log(database, known, witness.verifier)]


def change(database, table, command):
    """Change a row as somebody may who owns the tables."""
    with database.writing() as connection:
        if database.is_postgresql:
            connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER ALL"))
        else:
            for verb in ("UPDATE", "DELETE"):
                connection.execute(text(f"DROP TRIGGER IF EXISTS {table}_{verb}"))
        connection.execute(text(command))


def test_what_was_handed_over_is_found_whole(database, known, witness):
    assert faults(database, known, witness) == []


@pytest.mark.parametrize(("table", "command", "told"), [
    ("entries", "UPDATE entries SET body = leaf WHERE seq = 3", (3, "record was altered")),
    ("entries", "UPDATE entries SET leaf = (SELECT leaf FROM entries WHERE seq = 1) WHERE seq = 3",
     (3, "record was altered")),
    ("entries", "UPDATE entries SET checkpoint = (SELECT checkpoint FROM entries WHERE seq = 1) WHERE seq = 3",
     (3, "the station has signed another head")),
    ("entries", "UPDATE entries SET checkpoint = replace(checkpoint, 'line-1', 'line-2') WHERE seq = 13",
     (13, "signed by no known key")),
    ("heads", "UPDATE heads SET root = (SELECT hash FROM nodes LIMIT 1) WHERE size = 4",
     (3, "the plant has cosigned another head")),
    ("heads", "UPDATE heads SET cosignature = (SELECT cosignature FROM heads WHERE size = 4) WHERE size = 11",
     (10, "signature does not belong to this text")),
    ("heads", "UPDATE heads SET size = 99 WHERE size = 4", (None, "a head without entries")),
    ("nodes", "DELETE FROM nodes WHERE level = 2 AND position = 1", (None, "a hash of the tree is missing or another")),
    ("nodes", "UPDATE nodes SET position = 77 WHERE level = 2 AND position = 1", (None, "a hash of no subtree")),
    ("records", "UPDATE records SET verdict = 'PASS' WHERE verdict = 'FAIL'", (9, "the index of records is not what "
                                                                                  "bodies say")),
    ("records", "DELETE FROM records WHERE seq = 2", (2, "the index of records is not what bodies say")),
    ("setups", "UPDATE setups SET digest = leaf FROM entries WHERE seq = 0", (0, "the index of records is not what "
                                                                                 "bodies say")),
    ("setups", "UPDATE setups SET limit_sha256 = ''", (None, "the index of setups is not what bodies say")),
    ("setup_instruments", "UPDATE setup_instruments SET serial = 'DG-8' WHERE serial = 'DG-7'",
     (None, "the index of instruments is not what bodies say")),
    ("corrections", "DELETE FROM corrections", (13, "the index of corrections is not what bodies say")),
    ("day_sums", "UPDATE day_sums SET passed_first = passed_first + 1", (None, "the index of days is not what bodies "
                                                                               "say")),
    ("day_sums", "DELETE FROM day_sums", (None, "the index of days is not what bodies say"))])
def test_whatever_is_changed_is_told(database, known, witness, table, command, told):
    change(database, table, command)
    assert told in faults(database, known, witness)


def test_files_are_read_again(database, known, tmp_path):
    archive = open_archive(str(tmp_path / "archive"))
    for name in ("captures/a", "captures/b", "captures/c"):
        FileIntake(database, archive).take(known, name, b"waveforms", AT)
    assert list(check_files(database, known, archive)) == []
    (tmp_path / "archive" / known.origin / "captures" / "a").write_bytes(b"others")
    (tmp_path / "archive" / known.origin / "captures" / "c").unlink()
    assert [fault.what.split()[0] for fault in check_files(database, known, archive)] == ["captures/a", "captures/c"]
