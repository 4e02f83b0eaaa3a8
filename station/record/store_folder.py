"""The folder of a store, opened: its lock, its database, its log, and transactions that are durable."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from station.errors import StationError, UsageError
from station.record import schema
from station.record.capture_file import make_folder, sync_folder
from station.record.leftovers import sweep_halves, sweep_spools
from station.record.lock import let_go, take_lock
from station.record.log import Log, open_log
from station.record.log_check import check_on_opening, keep_head
from station.record.log_key import LogKey

CAPTURES = "captures"
HEAD = "log.head"       # the last head of the log, kept beside the database


class StoreFolder:
    """What every way of writing to a store stands on; see `Store`, which says what is written."""

    def __init__(self, folder: Path, *, read_only: bool = False, log_key: LogKey | None = None, origin: str = ""
                 ) -> None:
        self.folder = folder
        self.read_only = read_only
        self._lock: int | None = None
        if read_only:
            self._require_database()
            with self._disk("opening the store"):
                self._connection = schema.open_for_reading(folder)
                self._log = open_log(self._connection) if schema.has_log(self._connection) else None
            return
        with self._disk("opening the store"):
            make_folder(folder)
            make_folder(folder / CAPTURES)
            self._lock = take_lock(folder)
        try:
            with self._disk("opening the store"):
                sweep_halves(folder)
                self._connection = schema.open_for_writing(folder, origin, log_key)
                self._make_ready(origin, log_key)
        except BaseException:
            let_go(self._lock)
            raise

    @property
    def log(self) -> Log:
        """The log of everything stored here; UsageError in a store from before there was one, opened for reading."""
        if self._log is None:
            raise UsageError("the store has no log yet", where=str(self.folder), expected="a store of version 2",
                             got="an earlier one", remedy="Let its station open it once: what it holds is then logged.")
        return self._log

    def close(self) -> None:
        """Close the store; safe to repeat."""
        self._connection.close()
        if self._lock is not None:
            let_go(self._lock)
            self._lock = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _make_ready(self, origin: str, log_key: LogKey | None) -> None:
        try:
            sync_folder(self.folder)
            self._log = open_log(self._connection, origin, log_key)
            check_on_opening(self._log, self.folder / HEAD)
            keep_head(self._log, self.folder / HEAD)
            sweep_spools(self.folder / CAPTURES, {row[0] for row in self._connection.execute(schema.UNFINISHED)})
        except BaseException:
            self._connection.close()
            raise

    def _require_database(self) -> None:
        if not (self.folder / schema.DATABASE).is_file():
            raise UsageError("no store here", where=str(self.folder), expected=f"a folder with {schema.DATABASE}",
                             got="none", remedy="Test a motor first, or give the folder of an existing store.")

    @contextmanager
    def _entry(self, work: str) -> Iterator[sqlite3.Connection]:
        with self._transaction(work) as connection:
            yield connection
        keep_head(self.log, self.folder / HEAD)

    @contextmanager
    def _transaction(self, work: str) -> Iterator[sqlite3.Connection]:
        with self._disk(work):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
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
            raise StationError(f"{work} failed", code="storage", where=str(self.folder),
                               expected="a disk with room and leave to write", got=str(error),
                               remedy="Free space or mend the disk, then test the motor again; "
                               "until then it has no result.") from error
