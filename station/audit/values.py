"""Every measurement that comes from captures, computed again by the same analysis and compared to the last bit."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isclose
from pathlib import Path
from typing import Any

from station.analysis.result import CaptureAnalysis
from station.analysis.stitch import analyse_captures, parts_together
from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.audit.stored import Measured, comes_from_captures, stored_measurements
from station.capture import Capture
from station.errors import FileContractError
from station.judgement.conclusion import Conclusion, conclude
from station.judgement.limit_file import LimitFile
from station.record.capture_file import codes_sha256, parse_capture
from station.record.written import written, written_plot, written_refusal

Record = Mapping[str, Any]

# By how much a value may differ when another processor, library or version computes it: this share of its standard
# uncertainty, and of u and its degrees of freedom themselves; with rounding for what has no uncertainty. A change of
# the station's own formulas that stays within is of no consequence for any verdict, one beyond it must be explained.
SHARE_OF_U = 0.01
# The same program and libraries may only round otherwise, with another number of threads or on another make of the
# same kind of processor; what a fit makes of last bits stays far below this share.
SHARE_OF_ROUNDING = 1e-6
ROUNDING = 1e-9     # relative
REMEDY = "Compute it with the versions named in the record; if it differs there too, ask who changed the record."


class Agreement(StrEnum):
    """How a measurement that was computed again stands to the one in the record."""

    SAME = "same"               # to the last bit
    ROUNDED = "rounded"         # within what may be rounded otherwise
    DIFFERS = "differs"
    UNFOUNDED = "unfounded"     # in the record, and does not follow from the captures
    LEFT_OUT = "left out"       # follows from the captures, and is not in the record


@dataclass(frozen=True, slots=True)
class Compared:
    """One measurement as the record has it and as it was computed again, both as a record holds them; None for none."""

    name: str
    label: str
    said: Record | None
    again: Record | None
    agreement: Agreement


@dataclass(frozen=True, slots=True)
class Recomputed:
    """What the captures of one record come to today, and how each measurement agrees with it."""

    conclusion: Conclusion
    compared: tuple[Compared, ...]


def read_captures(record: Record, store: Path, each: Logged, report: Report) -> list[Capture] | None:
    """Return the captures of a record, their codes held against its hashes; None when one cannot be used.

    Files are not hashed again, see `files`: this is about what is in them.
    """
    captures: list[Capture] = []
    for entry in record["captures"]:
        path = store / entry["file"]
        try:
            capture = parse_capture(path.read_bytes(), str(path))
        except OSError:
            return None     # missing, which the files say, or removed by a rule
        except FileContractError as error:
            report.find("file.unreadable", Severity.BROKEN, "capture cannot be read", where=f"{path}: {each.name}",
                        since=each.since, expected="a capture file", got=error,
                        remedy="Restore it from a backup and ask who changed it.")
            return None
        said = entry.get("codes_sha256")
        if said is not None and codes_sha256(capture) != said:
            report.find("file.codes", Severity.BROKEN, "capture holds other codes than were recorded",
                        where=f"{path}: {each.name}", since=each.since, expected=f"SHA-256 {said}",
                        got=codes_sha256(capture), remedy="Restore it from a backup and ask who changed it.")
            return None
        if said is not None:
            report.hold(Step.FILE)
        captures.append(capture)
    return captures


def analyse_again(captures: Sequence[Capture], limits: LimitFile) -> list[CaptureAnalysis]:
    """Return the analysis of each capture, parts of one stitched, in the order of capture."""
    return [analyse_captures([captures[place] for place in places], limits.motor_type)
            for places in parts_together(captures)]


def audit_values(record: Record, analyses: Sequence[CaptureAnalysis], labels: Sequence[str], limits: LimitFile,
                 each: Logged, report: Report, *, same_versions: bool) -> Recomputed:
    """Compare every measurement, refusal, plot and finding of a record with what `analyses` come to, and return that.

    With the `same_versions` of program and libraries all bits must agree; another kind of processor may still round
    otherwise, which stays within the bound and is noted.
    """
    indicated = {key: m for key, m in stored_measurements(record).items() if not comes_from_captures(*key)}
    found = conclude(analyses, indicated, labels, limits)
    compared = compare_measurements(record["measurements"], found.measurements, same_versions=same_versions)
    comparison = _Comparison(each, report, same_versions)
    comparison.measurements(compared)
    comparison.refusals(record["captures"], analyses)
    comparison.findings(record, found)
    comparison.plots(record["plots"], analyses)
    comparison.conclude()
    return Recomputed(found, tuple(compared))


def compare_measurements(stored: Sequence[Record], found: Measured, *, same_versions: bool = True) -> list[Compared]:
    """Return every measurement that comes from captures beside its stored one, ordered by capture and name."""
    said = {(entry["name"], entry["label"]): entry for entry in stored
            if comes_from_captures(entry["name"], entry["label"])}
    again = {key: _plain(written(m, key[1])) for key, m in found.items() if comes_from_captures(*key)}
    return [Compared(name, label, said.get((name, label)), again.get((name, label)),
                     _agreement(said.get((name, label)), again.get((name, label)), same_versions=same_versions))
            for label, name in sorted((label, name) for name, label in said.keys() | again.keys())]


class _Comparison:
    """Compares one record with what was computed again."""

    def __init__(self, each: Logged, report: Report, same_versions: bool) -> None:
        self.each, self.report, self.same_versions = each, report, same_versions
        self.rounded: list[str] = []

    def measurements(self, compared: Sequence[Compared]) -> None:
        for one in compared:
            self._measurement(_name(one.name, one.label), one)

    def refusals(self, captures: Sequence[Record], analyses: Sequence[CaptureAnalysis]) -> None:
        again = {analysis.label: written_refusal(analysis.refused) for analysis in analyses}
        for label, refused in {capture["label"]: capture["refused"] for capture in captures}.items():
            if (refused or {}).get("code") != (again.get(label) or {}).get("code"):
                self._find("value.refusal", f"whether the capture {label} can be trusted differs", refused,
                           again.get(label))

    def findings(self, record: Record, found: Conclusion) -> None:
        again = [finding.code for finding in found.findings]
        said = [finding["code"] for finding in record["findings"]]
        if again != said:
            self._find("value.findings", "the likely causes differ", ", ".join(said) or "none",
                       ", ".join(again) or "none")

    def plots(self, stored: Sequence[Record], analyses: Sequence[CaptureAnalysis]) -> None:
        again = {a.label: _plain(written_plot(a.label, a.plot)) for a in analyses if a.plot is not None}
        for plot in stored:
            other = again.get(plot["label"])
            if other is None or not _same_waves(plot, other):
                self._find("value.plot", f"the waves drawn for {plot['label']} differ", "those of the record", "others")

    def conclude(self) -> None:
        """Note what agrees within the bound only."""
        if self.rounded and self.same_versions:
            self.report.find("value.rounding", Severity.NOTE, f"{len(self.rounded)} values differ in their last bits",
                             where=self.each.name, since=self.each.since, expected="the same bits",
                             got=f"within {SHARE_OF_ROUNDING:g} u, such as {self.rounded[0]}",
                             remedy="None: another kind of processor, or more threads, rounds otherwise.")

    def _measurement(self, name: str, one: Compared) -> None:
        said, again = (_short(entry) if entry else "none" for entry in (one.said, one.again))
        if one.agreement is Agreement.UNFOUNDED:
            self._find("value.unfounded", f"{name} does not follow from the captures", said, again)
        elif one.agreement is Agreement.LEFT_OUT:
            self._find("value.left_out", f"{name} follows from the captures and is not in the record", said, again)
        elif one.agreement is Agreement.DIFFERS:
            self._find("value.differs", f"{name} does not follow from the captures", said, again)
        else:
            self.report.hold(Step.VALUE)
            if one.agreement is Agreement.ROUNDED:
                self.rounded.append(name)

    def _find(self, code: str, what: str, said: object, again: object) -> None:
        self.report.find(code, Severity.BROKEN if self.same_versions else Severity.DOUBTFUL, what,
                         where=self.each.name, since=self.each.since, expected=f"{again} (computed again)",
                         got=f"{said} (record)", remedy=REMEDY)


def _agreement(said: Record | None, again: Record | None, *, same_versions: bool) -> Agreement:
    if again is None:
        return Agreement.UNFOUNDED
    if said is None:
        return Agreement.LEFT_OUT
    if said == again:
        return Agreement.SAME
    is_within = _is_within(said, again, SHARE_OF_ROUNDING if same_versions else SHARE_OF_U)
    return Agreement.ROUNDED if is_within else Agreement.DIFFERS


def _is_within(said: Record, again: Record, share: float) -> bool:
    """Return whether a value agrees within a share of u, and u and its degrees of freedom within that share of theirs.

    What is no number must be none in both.
    """
    numbers = [(said[key], again[key]) for key in ("value", "u", "dof")]
    if said["unit"] != again["unit"] or any((a is None) != (b is None) for a, b in numbers):
        return False
    (value, value_again), (u, u_again), (dof, dof_again) = numbers
    slack = share * min(u or 0.0, u_again or 0.0)
    return (_is_close(value, value_again, ROUNDING, slack) and _is_close(u, u_again, share, 0.0)
            and _is_close(dof, dof_again, share, 0.0))


def _is_close(one: float | None, other: float | None, share: float, slack: float) -> bool:
    return one == other or (one is not None and other is not None
                            and isclose(one, other, rel_tol=share, abs_tol=slack))


def _same_waves(one: Record, other: Record) -> bool:
    """Return whether two plots agree to a thousandth of the largest volt, which no eye tells apart."""
    waves, again = one["volts_per_krpm"], other["volts_per_krpm"]
    if waves.keys() != again.keys() or any(len(waves[line]) != len(again[line]) for line in waves):
        return False
    largest = max((abs(v) for wave in waves.values() for v in wave), default=0.0)
    return all(abs(a - b) <= 1e-3 * largest for line in waves for a, b in zip(waves[line], again[line], strict=True))


def _plain(entry: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    """Return `entry` as it comes back from JSON."""
    return json.loads(json.dumps(entry))


def _name(name: str, label: str) -> str:
    return f"{name} at {label}" if label else name


def _short(entry: Record) -> str:
    return f"{entry['value']!r} {entry['unit']}, u {entry['u']!r}, dof {entry['dof']!r}"
