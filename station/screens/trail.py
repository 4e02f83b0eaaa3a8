"""Who did what, when and why: entries that are only added, each chained to the one before."""

import sqlite3
from dataclasses import dataclass
from hashlib import sha256

from station.clock import Clock, stamp
from station.record.record import canonical
from station.screens.people import People

TABLES = """
CREATE TABLE IF NOT EXISTS trail (
    number INTEGER PRIMARY KEY,
    body BLOB NOT NULL,
    chained BLOB NOT NULL CHECK (length(chained) = 32)
) STRICT;
CREATE TRIGGER IF NOT EXISTS trail_update BEFORE UPDATE ON trail
BEGIN SELECT RAISE(ABORT, 'the trail is never changed'); END;
CREATE TRIGGER IF NOT EXISTS trail_delete BEFORE DELETE ON trail
BEGIN SELECT RAISE(ABORT, 'the trail is never changed'); END;
"""
LONGEST = 500       # characters of any text in an entry: what a hostile scan brings is cut


@dataclass(frozen=True, slots=True)
class Trail:
    """The trail of a station's screens, in the file of its people."""

    people: People
    clock: Clock

    def __post_init__(self) -> None:
        """Make the table."""
        with self.people.connection() as connection:
            connection.executescript(TABLES)

    def add(self, who: str, what: str, *, where: str, about: str = "", why: str = "", good: bool = True) -> None:
        """Add an entry, durably: a person did, or (not `good`) tried to do, something.

        `what` is one of few words, such as "sign in"; `about` names what it was done to; `where` from which computer.
        """
        said = {"at": stamp(self.clock.utc()), "who": plain(who), "what": what, "about": plain(about),
                "why": plain(why), "where": plain(where), "good": good}
        with self.people.connection() as connection:
            connection.execute("BEGIN IMMEDIATE")
            last = connection.execute("SELECT number, chained FROM trail ORDER BY number DESC LIMIT 1").fetchone()
            number, before = (last[0] + 1, last[1]) if last else (1, bytes(32))
            body = canonical({"number": number, **said})
            connection.execute("INSERT INTO trail VALUES (?, ?, ?)", (number, body, chained(before, body)))

    def entries(self, after: int = 0, limit: int = 1000) -> list[tuple[int, bytes]]:
        """Return the number and the bytes of entries after number `after`, oldest first."""
        with self.people.connection() as connection:
            return _rows(connection, after, limit)


def chained(before: bytes, body: bytes) -> bytes:
    """Return what an entry is chained by: SHA-256 over that of the entry before and its own bytes."""
    return sha256(before + body).digest()


def plain(text: str) -> str:
    """Return `text` without control characters, which could pretend to be other entries, and cut to a line."""
    return "".join(c if c.isprintable() else "�" for c in text)[:LONGEST]


def _rows(connection: sqlite3.Connection, after: int, limit: int) -> list[tuple[int, bytes]]:
    question = "SELECT number, body FROM trail WHERE number > ? ORDER BY number LIMIT ?"
    return [(number, body) for number, body in connection.execute(question, (after, limit))]


