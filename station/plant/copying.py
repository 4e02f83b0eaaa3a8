"""Copies of stations at the plant: folders in the shape of a station's, on which every command works that reads one."""

from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import select

from station.errors import EvidenceError
from station.plant.database import Database
from station.plant.intake import head_of
from station.plant.schema import entries
from station.plant.stations import Known
from station.record.copy import CopiedEntry, StoreCopy
from station.record.cosignature import CosignatureVerifier
from station.record.cosigned import add_cosignatures

PORTION = 500       # entries that are added at once


def copy_log(database: Database, known: Known, witness: CosignatureVerifier, store: Path) -> int:
    """Bring the copy of a station's store in the folder `store` up to date; return how many entries it has.

    Raises
    ------
    EvidenceError
        The copy holds what the plant does not, or the entries do not make the head that the plant has cosigned.
    UsageError
        The folder holds the store of another log, or another process works in it.
    StationError
        The disk is full, read-only or gone, or the database does not answer.
    """
    with database.reading() as connection:
        head = head_of(connection, known.number)
    with StoreCopy(store, known.origin) as copy:
        for portion in _portions(database, known, len(copy.log), head.size):
            copy.add(portion)
        size, root = len(copy.log), copy.log.head().root
        note = copy.log.checkpoint(size)
    if (size, root) != (head.size, head.root):
        raise EvidenceError("the copy is not what the plant has", where=str(store), got=f"{size}, root {root.hex()}",
                            expected=f"{head.size} entries of {known.origin}, root {head.root.hex()}",
                            remedy="Keep it apart, and make a new one elsewhere; ask who changed which of the two.")
    if note:
        add_cosignatures(store, note + head.cosignature, [witness], str(store))
    return size


def _portions(database: Database, known: Known, first: int, end: int) -> Iterator[list[CopiedEntry]]:
    columns = entries.c.kind, entries.c.subject, entries.c.body, entries.c.checkpoint
    for begin in range(first, end, PORTION):
        query = select(*columns).where(entries.c.station == known.number, entries.c.seq >= begin,
                                       entries.c.seq < min(begin + PORTION, end)).order_by(entries.c.seq)
        with database.reading() as connection:
            rows = connection.execute(query).all()
        yield [CopiedEntry(*row) for row in rows]
