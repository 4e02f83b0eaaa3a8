"""The people of a station: names, roles, badges and passwords, in a file of their own beside the store."""

import hmac
import secrets
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError, VerifyMismatchError

from station.clock import Clock, stamp
from station.errors import UsageError
from station.record.secret_file import read_secret, write_secret
from station.screens.access import Role
from station.screens.attempts import Turns

DATABASE, BADGE_KEY = "people.db", "badge.key"
SHORTEST, LONGEST = 8, 128      # characters of a password; ASVS 5.0 6.2.1, 6.2.9 ask for at least 8, and 64 allowed
NAME_LENGTH = 80
AT_ONCE, WAITING = 2, 6         # passwords that are hashed, 64 MiB and 0.15 s each, so that the station goes on

TABLES = """
CREATE TABLE IF NOT EXISTS people (
    name TEXT PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 80),
    roles TEXT NOT NULL,
    password TEXT,
    badge BLOB UNIQUE,
    language TEXT NOT NULL DEFAULT '',
    added TEXT NOT NULL,
    disabled TEXT
) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody known here; `roles` are those of this sign-in, fewer than all by badge."""

    name: str
    roles: frozenset[Role]
    language: str = ""


class People:
    """Accounts in `folder`; any thread may ask, each question opens the file for itself."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder, self._clock, self._hasher = folder, clock, PasswordHasher()
        self._turns = Turns(AT_ONCE, WAITING)
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not (folder / BADGE_KEY).exists():
            write_secret(folder / BADGE_KEY, secrets.token_bytes(32))
        # Somebody who does not exist takes as long to refuse as somebody with a wrong password.
        self._nobody = self._hasher.hash(secrets.token_urlsafe())
        with self.connection() as connection:
            connection.executescript(TABLES)

    def add(self, name: str, roles: Iterable[Role], *, password: str = "", badge: str = "", language: str = "") -> None:
        """Add a person; roles other than operator need a password, the operator's a badge or a password.

        Raises
        ------
        UsageError
            The name is taken or none, the badge is another's, the password too short, or nothing to sign in with.
        """
        given, shown = frozenset(roles), " ".join(name.split())
        if not 1 <= len(shown) <= NAME_LENGTH or not shown.isprintable():
            raise UsageError("that is no name", where="people", expected=f"1 to {NAME_LENGTH} printable characters",
                             got=repr(name[:NAME_LENGTH]), remedy="Give the name as it shall stand in records.")
        if not given or not (password or badge) or (given != {Role.OPERATOR} and not password):
            raise UsageError("nobody could sign in so", where=shown, expected="a role; a password, or, for operators "
                             "alone, a badge", got=f"roles {', '.join(sorted(given)) or 'none'}",
                             remedy="Give what is missing.")
        words = (shown, " ".join(sorted(given)), self._hashed(password), self._badge(badge) if badge else None,
                 language, stamp(self._clock.utc()))
        try:
            with self.connection() as connection:
                connection.execute("INSERT INTO people (name, roles, password, badge, language, added) "
                                   "VALUES (?, ?, ?, ?, ?, ?)", words)
        except sqlite3.IntegrityError as error:
            raise UsageError("that person or badge is known already", where=shown, expected="a new name, a new badge",
                             got=str(error), remedy="Disable the old account first, or choose another.") from error

    def disable(self, name: str) -> None:
        """Let a person sign in no more; the account stays, as records name it. UsageError if there is none."""
        with self.connection() as connection:
            done = connection.execute("UPDATE people SET disabled = ? WHERE name = ? AND disabled IS NULL",
                                      (stamp(self._clock.utc()), name)).rowcount
        if not done:
            raise UsageError("no such account", where="people", expected="the name of somebody who may sign in",
                             got=repr(name), remedy="Look at the list of people.")

    def give(self, name: str, *, password: str = "", badge: str = "") -> None:
        """Give somebody a new password or badge or both; who was disabled may sign in again.

        Raises
        ------
        UsageError
            There is no such account, the badge is another's, the password too short, or neither was given.
        """
        if not password and not badge:
            raise UsageError("nothing to sign in with", where=name, expected="a badge or a password", got="neither",
                             remedy="Give one of them.")
        hashed, kept = self._hashed(password), self._badge(badge) if badge else None
        try:
            with self.connection() as connection:
                done = connection.execute("UPDATE people SET password = coalesce(?, password), disabled = NULL, "
                                          "badge = coalesce(?, badge) WHERE name = ?", (hashed, kept, name)).rowcount
        except sqlite3.IntegrityError as error:
            raise UsageError("that badge is somebody else's", where=name, expected="a new badge", got=str(error),
                             remedy="Choose another.") from error
        if not done:
            raise UsageError("no such account", where="people", expected="a name of the list", got=repr(name),
                             remedy="Look at the list of people.")

    def all(self) -> list[tuple[Person, bool]]:
        """Return everybody in order of names, and whether the account is in use."""
        with self.connection() as connection:
            rows = connection.execute("SELECT name, roles, language, disabled FROM people ORDER BY name").fetchall()
        return [(_person(*row[:3]), row[3] is None) for row in rows]

    def named(self, name: str) -> Person | None:
        """Return somebody who may sign in, with all roles, or None."""
        return self._one("name", name)

    def by_password(self, name: str, password: str) -> Person | None:
        """Return who signs in with name and password, or None; as slow either way. PatienceError when too many try."""
        with self.connection() as connection:
            row = connection.execute("SELECT password FROM people WHERE name = ? AND disabled IS NULL",
                                     (" ".join(name.split()),)).fetchone()
        known = row[0] if row and row[0] and len(password) <= LONGEST else self._nobody
        try:
            with self._turns.taken():
                self._hasher.verify(known, password[:LONGEST])
        except (VerifyMismatchError, VerificationError):
            return None
        return self.named(" ".join(name.split())) if row and row[0] else None

    def by_badge(self, badge: str) -> Person | None:
        """Return whose badge it is, as an operator and nothing else, or None: a badge names, it proves nothing."""
        person = self._one("badge", self._badge(badge))
        return person and Person(person.name, person.roles & {Role.OPERATOR}, person.language)

    def speak(self, name: str, language: str) -> None:
        """Remember the language that a person chose."""
        with self.connection() as connection:
            connection.execute("UPDATE people SET language = ? WHERE name = ?", (language, name))

    @contextmanager
    def connection(self) -> Iterator[sqlite3.Connection]:
        """Open the file for one transaction."""
        with closing(sqlite3.connect(self.folder / DATABASE, timeout=10.0)) as connection, connection:
            connection.execute("PRAGMA synchronous = FULL")
            yield connection

    def _one(self, column: str, value: str | bytes) -> Person | None:
        with self.connection() as connection:
            row = connection.execute(f"SELECT name, roles, language FROM people WHERE {column} = ? "  # noqa: S608 - ours
                                     "AND disabled IS NULL", (value,)).fetchone()
        return _person(*row) if row else None

    def _badge(self, badge: str) -> bytes:
        """Return what stands for a badge in the file: short numbers could be guessed from a bare hash."""
        return hmac.digest(read_secret(self.folder / BADGE_KEY), badge.strip().encode(), sha256)

    def _hashed(self, password: str) -> str | None:
        if not password:
            return None
        if not SHORTEST <= len(password) <= LONGEST:
            raise UsageError("that password will not do", where="people",
                             expected=f"{SHORTEST} to {LONGEST} characters, better 15 and more",
                             got=f"{len(password)}", remedy="Choose another.")
        with self._turns.taken():
            return self._hasher.hash(password)


def _person(name: str, roles: str, language: str) -> Person:
    return Person(name, frozenset(map(Role, roles.split())), language)
