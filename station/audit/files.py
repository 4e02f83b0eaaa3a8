"""The files that a record names, each against its hash: captures, transcript, and the files in force."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.ledger import Logged
from station.record.kept_files import FILES
from station.record.retention import words_of
from station.record.statement import Statement

RESTORE = "Restore it from a backup and ask who changed it."


@dataclass(frozen=True, slots=True)
class Named:
    """A file that a record names."""

    what: str       # "capture forward 1500", "limit file"
    file: str       # in the store's folder
    sha256: str


def named_files(each: Logged) -> Iterator[Named]:
    """Yield every file that a record names; of those from before files were kept only what was stored then."""
    said = each.said if each.said and each.entry.kind == "record" else {}
    for capture in said.get("captures") or ():
        yield Named(f"capture {capture['label']}", capture["file"], capture["sha256"])
    transcript = said.get("transcript")
    if transcript:
        yield Named("transcript", transcript["file"], transcript["sha256"])
    for file in said.get("files") or ():
        yield Named(f"{file['kind']} {file['name']}", f"{FILES}/{file['sha256']}", file["sha256"])


@dataclass(frozen=True, slots=True)
class Kept:
    """The folder of a store, looked into once."""

    folder: Path
    in_force: frozenset[str]    # SHA-256 by which they are called
    removed: Mapping[str, Statement]    # by name of a file, what announced its removal


def kept_in(folder: Path, removed: Mapping[str, Statement]) -> Kept:
    """Return what is in the folder of a store."""
    files = folder / FILES
    names = (path.name for path in files.iterdir()) if files.is_dir() else ()
    return Kept(folder, frozenset(names), removed)


def audit_files(each: Logged, kept: Kept, report: Report) -> None:
    """Audit every file that a record names.

    Files in force are the same for many records: they are hashed by `audit_kept_files`, here they must be there.
    """
    for named in named_files(each):
        audit_file(named, each, kept, report)


def audit_file(named: Named, each: Logged, kept: Kept, report: Report) -> None:
    """Audit one file that a record names."""
    if named.file.startswith(f"{FILES}/"):
        if named.sha256 not in kept.in_force:
            _find("file.missing", "is missing", "no file", each, kept, named, report)
    elif named.file in kept.removed and not (kept.folder / named.file).exists():
        report.leave_out(Step.FILE, f"some captures were {words_of(kept.removed[named.file])}")
    else:
        _audit_content(each, kept, named, report)


def audit_kept_files(folder: Path, used_since: Mapping[str, str], report: Report) -> None:
    """Audit the files in force in the store; `used_since` gives for each SHA-256 the first entry that names it."""
    for path in sorted((folder / FILES).glob("*")) if (folder / FILES).is_dir() else ():
        got = hashlib.sha256(path.read_bytes()).hexdigest()
        if got == path.name:
            report.hold(Step.FILE)
        elif not path.name.endswith(".tmp"):
            report.find("file.altered", Severity.BROKEN, "file in force at a test was altered", where=str(path),
                        since=used_since.get(path.name, UNKNOWN), expected=f"SHA-256 {path.name}", got=got,
                        remedy=RESTORE)


def _audit_content(each: Logged, kept: Kept, named: Named, report: Report) -> None:
    try:
        got = hashlib.sha256((kept.folder / named.file).read_bytes()).hexdigest()
    except OSError:
        _find("file.missing", "is missing", "no file", each, kept, named, report)
        return
    if got == named.sha256:
        report.hold(Step.FILE)
    else:
        _find("file.altered", "was altered", got, each, kept, named, report)


def _find(code: str, what: str, got: str, each: Logged, kept: Kept, named: Named, report: Report) -> None:
    report.find(code, Severity.BROKEN, f"{named.what} {what}", since=each.since, expected=f"SHA-256 {named.sha256}",
                where=f"{kept.folder / named.file}: {named.what}, {each.name}", got=got, remedy=RESTORE)


def name_exchanged(report: Report, entries: Iterable[Logged]) -> None:
    """Call a file that holds another one of the log exchanged, not altered, and say which it holds."""
    known = {named.sha256: f"{named.what}, {each.name}" for each in entries for named in named_files(each)}
    report.findings[:] = [
        replace(finding, code="file.exchanged", what="file holds another one of the log",
                got=f"the {known[finding.got]}")
        if finding.code == "file.altered" and finding.got in known else finding for finding in report.findings]

