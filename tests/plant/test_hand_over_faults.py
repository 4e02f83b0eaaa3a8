"""Handing over while network, station, server and database fail: nothing lost, nothing doubled, at whatever moment.

The faults are real: connections broken on loopback, processes killed, a database stopped as by a crash.
"""

import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from faulty_link import FAULTS, LATE, WHOLE, faulty_link
from sending_station import record_of
from served_plant import Sender, mortal_server, served, write_plant
from sqlalchemy import select
from store_contents import contents

from station.clock import stamp
from station.errors import StationError
from station.plant import hand_over, schema
from station.plant.alarms import open_alarms
from station.plant.copying import copy_log
from station.plant.database import open_database
from station.plant.hand_over import Progress
from station.plant.plant_file import load_plant
from station.plant.stations import add_station
from station.record.kept_files import keep_file

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
FORWARDER = Path(__file__).with_name("stopped_forwarder.py")
ATTEMPTS = 200      # more than any of these needs


def only_on(kind):
    """Carry a test out on one kind of database: what it breaks is on this side of it."""
    return pytest.mark.parametrize("kind", [kind], indirect=True, scope="module")


@pytest.fixture
def plant_file(kind, plant_address, tmp_path):
    (tmp_path / "plant").mkdir()
    return write_plant(tmp_path / "plant", plant_address(kind))


@pytest.fixture
def sender(plant_file, tmp_path):
    """A station with entries and a file for each that the plant is to get."""
    station = Sender(tmp_path / "line" / "store", plant_file)
    for number in range(30):
        one_more(station, number)
    with opened(plant_file) as database:
        station.known = add_station(database, str(station.key.verifier), person="U. Rabe", at=AT)
    yield station
    station.close()


def one_more(station, number):
    """Test a motor whose record names a file."""
    limits = keep_file(station.folder, f"limits in force at {number}\n".encode())
    files = [{"kind": "limit file", "name": "CP-40.toml", "sha256": limits}]
    run_id = station.store.begin(f"CP40-{number}", started=stamp(AT))
    station.store.finish(run_id, {**record_of(f"CP40-{number}", started=stamp(AT)), "files": files}, [])


@contextmanager
def opened(plant_file):
    database = open_database(load_plant(plant_file).database)
    with closing(database):
        yield database


def tried(sender, pause=0.0):
    """Hand over until it is done, however often it fails, with a pause in between; return how often it did."""
    for failures in range(ATTEMPTS):
        try:
            assert sender.work().is_done
        except StationError:
            sender.clock.pause(pause)
        else:
            return failures
    raise AssertionError("it never came to its end")


def require_all_once(sender, tmp_path):
    """Whatever happened: the plant has every entry once and in order, every file, and has raised no alarm."""
    with opened(sender.plant.file) as database:
        copy_log(database, sender.known, sender.witness, tmp_path / "copy")
        with database.reading() as connection:
            assert open_alarms(connection) == []
            seqs = connection.execute(select(schema.records.c.seq).order_by(schema.records.c.seq)).scalars().all()
            names = connection.execute(select(schema.files.c.name)).scalars().all()
    assert contents(tmp_path / "copy") == contents(sender.folder)
    assert seqs == list(range(sender.size))
    kept = {path.name for path in (sender.folder / "files").iterdir()}
    assert sorted(names) == sorted(f"files/{name}" for name in kept)
    archive = sender.plant.folder / "archive" / "line-1" / "files"
    assert {path.name for path in archive.iterdir()} == kept
    assert sender.hand_over().progress() == Progress(sender.size, sender.size, sender.size)


def test_requests_and_answers_that_are_lost_at_random(sender, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 3)
    drawn = random.Random(7)
    with served(sender.plant.file), faulty_link(
            sender.plant.port, lambda: drawn.choice(FAULTS) if drawn.random() < 0.4 else WHOLE) as link:
        sender.port = link.port
        assert tried(sender) > 10
        assert set(link.seen) == {*FAULTS, WHOLE}
    require_all_once(sender, tmp_path)


@only_on("sqlite")
def test_a_network_that_is_cut_and_slow(sender, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 7)
    with served(sender.plant.file), faulty_link(sender.plant.port, lambda: LATE) as link:
        sender.port = link.port
        for _ in range(2):
            link.mend()
            assert not sender.hand_over().work(lambda: False).is_done       # one step
            link.cut()
            with pytest.raises(StationError):
                sender.work()
        link.mend()
        assert sender.work().is_done
    require_all_once(sender, tmp_path)


@only_on("postgresql")
def test_a_forwarder_that_is_killed_at_any_moment(sender, tmp_path):
    file = station_file(sender)
    drawn = random.Random(8)
    with served(sender.plant.file), forwarder(file) as killed_after:
        kills = 0
        while killed_after(drawn.uniform(0.005, 0.12) * (1 + kills / 20)):
            kills += 1
            assert kills < ATTEMPTS
    assert kills >= 3
    require_all_once(sender, tmp_path)


def test_a_server_that_is_killed_at_any_moment(sender, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 5)
    drawn = random.Random(9)
    with mortal_server(sender.plant.file) as do, ThreadPoolExecutor(1) as beside:
        do("start")
        under_way = beside.submit(tried, sender, 0.1)
        while not under_way.done():
            wait([under_way], drawn.uniform(0.01, 0.06) + 0.1 * drawn.random() ** 4)
            do("kill")
            do("start")
        failures = under_way.result()
    assert failures >= 2
    require_all_once(sender, tmp_path)


@only_on("postgresql")      # SQLite has no server of its own: it ends with that of the plant, as above
def test_a_database_that_is_stopped_as_by_a_crash(sender, tmp_path, request, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 2)
    server = request.getfixturevalue("postgresql")
    with served(sender.plant.file), ThreadPoolExecutor(1) as beside:
        under_way = beside.submit(tried, sender, 0.1)
        for _ in range(2):
            wait([under_way], 0.2)
            server.stop("immediate")
            server.start()
        assert under_way.result() >= 1
    require_all_once(sender, tmp_path)




def station_file(sender):
    """Write the station file of a sender, beside its store."""
    folder = sender.folder.parent
    (folder / "plant.pub").write_text(f"{sender.witness}\n")
    file = folder / "station.toml"
    file.write_text(f"""
format = 1
[station]
id = "Line 1"
place = "Varnholt Works"
[files]
bench = "bench.toml"
sequence = "sequence.toml"
limits = "limits"
store = "store"
[[motor]]
serial_begins = "CP40-"
limit_file = "CP-40.toml"
[signing]
keys = "store-keys"
[plant]
url = "http://127.0.0.1:{sender.port}"
witness = "plant.pub"
""")
    return file


@contextmanager
def forwarder(file):
    """Give a function that lets a process hand over and kills it after so many seconds; False once all is done."""
    words = [sys.executable, "-W", "error", str(FORWARDER), str(file)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        def killed_after(seconds):
            process.stdin.write(f"{seconds}\n")
            process.stdin.flush()
            return process.stdout.readline() != "0\n"
        yield killed_after
        process.stdin.close()
