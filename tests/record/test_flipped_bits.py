"""One flipped bit in any file of a store is noticed when it is read, or changes nothing; `flips.py` flips many more."""

import random
import shutil
import sqlite3
from collections import Counter

import pytest
from flips import KINDS, flipped, look, written
from store_writer import KEY, open_store

from station.errors import EvidenceError, StationError
from station.record.damage import Connection
from station.record.schema import DATABASE
from station.record.store import Store

FLIPS = 60


@pytest.fixture(scope="module", params=KINDS)
def kind(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("flips") / "store"
    told = written(folder, closed=request.param != "WAL")
    return request.param, folder, told


def test_wrong_data_never_pass_for_right(kind):
    name, folder, told = kind
    found = list(flipped(folder, KINDS[name], FLIPS, random.Random(11), told))
    assert [each for each in found if each[1].partition(":")[0] in ("wrong", "unsaid")] == []
    counted = Counter(outcome for _, outcome in found)
    assert counted["noticed"] > 0
    if name in ("capture", "transcript", "file in force"):
        assert counted == {"noticed": FLIPS}


def test_a_wal_that_lost_its_end_is_found_against_a_head_kept_elsewhere(tmp_path):
    told = written(tmp_path / "store")
    wal = tmp_path / "store" / KINDS["WAL"]
    whole = wal.read_bytes()
    right, noticed = look(tmp_path / "store", told), 0
    for end in range(len(whole), 0, -len(whole) // 40):
        wal.write_bytes(whole[:end])
        try:
            assert look(tmp_path / "store", told)[0] == right[0]
        except StationError:
            noticed += 1
    assert noticed > 20


def test_the_station_does_not_go_on_with_a_log_that_lost_its_end(tmp_path):
    written(tmp_path / "store")
    wal = tmp_path / "store" / KINDS["WAL"]
    wal.write_bytes(wal.read_bytes()[:wal.stat().st_size // 2])
    with pytest.raises(EvidenceError, match="end of the log are missing"):
        open_store(tmp_path / "store")


@pytest.mark.parametrize("content", [b"no database at all" * 300, b"SQLite format 3\0" + b"\xff" * 5000],
                         ids=["text", "damaged"])
def test_another_file_in_place_of_the_database_is_told(tmp_path, content):
    (tmp_path / DATABASE).write_bytes(content)
    for opened in (lambda: Store(tmp_path, read_only=True), lambda: open_store(tmp_path)):
        with pytest.raises(EvidenceError, match="damaged") as caught:
            opened()
        assert str(tmp_path) in caught.value.where


def test_a_database_that_is_damaged_stops_the_station_and_is_left_as_it_is(tmp_path):
    told = written(tmp_path / "store", closed=True)
    database = tmp_path / "store" / DATABASE
    content = bytearray(database.read_bytes())
    content[4096:] = bytes(len(content) - 4096)     # only the first page is left
    database.write_bytes(content)
    for opened in (lambda: look(tmp_path / "store", told), lambda: open_store(tmp_path / "store")):
        with pytest.raises(EvidenceError):
            opened()
    assert database.read_bytes() == content


@pytest.mark.parametrize("statement", ["SELECT * FROM none", "SELECT * FROM one"])
def test_every_way_to_read_tells_of_damage(tmp_path, statement):
    path = tmp_path / "a"
    with sqlite3.connect(path) as plain:
        plain.execute("CREATE TABLE one (text TEXT)")
        plain.execute("INSERT INTO one VALUES (CAST(x'ff' AS TEXT))")
    plain.close()
    connection = sqlite3.connect(path, factory=Connection)
    for read in (lambda cursor: cursor.fetchone(), lambda cursor: cursor.fetchall(), lambda cursor: cursor.fetchmany(2),
                 list):
        with pytest.raises(EvidenceError) as caught:
            read(connection.execute(statement))
        assert caught.value.where == str(path)
    with pytest.raises(EvidenceError):
        connection.executescript("SELECT * FROM none")
    with pytest.raises(EvidenceError):
        connection.executemany("INSERT INTO none VALUES (?)", [(1,)])
    connection.close()


def test_what_is_no_damage_keeps_its_own_error(tmp_path):
    connection = sqlite3.connect(tmp_path / "a", factory=Connection)
    connection.execute("CREATE TABLE one (number INTEGER UNIQUE)")
    connection.execute("INSERT INTO one VALUES (1)")
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute("INSERT INTO one VALUES (1)")
    connection.close()
    with pytest.raises(sqlite3.ProgrammingError):
        connection.execute("SELECT 1")


def test_a_store_taken_for_another_is_told(tmp_path):
    written(tmp_path / "store", closed=True)
    shutil.copytree(tmp_path / "store", tmp_path / "other")
    with pytest.raises(StationError, match="another station"):
        Store(tmp_path / "other", log_key=KEY, origin="eol-2")
