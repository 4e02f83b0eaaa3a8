"""The station's key for certificates with its own certificate, in the folder of keys; made here or by somebody else."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, EllipticCurvePrivateKey, generate_private_key
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from station.clock import Instant
from station.errors import EvidenceError, UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.secret_file import read_secret, write_secret

KEY_FILE = "station.key"            # PEM, PKCS #8, readable by its owner only
CERTIFICATE_FILE = "station.pem"
AUTHORITY_FILE = "plant-ca.pem"     # who issued it, up to the root: what auditors are given
KIND = "an ECDSA key on the curve P-256"


@dataclass(frozen=True, slots=True)
class StationKey:
    """A key with its certificates: the station's own first, the plant's root last."""

    folder: Path
    private: EllipticCurvePrivateKey
    chain: tuple[x509.Certificate, ...]

    @property
    def certificate(self) -> x509.Certificate:
        """The certificate of the station itself."""
        return self.chain[0]

    @property
    def signing_time(self) -> tuple[Instant, Instant]:
        """From when until when the key may sign: as its certificate says, else as long as that holds, UTC."""
        first, last = self.certificate.not_valid_before_utc, self.certificate.not_valid_after_utc
        try:
            period = self.certificate.extensions.get_extension_for_class(x509.PrivateKeyUsagePeriod).value
        except x509.ExtensionNotFound:
            return first, last
        begin, end = (moment and moment.replace(tzinfo=UTC) for moment in (period.not_before, period.not_after))
        return max(first, begin or first), min(last, end or last)


def load_station_key(folder: Path) -> StationKey:
    """Return the key in `folder` with its certificates.

    Raises
    ------
    UsageError
        A file is missing or cannot be read, or the key is of another kind.
    EvidenceError
        Others may read the key, or key and certificates do not belong together.
    """
    private = parse_private_key(read_secret(folder / KEY_FILE), str(folder / KEY_FILE))
    chain = (*load_certificates(folder / CERTIFICATE_FILE), *load_certificates(folder / AUTHORITY_FILE))
    require_fitting(private, chain, str(folder))
    return StationKey(folder, private, chain)


def keep_station_key(folder: Path, private: EllipticCurvePrivateKey, chain: Sequence[x509.Certificate]) -> StationKey:
    """Keep a key with its certificates in `folder`, durably; a key that is there already is never replaced.

    Raises
    ------
    UsageError
        There is a key already.
    EvidenceError
        Key and certificates do not belong together.
    StationError
        The folder cannot be written.
    """
    require_fitting(private, chain, str(folder))
    _refuse_second_key(folder)
    make_folder(folder)
    # The key comes last: whatever interrupts this leaves no key, or all of it.
    keep_certificates(folder, chain)
    write_secret(folder / KEY_FILE, private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return StationKey(folder, private, tuple(chain))


def has_station_key(folder: Path) -> bool:
    """Return whether a station's key lies in `folder`."""
    return (folder / KEY_FILE).exists()


def new_private_key() -> EllipticCurvePrivateKey:
    """Return a new key of the kind that certificates are signed with."""
    return generate_private_key(SECP256R1())


def _refuse_second_key(folder: Path) -> None:
    if has_station_key(folder):
        raise UsageError("there is a key already", where=str(folder / KEY_FILE), expected="no key", got="one",
                         remedy="Keep it, or put the whole folder aside first; certificates signed with it stay valid.")


def keep_certificates(folder: Path, chain: Sequence[x509.Certificate]) -> None:
    """Write the certificates of a station durably, over older ones."""
    write_durably(folder / AUTHORITY_FILE, b"".join(c.public_bytes(Encoding.PEM) for c in chain[1:]))
    write_durably(folder / CERTIFICATE_FILE, chain[0].public_bytes(Encoding.PEM))


def parse_private_key(content: bytes, where: str) -> EllipticCurvePrivateKey:
    """Return a private key in PEM; UsageError when it is none, or of another kind."""
    try:
        private = load_pem_private_key(content, None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise UsageError("key cannot be read", where=where, expected=f"{KIND} in PEM, without password", got=str(error),
                         remedy="Make one with `station keys make`, or restore it from its backup.") from error
    return require_kind(private, where)


def load_certificates(path: Path) -> tuple[x509.Certificate, ...]:
    """Return the certificates in a PEM file; UsageError when there are none."""
    try:
        return tuple(x509.load_pem_x509_certificates(path.read_bytes()))
    except (OSError, ValueError) as error:
        raise UsageError("certificate cannot be read", where=str(path), expected="certificates in PEM", got=str(error),
                         remedy="Restore it, or make it with `station keys renew`.") from error


def require_fitting(private: EllipticCurvePrivateKey, chain: Sequence[x509.Certificate], where: str, *,
                    for_documents: bool = True) -> None:
    """Raise EvidenceError unless the first certificate is of this key and each is issued by the next.

    `for_documents`: it must also allow to sign documents, which that of an authority does not.
    """
    own = chain[0]
    if own.public_key() != private.public_key():
        raise EvidenceError("the certificate is of another key", where=where,
                            expected="key and certificate of one pair", got=own.subject.rfc4514_string(),
                            remedy="Restore both from one backup and ask who changed them.")
    try:
        for certificate, issuer in zip(chain, [*chain[1:], chain[-1]], strict=True):
            certificate.verify_directly_issued_by(issuer)
    except (ValueError, TypeError, InvalidSignature) as error:
        raise EvidenceError("the certificates are no chain", where=where,
                            expected="each issued by the next, the last by itself",
                            got=f"{certificate.subject.rfc4514_string()} after {issuer.subject.rfc4514_string()}",
                            remedy=f"Put the plant's certificates into {AUTHORITY_FILE}, the root last.") from error
    if for_documents and not _may_sign(own):
        raise EvidenceError("the certificate does not allow signing", where=where,
                            expected="key usage digital signature", got=own.subject.rfc4514_string(),
                            remedy="Let the plant issue one for signing documents.")


def _may_sign(certificate: x509.Certificate) -> bool:
    try:
        return certificate.extensions.get_extension_for_class(x509.KeyUsage).value.digital_signature
    except x509.ExtensionNotFound:
        return True     # no restriction. Source: RFC 5280, section 4.2.1.3


def require_kind(private: object, where: str) -> EllipticCurvePrivateKey:
    """Return `private` if it is of the kind that certificates are signed with; UsageError otherwise."""
    if not isinstance(private, EllipticCurvePrivateKey) or not isinstance(private.curve, SECP256R1):
        curve = f" on {private.curve.name}" if isinstance(private, EllipticCurvePrivateKey) else ""
        raise UsageError("key is of another kind", where=where, expected=KIND, got=type(private).__name__ + curve,
                         remedy="Let the plant issue one of this kind, or make one with `station keys make`.")
    return private
