"""A witness of logs: it cosigns a head only when that continues the last head it saw, and remembers it.

The request is the text of C2SP tlog-witness (github.com/C2SP/C2SP, tlog-witness.md): the size seen last, the proof of
consistency, and the signed checkpoint. It travels by any means, here as a file.
"""

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from station.errors import EvidenceError, UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.checkpoint import Checkpoint, open_checkpoint, parse_checkpoint
from station.record.cosignature import WitnessKey
from station.record.lock import let_go, take_lock
from station.record.log import Log
from station.record.merkle import EMPTY_ROOT, HASH_SIZE, verify_consistency
from station.record.signed_note import Verifier, parse_note, verify_note

MOST_HASHES = 63        # lines of a proof, by the source
_REWRITTEN = ("Keep this request and the head seen last: together they prove it. "
              "Ask who changed the log, and trust no record of it until that is known.")
_ALL_LINES = "SELECT size, line FROM cosignatures ORDER BY size DESC"
_OLD = re.compile(r"old (0|[1-9][0-9]{0,17})")


@dataclass(frozen=True, slots=True)
class Request:
    """What a log asks a witness: to cosign `note`, which continues the head at `old_size` as `proof` shows."""

    old_size: int
    proof: tuple[bytes, ...]
    note: str

    def __str__(self) -> str:
        """The request as it is sent."""
        hashes = "".join(f"{base64.b64encode(one).decode()}\n" for one in self.proof)
        return f"old {self.old_size}\n{hashes}\n{self.note}"


def request_of(log: Log, old_size: int) -> Request:
    """Return the request for a cosignature of the log's head as it is now, after a witness has seen `old_size`.

    Raises
    ------
    UsageError
        The head is not signed, or the log never had `old_size` entries.
    """
    size = len(log)
    note = log.checkpoint(size)
    if not note:
        raise UsageError("the head of the log is not signed", where=f"log of {log.origin}", expected="a signed head",
                         got=f"{size} entries, none signed last",
                         remedy="Make the station's keys with `station keys make` and test a motor.")
    return Request(old_size, log.consistency(old_size, size), note)


def parse_request(text: str, where: str) -> Request:
    """Return the request in a text; EvidenceError when it is none."""
    head, blank, note = text.partition("\n\n")
    old, *lines = head.split("\n")
    told = _OLD.fullmatch(old)
    try:
        proof = tuple(base64.b64decode(line, validate=True) for line in lines)
    except ValueError:
        proof = (b"",)
    if not blank or told is None or len(proof) > MOST_HASHES or any(len(one) != HASH_SIZE for one in proof):
        raise EvidenceError("not a request for a cosignature", where=where,
                            expected="a line `old` and a size, a proof, an empty line, a checkpoint",
                            got=repr(text[:80]), remedy="Make it anew with `station log head --since`.")
    return Request(int(told[1]), proof, note)


@dataclass(frozen=True, slots=True)
class Witness:
    """A key and the folder in which it remembers the last head of each log that it has cosigned."""

    key: WitnessKey
    folder: Path

    def cosign(self, request: Request, verifiers: Sequence[Verifier], at: datetime, where: str) -> str:
        """Return the signature line for the head asked for, once it is remembered durably.

        `verifiers` are the keys of the logs that this witness knows.

        Raises
        ------
        UsageError
            The request does not begin where the witness saw the log last; the size to begin at is told.
        EvidenceError
            No known log signed it, or the log was rewritten since it was seen last.
        StationError
            The head cannot be remembered; nothing is cosigned.
        """
        text = parse_note(request.note, where).text
        # A key of one log says nothing about another.
        known = [verifier for verifier in verifiers if verifier.name == parse_checkpoint(text, where).origin]
        told = open_checkpoint(request.note, known, where)
        make_folder(self.folder)
        lock = take_lock(self.folder)   # two requests at once must not step back behind each other
        try:
            self._require_continuation(self.seen(told.origin), told, request, where)
            write_durably(self._file(told.origin), request.note.encode())
        finally:
            let_go(lock)
        return self.key.cosign(text, at).line()

    def seen(self, origin: str) -> Checkpoint:
        """Return the last head cosigned of a log; the empty one when there was none."""
        path = self._file(origin)
        if not path.exists():
            return Checkpoint(origin, 0, EMPTY_ROOT)
        return parse_checkpoint(parse_note(path.read_text(encoding="utf-8"), str(path)).text, str(path))

    def _require_continuation(self, seen: Checkpoint, told: Checkpoint, request: Request, where: str) -> None:
        if told.size < seen.size:
            raise EvidenceError("the log is shorter than it was", where=where, expected=f"{seen.size} entries or more",
                                got=f"{told.size} entries", remedy=_REWRITTEN)
        if request.old_size != seen.size:
            raise UsageError("request begins at another head than the witness saw last", where=where,
                             expected=f"old {seen.size}", got=f"old {request.old_size}",
                             remedy=f"Make it anew with `station log head --since {seen.size}`.")
        if not verify_consistency(seen.size, told.size, seen.root, told.root, request.proof):
            raise EvidenceError("the log was rewritten", where=where,
                                expected=f"a continuation of {seen.size} entries with root {seen.root.hex()}",
                                got=f"{told.size} entries with root {told.root.hex()}", remedy=_REWRITTEN)

    def _file(self, origin: str) -> Path:
        # Origins may hold slashes, hence the hash; its beginning is kept readable.
        readable = re.sub(r"[^A-Za-z0-9.-]+", "-", origin)[:40]
        return self.folder / f"{readable}-{hashlib.sha256(origin.encode()).hexdigest()[:16]}.head"


def keep_cosignatures(log: Log, note: str, witnesses: Sequence[Verifier], where: str) -> int:
    """Keep what witnesses signed below a head of this log, inside the transaction of the caller; return how many.

    Raises
    ------
    EvidenceError
        The head is not one that this log has had, no known witness signed it, or not this text.
    """
    parsed = parse_note(note, where)
    told = parse_checkpoint(parsed.text, where)
    if told.origin != log.origin or told.size > len(log) or log.head(told.size) != told:
        raise EvidenceError("not a head of this log", where=where, expected=f"a head of {log.origin}",
                            got=f"{told.size} entries of {told.origin}, root {told.root.hex()}",
                            remedy="Keep it apart: if it was signed by this station, its log was rewritten.")
    kept = verify_note(parsed, witnesses, where)
    for signature in kept:
        log.cosign(told.size, signature.line())
    return len(kept)


def acknowledged(log: Log, witness: Verifier) -> int:
    """Return the largest size of a log below whose head this witness signed; 0 where it signed none."""
    for size, line in log.connection.execute(_ALL_LINES):
        if not line.startswith(f"— {witness.name} "):
            continue    # of another witness
        note = parse_note(f"{log.head(size).text()}\n{line}", f"cosignature of size {size}")
        if any((signed.name, signed.key_id) == (witness.name, witness.key_id)
               and witness.verifies(note.text, signed.content) for signed in note.signatures):
            return int(size)
    return 0
