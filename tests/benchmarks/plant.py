"""A plant on a real PostgreSQL: everything handed over once however much is lost, how fast, and how fast it answers.

Stations hand real logs of small records over to the real server by the product's own code, through losses, crashes and
kills of the server. Questions are asked of rows that the database made itself, as an empty plant of that age would
take a week to fill. `--full` takes the sizes of a large plant: half an hour, 15 GB of disk.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import random
import shutil
import sys
import tempfile
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter, sleep

from figures import Figure, print_figures
from plant_estimate import estimate
from plant_motors import on_their_way
from plant_rows import ManyRows, processor_time, questions
from plant_stations import CrashError, LossyClient, make_station
from real_postgresql import running
from served_plant import mortal_server, write_plant
from sqlalchemy import func, make_url, select

from station.cli.population import make_population
from station.clock import system_clock
from station.plant import schema
from station.plant.batch import parse_batch
from station.plant.database import Database, open_database
from station.plant.hand_over import MOST_ENTRIES, HandOver
from station.plant.intake import Intake, head_of
from station.plant.plant_client import SilenceError
from station.plant.plant_file import load_plant
from station.plant.refused import AwayError
from station.plant.stations import Known, add_station, find_station
from station.plant.upgrade import upgrade
from station.record.cosignature import WitnessKey
from station.record.log_key import LogKey
from station.record.store import Store
from station.record.witness import Request
from station.sequence.plant_address import parse_plant_url

STATIONS = 20
MOTORS = 60
LEAST_RATE = 2000.0     # records a second
NEEDED = 20 * 2**30     # bytes of disk, for the full sizes
AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
ROOM_FOR_RATE = 5000    # small records taken in to measure the rate at a size
WHOLE = 15              # whole records of one request


def main() -> int:
    """Print the figures; 0 only if all are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true", help="1 M records handed over, questions at 10 M")
    parser.add_argument("--records", type=int, default=20_000, help="handed over, of all stations together")
    parser.add_argument("--kill-every", type=float, default=3.0, help="s from one kill of the server to the next")
    parser.add_argument("--sizes", type=int, nargs="*", default=[100_000, 1_000_000], help="at which is asked")
    words = parser.parse_args()
    if words.full:
        words.records, words.sizes, words.kill_every = 1_000_000, [100_000, 1_000_000, 10_000_000], 20.0
        if shutil.disk_usage(tempfile.gettempdir()).free < NEEDED:
            sys.exit(f"--full needs {NEEDED / 2**30:.0f} GB in {tempfile.gettempdir()}")
    with tempfile.TemporaryDirectory() as temporary, running() as server:
        folder = Path(temporary)
        figures = handed_over(folder / "hand-over", new_plant(server), words.records, words.kill_every)
        missed = print_figures(f"{words.records:,} records from {STATIONS} stations", figures)
        figures = growth(folder / "growth", new_plant(server), words.sizes)
        missed |= print_figures("As the plant grows", figures)
        make_population(folder / "line", MOTORS)
        address = new_plant(server)
        figures = on_their_way(folder / "plant", folder / "line", open_plant(address), address, AT)
        figures += whole_taken_in(folder / "rate", folder / "line", new_plant(server))
        missed |= print_figures(f"{MOTORS} motors of two captures each, with all their files", figures)
        figures = estimate(folder / "line" / "store", open_plant(new_plant(server)))
        return missed | print_figures("On paper: 200 stations for 5 years, from figures measured here", figures)


def new_plant(server) -> str:
    """Return the address of a new database with the tables of a plant."""
    address = server.new_database().replace("postgresql:", "postgresql+psycopg:")
    database = open_plant(address)
    upgrade(database)
    database.close()
    return address


def open_plant(address: str) -> Database:
    """Return the database at an address."""
    return open_database(make_url(address))


def handed_over(folder: Path, address: str, records: int, kill_every: float) -> list[Figure]:
    """Hand over everything through losses, and count what has come."""
    folder.mkdir()
    plant_file = write_plant(folder, address.replace("+psycopg", ""))
    database, each = open_plant(address), records // STATIONS
    stores = {}
    for number in range(STATIONS):
        origin = f"line-{number:02d}"
        stores[origin] = folder / origin, make_station(folder / origin, origin, each)
        add_station(database, str(stores[origin][1].verifier), person="U. Rabe", at=AT)
    print(f"{records:,} records made", flush=True)
    LossyClient.drawn, kills = random.Random(1), 0
    began = perf_counter()
    with mortal_server(plant_file) as do, ThreadPoolExecutor(STATIONS) as pool:
        do("start")
        under_way = {pool.submit(hand_over, path, key, plant_file) for path, key in stores.values()}
        while under_way:
            done, under_way = wait(under_way, timeout=kill_every, return_when=FIRST_COMPLETED)
            for each_done in done:
                each_done.result()
            if not done:
                do("kill")
                kills += 1
                do("start")
        took = perf_counter() - began
    lost, doubled = counted(database, stores)
    return [Figure("records lost", lost, most=0), Figure("records doubled", doubled, most=0),
            Figure("requests and answers lost", LossyClient.lost), Figure("crashes of stations", LossyClient.crashed),
            Figure("kills of the server", kills),
            Figure("records a second, signed, sent and taken in", records / took)]


def hand_over(path: Path, key: LogKey, plant_file: Path) -> None:
    """Hand a store over until nothing is left, beginning anew after each loss."""
    plant = load_plant(plant_file)
    witness = WitnessKey.load(plant.keys).verifier
    while True:
        clock = system_clock()
        client = LossyClient(parse_plant_url(f"http://127.0.0.1:{plant.port}"), key, clock)
        try:
            if HandOver(path, client, key, witness, clock).work(lambda: True).is_done:
                return
        except (SilenceError, AwayError):
            sleep(0.05)
        except CrashError:
            pass


def counted(database: Database, stores: dict[str, tuple[Path, LogKey]]) -> tuple[int, int]:
    """Return how many records the plant lacks, and how many it counts twice, by entries, index and yield alike."""
    lost = doubled = 0
    with database.reading() as connection:
        for origin, (path, _) in stores.items():
            number = find_station(connection, origin).number
            with Store(path, read_only=True) as store:
                size, root = len(store.log), store.log.head().root
            same = head_of(connection, number).root == root
            counts = [
                connection.execute(select(what).select_from(table).where(table.c.station == number)).scalar_one() or 0
                for what, table in ((func.count(), schema.entries), (func.count(), schema.records),
                                    (func.sum(schema.day_sums.c.motors), schema.day_sums))]
            lost += max(size - min(counts), 0 if same else 1)
            doubled += max(max(counts) - size, 0)
    return int(lost), int(doubled)


def growth(folder: Path, address: str, sizes: list[int]) -> list[Figure]:
    """Return rate and answers at each size."""
    folder.mkdir()
    database = open_plant(address)
    intake = Intake(database, WitnessKey.make(folder / "keys", "varnholt-works"))
    rows, drawn, found = ManyRows(database), random.Random(2), []
    for size in [0, *sizes]:
        if size:
            rows.grow(size)
            found += questions(rows, drawn, is_bound=size == max(sizes))
            print(f"{size:,} records, {rows.bytes_on_disk() / 2**20:,.0f} MB", flush=True)
        rate, alone = taken_in(folder / f"rate-{size}", database, intake, f"rate-{size}")
        found += [Figure(f"{size:,} records, taken in more", rate, least=LEAST_RATE, unit="records/s"),
                  Figure(f"{size:,} records, taken in more, a second of one processor", alone, unit="records/s")]
    database.close()
    return found


def taken_in(folder: Path, database: Database, intake: Intake, origin: str) -> tuple[float, float]:
    """Return the rate of small records, into the plant as it is."""
    key = make_station(folder, origin, ROOM_FOR_RATE)
    return rate_of(folder, key, database, intake, MOST_ENTRIES)


def whole_taken_in(folder: Path, line: Path, address: str) -> list[Figure]:
    """Return the rate of the whole records of a population."""
    folder.mkdir()
    with closing(open_plant(address)) as database:
        intake, keys = Intake(database, WitnessKey.make(folder / "keys", "varnholt-works")), line / "keys"
        rate, alone = rate_of(line / "store", LogKey.load(keys), database, intake, WHOLE)
    return [Figure("whole records taken in by one thread", rate, unit="records/s"),
            Figure("the same, a second of one processor", alone, unit="records/s")]


def rate_of(store_folder: Path, key: LogKey, database: Database, intake: Intake, portion: int) -> tuple[float, float]:
    """Return how many records one thread takes in, from the content of a request to the commit.

    The first is by the second, the second by the second of processor time, here and in the database: what else is at
    work on the machine does not count.
    """
    known = add_station(database, str(key.verifier), person="U. Rabe", at=AT)
    with Store(store_folder, read_only=True) as store:
        size = len(store.log)
        contents = [content(store, first, portion) for first in range(0, size, portion)]
    began, computed = perf_counter(), processor_time(database)
    for each in contents:
        intake.take(known, parse_batch(each, Known(known.number, known.verifier)), AT)
    took = perf_counter() - began
    return size / took, size / (processor_time(database) - computed)


def content(store: Store, first: int, portion: int) -> bytes:
    """Return what is sent of so many entries from `first` on."""
    end = min(first + portion, len(store.log))
    request = Request(first, store.log.consistency(first, end), store.log.checkpoint(end))
    sent = [{"kind": e.kind, "subject": e.subject, "body": e.body.decode(), "checkpoint": e.checkpoint}
            for e in store.log.entries(first, end)]
    return json.dumps({"format": 1, "first": first, "entries": sent, "request": str(request)}).encode()


if __name__ == "__main__":
    sys.exit(main())
