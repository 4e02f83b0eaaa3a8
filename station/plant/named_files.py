"""The files of a store that its log stands on: which an entry names, and the certificates beside them."""

import json
from collections.abc import Iterator
from pathlib import Path

from station.audit.files import named_files
from station.audit.ledger import logged
from station.certificate.issue import FOLDER, certificate_path
from station.errors import StationError
from station.plant.plant_client import SentFile
from station.record.kept_files import FILES
from station.record.log import Entry
from station.record.record import sha256_of


def files_of(entry: Entry) -> Iterator[SentFile]:
    """Yield every file that an entry names, in the store's folder."""
    if entry.kind == "record":
        yield from (SentFile(named.file, named.sha256) for named in named_files(logged(entry, columns=False)))
    elif entry.kind == "release" and entry.body is not None:
        # what a release keeps: the draft, the report that it stands on, the file in force
        said = json.loads(entry.body)
        kept = said["draft_sha256"], said["study"]["sha256"], said["sha256"]
        yield from (SentFile(f"{FILES}/{sha256}", sha256) for sha256 in kept)


def certificate_of(entry: Entry) -> str:
    """Return how the first certificate of a record is called in the store's folder; empty for other entries."""
    said = logged(entry, columns=False).said if entry.kind == "record" else None
    return certificate_path(Path(), said).as_posix() if said else ""


def certificates_in(folder: Path) -> list[str]:
    """Return the names in the store's folder of the certificates that are kept there, in order."""
    return sorted(f"{FOLDER}/{path.name}" for path in (folder / FOLDER).glob("*.pdf"))


def certificate_at(folder: Path, name: str) -> SentFile:
    """Return the certificate `name` in the store's folder with the hash of what it is now.

    StationError when it cannot be read.
    """
    try:
        return SentFile(name, sha256_of((folder / name).read_bytes()))
    except OSError as error:
        raise StationError("kept certificate cannot be read", where=str(folder / name), expected="leave to read it",
                           got=str(error.strerror or error),
                           remedy="Mend the disk or the rights of the file.") from error
