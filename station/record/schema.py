"""The SQL of the store: tables that only grow, and the connection settings that make a commit durable."""

import sqlite3
from pathlib import Path

from station.errors import EvidenceError, UsageError
from station.record import log_schema, reference_check, statement
from station.record.damage import Connection
from station.record.log import open_log
from station.record.log_key import LogKey

DATABASE = "records.sqlite"
VERSION = 4     # 1 had no log, 2 no releases, 3 no trail

# `runs` is written before anything moves, `records` when a run has ended: a run without a record was
# interrupted. The columns beside `body` repeat what it says, for searching.
TABLES = """
CREATE TABLE IF NOT EXISTS runs (
    run_id INTEGER PRIMARY KEY AUTOINCREMENT,
    serial TEXT NOT NULL,
    run INTEGER NOT NULL CHECK (run >= 1),
    started TEXT NOT NULL,
    heading TEXT NOT NULL,
    UNIQUE (serial, run)
) STRICT;
CREATE TABLE IF NOT EXISTS records (
    run_id INTEGER PRIMARY KEY REFERENCES runs (run_id),
    serial TEXT NOT NULL,
    run INTEGER NOT NULL,
    motor_type TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('PASS', 'FAIL', 'NO RESULT')),
    started TEXT NOT NULL,
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    body BLOB NOT NULL
) STRICT;
CREATE INDEX IF NOT EXISTS records_by_serial ON records (serial, run);
"""

# INSERT OR REPLACE removes the old row without asking a DELETE trigger, hence the two on INSERT.
TRIGGERS = """
CREATE TRIGGER IF NOT EXISTS runs_update BEFORE UPDATE ON runs
BEGIN SELECT RAISE(ABORT, 'runs are never changed'); END;
CREATE TRIGGER IF NOT EXISTS runs_delete BEFORE DELETE ON runs
BEGIN SELECT RAISE(ABORT, 'runs are never changed'); END;
CREATE TRIGGER IF NOT EXISTS runs_replace BEFORE INSERT ON runs
WHEN EXISTS (SELECT 1 FROM runs WHERE run_id = NEW.run_id OR (serial = NEW.serial AND run = NEW.run))
BEGIN SELECT RAISE(ABORT, 'runs are never changed'); END;
CREATE TRIGGER IF NOT EXISTS records_update BEFORE UPDATE ON records
BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
CREATE TRIGGER IF NOT EXISTS records_delete BEFORE DELETE ON records
BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
CREATE TRIGGER IF NOT EXISTS records_replace BEFORE INSERT ON records
WHEN EXISTS (SELECT 1 FROM records WHERE run_id = NEW.run_id)
BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
"""

NEXT_RUN = "SELECT coalesce(max(run), 0) + 1 FROM runs WHERE serial = ?"
BEGIN_RUN = "INSERT INTO runs (serial, run, started, heading) VALUES (?, ?, ?, ?)"
COPY_RUN = "INSERT INTO runs (run_id, serial, run, started, heading) VALUES (?, ?, ?, ?, ?)"
ONE_RUN = "SELECT serial, run, started, heading FROM runs WHERE run_id = ?"
HAS_RECORD = "SELECT 1 FROM records WHERE run_id = ?"
RUN_OF = "SELECT run_id FROM records WHERE serial = ? AND run = ?"
ADD_RECORD = ("INSERT INTO records (run_id, serial, run, motor_type, verdict, started, sha256, body) "
              "VALUES (?, ?, ?, ?, ?, ?, ?, ?)")
LAST_RECORD = ("SELECT records.body FROM log JOIN records ON run_id = subject "
               "WHERE kind = 'record' ORDER BY seq DESC LIMIT 1")
UNFINISHED = ("SELECT run_id, serial, run, started, heading FROM runs "
              "WHERE run_id NOT IN (SELECT run_id FROM records) ORDER BY run_id")
FIND = """
SELECT serial, run, motor_type, verdict, started, sha256, body FROM records
WHERE serial GLOB :serial AND (:verdict IS NULL OR verdict = :verdict)
  AND (:motor_type IS NULL OR motor_type = :motor_type)
  AND (:since IS NULL OR started >= :since) AND (:until IS NULL OR started <= :until || '~')
ORDER BY run_id
"""
SHOW = ("SELECT serial, run, motor_type, verdict, started, sha256, body FROM records "
        "WHERE serial = ? ORDER BY run")
MADE_FOR = """
SELECT records.serial, records.run, motor_type, verdict, records.started, sha256, body FROM records
JOIN runs USING (run_id) WHERE json_extract(heading, '$.purpose') = ? ORDER BY run_id
"""
PURPOSES = """
SELECT json_extract(heading, '$.purpose') AS purpose FROM runs WHERE purpose IS NOT NULL
GROUP BY purpose ORDER BY min(run_id)
"""
TYPES = "SELECT DISTINCT motor_type FROM records WHERE motor_type <> '' ORDER BY motor_type"
# of each motor its first and its last run with a result that is not void; runs of a reference check are no production
VALID_RUNS = """
SELECT first.verdict, last.verdict FROM
  (SELECT serial, min(run) AS first_run, max(run) AS last_run FROM records
   WHERE verdict <> 'NO RESULT' AND run_id NOT IN (
     SELECT run_id FROM runs WHERE json_extract(heading, '$.purpose') IS NOT NULL) AND run_id NOT IN ({void})
   GROUP BY serial) AS motor
JOIN records AS first ON first.serial = motor.serial AND first.run = motor.first_run
JOIN records AS last ON last.serial = motor.serial AND last.run = motor.last_run
WHERE (:motor_type IS NULL OR first.motor_type = :motor_type)
  AND (:since IS NULL OR first.started >= :since) AND (:until IS NULL OR first.started <= :until || '~')
"""


# what a store without a log holds already, in the order in which it came
_UNLOGGED = """
SELECT 'record', run_id, run_id AS place, 0 AS after FROM records
UNION ALL SELECT 'reference check', check_id, last_run, 1 FROM reference_checks
ORDER BY place, after, 2
"""
_UNLOGGED_BODY = {"record": "SELECT body FROM records WHERE run_id = ?",
                  "reference check": "SELECT body FROM reference_checks WHERE check_id = ?"}

# Versions 2 and 3 named the kinds of their time in constraints, which SQLite changes only with their table: both are
# put aside before the tables are made, then moved over, and their triggers go with the old ones.
_PUT_ASIDE = "ALTER TABLE statements RENAME TO statements_before; ALTER TABLE log RENAME TO log_before;"
_MOVE_OVER = """
INSERT INTO statements SELECT * FROM statements_before ORDER BY statement_id;
DROP TABLE statements_before;
INSERT INTO log SELECT * FROM log_before ORDER BY seq;
DROP TABLE log_before;
"""


def open_for_writing(folder: Path, origin: str = "", key: LogKey | None = None) -> sqlite3.Connection:
    """Open the database, made if absent; each COMMIT is on disk when it returns (WAL, synchronous FULL).

    What a store of version 1 holds is entered into a log called `origin` in one transaction; the
    bodies stay as they are.

    Raises
    ------
    UsageError
        A later version made the store, or it holds the log of another origin.
    EvidenceError
        The database is damaged, here and whenever it is read.
    """
    connection = sqlite3.connect(folder / DATABASE, isolation_level=None, timeout=10, factory=Connection)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        version, = connection.execute("PRAGMA user_version").fetchone()
        aside, over = (_PUT_ASIDE, _MOVE_OVER) if 2 <= version < VERSION else ("", "")
        connection.executescript("BEGIN IMMEDIATE;" + aside + TABLES + reference_check.TABLES + statement.TABLES
                                 + log_schema.TABLES + over + TRIGGERS + reference_check.TRIGGERS + statement.TRIGGERS
                                 + log_schema.TRIGGERS)
        _bring_up_to_date(connection, folder, origin, key)
        connection.execute("COMMIT")
    except BaseException:
        connection.close()
        raise
    return connection


def _bring_up_to_date(connection: sqlite3.Connection, folder: Path, origin: str, key: LogKey | None) -> None:
    version, = connection.execute("PRAGMA user_version").fetchone()
    if version > VERSION:
        raise UsageError("store was made by a later version", where=str(folder), expected=f"version {VERSION}",
                         got=version, remedy="Install that version of the station, or a later one.")
    log = open_log(connection, origin, key, new=version < 2)
    if version < 2:
        for kind, subject, *_ in connection.execute(_UNLOGGED).fetchall():
            body, = connection.execute(_UNLOGGED_BODY[kind], (subject,)).fetchone()     # never all at once in memory
            log.append(log.next_place(), kind, subject, body)
    if version < VERSION:
        connection.execute(f"PRAGMA user_version = {VERSION}")


def open_beside(folder: Path) -> sqlite3.Connection:
    """Open the database of a store that another process or thread may be working in; each COMMIT is on disk.

    UsageError where there is none, or one of an earlier version, which its station must open first.
    """
    path = (folder / DATABASE).resolve()
    if not path.is_file():
        raise UsageError("no store here", where=str(folder), expected=f"a folder with {DATABASE}", got="none",
                         remedy="Test a motor first, or give the folder of an existing store.")
    connection = sqlite3.connect(f"{path.as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=10,
                                 factory=Connection)
    try:
        connection.execute("PRAGMA synchronous = FULL")
        _require_version(connection, folder)
    except BaseException:
        connection.close()
        raise
    return connection


def _require_version(connection: sqlite3.Connection, folder: Path) -> None:
    version, = connection.execute("PRAGMA user_version").fetchone()
    if version != VERSION:
        raise UsageError("the store is of another version", where=str(folder), expected=f"version {VERSION}",
                         got=version, remedy="Let its station open it once; that brings it up to date.")


def open_for_reading(folder: Path) -> sqlite3.Connection:
    """Open the database so that nothing can be written; also from a medium that cannot be written."""
    path = (folder / DATABASE).resolve()
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None, timeout=10,
                                 factory=Connection)
    try:
        connection.execute("SELECT 1 FROM records LIMIT 1")
    except sqlite3.OperationalError:
        connection.close()
        wal = path.with_name(DATABASE + "-wal")
        if wal.exists() and wal.stat().st_size:
            raise
        connection = sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True, isolation_level=None,
                                     factory=Connection)
    except EvidenceError:
        connection.close()
        raise
    return connection


def has_log(connection: sqlite3.Connection) -> bool:
    """Return whether the store has a log; one of version 1 that was never opened for writing since has none."""
    return connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'log_origin'").fetchone() is not None
