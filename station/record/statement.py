"""Statements in the store: what is said beside the records, in entries that are only added."""

import json
import sqlite3
from collections.abc import Mapping
from typing import Any, Literal

from station.errors import EvidenceError
from station.record.log import Log
from station.record.record import canonical, sha256_of

Statement = dict[str, Any]
StatementKind = Literal["correction", "retention", "release", "trail"]

TABLES = """
CREATE TABLE IF NOT EXISTS statements (
    statement_id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('correction', 'retention', 'release', 'trail')),
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    body BLOB NOT NULL
) STRICT;
"""

TRIGGERS = """
CREATE TRIGGER IF NOT EXISTS statements_update BEFORE UPDATE ON statements
BEGIN SELECT RAISE(ABORT, 'statements are never changed'); END;
CREATE TRIGGER IF NOT EXISTS statements_delete BEFORE DELETE ON statements
BEGIN SELECT RAISE(ABORT, 'statements are never changed'); END;
CREATE TRIGGER IF NOT EXISTS statements_replace BEFORE INSERT ON statements
WHEN EXISTS (SELECT 1 FROM statements WHERE statement_id = NEW.statement_id)
BEGIN SELECT RAISE(ABORT, 'statements are never changed'); END;
"""

_NEXT = "SELECT coalesce(max(statement_id), 0) + 1 FROM statements"
_ADD = "INSERT INTO statements (statement_id, kind, sha256, body) VALUES (?, ?, ?, ?)"
_ALL = "SELECT statement_id, sha256, body FROM statements WHERE kind = ? ORDER BY statement_id"
_LAST = "SELECT statement_id, sha256, body FROM statements WHERE kind = ? ORDER BY statement_id DESC LIMIT 1"


def add_statement(log: Log, kind: StatementKind, said: Mapping[str, Any]) -> Statement:
    """Add a statement and its entry in the log, inside the transaction of the caller; return it as stored."""
    place = log.next_place()
    number, = log.connection.execute(_NEXT).fetchone()
    body = canonical({**said, "kind": kind, "statement": number, "log": place.as_record()})
    insert_statement(log.connection, number, kind, body)
    log.append(place, kind, number, body)
    stored: Statement = json.loads(body)
    return stored


def insert_statement(connection: sqlite3.Connection, number: int, kind: StatementKind, body: bytes) -> None:
    """Insert the row of a statement, of which no entry of the log is made here."""
    connection.execute(_ADD, (number, kind, sha256_of(body), body))


def all_statements(connection: sqlite3.Connection, kind: StatementKind) -> list[Statement]:
    """Return every statement of a kind, oldest first; EvidenceError when one was altered."""
    return [_read(kind, *row) for row in connection.execute(_ALL, (kind,))]


def last_statement(connection: sqlite3.Connection, kind: StatementKind) -> Statement | None:
    """Return the newest statement of a kind, None if there is none; EvidenceError when it was altered."""
    row = connection.execute(_LAST, (kind,)).fetchone()
    return _read(kind, *row) if row else None


def _read(kind: str, number: int, sha256: str, body: bytes) -> Statement:
    said: Statement = json.loads(body) if sha256_of(body) == sha256 else {}
    if (said.get("kind"), said.get("statement")) != (kind, number):
        raise EvidenceError(f"{kind} was altered", where=f"statement {number}", expected=f"SHA-256 {sha256}",
                            got=sha256_of(body), remedy="Restore the store from a backup and ask who changed it.")
    return said
