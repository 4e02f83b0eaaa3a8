"""What was released of a motor type, whether it still holds, what is in force now, and how it is put back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from station.errors import EvidenceError, FileContractError, UsageError
from station.judgement.limit_file import parse_limits
from station.record.kept_files import kept_file
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.release_entry import releases_of, verify_release
from station.record.signed_note import Verifier
from station.record.statement import Statement
from station.record.store import Store
from station.study.release import last_release, put_in_force
from station.toml_file import parse_toml, read_toml

HOLDS = "yes"


@dataclass(frozen=True, slots=True)
class Release:
    """One release as the log has it; `holds` is "yes", or what is wrong with its kept files or its signature."""

    said: Statement
    holds: str


def releases_told(store: Store, motor_type: str, keys: Path | None) -> list[Release]:
    """Return the releases of a motor type, oldest first, each held against its files and the key in folder `keys`."""
    public = None if keys is None else keys / PUBLIC_FILE
    verifiers = [load_verifier(public)] if public is not None and public.exists() else []
    return [Release(said, _holds(store, said, verifiers))
            for said in releases_of(motor_type, store.statements("release"))]


def told_in_force(path: Path | None, motor_type: str, released: Sequence[Release]) -> str:
    """Return what is in force at `path`, where the station file names one, in words."""
    if path is None:
        return "the station file names no limit file of it now"
    if not path.exists():
        return f"{path} is missing"
    limits = parse_limits(read_toml(path))
    number, by = limits.revision.number, limits.revision.released_by
    if released and released[-1].said["sha256"] == limits.sha256:
        return f"{path} is the last one"
    if released:
        return f"{path} is another: revision {number}. Put it back: `station limits restore {motor_type}`"
    said_there = f"released by {by} on {limits.revision.released_on}, as it says itself" if by else "a draft"
    return f"{path} is revision {number}, {said_there}"


def restore_last(store: Store, motor_type: str, folder: Path, paths: Iterable[Path]) -> tuple[Statement, Path]:
    """Put the file of the last release back in place; return what the log says of it, and where it is.

    Parameters
    ----------
    folder, paths : the station's folder of limit files, and those that its file names

    Raises
    ------
    UsageError
        Nothing of this type was released.
    EvidenceError, StationError
        As `put_in_force`.
    """
    said = last_release(store, motor_type)
    if said is None:
        raise UsageError("nothing of this type was released here", where=str(store.folder), got="none",
                         expected=f"a release of {motor_type} in the log", remedy="Put the file back by hand.")
    target = next((path for path in paths if path.name == said["file"]), folder / said["file"])
    put_in_force(store, said, target)
    return said, target


def _holds(store: Store, said: Statement, verifiers: Sequence[Verifier]) -> str:
    try:
        if not verifiers:
            return "signature not looked at: no public key here"
        verify_release(said, verifiers)
        for sha256 in (said["sha256"], said["draft_sha256"], said["study"]["sha256"]):
            kept_file(store.folder, sha256)
        limits = parse_limits(parse_toml(kept_file(store.folder, said["sha256"]), said["file"]))
    except (EvidenceError, FileContractError) as error:
        return str(error)
    named = limits.motor_type.name, limits.revision.number, limits.revision.released_by
    return HOLDS if named == (said["motor_type"], said["revision"], said["person"]) else f"the file is {named}"
