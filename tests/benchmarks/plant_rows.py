"""Rows of a large plant, made by the database itself in the tables that the product has, and what questions take."""

import random
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import perf_counter

import numpy as np
import psutil
from figures import Figure
from sqlalchemy import text

from station.audit.trace import Question
from station.cli.plant_questions import MOST
from station.plant.database import Database
from station.plant.questions import find_tests, trace_tests, yield_by_day

STATIONS = 200
A_DAY = 400             # tests of a station
A_SETUP = 5000          # tests until an instrument or a file is exchanged
TYPES = ("CP-40", "VB-24")
ROLES = ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")
BEGAN = datetime(2026, 1, 5, 6, tzinfo=UTC)
ASKED = 60              # times each question, about something else each time
MOST_MS = 50.0          # of the slowest but one in twenty
PREFIX = "many-"

_STATIONS = """
INSERT INTO stations (station, origin, verifier, added, person)
SELECT 1000 + n, :prefix || lpad(n::text, 3, '0'), '', '2026-01-01T00:00:00.000Z', 'U. Rabe'
FROM generate_series(1, :stations) AS n
"""
_SETUPS = """
INSERT INTO setups (setup, station, digest, motor_type, limit_file, limit_revision, limit_sha256, sequence_sha256,
                    software, software_sha256)
SELECT 1000000 + n * 10000 + k, 1000 + n, sha256((n || '-' || k)::bytea),
       CASE k % 2 WHEN 0 THEN 'CP-40' ELSE 'VB-24' END, 'CP-40.toml', chr(65 + k % 26), md5(k::text), md5('sequence'),
       '0.1.0', md5('software')
FROM generate_series(1, :stations) AS n, generate_series(:first, :end - 1) AS k
"""
_INSTRUMENTS = """
INSERT INTO setup_instruments (setup, number, role, serial, certificate)
SELECT 1000000 + n * 10000 + k, r, 'role ' || r, 'SN-' || n || '-' || r, 'C-' || n || '-' || r || '-' || k / 4
FROM generate_series(1, :stations) AS n, generate_series(:first, :end - 1) AS k, generate_series(1, :roles) AS r
"""
_ENTRIES = """
INSERT INTO entries (station, seq, kind, subject, leaf, checkpoint, body)
SELECT :station, q, 'record', q + 1, sha256((:station || '-' || q)::bytea), '', '\\x7b7d'
FROM generate_series(:first, :end - 1) AS q
"""
_RECORDS = """
INSERT INTO records (station, seq, serial, run, verdict, purpose, started, setup)
SELECT :station, q, 'M' || :station || '-' || lpad(q::text, 7, '0'), 1,
       CASE q % 25 WHEN 0 THEN 'FAIL' ELSE 'PASS' END, '',
       to_char(:began + (q / :day) * interval '1 day' + (q % :day) * interval '72 seconds',
               'YYYY-MM-DD"T"HH24:MI:SS".000Z"'), 1000000 + (:station - 1000) * 10000 + q / :setup
FROM generate_series(:first, :end - 1) AS q
"""
_SUMS = """
INSERT INTO day_sums (day, motor_type, station, motors, passed_first, passed_last)
SELECT to_char(:began + (q / :day) * interval '1 day', 'YYYY-MM-DD'),
       CASE q / :setup % 2 WHEN 0 THEN 'CP-40' ELSE 'VB-24' END, :station, count(*),
       count(*) FILTER (WHERE q % 25 > 0), count(*) FILTER (WHERE q % 25 > 0)
FROM generate_series(:first, :end - 1) AS q GROUP BY 1, 2
ON CONFLICT (day, motor_type, station) DO UPDATE SET motors = day_sums.motors + excluded.motors,
    passed_first = day_sums.passed_first + excluded.passed_first,
    passed_last = day_sums.passed_last + excluded.passed_last
"""


class ManyRows:
    """Grows a plant of 200 stations; the rows are those that records of one run each would make."""

    def __init__(self, database: Database) -> None:
        self.database, self.each = database, 0
        self._run(_STATIONS, prefix=PREFIX, stations=STATIONS)

    @property
    def size(self) -> int:
        """How many records there are."""
        return self.each * STATIONS

    def grow(self, size: int) -> None:
        """Bring the plant to so many records, then let the database look at them as it does by itself in time."""
        first, end = self.each, size // STATIONS
        setups = -(-first // A_SETUP), -(-end // A_SETUP)
        for sql in (_SETUPS, _INSTRUMENTS):
            self._run(sql, stations=STATIONS, first=setups[0], end=setups[1], roles=len(ROLES))
        for station in range(1001, 1001 + STATIONS):
            for sql in (_ENTRIES, _RECORDS, _SUMS):
                self._run(sql, station=station, first=first, end=end, began=BEGAN.replace(tzinfo=None), day=A_DAY,
                          setup=A_SETUP)
        self.each = end
        self._run("VACUUM (ANALYZE)")

    def bytes_on_disk(self) -> int:
        """Return what the database takes on its disk."""
        with self.database.reading() as connection:
            return int(connection.execute(text("SELECT pg_database_size(current_database())")).scalar_one())

    def _run(self, sql: str, **values: object) -> None:
        """Carry out a statement without waiting for the disk, or asking for each row whether its station is there."""
        with self.database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("SET session_replication_role = replica"))
            connection.execute(text("SET statement_timeout = 0"))
            connection.execute(text("SET synchronous_commit = off"))
            names = {name for name in values if f":{name}" in sql}
            connection.execute(text(sql), {name: values[name] for name in names})
            connection.execute(text("RESET ALL"))


def questions(rows: ManyRows, drawn: random.Random, *, is_bound: bool) -> list[Figure]:
    """Return how long questions about random motors, instruments and days take, each on the whole plant."""
    last = (rows.each - 1) // A_DAY

    def day(back: int = 0) -> str:
        return (BEGAN + timedelta(days=max(last - back, 0))).date().isoformat()

    asked: dict[str, Callable[..., list[object]]] = {
        "serial number": lambda c: find_tests(c, f"M{drawn.randrange(1001, 1001 + STATIONS)}-"
                                                 f"{drawn.randrange(rows.each):07d}"),
        f"instrument, first {MOST} tests": lambda c: trace_tests(
            c, Question(instrument=f"SN-{drawn.randrange(1, STATIONS + 1)}-{drawn.randrange(1, 8)}"), MOST + 1),
        "instrument, one day": lambda c: trace_tests(
            c, Question(instrument=f"SN-{drawn.randrange(1, STATIONS + 1)}-{drawn.randrange(1, 8)}",
                        since=(back := day(drawn.randrange(last + 1))), until=back), MOST + 1),
        "yield of one day": lambda c: yield_by_day(c, since=(back := day(drawn.randrange(last + 1))), until=back),
        "yield of the last 30 days, day by day": lambda c: yield_by_day(c, since=day(29)),
    }
    found = []
    for name, ask in asked.items():
        began = processor_time(rows.database)
        times = sorted(_time(rows.database, ask) for _ in range(ASKED))
        computed = (processor_time(rows.database) - began) / ASKED
        slow, about = 1e3 * times[int(0.95 * ASKED)], f"{rows.size:,} records, {name}"
        found += [Figure(f"{about}: median", 1e3 * float(np.median(times)), unit="ms"),
                  Figure(f"{about}: one in 20", slow, most=MOST_MS if is_bound else None, unit="ms"),
                  Figure(f"{about}: processor time", 1e3 * computed, unit="ms")]
    return found


def processor_time(database: Database) -> float:
    """Return what this process and the one that serves it in PostgreSQL have computed so far, s."""
    with database.reading() as connection:
        server = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
    return time.process_time() + sum(psutil.Process(server).cpu_times()[:2])


def _time(database: Database, ask: Callable[..., list[object]]) -> float:
    began = perf_counter()
    with database.reading() as connection:
        assert ask(connection), "a question about what is there has an answer"
    return perf_counter() - began
