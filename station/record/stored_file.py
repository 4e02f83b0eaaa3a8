"""Reading a file that a record names: whole and unaltered, or told why not."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from station.errors import EvidenceError
from station.record.record import sha256_of
from station.record.retention import removed_files, words_of
from station.record.statement import Statement


def read_stored(folder: Path, entry: Mapping[str, Any], removals: Callable[[], Sequence[Statement]]) -> bytes:
    """Return the bytes of the file that `entry` of a record names, in the store at `folder`.

    `removals` gives the statements of removals, asked for only when the file is not there.

    Raises
    ------
    EvidenceError
        The file is missing, was removed by a rule, or was altered.
    """
    path = folder / entry["file"]
    try:
        content: bytes = path.read_bytes()
    except OSError as error:
        said = removed_files(removals()).get(entry["file"])
        if said is not None:
            raise EvidenceError("file of a record is no longer kept", where=str(path), got=words_of(said),
                                expected="the file of the record",
                                remedy="Put it back from an archive elsewhere; the record has its hash.") from error
        raise EvidenceError("file of a record cannot be read", where=str(path), expected="the file of the record",
                            got=str(error.strerror or error), remedy="Restore it from a backup.") from error
    if sha256_of(content) != entry["sha256"]:
        raise EvidenceError("file of a record was altered", where=str(path), expected=f"SHA-256 {entry['sha256']}",
                            got=sha256_of(content), remedy="Restore it from a backup and ask who changed it.")
    return content
