"""The files of a copied station: those of the archive, in place where it is a folder here, else fetched."""

import hashlib
from pathlib import Path

from sqlalchemy import select

from station.certificate.issue import FOLDER as CERTIFICATES
from station.errors import EvidenceError, StationError
from station.plant.archive import Archive, folder_of
from station.plant.database import Database
from station.plant.schema import files
from station.plant.stations import Known
from station.record.capture_file import make_folder, sync_folder, write_durably
from station.record.kept_files import FILES
from station.record.store_folder import CAPTURES

PARTS = (CAPTURES, FILES, CERTIFICATES)     # folders of a store that hold files


def link_files(archive: Archive, known: Known, store: Path) -> bool:
    """Let the folders of files in `store` be those of the archive; return False where it is no folder of this computer.

    Folders that are there already stay as they are, linked or not. StationError when they cannot be made.
    """
    if archive.folder is None:
        return False
    there = archive.folder / folder_of(known.origin)
    try:
        make_folder(store)
        for part in PARTS:
            make_folder(there / part)
            if not (store / part).exists():
                (store / part).symlink_to((there / part).resolve(), target_is_directory=True)
        sync_folder(store)
    except OSError as error:
        raise StationError("the copy cannot be laid out", where=str(store), expected="room and leave to write",
                           got=str(error.strerror or error), remedy="Free space, or give another folder.") from error
    return all((store / part).is_symlink() for part in PARTS)


def fetch_files(database: Database, archive: Archive, known: Known, store: Path) -> int:
    """Fetch from the archive into `store` what was handed over and is not there; return how many files that were.

    Raises
    ------
    EvidenceError
        A file of the archive is not the one that was handed over.
    StationError
        The disk is full, or archive or database cannot be reached.
    """
    with database.reading() as connection:
        query = select(files.c.name, files.c.sha256).where(files.c.station == known.number).order_by(files.c.name)
        named = [(name, sha256) for name, sha256 in connection.execute(query) if not (store / name).exists()]
    for name, sha256 in named:
        content = archive.get(known.origin, name)
        if hashlib.sha256(content).digest() != sha256:
            raise EvidenceError("file of the archive was altered", where=f"{archive.url}: {known.origin}: {name}",
                                expected=f"SHA-256 {sha256.hex()}", got=hashlib.sha256(content).hexdigest(),
                                remedy="Restore it from a backup and ask who changed it.")
        make_folder((store / name).parent)
        write_durably(store / name, content)
    return len(named)
