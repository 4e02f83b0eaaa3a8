"""A certificate on its own: signature, record, place in the log, head, and the pages drawn again."""

from station.audit.check_certificate import UNREADABLE, DoubtError, embedded, verify_signature
from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.heads import HeadError, open_head
from station.audit.ledger import Logged, logged
from station.audit.trusted import Trusted
from station.certificate.build import build_certificate
from station.certificate.renderer import differing_versions
from station.errors import EvidenceError, StationError
from station.record.arithmetic import differing_arithmetic
from station.record.checkpoint import Checkpoint
from station.record.evidence import Evidence, belongs, read_evidence
from station.record.log import Entry
from station.record.merkle import verify_inclusion

FETCH = "Fetch the certificate again from the station, and ask who changed this one."


def audit_paper(pdf: bytes, name: str, trusted: Trusted, report: Report, since: str = "",
                stored: tuple[bytes, bytes] | None = None) -> Evidence | None:
    """Audit the certificate `pdf` called `name`; return the evidence in it, or None when there is none to be read.

    `stored` is the record in the store with its leaf, so that the same bytes are not hashed twice. Without `since` the
    certificate itself says of when it is.
    """
    evidence = _read(pdf, name, report, since or UNKNOWN)
    if not since:
        since = entry_of(evidence).since if evidence else UNKNOWN
    _audit_signature(pdf, name, trusted, report, since)
    if evidence is None:
        return None
    is_stored = stored is not None and evidence.record_bytes == stored[0]
    if evidence.leaf == stored[1] if stored and is_stored else belongs(evidence):
        report.hold(Step.LEAF)
    else:
        _find("leaf.wrong", "the record in the certificate is not the one of its proof", name, since,
              f"leaf {evidence.leaf.hex()}", "another", report)
    _audit_proof(evidence, name, trusted, report, since)
    return evidence


def audit_pages(pdf: bytes, name: str, evidence: Evidence, record: dict[str, object], report: Report, since: str
                ) -> None:
    """Draw the certificate again from its record: the signed file must begin with the same bytes, and add no pages."""
    differing = differing_versions(record) | {name: versions for name, versions in differing_arithmetic(record).items()
                                              if name.startswith("station")}
    try:
        drawn = build_certificate(evidence)
    except StationError as error:
        _find("page.refused", error.what, name, since, error.expected, error.got, report)
        return
    if pdf.startswith(drawn):
        if b"endstream" in pdf[len(drawn):]:
            _find("page.added", "something was added behind the pages besides a signature", name, since,
                  "a signature", "a stream of content", report)
        else:
            report.hold(Step.PAGE)
    elif differing:
        versions = ", ".join(f"{what} {then or 'unknown'} (now {now or 'absent'})"
                             for what, (then, now) in differing.items())
        report.leave_out(Step.PAGE, f"made by other versions: {versions}")
    else:
        place = next((i for i, (one, other) in enumerate(zip(pdf, drawn, strict=False)) if one != other), len(pdf))
        _find("page.differs", "the pages are not those that the record gives", name, since,
              f"{len(drawn)} bytes as drawn again", f"another byte at {place}", report)


def entry_of(evidence: Evidence) -> Logged:
    """Return the entry that a certificate is about, as the certificate itself tells it."""
    return logged(Entry(evidence.seq, "record", evidence.seq, evidence.leaf, None, evidence.checkpoint,
                        evidence.record_bytes))


def since_of(pdf: bytes) -> str:
    """Return of when a certificate says that it is."""
    evidence = _read(pdf, "", Report(), UNKNOWN)
    return entry_of(evidence).since if evidence else UNKNOWN


def head_of(evidence: Evidence, name: str, trusted: Trusted) -> Checkpoint | None:
    """Return the head that a certificate carries, None when it is unsigned; HeadError when it does not hold."""
    return open_head(evidence.checkpoint, trusted, name) if evidence.checkpoint else None


def _read(pdf: bytes, name: str, report: Report, since: str) -> Evidence | None:
    """Return the evidence in a certificate; None, with a finding, when there is none to be read."""
    try:
        files = embedded(pdf)
        return read_evidence(files["record.json"], files["proof.json"], name)
    except DoubtError as error:
        _find(error.code, str(error), name, since, "record.json and proof.json", "none", report)
    except EvidenceError as error:
        _find("record.unreadable", error.what, name, since, error.expected, error.got, report)
    except UNREADABLE as error:
        _find("record.unreadable", "record or proof cannot be unpacked", name, since, "both whole", error, report)
    return None


def _audit_signature(pdf: bytes, name: str, trusted: Trusted, report: Report, since: str) -> None:
    if trusted.authority is None:
        report.leave_out(Step.SIGNATURE, "no certificate of the plant's authority was given")
        return
    try:
        verify_signature(pdf, trusted.authority)
    except DoubtError as error:
        _find(error.code, str(error), name, since, f"a signature under {trusted.authority.subject.rfc4514_string()}",
              error.code, report)
    except UNREADABLE as error:
        _find("signature.form", "the signature cannot be read", name, since, "a signature (CMS)", error, report)
    else:
        report.hold(Step.SIGNATURE)


def _audit_proof(evidence: Evidence, name: str, trusted: Trusted, report: Report, since: str) -> None:
    try:
        head = head_of(evidence, name, trusted)
    except HeadError as error:
        error.report_to(report, since)
        return
    if head is None:
        if trusted.log is not None:
            _find("head.unsigned", "the head in the certificate is not signed", name, since, "a signed head", "none",
                  report)
        report.leave_out(Step.INCLUSION, "the station signs no heads: it has no key")
        return
    if trusted.log is not None:
        report.hold(Step.HEAD)
    if (head.origin, head.size) != (evidence.origin, evidence.size):
        _find("head.other_log", "the head in the certificate is that of another log or size", name, since,
              f"{evidence.origin}, {evidence.size} entries", f"{head.origin}, {head.size} entries", report)
    elif verify_inclusion(evidence.leaf, evidence.seq, head.size, evidence.inclusion, head.root):
        report.hold(Step.INCLUSION)
    else:
        _find("inclusion.wrong", "the log of that head does not hold the record", name, since,
              f"entry {evidence.seq} with leaf {evidence.leaf.hex()}", "another", report)


def _find(code: str, what: str, where: str, since: str, expected: object, got: object, report: Report) -> None:
    report.find(code, Severity.BROKEN, what, where=where, since=since, expected=expected, got=got, remedy=FETCH)
