"""Reference checks in the store: entries that are only added, and the tests that a failed one makes suspect."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import EvidenceError
from station.record.log import Log
from station.record.record import INTERRUPTED, canonical, sha256_of

Check = dict[str, Any]

# `last_run` is the last run begun when the check was entered: what came before and after is told by
# numbers that only grow, never by the clock.
TABLES = """
CREATE TABLE IF NOT EXISTS reference_checks (
    check_id INTEGER PRIMARY KEY,
    motor_type TEXT NOT NULL,
    result TEXT NOT NULL CHECK (result IN ('GOOD', 'BAD', 'NO RESULT')),
    last_run INTEGER NOT NULL,
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    body BLOB NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS suspects (
    check_id INTEGER NOT NULL REFERENCES reference_checks (check_id),
    run_id INTEGER NOT NULL REFERENCES runs (run_id),
    PRIMARY KEY (check_id, run_id)
) STRICT;
"""

TRIGGERS = """
CREATE TRIGGER IF NOT EXISTS reference_checks_update BEFORE UPDATE ON reference_checks
BEGIN SELECT RAISE(ABORT, 'reference checks are never changed'); END;
CREATE TRIGGER IF NOT EXISTS reference_checks_delete BEFORE DELETE ON reference_checks
BEGIN SELECT RAISE(ABORT, 'reference checks are never changed'); END;
CREATE TRIGGER IF NOT EXISTS reference_checks_replace BEFORE INSERT ON reference_checks
WHEN EXISTS (SELECT 1 FROM reference_checks WHERE check_id = NEW.check_id)
BEGIN SELECT RAISE(ABORT, 'reference checks are never changed'); END;
CREATE TRIGGER IF NOT EXISTS suspects_update BEFORE UPDATE ON suspects
BEGIN SELECT RAISE(ABORT, 'suspects are never changed'); END;
CREATE TRIGGER IF NOT EXISTS suspects_delete BEFORE DELETE ON suspects
BEGIN SELECT RAISE(ABORT, 'suspects are never changed'); END;
"""

# What a failed check casts doubt on: each test with a result that no good check of its own motor type has
# followed. A type that was never checked goes by the last good check of any type.
_DOUBTFUL = """
SELECT tested.run_id, tested.serial, tested.run FROM records AS tested JOIN runs USING (run_id)
WHERE tested.verdict <> 'NO RESULT' AND json_extract(runs.heading, '$.purpose') IS NULL
  AND tested.run_id > coalesce(
    (SELECT max(last_run) FROM reference_checks WHERE result = 'GOOD' AND motor_type = tested.motor_type),
    (SELECT max(last_run) FROM reference_checks WHERE result = 'GOOD'
     AND NOT EXISTS (SELECT 1 FROM reference_checks AS own WHERE own.motor_type = tested.motor_type)),
    0)
ORDER BY tested.run_id
"""
_NEXT = ("SELECT (SELECT coalesce(max(check_id), 0) + 1 FROM reference_checks), "
         "(SELECT coalesce(max(run_id), 0) FROM runs)")
_ADD = ("INSERT INTO reference_checks (check_id, motor_type, result, last_run, sha256, body) "
        "VALUES (?, ?, ?, ?, ?, ?)")
_ADD_SUSPECT = "INSERT INTO suspects (check_id, run_id) SELECT ?, run_id FROM runs WHERE serial = ? AND run = ?"
_ALL = "SELECT check_id, motor_type, result, last_run, sha256, body FROM reference_checks ORDER BY check_id"
_NEWEST = """
SELECT check_id, motor_type, result, last_run, sha256, body FROM reference_checks WHERE check_id IN (
  SELECT check_id FROM (SELECT check_id, row_number() OVER (PARTITION BY motor_type ORDER BY check_id DESC) AS age
                        FROM reference_checks) WHERE age <= ?)
ORDER BY check_id
"""
_FROM_THE_LAST = """
SELECT check_id, motor_type, result, last_run, sha256, body FROM reference_checks
WHERE check_id >= (SELECT max(check_id) FROM reference_checks WHERE motor_type = ?) ORDER BY check_id
"""
_BEFORE = """
SELECT check_id, reference_checks.motor_type, result, last_run, sha256, body
FROM log JOIN reference_checks ON log.kind = 'reference check' AND log.subject = check_id
WHERE seq < :seq AND reference_checks.motor_type = :motor_type ORDER BY seq DESC LIMIT 1
"""
_AFTER = _BEFORE.replace("<", ">").replace("DESC", "ASC")
_SUSPECTS = """
SELECT records.serial, records.run, records.motor_type, records.verdict, records.started, min(suspects.check_id)
FROM suspects JOIN records USING (run_id) GROUP BY suspects.run_id ORDER BY suspects.run_id
"""
_INTERRUPTED_SINCE = """
SELECT runs.serial FROM runs LEFT JOIN records USING (run_id)
WHERE runs.run_id > :last_run AND (records.run_id IS NULL OR (
  records.verdict = 'NO RESULT' AND json_extract(CAST(records.body AS TEXT), '$.reason') = :interrupted))
ORDER BY runs.run_id DESC LIMIT 1
"""
_OTHER_TYPE_SINCE = """
SELECT records.motor_type FROM records JOIN runs USING (run_id)
WHERE run_id > :last_run AND records.motor_type NOT IN ('', :motor_type)
  AND json_extract(runs.heading, '$.purpose') IS NULL
ORDER BY run_id DESC LIMIT 1
"""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A stored test that a failed reference check casts doubt on; `check` is the first such check."""

    serial: str
    run: int
    motor_type: str
    verdict: str
    started: str
    check: int


@dataclass(frozen=True, slots=True)
class Since:
    """What happened on the bench after a check: a run that was interrupted, a motor of another type."""

    interrupted: str | None      # serial
    other_type: str | None       # motor type; reference motors are no changeover


def add_check(log: Log, entry: Mapping[str, Any]) -> Check:
    """Add a check and its entry in the log, inside the transaction of the caller; return it as stored.

    `entry` has motor_type, result "GOOD", "BAD" or "NO RESULT", and whatever else belongs to it. A BAD one
    marks every test that no good check has followed.
    """
    connection, place = log.connection, log.next_place()
    number, last_run = connection.execute(_NEXT).fetchone()
    doubtful = connection.execute(_DOUBTFUL).fetchall() if entry["result"] == "BAD" else []
    body = canonical({**entry, "check": number, "last_run": last_run,
                      "suspects": [{"serial": serial, "run": run} for _, serial, run in doubtful],
                      "log": place.as_record()})
    stored: Check = json.loads(body)
    insert_check(connection, number, stored, body)
    log.append(place, "reference check", number, body)
    return stored


def insert_check(connection: sqlite3.Connection, number: int, said: Mapping[str, Any], body: bytes) -> None:
    """Insert the rows of a check whose `body` says what `said` is, of which no entry of the log is made here."""
    connection.execute(_ADD, (number, said["motor_type"], said["result"], said["last_run"], sha256_of(body), body))
    connection.executemany(_ADD_SUSPECT, [(number, one["serial"], one["run"]) for one in said["suspects"]])


def all_checks(connection: sqlite3.Connection) -> list[Check]:
    """Return every check, oldest first.

    Raises
    ------
    EvidenceError
        An entry was altered.
    """
    return _checks(connection, _ALL)


def newest_checks(connection: sqlite3.Connection, count: int) -> list[Check]:
    """Return the newest `count` checks of each motor type, oldest first; errors as `all_checks`."""
    return _checks(connection, _NEWEST, count)


def checks_from_the_last(connection: sqlite3.Connection, motor_type: str) -> list[Check]:
    """Return the last check of a motor type and those of others after it; none when there is no such check.

    Errors as `all_checks`.
    """
    return _checks(connection, _FROM_THE_LAST, motor_type)


def checks_around(connection: sqlite3.Connection, seq: int, motor_type: str) -> tuple[Check | None, Check | None]:
    """Return the last check of a motor type before entry `seq` of the log and the first one after it.

    None where there is none; errors as `all_checks`. What came before is told by the log, never by the clock.
    """
    wanted = {"seq": seq, "motor_type": motor_type}
    before, after = (connection.execute(query, wanted).fetchone() for query in (_BEFORE, _AFTER))
    return before and _read(before), after and _read(after)


def all_suspects(connection: sqlite3.Connection) -> list[Suspect]:
    """Return every test that a failed check casts doubt on, in the order of test."""
    return [Suspect(*row) for row in connection.execute(_SUSPECTS)] if _has_tables(connection) else []


def events_since(connection: sqlite3.Connection, last_run: int, motor_type: str) -> Since:
    """Return what happened after run `last_run` that a check of `motor_type` does not cover."""
    wanted = {"last_run": last_run, "motor_type": motor_type, "interrupted": INTERRUPTED}
    interrupted, other = (connection.execute(sql, wanted).fetchone() for sql in (_INTERRUPTED_SINCE, _OTHER_TYPE_SINCE))
    return Since(interrupted and interrupted[0], other and other[0])


def _checks(connection: sqlite3.Connection, query: str, *wanted: int | str) -> list[Check]:
    return [_read(row) for row in connection.execute(query, wanted)] if _has_tables(connection) else []


def _read(row: tuple[int, str, str, int, str, bytes]) -> Check:
    number, motor_type, result, last_run, sha256, body = row
    where = f"reference check {number}"
    if sha256_of(body) != sha256:
        raise EvidenceError("reference check was altered", where=where, expected=f"SHA-256 {sha256}",
                            got=sha256_of(body), remedy="Restore the store from a backup and ask who changed it.")
    check: Check = json.loads(body)
    beside = (number, motor_type, result, last_run)
    said = tuple(check[key] for key in ("check", "motor_type", "result", "last_run"))
    if said != beside:
        raise EvidenceError("reference check and its index differ", where=where, expected=beside, got=said,
                            remedy="Restore the store from a backup and ask who changed it.")
    return check


def _has_tables(connection: sqlite3.Connection) -> bool:
    # A store written before there were reference checks, opened for reading, has none.
    found = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'suspects'").fetchone()
    return found is not None
