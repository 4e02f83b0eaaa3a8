"""The files in force, kept whole in the store: what the hashes in a record stand for can be read years later."""

from pathlib import Path

from station.errors import EvidenceError, StationError
from station.record.capture_file import sync_folder, write_durably
from station.record.record import sha256_of

FILES = "files"


def keep_file(folder: Path, content: bytes) -> str:
    """Make `content` durable in the store at `folder`, under its SHA-256 as name, and return that.

    To be called before the record that names the hash. What is there already is not written again.

    Raises
    ------
    StationError
        The disk is full, read-only or gone.
    """
    sha256 = sha256_of(content)
    path = folder / FILES / sha256
    try:
        path.parent.mkdir(exist_ok=True)
        if path.is_file() and path.read_bytes() == content:
            sync_folder(path.parent)    # a kill may have come between its name and the sync of the folder
            return sha256
        sync_folder(folder)
    except OSError as error:
        raise StationError("file in force could not be kept", where=str(path), expected="room and leave to write",
                           got=str(error.strerror or error), code="storage",
                           remedy="Free space or mend the disk; no motor is tested before.") from error
    write_durably(path, content)
    return sha256


def kept_file(folder: Path, sha256: str) -> bytes:
    """Return the file with this SHA-256 from the store at `folder`.

    Raises
    ------
    EvidenceError
        It is missing or altered.
    """
    path = folder / FILES / sha256
    try:
        content: bytes = path.read_bytes()
    except OSError as error:
        raise EvidenceError("file in force at a test cannot be read", where=str(path), expected="the file of that test",
                            got=str(error.strerror or error), remedy="Restore it from a backup.") from error
    if sha256_of(content) != sha256:
        raise EvidenceError("file in force at a test was altered", where=str(path), expected=f"SHA-256 {sha256}",
                            got=sha256_of(content), remedy="Restore it from a backup and ask who changed it.")
    return content
