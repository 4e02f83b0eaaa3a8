"""Whether a log still says what it said: against its own bodies, its own hashes, and a head kept beside it."""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from station.errors import EvidenceError
from station.record import merkle
from station.record.checkpoint import Checkpoint, open_checkpoint, parse_checkpoint
from station.record.log import Entry, Log, Place
from station.record.record import canonical
from station.record.signed_note import Verifier

TAIL = 100          # entries whose bodies are hashed whenever the store is opened for writing
_LEVEL = 12         # leaves are read 2^12 at a time, so that each portion is one complete subtree

_PORTIONS = "SELECT seq, leaf, previous FROM log ORDER BY seq"
# what is stored and not logged, or logged and not stored, and what stands beside the other in the tables
_COUNTS = """
SELECT 'record', (SELECT count(*) FROM records), (SELECT count(*) FROM log WHERE kind = 'record')
UNION ALL SELECT 'reference check', (SELECT count(*) FROM reference_checks),
  (SELECT count(*) FROM log WHERE kind = 'reference check')
UNION ALL SELECT kind, (SELECT count(*) FROM statements WHERE statements.kind = kinds.kind),
  (SELECT count(*) FROM log WHERE log.kind = kinds.kind)
FROM (SELECT 'correction' AS kind UNION ALL SELECT 'retention' UNION ALL SELECT 'release'
  UNION ALL SELECT 'trail') AS kinds
UNION ALL SELECT 'entry', (SELECT count(*) FROM log), (SELECT coalesce(max(seq) + 1, 0) FROM log)
"""


@dataclass(frozen=True, slots=True)
class LogFault:
    """One thing that is wrong with a log; `seq` is the entry, None where it is the log as a whole."""

    seq: int | None
    what: str
    expected: str
    got: str

    def as_error(self, origin: str) -> EvidenceError:
        """Return the fault as the error that stops the station."""
        where = f"log of {origin}" if self.seq is None else f"entry {self.seq} of the log of {origin}"
        return EvidenceError(self.what, where=where, expected=self.expected, got=self.got,
                             remedy="Stop and keep the store as it is; compare it with its backup and its witnessed "
                             "heads, and ask who changed it.")


def body_faults(entries: Iterator[Entry], origin: str) -> Iterator[LogFault]:
    """Return what is wrong with bodies: gone, other than what was logged, or telling of another place.

    `entries` are of one log, in order, from any of them on. Each body is hashed.
    """
    for entry in entries:
        if entry.body is None:
            yield LogFault(entry.seq, f"{entry.kind} is missing", f"{entry.kind} {entry.subject}", "none")
        elif (leaf := merkle.leaf_hash(entry.body)) != entry.leaf:
            yield LogFault(entry.seq, f"{entry.kind} was altered", f"leaf {entry.leaf.hex()}", f"leaf {leaf.hex()}")
        elif (said := _misplaced(entry.body, Place(origin, entry.seq, entry.previous))) is not None:
            yield LogFault(entry.seq, f"{entry.kind} stands in another place than it says", str(said), f"{entry.seq}")


def count_faults(connection: sqlite3.Connection) -> Iterator[LogFault]:
    """Return what is stored but not logged, logged but not stored, or left out of the numbering, by numbers only."""
    for kind, stored, logged in connection.execute(_COUNTS):
        if stored != logged:
            yield LogFault(None, f"not every {kind} is in the log, or some are missing", f"{logged} logged",
                           f"{stored} stored")


def tree_faults(log: Log) -> Iterator[LogFault]:
    """Return what is wrong with the numbering, the chain and the tree, computed anew from every leaf.

    The root is compared with that of the last checkpoint, where one was signed; its signature is not verified, see
    `head_faults`. No body is read.
    """
    portions, count, last = [], 0, None
    rows = log.connection.execute(_PORTIONS)
    while portion := rows.fetchmany(1 << _LEVEL):
        seqs, leaves, previous = zip(*portion, strict=True)
        if seqs != tuple(range(count, count + len(seqs))):
            yield LogFault(count, "the numbering has a gap", f"{count} to {count + len(seqs) - 1}",
                           f"{seqs[0]} to {seqs[-1]}")
        if previous != (last, *leaves[:-1]):
            yield from _broken_chain(seqs, (last, *leaves[:-1]), previous)
        portions.append(merkle.root_of(leaves))
        if len(leaves) == 1 << _LEVEL and log.node(_LEVEL, count >> _LEVEL) != portions[-1]:
            yield LogFault(count, "hashes of the tree are not those of its leaves", portions[-1].hex(),
                           log.node(_LEVEL, count >> _LEVEL).hex())
        count, last = count + len(seqs), leaves[-1]
    if count == len(log):
        yield from _root_faults(log, Checkpoint(log.origin, count, merkle.root_of(portions)))


def head_faults(log: Log, verifiers: Sequence[Verifier], first: int = 0) -> Iterator[LogFault]:
    """Return every signed head, from that of entry `first` on, that no known key signed or that has another root."""
    for entry in log.entries(first):
        if entry.checkpoint:
            try:
                told = open_checkpoint(entry.checkpoint, verifiers, f"checkpoint of entry {entry.seq}")
            except EvidenceError as error:
                yield LogFault(entry.seq, f"checkpoint: {error.what}", str(error.expected), str(error.got))
            else:
                yield from _differing(entry.seq, told, log.head(entry.seq + 1))


def check_on_opening(log: Log, head_file: Path) -> None:
    """Raise EvidenceError unless the end of the log, its head and the head kept beside it agree.

    Bodies are hashed of the last `TAIL` entries only; all the rest is for an audit.
    """
    size = len(log)
    for faults in (count_faults(log.connection), body_faults(log.entries(max(0, size - TAIL)), log.origin),
                   _root_faults(log, log.head()), kept_head_faults(log, head_file)):
        for fault in faults:
            raise fault.as_error(log.origin)


def keep_head(log: Log, head_file: Path) -> None:
    """Write the head of the log, signed if it was, beside the database; what cannot be written is left out.

    It is never synced, as nothing relies on its being there: what was committed is durable without it, and whoever
    committed must not hear of a failure afterwards.
    """
    temporary = head_file.with_name(head_file.name + ".tmp")
    with suppress(OSError, sqlite3.Error, EvidenceError):
        size = len(log)
        temporary.write_text(log.checkpoint(size) or log.head(size).text(), encoding="utf-8")
        temporary.replace(head_file)


def kept_head_faults(log: Log, head_file: Path) -> Iterator[LogFault]:
    """Return in what the log is not the continuation of the head in a file; a file that holds none says nothing.

    So an end that the database has lost is noticed, even where SQLite finds nothing wrong with what is left.
    """
    try:
        kept = parse_checkpoint(_text_of(head_file.read_text(encoding="utf-8")), str(head_file))
    except (OSError, ValueError, EvidenceError):    # a power cut may have left half of it: it is never synced
        return
    size = len(log)
    if kept.size > size:
        yield LogFault(None, "entries at the end of the log are missing", f"{kept.size} entries", f"{size} entries")
    else:
        yield from _differing(None, kept, log.head(kept.size))


def _root_faults(log: Log, head: Checkpoint) -> Iterator[LogFault]:
    signed = log.checkpoint(head.size)
    if signed:
        told = parse_checkpoint(_text_of(signed), f"checkpoint of size {head.size}")
        yield from _differing(head.size - 1, told, head)


def _differing(seq: int | None, told: Checkpoint, found: Checkpoint) -> Iterator[LogFault]:
    if told != found:
        yield LogFault(seq, "the log was rewritten: its head is not the one that was kept",
                       f"{told.size} entries of {told.origin}, root {told.root.hex()}",
                       f"{found.size} entries of {found.origin}, root {found.root.hex()}")


def _text_of(head: str) -> str:
    """Return the text of a checkpoint, signed or not."""
    return head.partition("\n\n")[0].removesuffix("\n") + "\n"


def _misplaced(body: bytes, place: Place) -> object | None:
    """Return the other place that a body claims; None when it claims this one, or was logged later and claims none."""
    if b'"log":' + canonical(place.as_record()) in body:    # parsing each body would cost more than hashing it
        return None
    said: object | None = json.loads(body).get("log")
    return said


def _broken_chain(seqs: Sequence[int], wanted: Sequence[bytes | None], got: Sequence[bytes | None]
                  ) -> Iterator[LogFault]:
    for seq, leaf, named in zip(seqs, wanted, got, strict=True):
        if leaf != named:
            yield LogFault(seq, "the entry before it is another one than it names", named.hex() if named else "none",
                           leaf.hex() if leaf else "none")
