"""Requests that are signed: who sent them, and that nothing in them was changed, whatever lies in between.

A station signs with the key of its log, under the name of its log. Nothing here looks at a clock: what a request asks
for is the same whenever it arrives, and asked again it changes nothing, so that a request sent a second time by
somebody else does no harm.

Source: RFC 9421, HTTP message signatures, with the algorithm ed25519 (section 3.3.6); the hash of the content is RFC
9530's Content-Digest. Of the components only plain fields, the method, the authority and the path are known.
"""

import base64
import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from station.plant.refused import MalformedError, UnsignedError
from station.record.log_key import LogKey
from station.record.signed_note import Ed25519Verifier, is_signed

LABEL = "station"
# What a signature must cover; the latter two unless something is only asked for, and where the content is encoded.
COVERED = ("@method", "@authority", "@path")
DIGEST, ENCODING = "content-digest", "content-encoding"
ASKING = "GET"
_STRING = r'"(?:[^"\\]|\\["\\])*"'
_PARAMETERS = rf"(?:;[a-z*][a-z0-9_.*-]*(?:=(?:{_STRING}|-?[0-9]{{1,15}}|\?[01]))?)*"
_INPUT = re.compile(rf'([a-z*][a-z0-9_.*-]*)=(\(((?:"[a-z0-9@-]+" ?)*)\)({_PARAMETERS}))')
_KEY_ID = re.compile(rf";keyid=({_STRING})")
_SHA_256 = re.compile(r"(?:^|,)[ \t]*sha-256=:([A-Za-z0-9+/]{43}=):")
_PORTS = {"http": ":80", "https": ":443"}


@dataclass(frozen=True, slots=True)
class Message:
    """What of a request can be signed; names of fields in lower case, several of one name joined by a comma."""

    method: str
    authority: str
    path: str                   # as it is sent, encoded
    fields: Mapping[str, str]

    def component(self, name: str) -> str:
        """Return the value of a component; UnsignedError if the message has none. Source: RFC 9421 section 2."""
        derived = {"@method": self.method, "@authority": self.authority.lower(), "@path": self.path or "/"}
        value = derived.get(name) if name.startswith("@") else self.fields.get(name)
        if value is None:
            raise _unsigned("a part that was signed is missing", expected=name, got="none")
        return value.strip()


def digest_of(content: bytes) -> str:
    """Return the field Content-Digest of content as it is sent. Source: RFC 9530 section 2."""
    return f"sha-256=:{base64.b64encode(hashlib.sha256(content).digest()).decode()}:"


def signature_base(message: Message, covered: Sequence[str], parameters: str) -> bytes:
    """Return the bytes that are signed; `parameters` is the value of @signature-params. Source: section 2.5."""
    lines = [f'"{name}": {message.component(name)}' for name in covered]
    return "\n".join([*lines, f'"@signature-params": {parameters}']).encode()


def sign(method: str, url: str, headers: Mapping[str, str], content: bytes, key: LogKey) -> dict[str, str]:
    """Return `headers` with the hash of `content`, as it is sent, and a signature; Host must be that of `url`."""
    parts = urlsplit(url)
    sent = {**headers, **({} if method == ASKING else {"Content-Digest": digest_of(content)})}
    message = Message(method, parts.netloc.removesuffix(_PORTS.get(parts.scheme, "")), parts.path,
                      {name.lower(): value for name, value in sent.items()})
    covered = [*COVERED, *(name for name in (DIGEST, ENCODING) if name in message.fields)]
    parameters = f"({' '.join(map(_quoted, covered))});keyid={_quoted(key.name)};alg=\"ed25519\""
    signature = base64.b64encode(key.private.sign(signature_base(message, covered, parameters))).decode()
    return {**sent, "Signature-Input": f"{LABEL}={parameters}", "Signature": f"{LABEL}=:{signature}:"}


def verify(message: Message, verifier_of: Callable[[str], Ed25519Verifier | None], required: Sequence[str] = COVERED
           ) -> str:
    """Return the name of the known key that signed a message; its content is held to it by `require_content`.

    Raises
    ------
    UnsignedError
        No known key signed it, not all that must be, or it was changed since.
    """
    label, covered, parameters = _parsed(message)
    name = _key_name(parameters)
    if required:
        needed = [*required, *([] if message.method == ASKING else [DIGEST]),
                  *([ENCODING] if ENCODING in message.fields else [])]
        if missing := [each for each in needed if each not in covered]:
            raise _unsigned("the signature leaves something open", expected=", ".join(needed), got=", ".join(missing))
    verifier = verifier_of(name)
    base = signature_base(message, covered, parameters)
    if verifier is None or not is_signed(verifier.public, base, _signature(message, label)):
        raise _unsigned("the signature is not that of a known log", expected=f"a signature by {name}",
                        got="one of another text or key")
    return name


def require_content(message: Message, content: bytes) -> None:
    """Raise MalformedError unless `content` is the one whose hash came with the message; without a hash, none."""
    field = message.fields.get(DIGEST)
    found = _SHA_256.search(field) if field is not None else None
    if (content if field is None else
            found is None or base64.b64decode(found[1]) != hashlib.sha256(content).digest()):
        raise MalformedError("the content is not the one that was sent", where="Content-Digest",
                             expected=field[:120] if field else "no content", got=digest_of(content),
                             remedy="Send it again; ask what changes it in between.")


def _parsed(message: Message) -> tuple[str, list[str], str]:
    """Return label, covered components and parameters of the one signature."""
    text = message.fields.get("signature-input", "").strip()
    found = _INPUT.fullmatch(text)
    covered = re.findall(r'"([^"]+)"', found[3]) if found else []
    if found is None or len(set(covered)) < len(covered):
        raise _unsigned("the request is not signed", expected="one signature as RFC 9421 writes it",
                        got=repr(text[:200]) if text else "none")
    return found[1], covered, found[2]


def _key_name(parameters: str) -> str:
    found = _KEY_ID.search(parameters, parameters.index(")"))     # behind the components, which hold no bracket
    if found is None:
        raise _unsigned("the signature names no key", expected="keyid", got=repr(parameters[:200]))
    return re.sub(r"\\(.)", r"\1", found[1][1:-1])


def _signature(message: Message, label: str) -> bytes:
    text = message.fields.get("signature", "").strip()
    name, _, encoded = text.partition("=:")
    try:
        content = base64.b64decode(encoded.removesuffix(":"), validate=True)
    except ValueError:
        content = b""
    if name != label or not encoded.endswith(":"):
        raise _unsigned("the signature is missing", expected=f"{label}=:…:", got=repr(text[:80]))
    return content


def _quoted(text: str) -> str:
    """Return a text as a string of RFC 8941, section 3.3.3."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _unsigned(what: str, *, expected: str, got: str) -> UnsignedError:
    return UnsignedError(what, where="Signature", expected=expected, got=got,
                         remedy="Sign with the log key of the station, whose public half is given to "
                         "`station plant add`.")
