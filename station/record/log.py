"""The log of a station: one entry for each durable thing, in the order in which they came, under one Merkle tree."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from station.errors import EvidenceError, UsageError
from station.record import merkle
from station.record.checkpoint import Checkpoint
from station.record.evidence import Evidence
from station.record.log_key import LogKey
from station.record.signed_note import parse_note

Kind = Literal["record", "reference check", "correction", "retention", "release", "trail"]

_ORIGIN = "SELECT origin FROM log_origin"
_NAME = "INSERT INTO log_origin (only, origin) VALUES (0, ?)"
_LAST = "SELECT seq, leaf FROM log ORDER BY seq DESC LIMIT 1"
_LEAF = "SELECT leaf FROM log WHERE seq = ?"
_NODE = "SELECT hash FROM nodes WHERE level = ? AND position = ?"
_ADD = "INSERT INTO log (seq, kind, subject, leaf, previous, checkpoint) VALUES (?, ?, ?, ?, ?, ?)"
_ADD_NODE = "INSERT INTO nodes (level, position, hash) VALUES (?, ?, ?)"
_SEQ = "SELECT seq FROM log WHERE kind = ? AND subject = ?"
_CHECKPOINT = "SELECT checkpoint FROM log WHERE seq = ? - 1"
_COSIGNATURES = "SELECT line FROM cosignatures WHERE size = ? ORDER BY line"
_COSIGN = "INSERT INTO cosignatures (size, line) VALUES (?, ?) ON CONFLICT DO NOTHING"
_ENTRIES = """
SELECT seq, kind, subject, leaf, previous, checkpoint, CASE kind
  WHEN 'record' THEN (SELECT body FROM records WHERE run_id = subject)
  WHEN 'reference check' THEN (SELECT body FROM reference_checks WHERE check_id = subject)
  ELSE (SELECT body FROM statements WHERE statement_id = subject AND statements.kind = log.kind) END
FROM log WHERE seq >= ? AND seq < ? ORDER BY seq
"""
_EVERYTHING = 2**62


@dataclass(frozen=True, slots=True)
class Place:
    """Where the next entry will stand: its body says so, then it is appended there."""

    origin: str
    seq: int
    previous: bytes | None

    def as_record(self) -> dict[str, str | int | None]:
        """Return what the body says of it."""
        return {"origin": self.origin, "seq": self.seq, "previous_leaf": self.previous.hex() if self.previous else None}


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the log with the body that it stands for; None when that is gone."""

    seq: int
    kind: str
    subject: int
    leaf: bytes
    previous: bytes | None
    checkpoint: str
    body: bytes | None


@dataclass(frozen=True, slots=True)
class Log:
    """The log in a database; every method reads, but for `append` and `cosign`, which want a transaction."""

    connection: sqlite3.Connection
    origin: str
    key: LogKey | None = None       # without one, heads are not signed

    def __len__(self) -> int:
        last = self._last()
        return last[0] + 1 if last else 0

    def next_place(self) -> Place:
        """Return where the next entry will stand."""
        last = self._last()
        return Place(self.origin, last[0] + 1, last[1]) if last else Place(self.origin, 0, None)

    def append(self, place: Place, kind: Kind, subject: int, body: bytes, signed: str | None = None) -> bytes:
        """Append the entry about `subject` at `place` with the head that it makes; return its leaf.

        The head is signed here, unless it comes `signed` already (or, if empty, unsigned), as that of a copied entry.
        EvidenceError when that is another head; its signature is not verified.
        """
        leaf = reached = merkle.leaf_hash(body)
        for level in range(1, merkle.completed_by(place.seq) + 1):
            position = place.seq >> level
            reached = merkle.node_hash(self.node(level - 1, 2 * position), reached)
            self.connection.execute(_ADD_NODE, (level, position, reached))
        root = merkle.root(place.seq + 1, lambda level, position:
                           leaf if (level, position) == (0, place.seq) else self.node(level, position))
        head = Checkpoint(self.origin, place.seq + 1, root)
        if signed is None:
            signed = self.key.sign(head.text()) if self.key else ""
        elif signed and parse_note(signed, f"head after entry {place.seq}").text != head.text():
            raise EvidenceError("entries do not make the head that came with them", where=f"entry {place.seq} of "
                                f"{self.origin}", expected=repr(signed), got=repr(head.text()),
                                remedy="Fetch them again; if it recurs, ask who changed them.")
        self.connection.execute(_ADD, (place.seq, kind, subject, leaf, place.previous, signed))
        return leaf

    def node(self, level: int, position: int) -> bytes:
        """Return the hash of a complete subtree, see `merkle.Node`; EvidenceError when it is gone."""
        found = self.connection.execute(*((_NODE, (level, position)) if level else (_LEAF, (position,)))).fetchone()
        if found is None:
            raise EvidenceError("hash of the log is missing", where=f"log of {self.origin}",
                                expected=f"level {level}, position {position}", got="none",
                                remedy="Restore the store from a backup and ask who changed it.")
        found_hash: bytes = found[0]
        return found_hash

    def head(self, size: int | None = None) -> Checkpoint:
        """Return the head of the log now, or as it was with `size` entries."""
        size = len(self) if size is None else self._known(size)
        return Checkpoint(self.origin, size, merkle.root(size, self.node))

    def checkpoint(self, size: int) -> str:
        """Return the signed note of the head at `size`, as it was signed then; empty when it was not."""
        found = self.connection.execute(_CHECKPOINT, (self._known(size),)).fetchone()
        return str(found[0]) if found else ""

    def inclusion(self, seq: int, size: int) -> tuple[bytes, ...]:
        """Return the proof that entry `seq` is in the log of `size` entries."""
        if not 0 <= seq < self._known(size):
            raise self._no_such_entry(seq, size)
        return merkle.inclusion_proof(seq, size, self.node)

    def consistency(self, old_size: int, new_size: int) -> tuple[bytes, ...]:
        """Return the proof that the log of `old_size` entries is the beginning of that of `new_size`."""
        return merkle.consistency_proof(old_size, self._known(new_size, least=old_size), self.node)

    def entries(self, first: int = 0, end: int = _EVERYTHING) -> Iterator[Entry]:
        """Return the entries from `first` up to, and without, `end`, in order."""
        return (Entry(*row) for row in self.connection.execute(_ENTRIES, (first, end)))

    def seq_of(self, kind: Kind, subject: int) -> int | None:
        """Return where the entry about `subject` stands; None when it is not in the log."""
        found = self.connection.execute(_SEQ, (kind, subject)).fetchone()
        return found and int(found[0])

    def evidence(self, seq: int) -> Evidence:
        """Return entry `seq` with its proof in the log of its time.

        Raises
        ------
        UsageError
            There is no such entry.
        EvidenceError
            Its body is gone, or is not the one that was logged.
        """
        entry = next(self.entries(seq, seq + 1), None)
        if entry is None:
            raise self._no_such_entry(seq, len(self))
        if entry.body is None or merkle.leaf_hash(entry.body) != entry.leaf:
            raise EvidenceError("body of an entry was altered", where=f"entry {seq} of the log",
                                expected=f"leaf {entry.leaf.hex()}",
                                got=merkle.leaf_hash(entry.body).hex() if entry.body is not None else "no body",
                                remedy="Restore the store from a backup and ask who changed it.")
        return Evidence(entry.body, self.origin, seq, entry.leaf, seq + 1, self.inclusion(seq, seq + 1),
                        entry.checkpoint)

    def cosign(self, size: int, line: str) -> None:
        """Keep the signature line of a witness below the head at `size`."""
        self.connection.execute(_COSIGN, (self._known(size), line))

    def witnessed(self, size: int) -> str:
        """Return the signed note of the head at `size` with what witnesses signed below it since; empty if unsigned."""
        signed = self.checkpoint(size)
        return signed + "".join(self.cosignatures(size)) if signed else ""

    def cosignatures(self, size: int) -> list[str]:
        """Return the signature lines that witnesses gave for the head at `size`."""
        return [line for line, in self.connection.execute(_COSIGNATURES, (self._known(size),))]

    def _last(self) -> tuple[int, bytes] | None:
        found: tuple[int, bytes] | None = self.connection.execute(_LAST).fetchone()
        return found

    def _no_such_entry(self, seq: int, size: int) -> UsageError:
        return UsageError("no such entry", where=f"log of {self.origin}", expected=f"0 to {size - 1}", got=seq,
                          remedy="Give the sequence number of an entry.")

    def _known(self, size: int, least: int = 0) -> int:
        if not least <= size <= len(self):
            raise UsageError("the log has no such head", where=f"log of {self.origin}",
                             expected=f"a size from {least} to {len(self)}", got=size,
                             remedy="Ask for a size that the log has had.")
        return size


def open_log(connection: sqlite3.Connection, origin: str = "", key: LogKey | None = None, *, new: bool = False) -> Log:
    """Return the log in `connection`; a `new` one gets the name `origin`, later openings give the same or none.

    Raises
    ------
    UsageError
        The log has another origin, or the key is that of another log.
    """
    wanted = origin or (key.name if key else "")
    if new:
        connection.execute(_NAME, (wanted or "station",))
    stored, = connection.execute(_ORIGIN).fetchone()
    for given in {wanted, key.name if key else ""} - {"", stored}:
        raise UsageError("the store holds the log of another station", where="store", expected=stored, got=given,
                         remedy="Set [signing] origin in the station file to that of the store, with the key made "
                         "for it, or give the station a store of its own.")
    return Log(connection, stored, key)
