"""The plant's own authority: a root certificate that auditors are given, and what it issues to its stations."""

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Self

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from station.certificate.key_folder import (
    AUTHORITY_FILE,
    load_certificates,
    new_private_key,
    parse_private_key,
    require_fitting,
)
from station.clock import Clock, Instant
from station.errors import UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.secret_file import read_secret, write_secret

KEY_FILE = "plant-ca.key"           # PEM, PKCS #8; belongs off the station once it has issued
# Certificates are looked at for as long as records are kept, customers ask for 10 to 20 years; so the certificate of a
# station outlives the time for which its key may sign, and programs that know no past still call a signature trusted.
AUTHORITY_YEARS, STATION_YEARS, SIGNING_YEARS = 40, 25, 3
_YEAR = timedelta(days=365.25)
_EARLIER = timedelta(days=1)        # clocks of other computers may be behind
_LONGEST = 64                       # letters of a name. Source: ITU-T X.520, upper bounds, from memory

_NO_USAGE = dict.fromkeys(("digital_signature", "content_commitment", "key_encipherment", "data_encipherment",
                           "key_agreement", "key_cert_sign", "crl_sign", "encipher_only", "decipher_only"), False)


@dataclass(frozen=True, slots=True)
class PlantAuthority:
    """A root key with its own certificate."""

    private: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    @classmethod
    def make(cls, folder: Path, organisation: str, clock: Clock) -> Self:
        """Make an authority for `organisation` and keep it in `folder`, durably.

        Raises
        ------
        UsageError
            There is one already, or the name cannot stand in a certificate.
        StationError
            The folder cannot be written.
        """
        private = new_private_key()
        name = _name(organisation, f"{organisation} station authority")
        usage = x509.KeyUsage(**_NO_USAGE | {"key_cert_sign": True, "crl_sign": True})
        certificate = (
            _begun(name, name, private.public_key(), clock.utc(), AUTHORITY_YEARS)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(usage, critical=True)
            .sign(private, SHA256()))
        make_folder(folder)
        # The key first: it is never replaced, and one without its certificate says so.
        write_secret(folder / KEY_FILE, private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
        write_durably(folder / AUTHORITY_FILE, certificate.public_bytes(Encoding.PEM))
        return cls(private, certificate)

    @classmethod
    def load(cls, folder: Path) -> Self:
        """Return the authority in `folder`; errors as `key_folder.load_station_key`."""
        private = parse_private_key(read_secret(folder / KEY_FILE), str(folder / KEY_FILE))
        chain = load_certificates(folder / AUTHORITY_FILE)
        require_fitting(private, chain, str(folder), for_documents=False)
        return cls(private, chain[0])

    def issue(self, station: str, public: ec.EllipticCurvePublicKey, clock: Clock) -> x509.Certificate:
        """Return a certificate for the key of a station, to sign documents with and nothing else.

        It ends with the authority at the latest, and names the years in which the key may sign (RFC 3280, section
        4.2.1.4, from memory). UsageError when the name cannot stand in a certificate.
        """
        now, issuer = clock.utc(), self.certificate
        first, last = now - _EARLIER, min(now + SIGNING_YEARS * _YEAR, issuer.not_valid_after_utc)
        usage = x509.KeyUsage(**_NO_USAGE | {"digital_signature": True, "content_commitment": True})
        authority_key = x509.AuthorityKeyIdentifier.from_issuer_public_key(self.private.public_key())
        return (
            _begun(_name(_organisation(issuer), f"Station {station}"), issuer.subject, public, now, STATION_YEARS,
                   latest=issuer.not_valid_after_utc)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(usage, critical=True)
            .add_extension(authority_key, critical=False)
            .add_extension(x509.PrivateKeyUsagePeriod(first, last), critical=False)
            .sign(self.private, SHA256()))


def has_authority(folder: Path) -> bool:
    """Return whether an authority lies in `folder`."""
    return (folder / KEY_FILE).exists()


def _begun(subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey, now: Instant, years: int,
           latest: Instant | None = None) -> x509.CertificateBuilder:
    last = now + years * _YEAR
    return (
        x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER).not_valid_after(min(last, latest) if latest else last)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False))


def _organisation(certificate: x509.Certificate) -> str:
    return str(certificate.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)[0].value)


def _name(organisation: str, common: str) -> x509.Name:
    for text in (organisation, common):
        if not 1 <= len(text.strip()) <= _LONGEST:
            raise UsageError("name cannot stand in a certificate", where="keys", expected=f"1 to {_LONGEST} letters",
                             got=repr(text), remedy="Give another name with --organisation.")
    return x509.Name([x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
                      x509.NameAttribute(NameOID.COMMON_NAME, common)])
