"""The trail in the log: each portion as it was chained, and each going on where the one before it ended."""

from collections.abc import Mapping, Sequence
from typing import Any

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.errors import EvidenceError
from station.record.trail_entry import begins, follows, verify_portion

ASK = "Ask who had access to the accounts of the station, and compare the trail with what people remember."


def audit_trail(entries: Sequence[Logged], report: Report) -> None:
    """Audit every portion of the trail, in the order in which they were entered."""
    before: Mapping[str, Any] | None = None
    for each in entries:
        if each.entry.kind != "trail" or each.said is None or not each.is_as_logged:
            continue        # what was altered since is a finding already
        try:
            verify_portion(each.said)
        except EvidenceError as error:
            report.find("circumstance.trail", Severity.BROKEN, f"{error.what}, before the log had them",
                        where=each.name, since=each.since, expected=error.expected, got=error.got, remedy=ASK)
        else:
            _audit_place(each, each.said, before, report)
            before = each.said


def _audit_place(each: Logged, said: Mapping[str, Any], before: Mapping[str, Any] | None, report: Report) -> None:
    expected = f"entries after {before['last']}" if before else "the first entry of the trail"
    if follows(said, before):
        report.hold(Step.CIRCUMSTANCE)
    elif begins(said):
        report.find("circumstance.trail_anew", Severity.DOUBTFUL, "the trail begins anew", where=each.name,
                    since=each.since, expected=expected, got="its first entry",
                    remedy="Ask who restored, replaced or changed the accounts of the station. " + ASK)
    else:
        report.find("circumstance.trail", Severity.BROKEN, "the trail does not go on where it ended", where=each.name,
                    since=each.since, expected=expected, got=f"entries {said['first']} to {said['last']}", remedy=ASK)
