"""Ed25519 keys in a folder: the private half in PEM for its owner only, the public half as one line for everybody."""

from pathlib import Path

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
from station.record.capture_file import make_folder, write_durably
from station.record.secret_file import read_secret, write_secret
from station.record.signed_note import is_name, key_text, parse_key_text

PRIVATE, PUBLIC = ".key", ".pub"    # endings of the two files


def make_pair(folder: Path, stem: str, name: str, kind: int) -> Ed25519PrivateKey:
    """Make a key called `name`, for signatures of a type, and keep it in `folder` durably.

    Raises
    ------
    UsageError
        There is a key already, or the name has blanks or plus signs.
    StationError
        The folder cannot be written.
    """
    path = folder / (stem + PRIVATE)
    if not is_name(name):
        raise UsageError("no name for a key", where=str(path), expected="neither blanks nor plus signs",
                         got=repr(name), remedy="Choose another name.")
    if path.exists():
        raise UsageError("there is a key already", where=str(path), expected="no key", got="one",
                         remedy="Keep it: what it signed is trusted by its public half.")
    private = Ed25519PrivateKey.generate()
    make_folder(folder)
    # The public half first: whatever interrupts this leaves no key, or both halves.
    write_durably(folder / (stem + PUBLIC), f"{key_text(name, kind, public_bytes(private))}\n".encode())
    write_secret(path, private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return private


def load_pair(folder: Path, stem: str, kind: int) -> tuple[str, Ed25519PrivateKey]:
    """Return (name, key) of the pair of files in `folder`.

    Raises
    ------
    UsageError
        There is none, or it cannot be read.
    EvidenceError
        The two halves do not belong together, or others can read the private one.
    """
    path = folder / (stem + PRIVATE)
    try:
        private = load_pem_private_key(read_secret(path), None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise UsageError("key cannot be read", where=str(path), expected="a private key in PEM, without password",
                         got=str(error), remedy="Restore it from its backup.") from error
    if not isinstance(private, Ed25519PrivateKey):
        raise UsageError("key is of another kind", where=str(path), expected="an Ed25519 key",
                         got=type(private).__name__, remedy="Restore the right one from its backup.")
    name, public = load_public(folder / (stem + PUBLIC), kind)
    if public != public_bytes(private):
        raise EvidenceError("the two halves of the key differ", where=str(path), expected=public.hex(),
                            got=public_bytes(private).hex(),
                            remedy="Restore both from their backup and ask who changed them.")
    return name, private


def load_public(path: Path, kind: int) -> tuple[str, bytes]:
    """Return (name, 32 bytes) of the public key in a file; UsageError when it holds none of this type."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError("public key cannot be read", where=str(path), expected="name+identifier+key",
                         got=str(error), remedy="Fetch it from whoever holds the key.") from error
    return parse_key_text(text, kind, str(path))


def public_bytes(private: Ed25519PrivateKey) -> bytes:
    """Return the 32 bytes of the public half. Source: RFC 8032, section 5.1.5."""
    return private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
