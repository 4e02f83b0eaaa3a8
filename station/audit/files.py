"""The files that a record names, each against its hash: captures, transcript, and the files in force."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.record.kept_files import FILES
from station.record.retention import words_of
from station.record.statement import Statement

RESTORE = "Restore it from a backup and ask who changed it."

Removed = Mapping[str, Statement]   # by name of a file, what announced its removal


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


def audit_files(each: Logged, folder: Path, removed: Removed, report: Report) -> None:
    """Audit every file that a record names.

    Files in force are the same for many records: they are hashed by `audit_kept_files`, here they must be there.
    """
    for named in named_files(each):
        path = folder / named.file
        where = f"{path}: {named.what}, {each.name}"
        if named.file in removed and not path.exists():
            report.leave_out(Step.FILE, f"some captures were {words_of(removed[named.file])}")
        elif named.file.startswith(f"{FILES}/"):
            if not path.is_file():
                _find_missing(where, each.since, named, report)
        else:
            _audit_file(path, where, each.since, named, report)


def audit_kept_files(folder: Path, used_since: Mapping[str, str], report: Report) -> None:
    """Audit the files in force in the store; `used_since` gives for each SHA-256 the first entry that names it."""
    for path in sorted((folder / FILES).glob("*")) if (folder / FILES).is_dir() else ():
        got = hashlib.sha256(path.read_bytes()).hexdigest()
        if got == path.name:
            report.hold(Step.FILE)
        elif not path.name.endswith(".tmp"):
            report.find("file.altered", Severity.BROKEN, "file in force at a test was altered", where=str(path),
                        since=used_since.get(path.name, ""), expected=f"SHA-256 {path.name}", got=got, remedy=RESTORE)


def _audit_file(path: Path, where: str, since: str, named: Named, report: Report) -> None:
    try:
        got = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        _find_missing(where, since, named, report)
        return
    if got == named.sha256:
        report.hold(Step.FILE)
    else:
        report.find("file.altered", Severity.BROKEN, f"{named.what} was altered", where=where, since=since,
                    expected=f"SHA-256 {named.sha256}", got=got, remedy=RESTORE)


def name_exchanged(report: Report, entries: Iterable[Logged]) -> None:
    """Call a file that holds another one of the log exchanged, not altered, and say which it holds."""
    known = {named.sha256: f"{named.what}, {each.name}" for each in entries for named in named_files(each)}
    report.findings[:] = [
        replace(finding, code="file.exchanged", what="file holds another one of the log",
                got=f"the {known[finding.got]}")
        if finding.code == "file.altered" and finding.got in known else finding for finding in report.findings]


def _find_missing(where: str, since: str, named: Named, report: Report) -> None:
    report.find("file.missing", Severity.BROKEN, f"{named.what} is missing", where=where, since=since,
                expected=f"SHA-256 {named.sha256}", got="no file", remedy="Restore it from a backup.")
