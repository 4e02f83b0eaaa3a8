"""What an audit comes to: each step in the auditor's order, what held in it, and what did not."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

FORMAT = 1
UNKNOWN = "not known"    # since when, where nothing that could be read tells


class Step(StrEnum):
    """The steps of an audit, in their order; the first part of a finding's code names its step."""

    SIGNATURE = "signature"
    RECORD = "record"
    LEAF = "leaf"
    INCLUSION = "inclusion"
    HEAD = "head"
    CONSISTENCY = "consistency"
    PAGE = "page"
    FILE = "file"
    VALUE = "value"
    INDICATION = "indication"
    VERDICT = "verdict"
    CALIBRATION = "calibration"
    CIRCUMSTANCE = "circumstance"


TITLES = {
    Step.SIGNATURE: "certificate signed under the plant's authority",
    Step.RECORD: "record unaltered, and the one in the certificate",
    Step.LEAF: "record is what was entered in the log",
    Step.INCLUSION: "the log of that day holds it",
    Step.HEAD: "heads of the log signed by the station",
    Step.CONSISTENCY: "the log has only grown",
    Step.PAGE: "pages drawn again from the record, byte for byte",
    Step.FILE: "captures, transcript and files in force unaltered",
    Step.VALUE: "measurements recomputed from the captures",
    Step.INDICATION: "other measurements found in the transcript",
    Step.VERDICT: "verdict judged again by the limit file",
    Step.CALIBRATION: "instruments in calibration that day",
    Step.CIRCUMSTANCE: "clock, corrections, reference checks",
}


class Severity(StrEnum):
    """How much a finding weighs: broken evidence, something to look into, or something to know."""

    BROKEN = "broken"
    DOUBTFUL = "doubtful"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class AuditFinding:
    """One thing that does not hold; `since` is the first entry of the log or time that it touches."""

    code: str
    severity: Severity
    what: str
    where: str
    since: str
    expected: str
    got: str
    remedy: str

    @property
    def step(self) -> Step:
        """The step in which it was found."""
        return Step(self.code.partition(".")[0])

    def as_json(self) -> dict[str, str]:
        """Return it as `--json` prints it."""
        return {"step": self.step.value, "code": self.code, "severity": self.severity.value, "what": self.what,
                "where": self.where, "since": self.since, "expected": self.expected, "got": self.got,
                "remedy": self.remedy}


@dataclass(slots=True)
class Report:
    """What one audit came to so far; parts made by several threads are merged."""

    held: dict[Step, int] = field(default_factory=dict)         # how many things held
    left_out: dict[Step, str] = field(default_factory=dict)     # why a step, or a part of it, was not done
    findings: list[AuditFinding] = field(default_factory=list)

    def hold(self, step: Step, count: int = 1) -> None:
        """Count what held in a step."""
        self.held[step] = self.held.get(step, 0) + count

    def leave_out(self, step: Step, why: str) -> None:
        """Note why a step could not be done; the first reason stays."""
        self.left_out.setdefault(step, why)

    def find(self, code: str, severity: Severity, what: str, *, where: str, since: str, expected: object,
             got: object, remedy: str) -> None:
        """Add a finding."""
        self.findings.append(AuditFinding(code, severity, what, where, since, str(expected), str(got), remedy))

    def merge(self, other: "Report") -> None:
        """Take over everything of `other`."""
        for step, count in other.held.items():
            self.hold(step, count)
        for step, why in other.left_out.items():
            self.leave_out(step, why)
        self.findings += other.findings

    def outcome(self, step: Step) -> str:
        """Return "holds", "broken", "doubtful" or "not done"."""
        worst = {finding.severity for finding in self.findings if finding.step is step}
        for severity in (Severity.BROKEN, Severity.DOUBTFUL):
            if severity in worst:
                return severity.value
        return "holds" if self.held.get(step) else "not done"

    @property
    def is_clean(self) -> bool:
        """Whether nothing was found but notes."""
        return all(finding.severity is Severity.NOTE for finding in self.findings)

    def ordered(self) -> list[AuditFinding]:
        """Return the findings in the auditor's order, within a step as they were found, which is that of the log."""
        steps = list(Step)
        return sorted(self.findings, key=lambda finding: steps.index(finding.step))

    @classmethod
    def from_json(cls, said: Mapping[str, Any]) -> "Report":
        """Return the report that `as_json` wrote; KeyError, TypeError or ValueError for anything else."""
        steps = {Step(one["step"]): one for one in said["steps"]}
        found = [AuditFinding(one["code"], Severity(one["severity"]), *(str(one[key]) for key in (
            "what", "where", "since", "expected", "got", "remedy"))) for one in said["findings"]]
        return cls({step: one["held"] for step, one in steps.items() if one["held"]},
                   {step: one["left_out"] for step, one in steps.items() if one["left_out"]}, found)

    def as_json(self, target: str) -> dict[str, Any]:
        """Return it as `--json` prints it; keys may be added, none is ever removed or changed."""
        return {"target": target, "clean": self.is_clean,
                "steps": [{"step": step.value, "outcome": self.outcome(step), "held": self.held.get(step, 0),
                           "left_out": self.left_out.get(step, "")} for step in Step],
                "findings": [finding.as_json() for finding in self.ordered()]}


def whole_json(reports: Mapping[str, Report]) -> dict[str, Any]:
    """Return what `--json` prints for all targets."""
    return {"format": FORMAT, "clean": all_clean(reports.values()),
            "targets": [report.as_json(target) for target, report in reports.items()]}


def all_clean(reports: Iterable[Report]) -> bool:
    """Return whether none of `reports` has more than notes."""
    return all(report.is_clean for report in reports)
