"""Releases of limit files: each signed by the station, and motors tested by the file that was released."""

from collections.abc import Sequence

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.audit.trusted import Trusted
from station.errors import EvidenceError
from station.record.release_entry import verify_release

ASK = "Do not rely on the limits; ask who released what, and compare the kept files."


def audit_releases(entries: Sequence[Logged], trusted: Trusted, report: Report) -> None:
    """Audit each release, and every record after it by the file of its revision."""
    released: dict[tuple[str, str], Logged] = {}
    for each in entries:
        said = each.said
        if said is None:
            continue
        if each.entry.kind == "release":
            released[said["motor_type"], said["revision"]] = each
            _audit_signature(each, trusted, report)
        elif each.entry.kind == "record":
            key = str(said["motor_type"]["name"]), str(said["limit_file"]["revision"])
            if key in released:
                _audit_record(each, released[key], report)


def _audit_signature(each: Logged, trusted: Trusted, report: Report) -> None:
    if trusted.log is None:
        report.leave_out(Step.CIRCUMSTANCE, "no public key was given by which releases could be verified")
        return
    try:
        verify_release(each.said or {}, [trusted.log])
    except EvidenceError as error:
        report.find("circumstance.release", Severity.BROKEN, f"release of a limit file: {error.what}", where=each.name,
                    since=each.since, expected=error.expected, got=error.got, remedy=ASK)
    else:
        report.hold(Step.CIRCUMSTANCE)


def _audit_record(each: Logged, release: Logged, report: Report) -> None:
    used, wanted = (each.said or {})["limit_file"]["sha256"], (release.said or {})["sha256"]
    if used == wanted:
        report.hold(Step.CIRCUMSTANCE)
    else:
        report.find("circumstance.unreleased", Severity.BROKEN, "tested by another file than the one released",
                    where=each.name, since=each.since, expected=f"SHA-256 {wanted}, as in {release.name}", got=used,
                    remedy=ASK)
