"""Files that only their owner may read: written once and never over another, refused when others can read them."""

import os
from pathlib import Path

from station.errors import EvidenceError, StationError, UsageError
from station.record.capture_file import sync_folder

OTHERS = 0o077      # group and everybody else: read, write, execute


def write_secret(path: Path, content: bytes) -> None:
    """Write a file of mode 0600 durably.

    Raises
    ------
    UsageError
        There is such a file already; it is left alone.
    StationError
        The disk is full, read-only or gone.
    """
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        sync_folder(path.parent)
    except FileExistsError as error:
        raise UsageError("there is a key already", where=str(path), expected="no such file", got="one",
                         remedy="Keep it: what it signed is trusted by its public half.") from error
    except OSError as error:
        raise StationError("key could not be written", where=str(path), expected="room and leave to write",
                           got=str(error.strerror or error),
                           remedy="Free space or mend the disk, then repeat.") from error


def read_secret(path: Path) -> bytes:
    """Return the content of a secret file.

    Raises
    ------
    UsageError
        It cannot be read.
    EvidenceError
        Others than its owner may read or change it, so that it is a secret no more.
    """
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode & 0o777
            content = file.read()
    except OSError as error:
        raise UsageError("key cannot be read", where=str(path), expected="a private key in PEM",
                         got=str(error.strerror or error),
                         remedy="Make one with `station keys make`, or restore it from its backup.") from error
    if mode & OTHERS:
        raise EvidenceError("others may read or change this key", where=str(path), expected="mode 600",
                            got=f"mode {mode:o}", remedy=f"Ask who could have copied it; if nobody: chmod 600 {path}")
    return content
