"""What 200 stations need in five years, reckoned from what one motor of the demo takes in store, wire and processor."""

import gzip
import sqlite3
import time
from contextlib import closing
from pathlib import Path

from figures import Figure
from sqlalchemy import insert, text

from station.plant import schema
from station.plant.archive_tests import Wanted, find_tests
from station.plant.database import Database
from station.plant.reanalysis import reanalyse

STATIONS, YEARS = 200, 5
DAYS, HOURS, CYCLE = 250, 16, 45.0      # of a year, of a day, and s from motor to motor; assumed
WEEK = 7 * 86_400.0                     # s, in which the whole archive is to be analysed again


def estimate(store: Path, database: Database) -> list[Figure]:
    """Return the figures, those measured first on the motors in `store`."""
    with closing(sqlite3.connect(store / "records.sqlite")) as connection:
        bodies = [body for body, in connection.execute("SELECT body FROM records ORDER BY run_id")]
    captures, count = sum(path.stat().st_size for path in (store / "captures").iterdir()), len(bodies)
    per_motor = {"body": sum(map(len, bodies)) / count, "kept": stored_bytes(database, bodies),
                 "sent": sum(len(gzip.compress(body, 1)) for body in bodies) / count, "captures": captures / count}
    tests = list(find_tests(store, Wanted(), None))
    began = time.process_time()
    for test in tests:
        reanalyse(test)
    seconds = (time.process_time() - began) / count
    motors = STATIONS * YEARS * DAYS * HOURS * 3600 / CYCLE
    on_wire = 8 * (per_motor["sent"] + per_motor["captures"]) / CYCLE
    return [
        Figure("record of a motor, two captures", per_motor["body"] / 1e3, unit="kB"),
        Figure("the same in the database, packed, with leaf", per_motor["kept"] / 1e3, unit="kB"),
        Figure("the same on the wire, gzip", per_motor["sent"] / 1e3, unit="kB"),
        Figure("captures and SCPI transcript of a motor", per_motor["captures"] / 1e3, unit="kB"),
        Figure("analysing a motor again, processor time", 1e3 * seconds, unit="ms"),
        Figure(f"motors, one in {CYCLE:g} s, {HOURS} h on {DAYS} days", motors / 1e6, unit="million"),
        Figure("database", motors * per_motor["kept"] / 1e12, unit="TB"),
        Figure("archive of captures", motors * per_motor["captures"] / 1e12, unit="TB"),
        Figure("network of a station, mean at work", on_wire / 1e3, unit="kbit/s"),
        Figure("network of the plant, mean at work", STATIONS * on_wire / 1e6, unit="Mbit/s"),
        Figure("records a second at the plant, mean at work", STATIONS / CYCLE, unit="1/s"),
        Figure("processors that analyse the whole archive again in a week", motors * seconds / WEEK),
    ]


def stored_bytes(database: Database, bodies: list[bytes]) -> float:
    """Return what the database takes for one entry of such a body."""
    with database.writing() as connection:
        station = {"station": 1, "origin": "line-1", "verifier": "", "added": "", "person": ""}
        connection.execute(insert(schema.stations), station)
        before = connection.execute(text("SELECT pg_total_relation_size('entries')")).scalar_one()
        for seq, body in enumerate(bodies):
            connection.execute(insert(schema.entries), {
                "station": 1, "seq": seq, "kind": "record", "subject": seq, "leaf": bytes(32), "body": body,
                "checkpoint": 190 * "x"})
        after = connection.execute(text("SELECT pg_total_relation_size('entries')")).scalar_one()
    return float(after - before) / len(bodies)
