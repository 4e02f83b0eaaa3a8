"""A copy of another store, made entry by entry out of its log: the same bodies, leaves and heads, to be read.

What no entry of the log holds is not in it: runs that were begun and have no record yet. Files are not its business.
"""

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from station.errors import EvidenceError
from station.record import schema
from station.record.log import Kind
from station.record.record import canonical, sha256_of
from station.record.reference_check import insert_check
from station.record.statement import insert_statement
from station.record.store_folder import StoreFolder


@dataclass(frozen=True, slots=True)
class CopiedEntry:
    """One entry of a log as it is handed over; its place is told by the order alone."""

    kind: Kind
    subject: int        # number of the row that it is about, in the table of its kind
    body: bytes
    checkpoint: str     # signed note of the head after it; empty where that was not signed


class StoreCopy(StoreFolder):
    """The copy in a folder, made or gone on with; one writing process at a time. Errors as those of `Store`."""

    def __init__(self, folder: Path, origin: str) -> None:
        super().__init__(folder, origin=origin)

    def add(self, entries: Iterable[CopiedEntry]) -> int:
        """Add the next entries of the log in order, all of them durably or none; return how many there are then.

        Raises
        ------
        EvidenceError
            One of them is not the next entry of this log, or does not make the head that came with it.
        StationError
            The disk is full, read-only or gone.
        """
        with self._entry("copying entries"):
            for entry in entries:
                self._add(entry)
        return len(self.log)

    def _add(self, entry: CopiedEntry) -> None:
        place = self.log.next_place()
        said = self._read(entry, place.seq)
        # Bodies from before there was a log name no place; all others name this one, or are not the next entry.
        if said.get("log", place.as_record()) != place.as_record():
            raise self._unfit(place.seq, f"one that says it stands at {said['log']}")
        try:
            self._insert(entry, said)
            self.log.append(place, entry.kind, entry.subject, entry.body, entry.checkpoint)
        except (KeyError, TypeError, sqlite3.IntegrityError) as error:
            raise self._unfit(place.seq, f"{entry.kind} {entry.subject} ({type(error).__name__}: {error})") from error

    def _read(self, entry: CopiedEntry, seq: int) -> dict[str, Any]:
        try:
            said = json.loads(entry.body)
        except ValueError as error:
            raise self._unfit(seq, f"no JSON: {error}") from error
        if not isinstance(said, dict):
            raise self._unfit(seq, "no JSON object")
        return said

    def _insert(self, entry: CopiedEntry, said: dict[str, Any]) -> None:
        if entry.kind == "record":
            self._insert_record(entry, said)
        elif entry.kind == "reference check":
            insert_check(self._connection, entry.subject, said, entry.body)
        else:
            insert_statement(self._connection, entry.subject, entry.kind, entry.body)

    def _insert_record(self, entry: CopiedEntry, said: dict[str, Any]) -> None:
        # Of what a run knew at its start only the purpose is ever asked for beside the record.
        heading = {"purpose": said["purpose"]} if said.get("purpose") else {}
        self._connection.execute(schema.COPY_RUN, (entry.subject, said["serial"], said["run"], said["started"],
                                                   canonical(heading).decode()))
        self._connection.execute(schema.ADD_RECORD, (
            entry.subject, said["serial"], said["run"], said["motor_type"]["name"], said["verdict"], said["started"],
            sha256_of(entry.body), entry.body))

    def _unfit(self, seq: int, got: str) -> EvidenceError:
        return EvidenceError("entry cannot be copied", where=f"entry {seq} of {self.log.origin}", got=got,
                             expected="the next entry of this log, of a known form",
                             remedy="Fetch it again from where it was handed over; update this program if it recurs.")
