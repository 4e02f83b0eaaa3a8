"""Issues the certificate of a stored test: built, signed where the station has a key, durable on disk."""

from collections.abc import Mapping
from itertools import count
from pathlib import Path
from typing import Any

from station.certificate.build import build_certificate
from station.certificate.signing import Signer, sign_certificate
from station.errors import StationError
from station.record.capture_file import make_folder, write_durably
from station.record.store import Store

FOLDER = "certificates"


def certificate_path(store: Path, record: Mapping[str, Any], issue: int = 1) -> Path:
    """Return where the certificate of a run is kept; only where the first differs from today's there are more."""
    further = f"-issue{issue}" if issue > 1 else ""
    return store / FOLDER / f"{record['serial']}-run{record['run']}{further}.pdf"


def issue_certificate(store: Store, record: Mapping[str, Any], signer: Signer | None) -> Path:
    """Make the certificate of a stored record, keep it in the store's folder, and return where.

    One that is kept already and is what the record gives today is returned as it is, signature and all. One that
    differs, made by other versions or altered since, stays where it is for an audit to tell; the new one is kept
    beside it.

    Raises
    ------
    EvidenceError
        The record is not what the log says, or the station's certificate does not hold now.
    StationError
        The disk is full, read-only or gone, or a kept certificate cannot be read.
    """
    unsigned = build_certificate(store.evidence(record))
    for issue in count(1):
        path = certificate_path(store.folder, record, issue)
        if not path.exists():
            break
        kept = _read(path)
        if kept.startswith(unsigned) and (len(kept) > len(unsigned) or signer is None):
            return path
    _keep(path, unsigned if signer is None else sign_certificate(unsigned, signer))
    return path


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise StationError("kept certificate cannot be read", where=str(path), expected="leave to read it",
                           got=str(error.strerror or error),
                           remedy="Mend the disk or the rights of the file.") from error


def _keep(path: Path, content: bytes) -> None:
    try:
        make_folder(path.parent)
        write_durably(path, content)
    except (OSError, StationError) as error:
        raise StationError("certificate could not be kept", where=str(path), expected="room and leave to write",
                           got=getattr(error, "got", error), remedy="Free space or mend the disk; the record is safe, "
                           "and `station certificate` makes the certificate of it at any time.") from error
