"""Taking in what stations send: only what continues the plant's copy of their log, the same bytes, once.

Every leaf is made anew from its body and the tree is grown by it; each signed head that the station sends along must
have exactly the root that this makes. So what is kept has no gap, and is what the station has logged; whatever comes a
second time changes nothing. No clock decides anything: order is that of the log, and `at` is only noted.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from station.clock import Instant, stamp
from station.plant.alarms import What, raise_alarm
from station.plant.batch import Batch, Sent
from station.plant.database import Database
from station.plant.index import Index
from station.plant.refused import ForkError, GapError
from station.plant.schema import entries, heads, nodes, stations
from station.plant.stations import Known
from station.plant.tree import Growth, stored_node
from station.record import merkle
from station.record.cosignature import WitnessKey

_KEEP = "Keep both: the two signed heads in the plant's alarm prove it. "
_REMEDIES: dict[str, str] = {
    "fork": _KEEP + "Find out whether the station's disk was copied or set back; then give the station a new store and "
    "a new log of another name, and keep the old one for the audit.",
    "altered": "Run `station audit store` at the station: the entry is not what it has logged. Restore its store.",
    "shorter": "The station was set back to an earlier state of its disk. Test nothing with it: whatever it logs now "
    "contradicts what it handed over. Give it a new store and a new log of another name.",
}


@dataclass(frozen=True, slots=True)
class Head:
    """The head of the plant's copy of a log; the empty one before anything was handed over."""

    size: int
    root: bytes
    cosignature: str    # of the plant, one line


class _AlarmedError(Exception):
    """What was sent contradicts the plant's copy; an alarm is to be raised once nothing of it is written."""

    def __init__(self, what: What, detail: str, seq: int | None, held: str) -> None:
        super().__init__(detail)
        self.what, self.detail, self.seq, self.held = what, detail, seq, held


@dataclass(frozen=True, slots=True)
class Intake:
    """Takes in batches from any number of stations at once, those of one station one after the other."""

    database: Database
    witness: WitnessKey

    def take(self, known: Known, batch: Batch, at: Instant) -> Head:
        """Keep durably what is new in a batch and return the head of the plant's copy, cosigned.

        Raises
        ------
        GapError
            Entries before the batch are missing.
        ForkError
            It contradicts the copy: another entry in the same place, another root, a log that became shorter. An
            alarm is raised with the signed heads of both; the copy stays as it is.
        StationError
            As `Database.writing`; nothing was taken, or all of it and only the answer is lost.
        """
        try:
            with self.database.writing() as connection:
                _lock(connection, known)
                return self._take(connection, known, batch, at)
        except _AlarmedError as alarm:
            with self.database.writing() as connection:
                _lock(connection, known)        # of several that say the same, one raises the alarm
                size = head_of(connection, known.number).size
                raise_alarm(connection, known.number, alarm.what, alarm.detail, at, seq=alarm.seq, held=alarm.held,
                            told=batch.request.note)
            raise ForkError(alarm.detail, size=size, seq=alarm.seq, where=f"log of {known.origin}",
                            expected="a continuation of what was handed over",
                            got=f"{batch.told.size} entries with root {batch.told.root.hex()}",
                            remedy=_REMEDIES[alarm.what]) from None

    def _take(self, connection: Connection, known: Known, batch: Batch, at: Instant) -> Head:
        held = head_of(connection, known.number)
        if batch.first > held.size:
            raise GapError(known.origin, held.size, batch.first)
        _require_same(connection, known, batch, held)
        new = [each for each in batch.entries if each.seq >= held.size]
        if not new:
            _require_root(connection, known, batch, held)
            return held
        growth = _grown(connection, known, batch, held, new)
        added = Head(batch.told.size, batch.told.root, self.witness.cosign(batch.told.text(), at).line())
        _add(connection, known.number, new, growth)
        connection.execute(insert(heads), {"station": known.number, "size": added.size, "root": added.root,
                                           "cosignature": added.cosignature, "at": stamp(at)})
        for seq in Index(connection, known.number).add(new):
            raise_alarm(connection, known.number, "unreadable", f"record in entry {seq} cannot be searched for", at,
                        seq=seq, held=batch.request.note)
        return added


def head_of(connection: Connection, station: int) -> Head:
    """Return the head of the plant's copy of a station's log."""
    query = select(heads.c.size, heads.c.root, heads.c.cosignature).where(heads.c.station == station)
    row = connection.execute(query.order_by(heads.c.size.desc()).limit(1)).first()
    return Head(*row) if row else Head(0, merkle.EMPTY_ROOT, "")


def _lock(connection: Connection, known: Known) -> None:
    """Let nobody else take in entries of this station until the transaction ends; SQLite has one writer anyway."""
    query = select(stations.c.station).where(stations.c.station == known.number)
    connection.execute(query.with_for_update(key_share=True))


def _require_same(connection: Connection, known: Known, batch: Batch, held: Head) -> None:
    """Raise unless the entries that are there already are the same."""
    query = select(entries.c.seq, entries.c.leaf).where(
        entries.c.station == known.number, entries.c.seq >= batch.first, entries.c.seq < batch.told.size)
    leaves = {row.seq: row.leaf for row in connection.execute(query)}
    other = next((each.seq for each in batch.entries if leaves.get(each.seq, each.leaf) != each.leaf), None)
    if other is not None:
        raise _alarmed(connection, known, "fork", f"entry {other} of {known.origin} is another than was handed over",
                       held, other)


def _require_root(connection: Connection, known: Known, batch: Batch, held: Head) -> None:
    """Raise unless a head that brings nothing new is one that the log has had, and its newest as far as is known."""
    told = batch.told
    root = held.root if told.size == held.size else merkle.root(told.size, stored_node(connection, known.number))
    if root != told.root:
        raise _alarmed(connection, known, "fork", f"the log of {known.origin} with {told.size} entries is another than "
                       "was handed over", held, None)
    if told.size < min(batch.seen, held.size):
        raise _alarmed(connection, known, "shorter", f"the log of {known.origin} has {told.size} entries, and "
                       f"{held.size} were handed over", held, None)


def _grown(connection: Connection, known: Known, batch: Batch, held: Head, new: Sequence[Sent]) -> Growth:
    """Return the tree with the new entries; raise unless each head that was signed since has the root of it."""
    growth = Growth(connection, known.number, held.size)
    for each in new:
        root = growth.add(each.leaf)
        if each.head is None or each.head.root == root:
            continue
        if _continues(connection, known, batch, held):
            raise _alarmed(connection, known, "altered", f"entry {each.seq} of {known.origin} is not the one that the "
                           "station has logged", held, each.seq)
        raise _alarmed(connection, known, "fork", f"the log of {known.origin} does not continue what was handed over",
                       held, None)
    return growth


def _continues(connection: Connection, known: Known, batch: Batch, held: Head) -> bool:
    """Return whether the log told of is proven to continue the plant's copy, whatever the entries say."""
    old = batch.request.old_size
    if old > held.size:
        return False
    root = held.root if old == held.size else merkle.root(old, stored_node(connection, known.number))
    return merkle.verify_consistency(old, batch.told.size, root, batch.told.root, batch.request.proof)


def _alarmed(connection: Connection, known: Known, what: What, detail: str, held: Head, seq: int | None
             ) -> _AlarmedError:
    """Return what is raised with the newest head of the plant's copy, as the station signed it."""
    query = select(entries.c.checkpoint).where(entries.c.station == known.number, entries.c.seq == held.size - 1)
    return _AlarmedError(what, detail, seq, connection.execute(query).scalar() or "")


def _add(connection: Connection, station: int, new: Sequence[Sent], growth: Growth) -> None:
    connection.execute(insert(entries), [
        {"station": station, "seq": each.seq, "kind": each.kind, "subject": each.subject, "leaf": each.leaf,
         "checkpoint": each.checkpoint, "body": each.body} for each in new])
    if growth.added:
        connection.execute(insert(nodes), [{"station": station, "level": level, "position": position, "hash": made}
                                           for (level, position), made in growth.added])
