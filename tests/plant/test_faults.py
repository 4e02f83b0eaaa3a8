"""What befalls the plant itself: its database is restarted, its disks fill up, many ask at once."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from asking import Asker
from sending_station import SendingStation
from small_disks import fill, small_disk
from sqlalchemy import func, make_url, select

from station.clock import system_clock
from station.plant import schema
from station.plant.database import open_database
from station.plant.intake import Intake, head_of
from station.plant.plant_file import load_plant
from station.plant.refused import AwayError, NoRoomError
from station.plant.stations import add_station
from station.plant.upgrade import upgrade
from station.record.cosignature import WitnessKey
from station.record.merkle import leaf_hash
from station.simulated.free_port import free_ports

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
PATIENCE = 120      # s, of a loaded machine


def written(folder, url, archive="archive"):
    """Write a plant with tables and key, and return it as its file describes it."""
    folder.mkdir(exist_ok=True)
    (port,) = free_ports(1)
    (folder / "plant.toml").write_text(
        f'format = 1\n[plant]\nname = "varnholt-works"\n[database]\nurl = "{url}"\n[archive]\nurl = "{archive}"\n'
        f"[server]\nport = {port}\n")
    if not (folder / "keys").exists():
        WitnessKey.make(folder / "keys", "varnholt-works")
    plant = load_plant(folder / "plant.toml")
    database = open_database(plant.database)
    upgrade(database)
    database.close()
    return plant


@pytest.fixture
def senders(tmp_path):
    stations = [SendingStation(tmp_path / f"store-{number}", f"line-{number}") for number in range(3)]
    yield stations
    for station in stations:
        station.close()


def added(desk, stations):
    for station in stations:
        add_station(desk.database, str(station.key.verifier), person="U. Rabe", at=system_clock().utc())


def copies(desk):
    """Return what the plant has of each log: leaves in order."""
    with desk.database.reading() as connection:
        rows = connection.execute(select(schema.stations.c.origin, schema.entries.c.seq, schema.entries.c.body)
                                  .join(schema.entries, schema.entries.c.station == schema.stations.c.station)
                                  .order_by(schema.stations.c.origin, schema.entries.c.seq)).all()
    found = {}
    for origin, seq, body in rows:
        assert seq == len(found.setdefault(origin, []))
        found[origin].append(leaf_hash(body))
    return found


def logs(stations):
    return {station.key.name: [entry.leaf for entry in station.log.entries()] for station in stations}


def index_rows(desk):
    with desk.database.reading() as connection:
        return connection.execute(select(func.count()).select_from(schema.records)).scalar()


def deliver(asker, contents):
    """Send batches one after the other, each as often as it takes; return how often the plant was not there."""
    away, end = 0, time.monotonic() + PATIENCE
    for content in contents:
        while (answer := asker.post(content)).status_code != 200:
            assert answer.json()["error"] == "database", answer.text
            assert time.monotonic() < end
            away += 1
            time.sleep(0.05)
    return away


def test_a_database_that_is_restarted_loses_and_doubles_nothing(tmp_path, postgresql, plant_address, serving, senders):
    server, plant = postgresql, written(tmp_path / "works", plant_address("postgresql"))
    with serving(plant) as desk:
        added(desk, senders)
        work = [(Asker(plant, station.key), [station.content(first, first + 3) for first in range(0, 24, 3)])
                for station in senders if station.fill(24)]
        begun = threading.Event()

        def restart():
            begun.wait(PATIENCE)
            server.stop("immediate")
            server.start()

        with ThreadPoolExecutor(4) as pool:
            restarted = pool.submit(restart)
            for asker, contents in work:
                assert deliver(asker, contents[:2]) == 0
            begun.set()
            done = [pool.submit(deliver, asker, contents) for asker, contents in work]
            restarted.result()
            [one.result() for one in done]
        server.stop("immediate")
        answer = work[0][0].ask("GET")
        assert (answer.status_code, answer.json()["error"]) == (503, "database")
        server.start()
        assert [asker.size() for asker, _ in work] == [24, 24, 24]
        assert copies(desk) == logs(senders)
        assert index_rows(desk) == 72


def test_the_same_batch_sent_many_times_at_once_is_kept_once(plant, serving, senders):
    with serving(plant) as desk:
        added(desk, senders)
        contents = {station.key.name: station.fill(20).content() for station in senders}
        with ThreadPoolExecutor(9) as pool:
            answers = [(station, pool.submit(Asker(plant, station.key).post, contents[station.key.name]))
                       for station in senders for _ in range(3)]
            told = {(station.key.name, one.result().text) for station, one in answers}
        assert len(told) == len(senders)        # the same answer each time
        assert copies(desk) == logs(senders)
        assert index_rows(desk) == 60


@pytest.fixture
def small(tmp_path):
    with small_disk(tmp_path / "small", megabytes=24) as folder:
        yield folder


@pytest.fixture
def small_address(kind, small, request):
    """The address of a database on a small disk."""
    if kind == "sqlite":
        yield f"sqlite:///{small / 'plant.sqlite'}"
    else:
        with request.getfixturevalue("postgresql").database_on(small) as address:
            yield address.replace("postgresql:", "postgresql+psycopg:")


def test_a_database_without_room_takes_nothing_half_and_goes_on(tmp_path, small, small_address, senders):
    station, database = senders[0], open_database(make_url(small_address))
    upgrade(database)
    known = add_station(database, str(station.key.verifier), person="U. Rabe", at=AT)
    intake = Intake(database, WitnessKey.make(tmp_path / "keys", "plant"))
    station.fill(300)
    intake.take(known, station.batch(0, 10), AT)
    filler = fill(small, 100_000)
    with pytest.raises(NoRoomError, match="no room"):
        intake.take(known, station.batch(10), AT)
    with database.reading() as connection:
        assert head_of(connection, known.number).size == 10
        for table in (schema.entries, schema.records):
            assert connection.execute(select(func.count()).select_from(table)).scalar() == 10
    filler.unlink()
    assert intake.take(known, station.batch(10), AT).size == 300
    database.close()


def test_an_archive_without_room_keeps_no_part_of_a_file(tmp_path, small, plant_address, serving, senders):
    plant = written(tmp_path / "works", plant_address("sqlite"), archive=str(small))
    station, content = senders[0], bytes(range(256)) * 4000
    with serving(plant) as desk:
        added(desk, senders)
        asker = Asker(plant, station.key)
        filler = fill(small, 500_000)
        answer = asker.put("captures/one.parquet", content)
        assert (answer.status_code, answer.json()["error"]) == (507, "room")
        assert [path.name for path in (small / "line-0").rglob("*") if path.is_file()] == []
        assert asker.put("captures/two.parquet", b"small").status_code == 201
        filler.unlink()
        assert asker.put("captures/one.parquet", content).status_code == 201
        assert (small / "line-0" / "captures" / "one.parquet").read_bytes() == content


def test_a_database_that_is_not_there_is_told_as_such():
    (port,) = free_ports(1)
    database = open_database(make_url(f"postgresql+psycopg://writer@127.0.0.1:{port}/plant"))
    with pytest.raises(AwayError, match="does not answer"), database.reading():
        pass
    database.close()
