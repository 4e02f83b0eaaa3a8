"""PKCS #12 files: a key with its certificates as a plant's own authority hands them out."""

from collections.abc import Sequence

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
from cryptography.hazmat.primitives.serialization import pkcs12

from station.certificate.key_folder import require_kind
from station.errors import UsageError


def parse_pkcs12(content: bytes, password: bytes | None, where: str
                 ) -> tuple[EllipticCurvePrivateKey, tuple[x509.Certificate, ...]]:
    """Return key and certificates of a PKCS #12 file, ordered from the station's own to the root.

    Raises
    ------
    UsageError
        The file or its password is wrong, or it lacks the key, its certificate or who issued that.

    Source: RFC 7292, by the library.
    """
    try:
        found = pkcs12.load_pkcs12(content, password)
    except (ValueError, UnsupportedAlgorithm) as error:
        raise UsageError("PKCS #12 file cannot be opened", where=where, expected="a whole file and its password",
                         got=str(error), remedy="Ask whoever issued it for file and password.") from error
    if found.key is None or found.cert is None:
        raise UsageError("PKCS #12 file is not complete", where=where, expected="a key and its certificate",
                         got="no key" if found.key is None else "no certificate",
                         remedy="Export it again, the private key included.")
    others = [further.certificate for further in found.additional_certs]
    return require_kind(found.key, where), _ordered(found.cert.certificate, others, where)


def _ordered(own: x509.Certificate, others: Sequence[x509.Certificate], where: str) -> tuple[x509.Certificate, ...]:
    chain = [own]
    while chain[-1].issuer != chain[-1].subject:
        issuer = next((c for c in others if c.subject == chain[-1].issuer and c not in chain), None)
        if issuer is None:
            raise UsageError("PKCS #12 file is not complete", where=where,
                             expected=f"the certificate of {chain[-1].issuer.rfc4514_string()}", got="none",
                             remedy="Export it again with all certificates up to the root.")
        chain.append(issuer)
    return tuple(chain)
