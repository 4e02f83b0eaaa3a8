"""Cosignatures: another key states at what time it saw the head of a log, and that the log had only grown.

Source: C2SP tlog-cosignature, Ed25519 (github.com/C2SP/C2SP, tlog-cosignature.md).
"""

import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.record.key_pair import load_pair, load_public, make_pair, public_bytes
from station.record.signed_note import Signature, is_signed, key_id, key_text

COSIGNATURE = 0x04      # signature type: Ed25519 over time and text
STEM = "witness"        # of the two files of a witness's key
_SIZE = 8 + 64          # bytes of the time and of the signature


@dataclass(frozen=True, slots=True)
class CosignatureVerifier:
    """The public key of a witness."""

    name: str
    public: bytes       # 32 bytes

    @property
    def key_id(self) -> bytes:
        """Identifier of key and type."""
        return key_id(self.name, COSIGNATURE, self.public)

    def verifies(self, text: str, content: bytes) -> bool:
        """Return whether `content` is this witness's cosignature of the checkpoint `text`, at whatever time."""
        return (len(content) == _SIZE
                and is_signed(self.public, _message(_seconds(content), text), content[8:]))

    def __str__(self) -> str:
        """The text of the key, as files hold it."""
        return key_text(self.name, COSIGNATURE, self.public)


@dataclass(frozen=True, slots=True)
class WitnessKey:
    """The key of a witness, to be used for nothing else: the message does not name the witness."""

    name: str
    private: Ed25519PrivateKey

    @classmethod
    def make(cls, folder: Path, name: str) -> Self:
        """Make a key for the witness called `name` and keep it in `folder`; errors as `make_pair`."""
        return cls(name, make_pair(folder, STEM, name, COSIGNATURE))

    @classmethod
    def load(cls, folder: Path) -> Self:
        """Return the key in `folder`; errors as `load_pair`."""
        return cls(*load_pair(folder, STEM, COSIGNATURE))

    @property
    def verifier(self) -> CosignatureVerifier:
        """The public half."""
        return CosignatureVerifier(self.name, public_bytes(self.private))

    def cosign(self, text: str, at: datetime) -> Signature:
        """Return the cosignature of the checkpoint `text`, which is to have been checked; see `witness`."""
        seconds = int(at.timestamp())
        signed = self.private.sign(_message(seconds, text))
        return Signature(self.name, self.verifier.key_id, struct.pack(">Q", seconds) + signed)


def load_witness(path: Path) -> CosignatureVerifier:
    """Return the public key of a witness in a file; UsageError when it holds none."""
    return CosignatureVerifier(*load_public(path, COSIGNATURE))


def cosigned_at(signature: Signature) -> datetime:
    """Return when a verified cosignature was made, by the clock of its witness."""
    return datetime.fromtimestamp(_seconds(signature.content), UTC)


def _seconds(content: bytes) -> int:
    seconds: int
    seconds, = struct.unpack_from(">Q", content)
    return seconds


def _message(seconds: int, text: str) -> bytes:
    return f"cosignature/v1\ntime {seconds}\n{text}".encode()
