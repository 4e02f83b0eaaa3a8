"""Who did what, when and why: entries that are only added, each chained to the one before.

They are durable here first, and entered into the log of the station by whoever writes there, each exactly once: how far
that has come stands in the log itself, so that no crash can part the two.
"""

import json
import sqlite3
from dataclasses import dataclass

from station.clock import Clock, stamp
from station.record.record import canonical
from station.record.store import Store
from station.record.trail_entry import BEGINNING, MOST, chained, portion
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
_Row = tuple[int, bytes, bytes]     # number, body, and what it is chained by
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
            number, before = (last[0] + 1, last[1]) if last else (1, BEGINNING)
            body = canonical({"number": number, **said})
            connection.execute("INSERT INTO trail VALUES (?, ?, ?)", (number, body, chained(before, body)))

    def entries(self, after: int = 0, limit: int = 1000) -> list[tuple[int, bytes]]:
        """Return the number and the bytes of entries after number `after`, oldest first."""
        with self.people.connection() as connection:
            return [(number, body) for number, body, _ in _rows(connection, after, limit)]

    def holding(self, *texts: str) -> list[bytes]:
        """Return the bytes of every entry that has one of `texts` in it, oldest first."""
        holds = " OR ".join("instr(body, CAST(? AS BLOB)) > 0" for _ in texts)
        with self.people.connection() as connection:
            rows = connection.execute(f"SELECT body FROM trail WHERE {holds} ORDER BY number", texts)  # noqa: S608 - ours
            return [body for body, in rows]

    def enter(self, store: Store) -> int:
        """Enter into the log of `store`, open for writing, what it does not hold yet; return how many entries.

        A trail that does not go on from what was entered last, as after the file of accounts was restored or changed,
        is entered anew from its beginning: nothing is lost, and the audit tells it.
        """
        entered = 0
        while (found := self._next(store)) is not None:
            rows, before = found
            store.add_statement("trail", portion([json.loads(body) for _, body, _ in rows], before, rows[-1][2]))
            entered += len(rows)
        return entered

    def waiting(self, store: Store) -> list[bytes]:
        """Return the bytes of every entry that the log of `store` does not hold yet, oldest first."""
        with self.people.connection() as connection:
            return [body for _, body, _ in _rows(connection, _entered(connection, store)[0], -1)]

    def _next(self, store: Store) -> tuple[list[_Row], bytes] | None:
        """Return the entries to be entered next and what the one ahead of them is chained by, None if all are."""
        with self.people.connection() as connection:
            done, before = _entered(connection, store)
            rows = _rows(connection, done, MOST)
        return (rows, before) if rows else None


def plain(text: str) -> str:
    """Return `text` without control characters, which could pretend to be other entries, and cut to a line."""
    return "".join(c if c.isprintable() else "�" for c in text)[:LONGEST]


def _rows(connection: sqlite3.Connection, after: int, limit: int) -> list[_Row]:
    question = "SELECT number, body, chained FROM trail WHERE number > ? ORDER BY number LIMIT ?"
    return connection.execute(question, (after, limit)).fetchall()


def _entered(connection: sqlite3.Connection, store: Store) -> tuple[int, bytes]:
    """Return the number of the last entry that the log holds, and what it is chained by."""
    last = store.last_statement("trail")
    if last is not None:
        here = connection.execute("SELECT chained FROM trail WHERE number = ?", (last.get("last"),)).fetchone()
        if here is not None and here[0].hex() == last.get("chained"):
            return last["last"], here[0]
    return 0, BEGINNING
