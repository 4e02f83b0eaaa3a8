"""The evidence that an entry stands in its station's log: what a certificate carries beside the record."""

import json
from dataclasses import dataclass
from typing import Any

import rfc8785

from station.errors import EvidenceError
from station.record.merkle import leaf_hash

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Evidence:
    """An entry of the log with the proof that the log of its time holds it.

    `size` is that of the log with this entry as its last, so it is always `seq` + 1.
    """

    record_bytes: bytes             # canonical, as stored
    origin: str
    seq: int
    leaf: bytes
    size: int
    inclusion: tuple[bytes, ...]    # see `merkle.verify_inclusion`
    checkpoint: str                 # signed note of the log at `size`; empty when the station has no key

    def as_json(self) -> bytes:
        """Return everything but the record, in canonical JSON."""
        return rfc8785.dumps({
            "format": FORMAT, "origin": self.origin, "seq": self.seq, "size": self.size, "leaf": self.leaf.hex(),
            "inclusion": [sibling.hex() for sibling in self.inclusion], "checkpoint": self.checkpoint})


def read_evidence(record_bytes: bytes, proof: bytes, name: str) -> Evidence:
    """Return the evidence in a record and its proof, both as a certificate carries them; nothing is verified.

    Raises
    ------
    EvidenceError
        The proof found in `name` is none, or of a format from the future.
    """
    try:
        found = json.loads(proof)
        evidence = _evidence(record_bytes, found)
    except (ValueError, KeyError, TypeError) as error:
        raise EvidenceError("proof cannot be read", where=name, expected=f"a proof of format {FORMAT}",
                            got=f"{type(error).__name__}: {error}", remedy="Fetch the certificate again.") from error
    if found["format"] != FORMAT or evidence.as_json() != proof:
        raise EvidenceError("proof is not as a station writes it", where=name, expected=f"canonical, format {FORMAT}",
                            got=f"format {found['format']}", remedy="Ask who changed it, or update this program.")
    return evidence


def _evidence(record_bytes: bytes, found: dict[str, Any]) -> Evidence:
    return Evidence(record_bytes, str(found["origin"]), int(found["seq"]), bytes.fromhex(found["leaf"]),
                    int(found["size"]), tuple(bytes.fromhex(sibling) for sibling in found["inclusion"]),
                    str(found["checkpoint"]))


def belongs(evidence: Evidence) -> bool:
    """Return whether the leaf is that of the record's bytes."""
    return leaf_hash(evidence.record_bytes) == evidence.leaf
