"""Who is signed in: rows on the server, so that a session can be ended; the browser holds only a random token."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from station.clock import Clock, stamp
from station.screens.access import Role
from station.screens.people import People, Person

IDLE = {True: timedelta(hours=10), False: timedelta(minutes=15)}   # of an operator, of everybody else
LONGEST = timedelta(hours=12)

TABLES = """
CREATE TABLE IF NOT EXISTS sessions (
    token BLOB PRIMARY KEY,
    name TEXT NOT NULL,
    roles TEXT NOT NULL,
    began TEXT NOT NULL,
    seen TEXT NOT NULL,
    place TEXT NOT NULL
) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Sessions:
    """Sign-ins of `people`; only the SHA-256 of a token is kept."""

    people: People
    clock: Clock

    def __post_init__(self) -> None:
        """Make the table."""
        with self.people.connection() as connection:
            connection.executescript(TABLES)

    def begin(self, person: Person, place: str, ending: str = "") -> str:
        """Return a new token for `person` at `place`; the session of the token `ending` is over."""
        token, now = secrets.token_urlsafe(32), stamp(self.clock.utc())
        with self.people.connection() as connection:
            connection.execute("DELETE FROM sessions WHERE token = ?", (_kept(ending),))
            connection.execute("INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?)",
                               (_kept(token), person.name, " ".join(sorted(person.roles)), now, now, place))
        return token

    def who(self, token: str) -> Person | None:
        """Return whose session it is, which counts as being seen, or None; roles taken away meanwhile are gone."""
        if not token:
            return None
        now = self.clock.utc()
        with self.people.connection() as connection:
            row = connection.execute("SELECT name, roles, began, seen FROM sessions WHERE token = ?",
                                     (_kept(token),)).fetchone()
            person = self.people.named(row[0]) if row else None
            roles = frozenset(map(Role, row[1].split())) & person.roles if person else frozenset()
            if not person or not roles or _is_over(roles, row[2], row[3], now):
                connection.execute("DELETE FROM sessions WHERE token = ?", (_kept(token),))
                return None
            connection.execute("UPDATE sessions SET seen = ? WHERE token = ?", (stamp(now), _kept(token)))
        return Person(person.name, roles, person.language)

    def end(self, token: str) -> None:
        """End a session; safe to repeat."""
        with self.people.connection() as connection:
            connection.execute("DELETE FROM sessions WHERE token = ?", (_kept(token),))

    def end_all_of(self, name: str) -> None:
        """End every session of a person, as when the account is disabled."""
        with self.people.connection() as connection:
            connection.execute("DELETE FROM sessions WHERE name = ?", (name,))


def _is_over(roles: frozenset[Role], began: str, seen: str, now: datetime) -> bool:
    idle = IDLE[roles == {Role.OPERATOR}]
    return now - datetime.fromisoformat(began) > LONGEST or now - datetime.fromisoformat(seen) > idle


def _kept(token: str) -> bytes:
    return sha256(token.encode()).digest()
