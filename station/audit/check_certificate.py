"""Checks a motor test certificate by itself, with Python's standard library and the package `cryptography` only.

    python check_certificate.py certificate.pdf plant-ca.pem log.pub

The plant's authority and the public key of the station's log must come from the plant, never from whoever handed over
the certificate. Exit code 0: all holds; 7: something does not; 2: wrong use. It proves who issued this paper and that
its record stands in the station's log; whether its numbers follow from waveforms takes the archive. Read from the end.
"""

import base64
import hashlib
import json
import re
import sys
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.hashes import SHA256

# Object identifiers as DER holds them. Source: RFC 5652, RFC 5035, RFC 5754, RFC 5758.
SIGNED_DATA = bytes.fromhex("06092a864886f70d010702")
DATA = bytes.fromhex("06092a864886f70d010701")
CONTENT_TYPE = bytes.fromhex("06092a864886f70d010903")
MESSAGE_DIGEST = bytes.fromhex("06092a864886f70d010904")
SIGNING_CERTIFICATE = bytes.fromhex("060b2a864886f70d010910022f")
SHA_256 = (bytes.fromhex("300b0609608648016503040201"), bytes.fromhex("300d06096086480165030402010500"))
ECDSA_SHA_256 = bytes.fromhex("300a06082a8648ce3d040302")

BYTE_RANGE = re.compile(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]")
SIGNED_AT = re.compile(rb"/M\s*\(D(?:\\072|:)(\d{14})(?:Z|[+-]00)")
FILE_NAME = re.compile(rb"/EF\s*<<\s*/F\s+(\d+)\s+0\s+R[^>]*>>\s*/F\s*\(([^)]+)\)")
STREAM = re.compile(rb"/Length (\d+)[^>]*>>\s*stream\r?\n")
UNREADABLE = (OSError, ValueError, KeyError, TypeError, IndexError, AttributeError, UnsupportedAlgorithm, zlib.error)


class DoubtError(Exception):
    """The certificate does not hold; `code` is short and stays the same, the text is for people."""

    def __init__(self, code: str, text: str) -> None:
        self.code = code
        super().__init__(text)


def require(holds: bool, code: str, text: str) -> None:
    """Raise DoubtError unless `holds`."""
    if not holds:
        raise DoubtError(code, text)


class Element(NamedTuple):
    """One element of DER (ITU-T X.690): its tag, its content, and the whole of it."""

    tag: int
    content: bytes
    whole: bytes


def elements(data: bytes) -> list[Element]:
    """Return the elements that stand one after the other in `data`; lengths must be the shortest."""
    found, at = [], 0
    while at < len(data):
        size, start, least = int.from_bytes(data[at + 1:at + 2], "big"), at + 2, 0
        if size >= 0x80:
            count = size & 0x7F
            least = 1 << 8 * (count - 1) if count > 1 else 0x80
            size, start = int.from_bytes(data[start:start + count], "big"), start + count
        require(least <= size <= len(data) - start, "signature.form", "the signature is no DER")
        found.append(Element(data[at], data[start:start + size], data[at:start + size]))
        at = start + size
    return found


def inside(element: Element, *tags: int) -> list[Element]:
    """Return the elements in `element`, whose tags must be these."""
    found = elements(element.content)
    require(tuple(each.tag for each in found) == tags, "signature.form", "the signature is built otherwise than CMS")
    return found


def signed_parts(pdf: bytes) -> tuple[bytes, bytes, datetime]:
    """Return the digest of all but the signature's own digits, the signature (CMS), and the time that it states."""
    ranges = BYTE_RANGE.findall(pdf)
    require(len(ranges) == 1, "signature.missing" if not ranges else "signature.several",
            f"there are {len(ranges)} signatures, where one is expected")
    first, length, second, rest = map(int, ranges[0])
    require(first == 0 and length < second and second + rest == len(pdf), "signature.not_whole_file",
            f"the signature covers the file up to byte {second + rest} of {len(pdf)}: something was added since")
    content = bytes.fromhex(pdf[length + 1:second - 1].decode())
    require(pdf[length:second] == b"<%s>" % content.hex().upper().encode(), "signature.form",
            "the signature's place holds something else")
    end = 4 + int.from_bytes(content[2:4], "big")       # a CMS of 256 to 65535 bytes: two bytes of length
    require(content[:2] == b"\x30\x82" and not any(content[end:]), "signature.form", "the signature is padded wrongly")
    stated, = SIGNED_AT.findall(pdf)    # exactly one, else a ValueError
    when = datetime.strptime(stated.decode(), "%Y%m%d%H%M%S").replace(tzinfo=UTC)
    return hashlib.sha256(pdf[:length] + pdf[second:]).digest(), content[:end], when


def verify_signature(pdf: bytes, authority: x509.Certificate) -> tuple[x509.Certificate, datetime]:
    """Return the certificate of who signed `pdf`, issued under `authority`, and the time that the signature states.

    Source: RFC 5652, section 5.4 (what is signed) and RFC 5035, section 3 (which certificate); PAdES is CMS in PDF.
    """
    digest, cms, when = signed_parts(pdf)
    kind, explicit = inside(elements(cms)[0], 0x06, 0xA0)
    version, digests, content, bundle, signers = inside(elements(explicit.content)[0], 0x02, 0x31, 0x30, 0xA0, 0x31)
    signer_version, name, hashing, attributes, algorithm, value = inside(
        inside(signers, 0x30)[0], 0x02, 0x30, 0x30, 0xA0, 0x30, 0x04)
    require(kind.whole == SIGNED_DATA and content.content == DATA and version.content == signer_version.content == b"\1"
            and digests.content in SHA_256 and hashing.whole in SHA_256 and algorithm.whole == ECDSA_SHA_256,
            "signature.form", "the signature is of another kind than ECDSA with SHA-256")
    signed = {}
    for oid, values in (inside(attribute, 0x06, 0x31) for attribute in elements(attributes.content)):
        require(oid.whole not in signed, "signature.form", "a signed attribute stands there twice")
        signed[oid.whole] = values.content
    require(signed.get(CONTENT_TYPE) == DATA, "signature.form", "another kind of content was signed")
    require(signed.get(MESSAGE_DIGEST) == b"\x04\x20" + digest, "signature.broken",
            "the file is not the one that was signed: its SHA-256 differs")
    certificates = [x509.load_der_x509_certificate(each.whole) for each in elements(bundle.content)]
    issuer, number = inside(name, 0x30, 0x02)
    own = next((each for each in certificates if each.issuer.public_bytes() == issuer.whole
                and each.serial_number == int.from_bytes(number.content, "big")), None)
    if own is None or b"\x04\x20" + own.fingerprint(SHA256()) not in signed.get(SIGNING_CERTIFICATE, b""):
        raise DoubtError("signature.broken", "the certificate that the signature names is not there")
    key = own.public_key()
    if not isinstance(key, EllipticCurvePublicKey) or not isinstance(key.curve, SECP256R1):
        raise DoubtError("signature.form", "the station's key is not of the curve P-256")
    try:
        key.verify(value.content, b"\x31" + attributes.whole[1:], ECDSA(SHA256()))
    except InvalidSignature:
        raise DoubtError("signature.broken", "the signature was not made by the key of its certificate") from None
    for each in chain_of(own, tuple(each for each in certificates if each != own), authority):
        require(each.not_valid_before_utc <= when <= each.not_valid_after_utc, "signature.expired",
                f"{each.subject.rfc4514_string()} was not valid on {when:%Y-%m-%d}")
    return own, when


@cache
def chain_of(own: x509.Certificate, others: tuple[x509.Certificate, ...], authority: x509.Certificate
             ) -> list[x509.Certificate]:
    """Return the chain of issuers from `own` up to `authority`; no certificate may be left over."""
    usages = [each.value for each in own.extensions if isinstance(each.value, x509.KeyUsage)]
    require(all(usage.digital_signature for usage in usages), "signature.untrusted", "no certificate for signing")
    chain, left = [own], [each for each in others if each != authority]
    while chain[-1] != authority:
        below = chain[-1]
        above = next((each for each in left if each.subject == below.issuer), authority)
        try:
            below.verify_directly_issued_by(above)
            issues = above.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
        except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
            issues = False
        require(issues, "signature.untrusted", f"{below.subject.rfc4514_string()} was not issued by the plant's "
                f"authority {authority.subject.rfc4514_string()}, but by {below.issuer.rfc4514_string()}")
        chain, left = [*chain, above], [each for each in left if each != above]
    require(not left, "signature.untrusted", "a certificate beside the chain came along")
    return chain


def embedded(pdf: bytes) -> dict[str, bytes]:
    """Return the files in the certificate by name; each must be there once, and nowhere in two versions."""
    files: dict[str, bytes] = {}
    for number, name in FILE_NAME.findall(pdf):
        start = pdf.find(b"\n%s 0 obj" % number)
        head = STREAM.search(pdf, start)
        if head is None or start < 0 or pdf.find(b"\n%s 0 obj" % number, start + 1) >= 0 or name.decode() in files:
            raise DoubtError("record.missing", f"{name.decode()} is not there exactly once")
        content = pdf[head.end():head.end() + int(head[1])]
        if b"/FlateDecode" in pdf[start:head.end()]:
            content = zlib.decompress(content, bufsize=16 * len(content))   # in one piece, which is faster
        files[name.decode()] = content
    require({"record.json", "proof.json"} <= files.keys(), "record.missing", "record or proof is not in the file")
    return files


def verify_inclusion(leaf: bytes, seq: int, size: int, path: list[bytes], root: bytes) -> bool:
    """Return whether the tree of `size` leaves with this root has `leaf` at `seq`. Source: RFC 9162, 2.1.3.2."""
    place, last = seq, size - 1
    for sibling in path:
        if last == 0:
            return False
        if place % 2 or place == last:
            leaf = hashlib.sha256(b"\1" + sibling + leaf).digest()
            while place % 2 == 0 and place:
                place, last = place // 2, last // 2
        else:
            leaf = hashlib.sha256(b"\1" + leaf + sibling).digest()
        place, last = place // 2, last // 2
    return 0 <= seq < size and last == 0 and leaf == root


def verify_log(record: bytes, proof: dict[str, Any], key_text: str) -> None:
    """Require that `record` is in the log whose head the key signed. Source: C2SP signed-note, tlog-checkpoint."""
    leaf = hashlib.sha256(b"\0" + record).digest()
    require(leaf.hex() == proof["leaf"], "leaf.wrong", "the record is not the one that was entered in the log")
    require(json.loads(record)["log"]["seq"] == proof["seq"], "leaf.wrong", "the record names another entry")
    require(bool(proof["checkpoint"]), "head.unsigned", "the station had no key: its log is not signed")
    text, _, lines = proof["checkpoint"].rpartition("\n\n")
    origin, size, root = text.split("\n")
    name, identity, encoded = key_text.strip().split("+", 2)
    public = base64.b64decode(encoded)[1:]
    require(origin == proof["origin"] == name, "head.other_log", f"the head is that of the log {origin}, not of {name}")
    require(int(size) == proof["size"] and verify_inclusion(
        leaf, proof["seq"], int(size), [bytes.fromhex(each) for each in proof["inclusion"]], base64.b64decode(root)),
        "inclusion.wrong", "the log of that head does not hold the record")
    own = [base64.b64decode(line.rpartition(" ")[2]) for line in lines.split("\n") if line.startswith(f"— {name} ")]
    require([each[:4].hex() for each in own] == [identity], "head.foreign_key", "the key given did not sign the head")
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(own[0][4:], f"{text}\n".encode())
    except InvalidSignature:
        raise DoubtError("head.broken", "the signature of the log's head is not that of this text") from None


def check(pdf: bytes, authority: bytes, key_text: str) -> Iterator[str]:
    """Check a certificate and yield a line for each step that holds; raise DoubtError at the first that does not."""
    signer, when = verify_signature(pdf, x509.load_pem_x509_certificates(authority)[-1])
    yield f"signature: {signer.subject.rfc4514_string()}, {when:%Y-%m-%d %H:%M:%S} UTC, covers the whole file"
    files = embedded(pdf)
    proof, record = json.loads(files["proof.json"]), json.loads(files["record.json"])
    verify_log(files["record.json"], proof, key_text)
    yield f"log: entry {proof['seq']} of {proof['origin']}, in the head of {proof['size']} entries, signed"
    yield (f"record: motor {record['serial']}, type {record['motor_type']['name']}, run {record['run']}, tested "
           f"{record['started']} at {record['station']['id']}")
    yield f"VERDICT {record['verdict']}: {record['reason']}"


def main(words: list[str]) -> int:
    """Check the certificate named on the command line."""
    if len(words) != 3:
        print(__doc__)
        return 2
    try:
        pdf, authority, key_text = (Path(word).read_bytes() for word in words)
        for line in check(pdf, authority, key_text.decode()):
            print(f"ok   {line}")
    except (DoubtError, *UNREADABLE) as error:
        print(f"NOT  {getattr(error, 'code', 'unreadable')}: {error}")
        return 7
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
