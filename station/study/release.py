"""Releasing a draft: its study is asked for, its file kept for ever, signed and logged, and then put in force."""

import re
from dataclasses import dataclass
from pathlib import Path

from station.clock import Clock, stamp
from station.errors import EvidenceError, StationError, UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.capture_file import make_folder, write_durably
from station.record.kept_files import keep_file, kept_file
from station.record.log_key import LogKey
from station.record.record import sha256_of
from station.record.release_entry import Revision, release, releases_of, require_words, revision_of
from station.record.statement import Statement
from station.record.store import Store
from station.study.released_text import released_text
from station.study.study_report import read_study, study_of
from station.toml_file import parse_toml, read_toml

RELEASED = "released"       # folder beside the limit files, with every revision that was in force


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody wants released: the draft, where it is to be in force, and by whom, why and by which study."""

    draft: Path
    target: Path        # the limit file of the motor type
    study: Path
    person: str
    reason: str


def release_draft(store: Store, key: LogKey, wish: Wish, clock: Clock) -> Statement:
    """Release a draft and return what the log says of it; then it is in force.

    The files are kept first, the entry of the log comes next, the file in force is replaced last: an interruption
    leaves the old limits in force, or new ones that `restore` puts in place. A draft that was the last to be
    released is put in place again, and nothing is entered.

    Raises
    ------
    UsageError
        Nobody answers for it, it is no draft, no study of it is up to date, or its revision was in force before.
    StationError
        The disk is full or read-only.
    """
    require_words(str(wish.draft), wish.person, wish.reason)
    source = read_toml(wish.draft)
    draft = parse_limits(source)
    last = last_release(store, draft.motor_type.name)
    if last is not None and last["draft_sha256"] == source.sha256:
        put_in_force(store, last, wish.target)
        return last
    before, predecessor = require_follows(store, draft, wish.target)
    study, today = read_study(wish.study), clock.today()
    used = study_of(study, wish.study.name, source.sha256, store.log)
    content = released_text(draft, person=wish.person.strip(), on=today, reason=wish.reason.strip(),
                            study=f"{used.name}, SHA-256 {used.sha256}").encode()
    revision = _revision(parse_limits(parse_toml(content, wish.target.name)))
    said = release(revision, file=wish.target.name, draft_sha256=source.sha256, study=used, person=wish.person,
                   predecessor=predecessor, reason=wish.reason, at=stamp(clock.utc()), key=key)
    for kept in (source.text.encode(), study, content):
        keep_file(store.folder, kept)
    if before is not None:
        _archive(wish.target, _revision(before), before.text.encode())
    entered = store.add_statement("release", said)
    put_in_force(store, entered, wish.target)
    return entered


def require_follows(store: Store, draft: LimitFile, target: Path) -> tuple[LimitFile | None, Revision | None]:
    """Return which revision a draft would follow; and its file, where that was released before the log had releases.

    Raises
    ------
    UsageError
        It is no draft, its number was in force before, or `target` is of another motor type.
    """
    last = last_release(store, draft.motor_type.name)
    before = _released_before(target, draft) if last is None else None
    predecessor = _revision(before) if before is not None else revision_of(last) if last is not None else None
    _require_new(draft, predecessor, releases_of(draft.motor_type.name, store.statements("release")))
    return before, predecessor


def last_release(store: Store, motor_type: str) -> Statement | None:
    """Return the last release of a motor type; None before the first."""
    return next(reversed(releases_of(motor_type, store.statements("release"))), None)


def put_in_force(store: Store, said: Statement, target: Path) -> None:
    """Make `target` the file of a release, as the store has kept it, and keep it in the folder of released ones too.

    There it lies beside its signed note and the study that it stands on.

    Raises
    ------
    EvidenceError
        The store has lost the file, or it was altered there.
    StationError
        The disk is full or read-only.
    """
    content = kept_file(store.folder, said["sha256"])
    revision = Revision(said["motor_type"], said["revision"], said["sha256"])
    _archive(target, revision, content, said["note"].encode())
    write_durably(target, content)
    _archive(target, revision, content, study=kept_file(store.folder, said["study"]["sha256"]))


def released_name(revision: Revision) -> str:
    """Return the name of a revision's file among the released ones."""
    plain = re.sub(r"[^A-Za-z0-9.]+", "-", f"{revision.motor_type}-{revision.number}")
    return f"{plain}-{revision.sha256[:8]}.toml"


def _released_before(target: Path, draft: LimitFile) -> LimitFile | None:
    """Return the limits in force before the log had a release; None where there is no file or only a draft."""
    if not target.exists():
        return None
    now = parse_limits(read_toml(target))
    if now.motor_type.name != draft.motor_type.name:
        raise UsageError("the limit file in force is of another motor type", where=str(target),
                         expected=draft.motor_type.name, got=now.motor_type.name,
                         remedy="Correct the station file, or the name of the type in the draft.")
    return None if now.revision.released_by is None else now


def _require_new(draft: LimitFile, predecessor: Revision | None, earlier: list[Statement]) -> None:
    number = draft.revision.number
    if draft.revision.released_by is not None:
        raise UsageError("this is no draft", where=draft.name, expected="a limit file that nobody has released",
                         got=f"revision {number}, released by {draft.revision.released_by}",
                         remedy="Leave out released_by and released_on, and give it a new revision number.")
    used = {said["revision"] for said in earlier} | ({predecessor.number} if predecessor else set())
    used |= {said["predecessor"]["revision"] for said in earlier if said["predecessor"]}
    if number in used:
        raise UsageError("this revision was released before", where=draft.name,
                         expected="a number other than " + ", ".join(sorted(used)), got=number,
                         remedy="Give the draft a new revision number, then make the study anew.")


def _revision(limits: LimitFile) -> Revision:
    return Revision(limits.motor_type.name, limits.revision.number, limits.sha256)


def _archive(target: Path, revision: Revision, content: bytes, note: bytes = b"", study: bytes = b"") -> None:
    """Keep a revision beside the file in force, where nobody writes over it, with what is given of its papers."""
    folder = target.parent / RELEASED
    path = folder / released_name(revision)
    try:
        make_folder(folder)
    except OSError as error:
        raise StationError("released limit files could not be kept", where=str(folder),
                           expected="room and leave to write", got=str(error.strerror or error),
                           remedy="Free space or mend the disk, then repeat.") from error
    for file, wanted in ((path, content), (path.with_suffix(".note"), note), (path.with_suffix(".study.json"), study)):
        if wanted and not file.exists():
            write_durably(file, wanted)
            file.chmod(0o444)
        elif wanted and sha256_of(file.read_bytes()) != sha256_of(wanted):
            raise EvidenceError("a released limit file was altered", where=str(file),
                                expected=f"SHA-256 {sha256_of(wanted)}", got=sha256_of(file.read_bytes()),
                                remedy="Put it aside and ask who changed it; then repeat.")
