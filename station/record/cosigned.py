"""Cosignatures put into a store, also while its station is at work there."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from station.errors import StationError
from station.record import schema
from station.record.log import open_log
from station.record.signed_note import Verifier
from station.record.witness import keep_cosignatures


def add_cosignatures(folder: Path, note: str, witnesses: Sequence[Verifier], where: str) -> int:
    """Keep what known witnesses signed below a head of the log in `folder`, durably; return how many.

    The lock of the store is not asked for: these rows have a table of their own, on which no entry depends, and SQLite
    lets one writer after the other in. `where` is where the note came from.

    Raises
    ------
    UsageError
        There is no store, or one that its station must bring up to date first.
    EvidenceError
        As `keep_cosignatures`; nothing was kept.
    StationError
        The disk is full, read-only or gone; nothing was kept.
    """
    try:
        with closing(schema.open_beside(folder)) as connection:
            connection.execute("BEGIN IMMEDIATE")       # left open by an error, it is rolled back with its connection
            kept = keep_cosignatures(open_log(connection), note, witnesses, where)
            connection.execute("COMMIT")
    except (sqlite3.Error, OSError) as error:
        raise StationError("storing a cosignature failed", where=str(folder), got=str(error),
                           expected="a disk with room and leave to write",
                           remedy="Free space or mend the disk. No test depends on it; repeat it later.") from error
    return kept
