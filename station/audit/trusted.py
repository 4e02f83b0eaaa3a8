"""What an audit trusts: the plant's certificate authority and the public key of the station's log."""

from dataclasses import dataclass
from pathlib import Path

from cryptography import x509

from station.certificate.key_folder import AUTHORITY_FILE, load_certificates
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.signed_note import Ed25519Verifier


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
    return Trusted(load_certificates(authority)[-1] if authority else None, load_verifier(log) if log else None,
                   own_authority, own_log)

