"""Room on the disk of the store, looked at before anything moves: what could not be stored need not be measured."""

import os
from pathlib import Path

from station.errors import StationError

RESERVE = 32_000_000    # bytes for all but captures: record, transcript, certificate (some 2 MB), the database's own
FILES = 100             # more than a run makes


def require_room(folder: Path, captures: int) -> None:
    """Raise StationError unless the disk has room for a run whose captures take so many bytes.

    Quotas are not seen here; they come up when something is written, as a full disk would.
    """
    try:
        disk = os.statvfs(folder)
    except OSError as error:
        raise StationError("the store cannot be reached", code="storage", where=str(folder), expected="a folder",
                           got=str(error.strerror or error),
                           remedy="Mend or mount the disk; nothing has moved.") from error
    needed, free = captures + RESERVE, disk.f_bavail * disk.f_frsize
    if free < needed:
        raise StationError("too little room to store another test", where=str(folder),
                           expected=f"{_megabytes(needed)} free", got=f"{_megabytes(free)}",
                           remedy="Free space on the disk of the store, then test the motor; nothing has moved.")
    if disk.f_files and disk.f_favail < FILES:      # some file systems do not count them, and say 0
        raise StationError("too little room to store another test", where=str(folder),
                           expected=f"{FILES} more files", got=f"{disk.f_favail} more files",
                           remedy="Remove files from the disk of the store, then test the motor; nothing has moved.")


def _megabytes(count: int) -> str:
    return f"{count / 1e6:.1f} MB"
