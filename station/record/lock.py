"""One station, one store: a lock that the operating system lets go when its process ends, however it ends."""

import fcntl
import os
from pathlib import Path

from station.errors import UsageError

LOCK_FILE = "station.lock"


def take_lock(folder: Path) -> int:
    """Take the store in `folder` for this process and return the descriptor that holds it.

    Raises
    ------
    UsageError
        Another process has it.
    """
    path = folder / LOCK_FILE
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    if not lock_file(descriptor):
        holder = os.read(descriptor, 32).decode(errors="replace").strip() or "unknown"
        os.close(descriptor)
        raise UsageError("store is in use by another station process", where=str(path),
                         expected="one station for each store", got=f"process {holder}",
                         remedy="Close the other station, or give this one a store of its own.")
    os.ftruncate(descriptor, 0)
    os.write(descriptor, f"{os.getpid()}\n".encode())
    return descriptor


def lock_file(descriptor: int) -> bool:
    """Lock an open file for this process until it is closed; return whether nobody else has it."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def let_go(descriptor: int) -> None:
    """Give the store free; the file stays, so that two processes never lock two files of one name."""
    os.close(descriptor)
