"""The key with which a station signs the head of its log, in two files of its folder of keys."""

from dataclasses import dataclass
from pathlib import Path
from typing import Self

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from station.errors import EvidenceError, UsageError
from station.record.capture_file import write_durably
from station.record.signed_note import ED25519, Ed25519Verifier, Note, Signature, is_name, parse_key_text

PRIVATE_FILE = "log.key"    # PEM, PKCS #8, readable by its owner only
PUBLIC_FILE = "log.pub"     # one line, see `signed_note.key_text`


@dataclass(frozen=True, slots=True)
class LogKey:
    """An Ed25519 key that signs texts under the name of its log."""

    name: str
    private: Ed25519PrivateKey

    @classmethod
    def make(cls, folder: Path, name: str) -> Self:
        """Make a key for the log called `name` and keep it in `folder`, durably.

        Raises
        ------
        UsageError
            There is a key already, or the name has blanks or plus signs.
        StationError
            The folder cannot be written.
        """
        if not is_name(name):
            raise UsageError("no name for a key", where=str(folder), expected="neither blanks nor plus signs",
                             got=repr(name), remedy="Set [signing] origin in the station file.")
        path = folder / PRIVATE_FILE
        if path.exists():
            raise UsageError("there is a key already", where=str(path), expected="no key", got="one",
                             remedy="Keep it: heads of the log that it signed are trusted by its public key.")
        key = cls(name, Ed25519PrivateKey.generate())
        folder.mkdir(parents=True, exist_ok=True)
        # The public half first: whatever interrupts this leaves no key, or both halves.
        write_durably(folder / PUBLIC_FILE, f"{key.verifier}\n".encode())
        write_durably(path, key.private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()), 0o600)
        return key

    @classmethod
    def load(cls, folder: Path) -> Self:
        """Return the key in `folder`.

        Raises
        ------
        UsageError
            There is none, or it cannot be read.
        EvidenceError
            The public half beside it belongs to another key.
        """
        path = folder / PRIVATE_FILE
        try:
            private = load_pem_private_key(path.read_bytes(), None)
        except (OSError, ValueError, TypeError, UnsupportedAlgorithm) as error:
            raise UsageError("key of the log cannot be read", where=str(path), expected="a private key in PEM",
                             got=str(error), remedy="Make one with `station keys make`, or restore it.") from error
        if not isinstance(private, Ed25519PrivateKey):
            raise UsageError("key of the log is of another kind", where=str(path), expected="an Ed25519 key",
                             got=type(private).__name__, remedy="Make one with `station keys make`.")
        public = load_verifier(folder / PUBLIC_FILE)
        key = cls(public.name, private)
        if key.verifier != public:
            raise EvidenceError("the two halves of the log's key differ", where=str(path), expected=str(public),
                                got=str(key.verifier), remedy="Restore both from a backup and ask who changed them.")
        return key

    @property
    def verifier(self) -> Ed25519Verifier:
        """The public half."""
        return Ed25519Verifier(self.name, public_bytes(self.private))

    def sign(self, text: str) -> str:
        """Return `text` as a note with this key's signature."""
        signature = Signature(self.name, self.verifier.key_id, self.private.sign(text.encode()))
        return str(Note(text, (signature,)))


def load_verifier(path: Path) -> Ed25519Verifier:
    """Return the public key of a log in a file; UsageError when there is none."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError("public key of a log cannot be read", where=str(path), expected="name+identifier+key",
                         got=str(error), remedy="Fetch it from the station, or from whoever keeps its keys.") from error
    return Ed25519Verifier(*parse_key_text(text, ED25519, str(path)))


def public_bytes(private: Ed25519PrivateKey) -> bytes:
    """Return the 32 bytes of the public half. Source: RFC 8032, section 5.1.5."""
    return private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
