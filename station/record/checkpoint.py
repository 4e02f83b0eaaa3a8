"""Checkpoints: the head of a log in three lines, its origin, its size and its root, signed as a note.

Source: C2SP tlog-checkpoint (github.com/C2SP/C2SP, tlog-checkpoint.md).
"""

import base64
import re
from collections.abc import Sequence
from dataclasses import dataclass

from station.errors import EvidenceError
from station.record.merkle import HASH_SIZE
from station.record.signed_note import Verifier, parse_note, verify_note

_SIZE = re.compile(r"0|[1-9][0-9]{0,17}")


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The head of a log: after `size` entries its Merkle tree has this root."""

    origin: str
    size: int
    root: bytes     # 32 bytes

    def text(self) -> str:
        """Return the text that is signed."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"


def parse_checkpoint(text: str, where: str) -> Checkpoint:
    """Return the checkpoint in the text of a note; lines after the third are passed over.

    Raises
    ------
    EvidenceError
        The text is no checkpoint.
    """
    lines = text.split("\n")
    try:
        root = base64.b64decode(lines[2], validate=True)
    except (ValueError, IndexError):
        root = b""
    if (len(root) != HASH_SIZE or base64.b64encode(root).decode() != lines[2] or lines[-1]
            or not all(lines[:-1]) or not _SIZE.fullmatch(lines[1])):
        raise EvidenceError("not a checkpoint", where=where, expected="three lines: origin, size, root in base64",
                            got=repr(text[:80]), remedy="Fetch it again from where it was kept.")
    return Checkpoint(lines[0], int(lines[1]), root)


def open_checkpoint(note: str, verifiers: Sequence[Verifier], where: str) -> Checkpoint:
    """Return the checkpoint in a signed note, if a known key signed it; errors as `verify_note`."""
    parsed = parse_note(note, where)
    verify_note(parsed, verifiers, where)
    return parse_checkpoint(parsed.text, where)


def origin_of(station_id: str) -> str:
    """Return what the log of a station is called unless its file says otherwise: its id without blanks or plus."""
    return re.sub(r"[\s+\x00-\x1f]+", "-", station_id.strip().lower()) or "station"
