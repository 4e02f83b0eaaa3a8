"""The print queue of a store: which certificates are to be printed, and what became of each.

It changes, so it has a file of its own beside the tables that only grow. Nothing of a test depends on it.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import Self

from station.errors import StationError, UsageError
from station.record.lock import lock_file

DATABASE = "print_queue.sqlite"
LOCK_FILE = "print_queue.lock"
VERSION = 1


class PrintState(StrEnum):
    """Where a printout is."""

    WAITING = "waiting"         # nothing was sent, or for certain nothing came of it
    SENDING = "sending"         # written before the first octet leaves: from here on the outcome is unknown
    SENT = "sent"               # the printer has given it a job number
    PRINTED = "printed"
    CANCELED = "canceled"       # by a person, at the printer
    REFUSED = "refused"         # this document will not print, however often it is sent
    UNKNOWN = "outcome unknown"     # neither the printer nor the station can tell; a person looks


OPEN = (PrintState.WAITING, PrintState.SENDING, PrintState.SENT)

TABLES = """
CREATE TABLE IF NOT EXISTS printouts (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    serial TEXT NOT NULL,
    run INTEGER NOT NULL,
    reprint INTEGER NOT NULL CHECK (reprint >= 0),
    file TEXT NOT NULL,
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    queued TEXT NOT NULL,
    queued_by TEXT NOT NULL,
    state TEXT NOT NULL,
    sends INTEGER NOT NULL DEFAULT 0,
    sent TEXT,
    printer TEXT NOT NULL DEFAULT '',
    job_id INTEGER,
    ended TEXT,
    note TEXT NOT NULL DEFAULT '',
    UNIQUE (serial, run, reprint)
) STRICT;
CREATE TRIGGER IF NOT EXISTS printouts_delete BEFORE DELETE ON printouts
BEGIN SELECT RAISE(ABORT, 'printouts are never forgotten'); END;
CREATE TRIGGER IF NOT EXISTS printouts_ended BEFORE UPDATE ON printouts WHEN OLD.ended IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'what has ended stays as it is'); END;
"""
COLUMNS = ("number, serial, run, reprint, file, sha256, queued, queued_by, state, sends, sent, printer, job_id, ended, "
           "note")
NEXT_REPRINT = "SELECT coalesce(max(reprint), -1) + 1 FROM printouts WHERE serial = ? AND run = ?"
ADD = ("INSERT INTO printouts (serial, run, reprint, file, sha256, queued, queued_by, state) "
       "VALUES (?, ?, ?, ?, ?, ?, ?, 'waiting')")
ALL = f"SELECT {COLUMNS} FROM printouts ORDER BY number"  # noqa: S608 - no word of it comes from outside
ONE = f"SELECT {COLUMNS} FROM printouts WHERE number = ?"  # noqa: S608 - as above
OF_RUN = f"SELECT {COLUMNS} FROM printouts WHERE serial = ? AND run = ? ORDER BY number"  # noqa: S608 - as above
OPEN_ONES = f"SELECT {COLUMNS} FROM printouts WHERE ended IS NULL ORDER BY number"  # noqa: S608 - as above


@dataclass(frozen=True, slots=True)
class Printout:
    """One certificate to be printed once; `reprint` counts from 0, the first printout of a run."""

    number: int
    serial: str
    run: int
    reprint: int
    file: str               # in the store's folder
    sha256: str
    queued: str
    queued_by: str
    state: str              # a PrintState
    sends: int
    sent: str | None
    printer: str
    job_id: int | None
    ended: str | None
    note: str

    @property
    def name(self) -> str:
        """Return how people call it."""
        return f"{self.serial} run {self.run}" + (f" reprint {self.reprint}" if self.reprint else "")


class PrintQueue:
    """Printouts in one file, first in, first out. Any process may add to it; one at a time works it, see `work`.

    Every change is on disk when its method returns. A connection belongs to one thread.

    Raises
    ------
    StationError
        The disk is full, read-only or gone; nothing was changed.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with self._disk("opening the print queue"):
            self._connection = sqlite3.connect(folder / DATABASE, isolation_level=None, timeout=5)
            try:
                self._connection.execute("PRAGMA journal_mode = WAL")
                self._connection.execute("PRAGMA synchronous = FULL")
                version = f"PRAGMA user_version = {VERSION};"
                self._connection.executescript("BEGIN IMMEDIATE;" + TABLES + version + "COMMIT;")
            except sqlite3.Error:
                self._connection.close()
                raise

    def add(self, serial: str, run: int, file: str, sha256: str, *, queued: str, by: str) -> Printout:
        """Queue the certificate in `file` of the store, whose bytes have the hash `sha256`; the last one in."""
        with self._disk("queueing a certificate"), self._transaction():
            reprint, = self._connection.execute(NEXT_REPRINT, (serial, run)).fetchone()
            row = (serial, run, reprint, file, sha256, queued, by)
            number = self._connection.execute(ADD, row).lastrowid
        added, = self._select(ONE, number)
        return added

    def all(self) -> list[Printout]:
        """Return every printout there ever was, oldest first."""
        return self._select(ALL)

    def of(self, serial: str, run: int) -> list[Printout]:
        """Return the printouts of one run, the first one first."""
        return self._select(OF_RUN, serial, run)

    def open(self) -> list[Printout]:
        """Return the printouts that have not ended, oldest first."""
        return self._select(OPEN_ONES)

    def note_sending(self, printout: Printout, printer: str, at: str) -> None:
        """Write down that the document is about to leave for `printer`: call it before the first octet does."""
        self._change(printout, "state = 'sending', sends = sends + 1, job_id = NULL, sent = ?, printer = ?", at,
                     printer)

    def note_sent(self, printout: Printout, job_id: int) -> None:
        """Write down the number that the printer gave the job."""
        self._change(printout, "state = 'sent', job_id = ?, note = ''", job_id)

    def note_waiting(self, printout: Printout, note: str) -> None:
        """Write down that for certain nothing came of it yet, and why."""
        self._change(printout, "state = 'waiting', job_id = NULL, note = ?", note)

    def note_end(self, printout: Printout, state: PrintState, at: str, note: str) -> None:
        """Write down what became of it, once and for all."""
        self._change(printout, "state = ?, ended = ?, note = ?", state, at, note)

    @contextmanager
    def work(self) -> Iterator[None]:
        """Be the only one who works the queue, until the block is left; ends with its process, however that ends.

        Raises
        ------
        UsageError
            Another process works it.
        """
        with self._disk("taking the print queue"):
            lock = os.open(self.folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
        if not lock_file(lock):
            os.close(lock)
            raise UsageError("print queue is being worked", where=str(self.folder / LOCK_FILE),
                             expected="one process that prints", got="another station process has it",
                             remedy="Nothing is lost: that process prints. Look with `station print --list`.")
        try:
            yield
        finally:
            os.close(lock)

    def close(self) -> None:
        """Close the file; safe to repeat."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
                 ) -> None:
        self.close()

    def _select(self, query: str, *values: object) -> list[Printout]:
        with self._disk("reading the print queue"):
            rows = self._connection.execute(query, values).fetchall()
        return [Printout(*row) for row in rows]

    def _change(self, printout: Printout, assignment: str, *values: object) -> None:
        query = f"UPDATE printouts SET {assignment} WHERE number = ?"  # noqa: S608 - assignments are written above
        with self._disk("writing the print queue"), self._transaction():
            self._connection.execute(query, (*values, printout.number))

    @contextmanager
    def _transaction(self) -> Iterator[None]:
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
            raise StationError(f"{work} failed", where=str(self.folder / DATABASE),
                               expected="a disk with room and leave to write", got=str(error),
                               remedy="Free space or mend the disk. Tests and records do not depend on it; print "
                               "later with `station print --again`.") from error
