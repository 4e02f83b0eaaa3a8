"""Whether the plant's copy of a log is still what was handed over, by everything made anew from the bodies.

Leaves, subtrees and roots are computed again, signatures verified again, and the index written again, by the very code
that wrote it, into a database in memory; then both are compared row by row.
"""

import hashlib
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, Select, create_engine, select

from station.errors import EvidenceError, StationError
from station.plant.archive import Archive
from station.plant.batch import Sent, signed_head
from station.plant.database import Database
from station.plant.index import Index
from station.plant.schema import (
    corrections,
    day_sums,
    entries,
    files,
    heads,
    metadata,
    nodes,
    records,
    setup_instruments,
    setups,
)
from station.plant.stations import Known
from station.plant.tree import Growth
from station.record.checkpoint import Checkpoint
from station.record.cosignature import CosignatureVerifier
from station.record.log_check import LogFault
from station.record.merkle import leaf_hash
from station.record.signed_note import parse_note, verify_note

PORTION = 1000      # entries in memory at a time


def check_log(database: Database, known: Known, witness: CosignatureVerifier) -> Iterator[LogFault]:
    """Yield what is wrong with the copy of one log: bodies, tree, signatures, index; in order."""
    memory = create_engine("sqlite://")
    try:
        metadata.create_all(memory)
        with memory.begin() as anew, database.reading() as held:
            growth = Growth(anew, known.number, 0)
            told = _heads(held, known)
            for sent in _portions(held, known):
                for each in sent:
                    yield from _entry_faults(each, growth.size, known)
                    root = growth.add(each.leaf)
                    yield from _head_faults(each, Checkpoint(known.origin, growth.size, root), told, known, witness)
                Index(anew, known.number).add(sent)
            yield from (LogFault(None, "a head without entries", "entries up to it", f"{size} of {growth.size}")
                        for size in told)
            yield from _tree_faults(held, known, growth)
            yield from _index_faults(held, anew, known)
    finally:
        memory.dispose()


def check_files(database: Database, known: Known, archive: Archive) -> Iterator[LogFault]:
    """Yield which files of one station the archive has no more, or not as they were handed over."""
    with database.reading() as connection:
        rows = connection.execute(select(files.c.name, files.c.sha256).where(files.c.station == known.number)).all()
    for name, sha256 in rows:
        try:
            content = archive.find(known.origin, name)
        except StationError as error:
            yield LogFault(None, f"{name} cannot be read", "a file that can be read", error.what)
            continue
        if content is None or hashlib.sha256(content).digest() != sha256:
            yield LogFault(None, f"{name} is not as it was handed over", f"SHA-256 {sha256.hex()}",
                           "none" if content is None else hashlib.sha256(content).hexdigest())


def _portions(held: Connection, known: Known) -> Iterator[list[Sent]]:
    query = select(entries).where(entries.c.station == known.number).order_by(entries.c.seq).limit(PORTION)
    after = -1
    while rows := held.execute(query.where(entries.c.seq > after)).all():
        yield [Sent(row.seq, row.kind, row.subject, row.body, row.leaf, row.checkpoint, None) for row in rows]
        after = rows[-1].seq


def _heads(held: Connection, known: Known) -> dict[int, tuple[bytes, str]]:
    query = select(heads.c.size, heads.c.root, heads.c.cosignature).where(heads.c.station == known.number)
    return {row.size: (row.root, row.cosignature) for row in held.execute(query.order_by(heads.c.size))}


def _entry_faults(each: Sent, expected: int, known: Known) -> Iterator[LogFault]:
    if each.seq != expected:
        yield LogFault(each.seq, f"entries are missing before this one of {known.origin}", f"entry {expected}",
                       f"entry {each.seq}")
    if leaf_hash(each.body) != each.leaf:
        yield LogFault(each.seq, f"{each.kind} was altered", f"leaf {each.leaf.hex()}", leaf_hash(each.body).hex())


def _head_faults(each: Sent, head: Checkpoint, told: dict[int, tuple[bytes, str]], known: Known,
                 witness: CosignatureVerifier) -> Iterator[LogFault]:
    """Yield what is wrong with the head after an entry, as the station signed it and as the plant cosigned it."""
    where = f"entry {each.seq} of {known.origin}"
    root, cosignature = told.pop(head.size, (head.root, ""))
    if root != head.root:
        yield LogFault(each.seq, "the plant has cosigned another head", root.hex(), head.root.hex())
    try:
        if each.checkpoint and signed_head(each.checkpoint, known) != head:
            yield LogFault(each.seq, "the station has signed another head", head.root.hex(), repr(each.checkpoint))
        if cosignature:
            verify_note(parse_note(f"{head.text()}\n{cosignature}", where), [witness], where)
    except EvidenceError as error:
        yield LogFault(each.seq, error.what, str(error.expected), str(error.got))


def _tree_faults(held: Connection, known: Known, growth: Growth) -> Iterator[LogFault]:
    query = select(nodes.c.level, nodes.c.position, nodes.c.hash).where(nodes.c.station == known.number)
    stored = {(row.level, row.position): row.hash for row in held.execute(query)}
    for place, made in growth.added:
        if stored.pop(place, None) != made:
            yield LogFault(None, "a hash of the tree is missing or another", f"{place}: {made.hex()}", "another")
    yield from (LogFault(None, "a hash of no subtree", "none", str(place)) for place in stored)


def _index_faults(held: Connection, anew: Connection, known: Known) -> Iterator[LogFault]:
    """Yield where the index does not say what the bodies say."""
    for name, query in _index_queries(known):
        stored, made = (set(map(tuple, connection.execute(query))) for connection in (held, anew))
        for row in sorted(stored ^ made):
            yield LogFault(row[0] if isinstance(row[0], int) else None, f"the index of {name} is not what bodies say",
                           "a row" if row in made else "no such row", str(row))


def _index_queries(known: Known) -> Iterator[tuple[str, Select[Any]]]:
    """Yield what is compared; numbers of setups are the database's own, so that their digests stand for them."""
    of_records = (records.c.seq, records.c.serial, records.c.run, records.c.verdict, records.c.purpose,
                  records.c.started, setups.c.digest)
    yield "records", (select(*of_records).join(setups, records.c.setup == setups.c.setup)
                      .where(records.c.station == known.number))
    of_setups = [column for column in setups.c if column.name not in {"setup", "station"}]
    yield "setups", select(*of_setups).where(setups.c.station == known.number)
    of_instruments = [column for column in setup_instruments.c if column.name != "setup"]
    yield "instruments", (select(setups.c.digest, *of_instruments)
                          .join(setups, setup_instruments.c.setup == setups.c.setup)
                          .where(setups.c.station == known.number))
    yield "corrections", (select(corrections.c.seq, corrections.c.what, corrections.c.of)
                          .where(corrections.c.station == known.number))
    sums = (day_sums.c.motors, day_sums.c.passed_first, day_sums.c.passed_last)
    yield "days", select(day_sums.c.day, day_sums.c.motor_type, *sums).where(day_sums.c.station == known.number)
