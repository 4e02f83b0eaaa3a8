"""How far the files of a store have been handed over: a number, the certificates, and what could not be read.

Derived, and kept in a file of its own beside the tables that only grow: without it everything is asked for again, and
nothing is lost. There is one for each plant that the station ever had.
"""

import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from station.errors import StationError, UsageError
from station.plant.plant_client import SentFile
from station.record.cosignature import CosignatureVerifier
from station.record.lock import lock_file

LOCK_FILE = "hand_over.lock"
VERSION = 1

# Of the entries below `entries` every file is at the plant, or stands in `remaining`.
TABLES = """
CREATE TABLE IF NOT EXISTS progress (only INTEGER PRIMARY KEY CHECK (only = 0), entries INTEGER NOT NULL) STRICT;
INSERT OR IGNORE INTO progress (only, entries) VALUES (0, 0);
CREATE TABLE IF NOT EXISTS certificates (name TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS remaining (
    name TEXT PRIMARY KEY, sha256 TEXT NOT NULL, why TEXT NOT NULL) STRICT, WITHOUT ROWID;
"""


class FilesHanded:
    """What the plant with this witness has of the files of the store in `folder`; a connection belongs to one thread.

    Raises
    ------
    StationError
        The disk is full, read-only or gone; nothing was changed.
    """

    def __init__(self, folder: Path, witness: CosignatureVerifier) -> None:
        self.folder, self._path = folder, files_handed_at(folder, witness)
        with self._disk("opening"):
            self._connection = sqlite3.connect(self._path, isolation_level=None, timeout=5)
            try:
                # It may fall behind at a power cut: then files are asked for twice.
                self._connection.executescript(
                    "PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL;"
                    f"BEGIN IMMEDIATE; {TABLES} PRAGMA user_version = {VERSION}; COMMIT;")
            except sqlite3.Error:
                self._connection.close()
                raise

    @property
    def entries(self) -> int:
        """Up to which entry of the log every file was handed over."""
        with self._disk("reading"):
            count, = self._connection.execute("SELECT entries FROM progress").fetchone()
        return int(count)

    def note_entries(self, count: int) -> None:
        """Write down up to which entry files were handed over."""
        with self._transaction():
            self._connection.execute("UPDATE progress SET entries = ?", (count,))

    def left(self) -> list[SentFile]:
        """Return the files that could not be handed over when their turn came."""
        with self._disk("reading"):
            rows = self._connection.execute("SELECT name, sha256 FROM remaining ORDER BY name").fetchall()
        return [SentFile(*row) for row in rows]

    def why_left(self) -> dict[str, str]:
        """Return why each of them could not."""
        with self._disk("reading"):
            return dict(self._connection.execute("SELECT name, why FROM remaining ORDER BY name"))

    def note_left(self, file: SentFile, why: str) -> None:
        """Write down why a file could not be handed over; empty when it could."""
        with self._transaction():
            if why:
                self._connection.execute("INSERT OR REPLACE INTO remaining (name, sha256, why) VALUES (?, ?, ?)",
                                         (file.name, file.sha256, why))
            else:
                self._connection.execute("DELETE FROM remaining WHERE name = ?", (file.name,))

    def new_certificates(self, names: Iterable[str]) -> list[str]:
        """Return those of the certificates `names` that were not handed over yet."""
        known = "SELECT 1 FROM certificates WHERE name = ?"
        with self._disk("reading"):
            return [name for name in names if self._connection.execute(known, (name,)).fetchone() is None]

    def note_certificates(self, names: Iterable[str]) -> None:
        """Write down which certificates the plant has."""
        with self._transaction():
            self._connection.executemany("INSERT OR IGNORE INTO certificates (name) VALUES (?)",
                                         [(name,) for name in names])

    def forget(self) -> None:
        """Begin anew, as the plant has less than it had."""
        with self._transaction():
            self._connection.execute("DELETE FROM certificates")
            self._connection.execute("UPDATE progress SET entries = 0")

    @contextmanager
    def work(self) -> Iterator[None]:
        """Be the only one who hands over, until the block is left; ends with its process, however that ends.

        UsageError when another process does.
        """
        with self._disk("locking"):
            lock = os.open(self.folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            if not lock_file(lock):
                raise UsageError("another process hands over already", where=str(self.folder / LOCK_FILE),
                                 expected="one process that hands over", got="another station process has it",
                                 remedy="Nothing is lost: that process does it.")
            yield
        finally:
            os.close(lock)

    def close(self) -> None:
        """Close the file; safe to repeat."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_trouble: object) -> None:
        self.close()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._disk("writing"):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def _disk(self, work: str) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            raise StationError(f"{work} the file of what was handed over failed", where=str(self._path), got=str(error),
                               expected="a disk with room and leave to write",
                               remedy="Free space or mend the disk. Tests and records do not depend on it; a damaged "
                               "file may be removed: then files are offered to the plant once more.") from error


def files_handed_at(folder: Path, witness: CosignatureVerifier) -> Path:
    """Return where in the store's folder it stands what the plant with this witness has."""
    return folder / f"handed_over-{witness.key_id.hex()}.sqlite"
