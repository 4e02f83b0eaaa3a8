"""What a killed station leaves: files written by halves, and spools, the transcripts of runs under way.

The next start removes the former, and files the latter with the record of the interrupted run.
"""

import json
from collections.abc import Container
from contextlib import suppress
from pathlib import Path

SUFFIX = "-transcript.spool"


def sweep_halves(folder: Path) -> None:
    """Remove what a crash left half written in `folder` and those below it; no record names any of it."""
    for left in folder.rglob("*.tmp"):
        left.unlink()


def spool_of(folder: Path, run_id: int) -> Path:
    """Return where in `folder` what is said to the instruments is taken down while a run goes on."""
    return folder / f"run-{run_id:06d}{SUFFIX}"


def read_spool(path: Path) -> bytes | None:
    """Return the whole JSON lines at the beginning of a spool, None when there are none.

    A kill leaves at most the last line by halves. A spool is never synced, so that after a power cut its end may be
    missing or zeros.
    """
    try:
        content: bytes = path.read_bytes()
    except OSError:
        return None
    whole = 0
    for line in content.splitlines(keepends=True):
        if not _is_whole(line):
            break
        whole += len(line)
    return content[:whole] or None


def drop_spool(path: Path) -> None:
    """Remove the spool of a run that has its record; one that stays is swept at the next start."""
    with suppress(OSError):
        path.unlink()


def sweep_spools(folder: Path, open_runs: Container[int]) -> None:
    """Remove the spools of runs that have their record."""
    for path in folder.glob(f"run-*{SUFFIX}"):
        number = path.name.removeprefix("run-").removesuffix(SUFFIX)
        if number.isdigit() and int(number) not in open_runs:
            drop_spool(path)


def _is_whole(line: bytes) -> bool:
    try:
        return line.endswith(b"\n") and isinstance(json.loads(line), dict)
    except ValueError:
        return False
