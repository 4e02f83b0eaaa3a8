"""Releases of limit files: who put which revision in force, and a signed note on it, in statements of the log."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from station.errors import EvidenceError, UsageError
from station.record.log_key import LogKey
from station.record.signed_note import Verifier, parse_note, verify_note
from station.record.statement import Statement

FORMAT = 1
# The first line of what is signed. It has blanks, as no name of a log has, so that no such note is a head of a log.
TITLE = "release of a limit file, format 1"


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision of a motor type's limits, by the hash of its file."""

    motor_type: str
    number: str
    sha256: str

    def note_text(self) -> str:
        """Return what is signed."""
        return f"{TITLE}\ntype {self.motor_type}\nrevision {self.number}\nsha256 {self.sha256}\n"


@dataclass(frozen=True, slots=True)
class StudyUsed:
    """The report that a release stands on, and the state of the log that the report was made from."""

    name: str
    sha256: str
    log_size: int
    log_root: str       # hexadecimal

    def as_statement(self) -> dict[str, Any]:
        """Return the entry of the statement."""
        return {"name": self.name, "sha256": self.sha256, "log_size": self.log_size, "log_root": self.log_root}


def release(revision: Revision, *, file: str, draft_sha256: str, study: StudyUsed, predecessor: Revision | None,
            person: str, reason: str, at: str, key: LogKey) -> dict[str, Any]:
    """Return what is to be stated about `revision`, its note signed with `key`.

    `at` is the instant as `station.clock.stamp` writes it; `file` the name of the limit file without its folder.

    Raises
    ------
    UsageError
        As `require_words`.
    """
    require_words(f"{revision.motor_type} revision {revision.number}", person, reason)
    before = None if predecessor is None else {"revision": predecessor.number, "sha256": predecessor.sha256}
    return {"format": FORMAT, "motor_type": revision.motor_type, "revision": revision.number, "file": file,
            "sha256": revision.sha256, "draft_sha256": draft_sha256, "study": study.as_statement(),
            "predecessor": before, "person": person.strip(), "reason": reason.strip(), "at": at,
            "note": key.sign(revision.note_text())}


def require_words(where: str, person: str, reason: str) -> None:
    """Raise UsageError when nobody answers for a release, or no reason is given."""
    for name, text in (("person", person), ("reason", reason)):
        if not text.strip():
            raise UsageError(f"a release without a {name}", where=where, expected="words that say it", got=repr(text),
                             remedy="Say who releases it, and why.")


def releases_of(motor_type: str, releases: Iterable[Statement]) -> list[Statement]:
    """Return the releases of one motor type, oldest first as they are given."""
    return [said for said in releases if said["motor_type"] == motor_type]


def revision_of(said: Mapping[str, Any]) -> Revision:
    """Return the revision that a release is about."""
    return Revision(said["motor_type"], said["revision"], said["sha256"])


def verify_release(said: Mapping[str, Any], verifiers: Sequence[Verifier]) -> None:
    """Raise EvidenceError unless a known key signed this type, revision and file."""
    revision = revision_of(said)
    where = f"release of {revision.motor_type} revision {revision.number}"
    note = parse_note(said["note"], where)
    verify_note(note, verifiers, where)
    if note.text != revision.note_text():
        raise EvidenceError("the signature is of another revision", where=where, expected=repr(revision.note_text()),
                            got=repr(note.text), remedy="Trust nothing it says; ask who changed it.")
