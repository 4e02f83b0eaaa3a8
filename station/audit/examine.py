"""One entry of the log in full depth: its body, the files it names, its certificate, and what follows from them."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

from station.audit.calibrations import audit_bench_file, audit_calibrations
from station.audit.files import Kept, audit_files
from station.audit.finding import Report, Severity, Step
from station.audit.indications import audit_indications
from station.audit.ledger import Logged, lightened, logged
from station.audit.paper import audit_pages, audit_paper
from station.audit.stored import kept_limits, kept_sequence
from station.audit.trusted import Trusted
from station.audit.values import analyse_again, audit_values, read_captures
from station.audit.verdicts import audit_verdict
from station.errors import StationError
from station.record.arithmetic import differing_arithmetic
from station.record.evidence import Evidence
from station.record.log import Entry
from station.record.record import INTERRUPTED
from station.record.record_schema import SCHEMAS, Kind, faults_of


@dataclass(frozen=True, slots=True)
class Paper:
    """A certificate of a record as far as it concerns the log: the proof in it."""

    name: str
    evidence: Evidence      # without the record's bytes


@dataclass(frozen=True, slots=True)
class Examined:
    """What became of one entry."""

    logged: Logged
    report: Report
    papers: tuple[Paper, ...] = ()


@dataclass(frozen=True, slots=True)
class Examiner:
    """Examines entries of one store; from any thread, each entry in one.

    `certificates` gives the files of each run's certificates, by serial and run.
    """

    kept: Kept
    trusted: Trusted
    recompute: bool
    certificates: Mapping[tuple[str, int], Sequence[Path]]

    def examine(self, entry: Entry) -> Examined:
        """Examine one entry."""
        report, each, body = Report(), logged(entry, columns=self.recompute), entry.body
        if each.said is None or body is None:
            return Examined(each, report)
        if entry.kind != "record":
            if self.recompute:
                _audit_form(each, json.loads(body), report)
            return Examined(each, report)
        audit_files(each, self.kept, report)
        audit_calibrations(each.said, each, report)
        papers = self._papers(each, body, report)
        if self.recompute:
            self._deeply(each, json.loads(body), report)
        return Examined(lightened(each), report, papers)

    def _papers(self, each: Logged, body: bytes, report: Report) -> tuple[Paper, ...]:
        said = each.said or {}
        paths = self.certificates.get((said["serial"], said["run"]), ())
        if not paths:
            report.leave_out(Step.PAGE, "no certificate is kept of some runs; `station certificate` makes one")
        return tuple(paper for path in paths if (paper := self._paper(path, each, body, report)) is not None)

    def _paper(self, path: Path, each: Logged, body: bytes, report: Report) -> Paper | None:
        pdf, where = path.read_bytes(), f"{path}: {each.name}"
        evidence = audit_paper(pdf, where, self.trusted, report, each.since, (body, each.leaf))
        if evidence is None:
            return None
        if evidence.record_bytes == body:
            report.hold(Step.RECORD)
        else:
            audit_other_record(evidence, each, where, report)
        if self.recompute and evidence.record_bytes == body:
            audit_pages(pdf, where, evidence, json.loads(body), report, each.since)
        return Paper(where, replace(evidence, record_bytes=b""))

    def _deeply(self, each: Logged, record: dict[str, Any], report: Report) -> None:
        """Audit what takes the whole record: its form, and every number in it."""
        _audit_form(each, record, report)
        audit_bench_file(record, self.kept.folder, each, report)
        try:
            limits, sequence = kept_limits(record, self.kept.folder), kept_sequence(record, self.kept.folder)
        except StationError as error:
            _leave_out_numbers(report, f"{error.what} ({error.where})")
            return
        if limits is None or sequence is None:
            _leave_out_numbers(report, "limit file or sequence was not kept with the run")
            return
        audit_verdict(record, sequence.labels(), limits, each, report)
        if record["reason"] == INTERRUPTED:
            return
        audit_indications(record, self.kept.folder, limits, each, report)
        captures = read_captures(record, self.kept.folder, each, report)
        if captures is None:
            report.leave_out(Step.VALUE, "captures are missing, removed or altered")
            return
        audit_values(record, analyse_again(captures, limits), sequence.labels(), limits, each, report,
                     same_versions=not differing_arithmetic(record))


def _audit_form(each: Logged, said: dict[str, Any], report: Report) -> None:
    kind = cast(Kind, each.entry.kind)      # the database has no other
    for fault in faults_of(kind, said):
        report.find("record.form", Severity.DOUBTFUL, f"{kind} breaks the schema of its format", where=each.name,
                    since=each.since, expected=f"what {SCHEMAS[kind]}.schema.json allows", got=fault,
                    remedy="Report it with the version of the station that wrote it.")


def audit_other_record(evidence: Evidence, each: Logged, where: str, report: Report) -> None:
    """Say what a certificate holds instead of the record that it is filed under."""
    try:
        said = json.loads(evidence.record_bytes)
        got = f"that of {said['serial']}, run {said['run']}, leaf {evidence.leaf.hex()}"
        is_other_run = (said["serial"], said["run"]) != ((each.said or {}).get("serial"), (each.said or {}).get("run"))
    except (ValueError, KeyError, TypeError):
        got, is_other_run = "none that can be read", False
    report.find("record.other_run" if is_other_run else "record.differs", Severity.BROKEN,
                "certificate is of another run" if is_other_run else "certificate and store hold different records",
                where=where, since=each.since, expected=f"{each.name}, leaf {each.leaf.hex()}", got=got,
                remedy="Find out which of them is the one in the log; issue the certificate again from the store.")


def _leave_out_numbers(report: Report, why: str) -> None:
    for step in (Step.VALUE, Step.INDICATION, Step.VERDICT):
        report.leave_out(step, why)

