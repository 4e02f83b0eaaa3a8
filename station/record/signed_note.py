"""Signed notes: a text with signature lines below it, each by a key that a reader may know or not.

Source: C2SP signed-note (github.com/C2SP/C2SP, signed-note.md); the text of a public key as in the Go package
golang.org/x/mod/sumdb/note, name+id+key.
"""

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from station.errors import EvidenceError, UsageError

ED25519 = 0x01          # signature type: Ed25519 over the text
MOST_SIGNATURES = 64    # a reader must accept 16 and should have a limit
_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f]")
_NAME = re.compile(r"[^\s+]+")


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature line; `content` is what the key's type makes of the text."""

    name: str
    key_id: bytes       # 4 bytes
    content: bytes

    def line(self) -> str:
        """Return the line as it stands in a note, newline included."""
        return f"— {self.name} {base64.b64encode(self.key_id + self.content).decode()}\n"


@dataclass(frozen=True, slots=True)
class Note:
    """A text, its final newline included, and the signatures below it, none of them verified."""

    text: str
    signatures: tuple[Signature, ...]

    def __str__(self) -> str:
        """The whole note."""
        return self.text + "\n" + "".join(signature.line() for signature in self.signatures)


class Verifier(Protocol):
    """A public key that a reader knows."""

    @property
    def name(self) -> str:
        """Name of the key."""

    @property
    def key_id(self) -> bytes:
        """The four bytes that tell keys and types of one name apart."""

    def verifies(self, text: str, content: bytes) -> bool:
        """Return whether `content` is this key's signature of `text`."""


@dataclass(frozen=True, slots=True)
class Ed25519Verifier:
    """A key that signs texts as they are."""

    name: str
    public: bytes       # 32 bytes

    @property
    def key_id(self) -> bytes:
        """Identifier of key and type."""
        return key_id(self.name, ED25519, self.public)

    def verifies(self, text: str, content: bytes) -> bool:
        """Return whether `content` is an Ed25519 signature of `text`."""
        return is_signed(self.public, text.encode(), content)

    def __str__(self) -> str:
        """The text of the key, as files hold it."""
        return key_text(self.name, ED25519, self.public)


def key_id(name: str, kind: int, public: bytes) -> bytes:
    """Return the four bytes that identify a key of a signature type. Source: signed-note, signatures."""
    return hashlib.sha256(name.encode() + b"\n" + bytes([kind]) + public).digest()[:4]


def key_text(name: str, kind: int, public: bytes) -> str:
    """Return a public key as text: name, identifier in hexadecimal, type and key in base64."""
    return f"{name}+{key_id(name, kind, public).hex()}+{base64.b64encode(bytes([kind]) + public).decode()}"


def parse_key_text(text: str, kind: int, where: str) -> tuple[str, bytes]:
    """Return (name, 32 bytes of public key) of the text of a key of this type.

    Raises
    ------
    UsageError
        It is no such text, of another type, or its identifier is not that of the key.
    """
    name, _, rest = text.strip().partition("+")
    identifier, _, encoded = rest.partition("+")
    try:
        content = base64.b64decode(encoded, validate=True)
    except ValueError:
        content = b""
    if (not is_name(name) or len(content) != 33 or content[0] != kind
            or identifier != key_id(name, kind, content[1:]).hex()):
        raise UsageError("not the text of a public key", where=where,
                         expected=f"name+identifier+key of signature type {kind:#04x}", got=repr(text.strip()[:80]),
                         remedy="Copy the whole line from whoever holds the key.")
    return name, content[1:]


def is_name(name: str) -> bool:
    """Return whether a key may be called so: neither blanks nor plus signs nor control characters."""
    return _NAME.fullmatch(name) is not None and not _CONTROL.search(name)


def is_signed(public: bytes, message: bytes, signature: bytes) -> bool:
    """Return whether `signature` is the Ed25519 signature of `message`. Source: RFC 8032, section 5.1.7."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):      # the latter for a key that is no point of the curve
        return False
    return True


def parse_note(note: str, where: str) -> Note:
    """Return the parts of a note found in `where`; nothing is verified.

    Raises
    ------
    EvidenceError
        It is no signed note.
    """
    head, blank, tail = note.rpartition("\n\n")
    lines = tail.removesuffix("\n").split("\n")
    signatures = [_signature(line) for line in lines]
    if (not blank or not tail.endswith("\n") or _CONTROL.search(note) or len(lines) > MOST_SIGNATURES
            or None in signatures):
        raise EvidenceError("not a signed note", where=where, expected="a text, an empty line, signature lines",
                            got=repr(note[:80]), remedy="Fetch it again from where it was kept.")
    return Note(head + "\n", tuple(signature for signature in signatures if signature))


def verify_note(note: Note, verifiers: Sequence[Verifier], where: str) -> tuple[Signature, ...]:
    """Return the signatures that known keys made; those of unknown keys are passed over.

    Raises
    ------
    EvidenceError
        A known key did not sign this text although its line is there, or no known key signed at all.

    Source: C2SP signed-note, signatures.
    """
    known = {(verifier.name, verifier.key_id): verifier for verifier in verifiers}
    found = [signature for signature in note.signatures if (signature.name, signature.key_id) in known]
    for signature in found:
        if not known[signature.name, signature.key_id].verifies(note.text, signature.content):
            raise EvidenceError("signature does not belong to this text", where=where,
                                expected=f"a signature by {signature.name}", got="one of another text or key",
                                remedy="Trust nothing it says; ask who changed it.")
    if not found:
        raise EvidenceError("signed by no known key", where=where,
                            expected=" or ".join(f"{v.name} ({v.key_id.hex()})" for v in verifiers) or "a known key",
                            got=", ".join(f"{s.name} ({s.key_id.hex()})" for s in note.signatures),
                            remedy="Give the public key of whoever signed it, from a source that you trust.")
    return tuple(found)


def _signature(line: str) -> Signature | None:
    dash, _, rest = line.partition(" ")
    name, _, encoded = rest.partition(" ")
    try:
        content = base64.b64decode(encoded, validate=True)
    except ValueError:
        return None
    if dash != "—" or not is_name(name) or len(content) < 5:
        return None
    signature = Signature(name, content[:4], content[4:])
    return signature if signature.line() == line + "\n" else None    # one way to write each
