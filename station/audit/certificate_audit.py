"""A certificate as target: on its own, and against the store that it came from where that is at hand."""

import json
from collections.abc import Mapping
from pathlib import Path

from station.audit.calibrations import audit_calibrations
from station.audit.check_certificate import UNREADABLE
from station.audit.examine import Paper
from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.heads import ASK, HeadError, open_head
from station.audit.paper import audit_pages, audit_paper, entry_of, head_of
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import Trusted
from station.errors import UsageError
from station.record.evidence import Evidence

NEEDS_STORE = (Step.FILE, Step.VALUE, Step.INDICATION, Step.VERDICT, Step.CIRCUMSTANCE)


def audit_certificate(path: Path, trusted: Trusted, store: Path | None, *, recompute: bool, heads: Mapping[str, str]
                      ) -> Report:
    """Return what an audit of the certificate in the file `path` comes to.

    Raises
    ------
    UsageError
        The file cannot be read, or `store` holds no log.
    """
    report, name = Report(), str(path)
    try:
        pdf = path.read_bytes()
    except OSError as error:
        raise UsageError("certificate cannot be read", where=name, expected="a PDF", got=error.strerror,
                         remedy="Give the path of a certificate.") from error
    evidence = audit_paper(pdf, name, trusted, report)
    try:
        serial = _audit_record(pdf, name, evidence, report, recompute=recompute) if evidence else ""
    except UNREADABLE as error:
        report.find("record.unreadable", Severity.BROKEN, "the record in the certificate cannot be read", where=name,
                    since=f"seq {evidence.seq}" if evidence else UNKNOWN, expected="a record", got=error,
                    remedy="Fetch the certificate again from the station.")
        return report
    if evidence is None:
        return report
    if store is not None:
        report.merge(audit_store(store, trusted, Scope(serial, recompute, heads, (Paper(name, evidence),))))
        return report
    for step in NEEDS_STORE:
        report.leave_out(step, "takes the archive: give --station")
    _audit_heads(evidence, name, heads, trusted, report)
    return report


def _audit_record(pdf: bytes, name: str, evidence: Evidence, report: Report, *, recompute: bool) -> str:
    """Audit what the record tells by itself and return its serial number."""
    record = json.loads(evidence.record_bytes)
    each = entry_of(evidence)
    audit_calibrations(record, each, report)
    if recompute:
        audit_pages(pdf, name, evidence, record, report, each.since)
    return str(record["serial"])


def _audit_heads(evidence: Evidence, name: str, heads: Mapping[str, str], trusted: Trusted, report: Report) -> None:
    """Compare the head in a certificate with heads kept elsewhere, of which only that of the same size can tell."""
    try:
        own = head_of(evidence, name, trusted)
        others = [(kept, open_head(note, trusted, kept)) for kept, note in heads.items()]
    except HeadError as error:
        if error.wrong.where != name:     # what is wrong with its own is a finding already
            error.report_to(report, UNKNOWN)
        return
    for kept, other in others:
        if own is None or other.size != own.size:
            continue
        if other == own:
            report.hold(Step.CONSISTENCY)
        else:
            report.find("consistency.rewritten", Severity.BROKEN, "the head in the certificate is not the one kept "
                        "elsewhere", where=name, since=f"seq {evidence.seq}", expected=f"{kept}: {other.root.hex()}",
                        got=own.root.hex(), remedy=ASK)
    report.leave_out(Step.CONSISTENCY, "from its head to another takes the archive: give --station")
