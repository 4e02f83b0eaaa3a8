"""The key with which a station signs the head of its log."""

from dataclasses import dataclass
from pathlib import Path
from typing import Self

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.record.key_pair import PRIVATE, PUBLIC, load_pair, load_public, make_pair, public_bytes
from station.record.signed_note import ED25519, Ed25519Verifier, Note, Signature

STEM = "log"
PRIVATE_FILE, PUBLIC_FILE = STEM + PRIVATE, STEM + PUBLIC   # in the folder of keys


@dataclass(frozen=True, slots=True)
class LogKey:
    """An Ed25519 key that signs texts under the name of its log."""

    name: str
    private: Ed25519PrivateKey

    @classmethod
    def make(cls, folder: Path, name: str) -> Self:
        """Make a key for the log called `name` and keep it in `folder`; errors as `make_pair`."""
        return cls(name, make_pair(folder, STEM, name, ED25519))

    @classmethod
    def load(cls, folder: Path) -> Self:
        """Return the key in `folder`; errors as `load_pair`."""
        return cls(*load_pair(folder, STEM, ED25519))

    @property
    def verifier(self) -> Ed25519Verifier:
        """The public half."""
        return Ed25519Verifier(self.name, public_bytes(self.private))

    def sign(self, text: str) -> str:
        """Return `text` as a note with this key's signature."""
        return str(Note(text, (Signature(self.name, self.verifier.key_id, self.private.sign(text.encode())),)))


def load_verifier(path: Path) -> Ed25519Verifier:
    """Return the public key of a log in a file; UsageError when it holds none."""
    return Ed25519Verifier(*load_public(path, ED25519))
