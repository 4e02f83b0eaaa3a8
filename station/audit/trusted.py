"""What an audit trusts: the plant's certificate authority and the public key of the station's log."""

from dataclasses import dataclass
from pathlib import Path

from cryptography import x509

from station.errors import UsageError
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.signed_note import Ed25519Verifier

AUTHORITY_FILE = "plant-ca.pem"


@dataclass(frozen=True, slots=True)
class Trusted:
    """Both keys, None where there is none, and whether each came from the archive itself."""

    authority: x509.Certificate | None
    log: Ed25519Verifier | None
    own_authority: bool = False     # taken from beside what is audited: it proves that all fits together, no more
    own_log: bool = False


def load_trusted(authority: Path | None, log: Path | None, beside: Path | None) -> Trusted:
    """Return the keys in the files given, else those in the folder of keys beside the store, where there are any.

    UsageError when a file that was given cannot be read.
    """
    own_authority = authority is None and beside is not None and (beside / AUTHORITY_FILE).is_file()
    own_log = log is None and beside is not None and (beside / PUBLIC_FILE).is_file()
    authority = beside / AUTHORITY_FILE if own_authority and beside else authority
    log = beside / PUBLIC_FILE if own_log and beside else log
    return Trusted(load_authority(authority) if authority else None, load_verifier(log) if log else None,
                   own_authority, own_log)


def load_authority(path: Path) -> x509.Certificate:
    """Return the certificate of an authority in a PEM file; UsageError when there is none."""
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError) as error:
        raise UsageError("certificate of the plant's authority cannot be read", where=str(path),
                         expected="a certificate in PEM", got=str(error),
                         remedy="Fetch it from the plant, never from whoever handed over the certificate.") from error
