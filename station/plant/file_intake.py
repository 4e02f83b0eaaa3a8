"""Taking in the files of stations: each whole, under its name in the store, and never one with another content."""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from threading import Lock

from sqlalchemy import Connection, insert, select

from station.clock import Instant, stamp
from station.plant.alarms import raise_alarm
from station.plant.archive import Archive
from station.plant.database import Database
from station.plant.intake import head_of
from station.plant.refused import ForkError, MalformedError
from station.plant.schema import files
from station.plant.stations import Known

LONGEST_NAME = 400
_PART = re.compile(r"[^\x00-\x1f\x7f/\\]+")
_LOCKS = 64     # of files that are written at once


@dataclass(frozen=True, slots=True)
class FileIntake:
    """Takes in files from any number of stations at once."""

    database: Database
    archive: Archive
    _writing: tuple[Lock, ...] = field(default_factory=lambda: tuple(Lock() for _ in range(_LOCKS)))

    def missing(self, known: Known, named: Mapping[str, bytes]) -> list[str]:
        """Return which files, by name and SHA-256, the plant has not; one with another content is missing, too."""
        for name in named:
            require_name(name, known)
        with self.database.reading() as connection:
            query = select(files.c.name, files.c.sha256).where(files.c.station == known.number,
                                                               files.c.name.in_(list(named)))
            held = {row.name: row.sha256 for row in connection.execute(query)}
        return [name for name, sha256 in named.items() if held.get(name) != sha256]

    def take(self, known: Known, name: str, content: bytes, at: Instant) -> bool:
        """Keep a file durably, and return whether it is new.

        Raises
        ------
        MalformedError
            A station's store has no such names.
        ForkError
            There is one of this name with another content; it stays as it is, and an alarm is raised.
        NoRoomError, AwayError
            As `Archive.put` and `Database.writing`; the file does not count.
        """
        require_name(name, known)
        sha256 = hashlib.sha256(content).digest()
        with self._writing[hash((known.origin, name)) % _LOCKS]:
            with self.database.reading() as connection:
                noted = held = _held(connection, known, name)
            if noted is None and (there := self.archive.find(known.origin, name)) is not None:
                held = hashlib.sha256(there).digest()   # not noted before a crash, or by a database set back since
            if held is not None and held != sha256:
                raise self._other(known, name, held, sha256, at)
            if noted is not None:
                return False
            if held is None:
                self.archive.put(known.origin, name, content)
            with self.database.writing() as connection:
                connection.execute(insert(files), {"station": known.number, "name": name, "sha256": sha256,
                                                   "size": len(content), "at": stamp(at)})
        return True

    def _other(self, known: Known, name: str, held: bytes, sent: bytes, at: Instant) -> ForkError:
        what = f"{name} of {known.origin} has another content than was handed over"
        with self.database.writing() as connection:
            size = head_of(connection, known.number).size
            raise_alarm(connection, known.number, "file", what, at, held=held.hex(), told=sent.hex())
        return ForkError(what, size=size, seq=None, where=f"archive of {known.origin}", expected=held.hex(),
                         got=sent.hex(), remedy="Run `station audit store` at the station, which tells whether its "
                         "file is still the one of its record; ask who changed it.")


def require_name(name: str, known: Known) -> None:
    """Raise MalformedError unless a file of a store may be called so: a way down into it, and no other."""
    parts = name.split("/")
    if len(name) > LONGEST_NAME or any(part.startswith(".") or not _PART.fullmatch(part) for part in parts) or (
            not name.isprintable()):
        raise MalformedError("no name of a file in a store", where=f"archive of {known.origin}",
                             expected="such as captures/run-000001-1-forward-1500.parquet", got=repr(name[:100]),
                             remedy="Send files under the names that they have in the store.")


def _held(connection: Connection, known: Known, name: str) -> bytes | None:
    held: bytes | None = connection.execute(select(files.c.sha256).where(
        files.c.station == known.number, files.c.name == name)).scalar()
    return held
