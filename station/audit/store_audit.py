"""A whole store: every entry of its log in depth, by as many threads as there are processors, then the log itself."""

import os
import re
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from station.audit.bodies import audit_bodies, read_rows
from station.audit.circumstances import audit_circumstances, audit_limits_today
from station.audit.examine import Examined, Examiner, Paper
from station.audit.files import audit_kept_files, kept_in, name_exchanged, named_files
from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.heads import HeadError, audit_outside_head
from station.audit.ledger import ASK, Logged, Roots, audit_log
from station.audit.paper import head_of, since_of
from station.audit.releases import audit_releases
from station.audit.trails import audit_trail
from station.audit.trusted import Trusted
from station.certificate.issue import FOLDER, certificate_path
from station.errors import EvidenceError, UsageError
from station.record import schema
from station.record.log import Entry, open_log
from station.record.retention import removed_files
from station.record.signed_note import parse_note
from station.record.statement import all_statements
from station.record.store_folder import HEAD

_ISSUE = re.compile(r"(-issue\d+)?\.pdf$")
_RUNS = "SELECT serial, run FROM records"
_LEAVES = "SELECT seq, kind, subject, leaf, previous, checkpoint, NULL FROM log ORDER BY seq"
_OF_SERIAL = "SELECT run_id FROM records WHERE serial = ?"
_AHEAD = 2          # entries read for each thread beyond the one that it examines


@dataclass(frozen=True, slots=True)
class Scope:
    """What of a store is audited: the runs of one motor or all, with or without computing numbers again."""

    serial: str = ""
    recompute: bool = True
    heads: Mapping[str, str] = field(default_factory=dict)      # kept elsewhere, by name
    papers: tuple[Paper, ...] = ()                              # certificates that came from elsewhere
    limits: Path | None = None                                  # the folder of the limit files in force today


def audit_store(folder: Path, trusted: Trusted, scope: Scope, told: Callable[[int], None] = lambda _done: None
                ) -> Report:
    """Return what an audit of the store in `folder` comes to; `told` hears how many entries are done.

    Raises
    ------
    UsageError
        There is no store, or nothing was tested under the serial number asked for.
    """
    try:
        with closing(_open(folder)) as connection:
            if not schema.has_log(connection):
                return _without_log(folder)
            return _StoreAudit(folder, connection, trusted, scope).carry_out(told)
    except (sqlite3.DatabaseError, EvidenceError) as error:     # the latter where it does not even open
        report = Report()
        report.find("record.unreadable", Severity.BROKEN, "database of the store cannot be read",
                    where=str(folder / schema.DATABASE), since=UNKNOWN, expected="a sound SQLite file",
                    got=getattr(error, "got", error), remedy="Restore it from a backup and ask who changed it.")
        return report


class _StoreAudit:
    """One audit of one store."""

    def __init__(self, folder: Path, connection: sqlite3.Connection, trusted: Trusted, scope: Scope) -> None:
        self.folder, self.connection, self.trusted, self.scope = folder, connection, trusted, scope
        self.log = open_log(connection)
        self.report = Report()
        # A station may be at work here. What follows a commit is looked up first, then everything else at one moment.
        self.head_beside, self.certificates = self._head_beside(), sorted((folder / FOLDER).glob("*.pdf"))

    def carry_out(self, told: Callable[[int], None]) -> Report:
        """Audit everything in scope."""
        self.connection.execute("BEGIN")
        wanted = self._wanted()
        kept = kept_in(self.folder, removed_files(self._statements()))
        examiner = Examiner(kept, self.trusted, self.scope.recompute, self._certificates())
        examined = list(_in_threads(examiner.examine, self._entries(wanted), told))
        entries = [each.logged for each in examined]
        for each in examined:
            self.report.merge(each.report)
        roots = audit_log(entries, self.log.origin, self.trusted, self.report)
        within = entries if wanted is None else [each for each in entries if each.has_body]
        self._rows(within, is_whole=wanted is None)
        audit_circumstances(within, self.report, is_whole=wanted is None)
        audit_releases(within, self.trusted, self.report)
        audit_trail(within, self.report)
        audit_kept_files(self.folder, _first_users(within), self.report)
        name_exchanged(self.report, within)
        for paper in (*self.scope.papers, *(paper for each in examined for paper in each.papers)):
            self._paper(paper, entries, roots)
        self._heads(roots)
        if self.scope.limits is not None:
            audit_limits_today(self.scope.limits, within, self.report)
        self._tell_left_out()
        return self.report

    def _tell_left_out(self) -> None:
        for step, is_own in ((Step.SIGNATURE, self.trusted.own_authority), (Step.HEAD, self.trusted.own_log)):
            if is_own:
                self.report.leave_out(step, "by the key in the station's own folder; give the plant's to be sure")
        if not self.scope.recompute:
            for step in (Step.PAGE, Step.VALUE, Step.INDICATION, Step.VERDICT):
                self.report.leave_out(step, "quick")

    def _wanted(self) -> set[int] | None:
        """Return the runs in scope, None for all."""
        if not self.scope.serial:
            return None
        runs = {run_id for run_id, in self.connection.execute(_OF_SERIAL, (self.scope.serial,))}
        if not runs:
            raise UsageError("no such test", where=str(self.folder), expected="a stored serial number",
                             got=self.scope.serial, remedy="Look with `station records find`.")
        return runs

    def _entries(self, wanted: set[int] | None) -> Iterator[Entry]:
        """Yield the entries in order; those out of scope without their bodies."""
        if wanted is None:
            yield from self.log.entries()
            return
        for row in self.connection.execute(_LEAVES).fetchall():
            entry = Entry(*row)
            if entry.kind != "record" or entry.subject in wanted:
                yield from self.log.entries(entry.seq, entry.seq + 1)
            else:
                yield entry

    def _statements(self) -> list[dict[str, object]]:
        try:
            return all_statements(self.connection, "retention")
        except EvidenceError:
            return []       # its body is a finding of its own; what it announced then counts as missing

    def _certificates(self) -> dict[tuple[str, int], list[Path]]:
        """Return the kept certificates of each run; one that belongs to no run is a finding."""
        runs = {certificate_path(self.folder, {"serial": serial, "run": run}).stem: (serial, run)
                for serial, run in self.connection.execute(_RUNS)}
        found: dict[tuple[str, int], list[Path]] = {}
        for path in self.certificates:
            run = runs.get(_ISSUE.sub("", path.name))
            if run is not None:
                found.setdefault(run, []).append(path)
            elif not self.scope.serial:
                self.report.find("record.unknown", Severity.BROKEN, "certificate of a run that the store does not hold",
                                 where=str(path), since=since_of(path.read_bytes()),
                                 expected="a record of that run", got="none",
                                 remedy="See what the certificate says of its place in the log, and restore the store.")
        return found

    def _rows(self, entries: Sequence[Logged], *, is_whole: bool) -> None:
        rows = read_rows(self.connection)
        if not is_whole:
            subjects = {(each.entry.kind, each.entry.subject) for each in entries}
            rows = {subject: row for subject, row in rows.items() if subject in subjects}
        audit_bodies(entries, rows, self.log.origin, self.report)

    def _paper(self, paper: Paper, entries: Sequence[Logged], roots: Roots) -> None:
        """Audit the proof in a certificate against the log of today."""
        proof = paper.evidence
        entry = next((each.entry for each in entries[proof.seq:proof.seq + 1] if each.entry.seq == proof.seq), None)
        try:
            head = head_of(proof, paper.name, self.trusted)
        except HeadError:
            return      # a finding already
        is_same_entry = entry is not None and entry.leaf == proof.leaf
        if is_same_entry and (head is None or (head.size <= roots.size and head.root == roots.known[head.size])):
            self.report.hold(Step.CONSISTENCY)
        else:
            self.report.find("consistency.certificate", Severity.BROKEN, "the log is not the one that the certificate "
                             "was issued from", where=paper.name, since=f"seq {proof.seq}",
                             expected=f"leaf {proof.leaf.hex()} as entry {proof.seq}",
                             got=entry.leaf.hex() if entry else f"a log of {roots.size} entries", remedy=ASK)

    def _heads(self, roots: Roots) -> None:
        """Audit the log against heads kept elsewhere, and the one that lies beside the database."""
        for name, note in {**self.head_beside, **self.scope.heads}.items():
            audit_outside_head(note, name, self.log.origin, roots.known, self.trusted, self.report)
        if not self.scope.heads:
            self.report.leave_out(Step.CONSISTENCY, "no head kept elsewhere was given (--head): entries cut off with "
                                  "every copy of their head here would not be missed")

    def _head_beside(self) -> dict[str, str]:
        """Return the signed head beside the database; never synced, so what a power cut left of it says nothing."""
        path = self.folder / HEAD
        try:
            note = path.read_text(encoding="utf-8")
            parse_note(note, str(path))
        except (OSError, ValueError, EvidenceError):
            return {}
        return {str(path): note}


def _in_threads(examine: Callable[[Entry], Examined], entries: Iterator[Entry], told: Callable[[int], None]
                ) -> Iterator[Examined]:
    """Yield what became of each entry, in order; only a few bodies are in memory at a time."""
    workers = os.cpu_count() or 1
    pending: deque[Future[Examined]] = deque()
    with ThreadPoolExecutor(workers, thread_name_prefix="audit") as pool:
        for done, entry in enumerate(entries, start=1):
            pending.append(pool.submit(examine, entry))
            if len(pending) > _AHEAD * workers:
                yield pending.popleft().result()
            told(done)
        while pending:
            yield pending.popleft().result()


def _first_users(entries: Sequence[Logged]) -> dict[str, str]:
    """Return for each SHA-256 of a file in force the first entry that names it."""
    first: dict[str, str] = {}
    for each in entries:
        for named in named_files(each):
            first.setdefault(named.sha256, each.since)
    return first


def _open(folder: Path) -> sqlite3.Connection:
    if not (folder / schema.DATABASE).is_file():
        raise UsageError("no store here", where=str(folder), expected=f"a folder with {schema.DATABASE}", got="none",
                         remedy="Give a station folder, a store, a certificate, or a serial number with --station.")
    return schema.open_for_reading(folder)


def _without_log(folder: Path) -> Report:
    report = Report()
    report.find("consistency.no_log", Severity.DOUBTFUL, "the store has no log: nothing in it can be proven",
                where=str(folder), since="its first record", expected="a store of version 2", got="an earlier one",
                remedy="Let its station open it once: what it holds is logged from then on.")
    return report
