"""One stored test analysed again by the code of today: a pure function of its record and its capture files.

One process, a pool and a cluster call this same function, which takes everything from what it is given and from the
files of the archive; so all of them give the same bits. It computes by the audit's own recomputation.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pyarrow as pa

from station.audit.files import Kept, audit_file, named_files
from station.audit.finding import AuditFinding, Report, Severity, Step
from station.audit.ledger import Logged, logged
from station.audit.stored import kept_limits, kept_sequence
from station.audit.values import Compared, Recomputed, analyse_again, audit_values, compare_measurements, read_captures
from station.errors import FileContractError, StationError
from station.judgement.conclusion import from_captures
from station.judgement.limit_file import LimitFile, parse_limits
from station.plant.result_rows import Row, Whose
from station.record.arithmetic import differing_arithmetic
from station.record.capture_file import read_capture
from station.record.log import Entry
from station.record.statement import Statement
from station.record.trouble import is_trouble
from station.toml_file import parse_toml

# Findings that the rows of the result tell as well, value by value.
_OF_ROWS = ("value.differs", "value.unfounded", "value.left_out", "value.rounding")
_PACKING = "zstd"           # records are mostly digits: an eighth is left of them on their way to another computer

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class StoredTest:
    """A test as a store holds it: its record to compare with, and the folder where its files are."""

    store: str
    origin: str
    entry: Entry                # without its body, which follows packed
    packed: bytes
    size: int                   # of the body
    captures: int
    removed: Mapping[str, Statement] = field(default_factory=dict)     # captures of it that a rule removed

    @property
    def mark(self) -> tuple[str | int, ...]:
        """What tells this test from all others and from itself if it were another."""
        return self.origin, self.entry.seq, self.entry.leaf.hex()


@dataclass(frozen=True, slots=True)
class LooseCaptures:
    """Capture files of one run without a record, and the limit file whose conventions they follow."""

    files: tuple[str, ...]
    states: tuple[int, ...]     # sizes and times of the files, so that another file of that name is another test
    limits: bytes
    limits_name: str

    @property
    def captures(self) -> int:
        """How many captures there are."""
        return len(self.files)

    @property
    def mark(self) -> tuple[str | int, ...]:
        """What tells these captures from all others."""
        return *self.files, *self.states, parse_toml(self.limits, self.limits_name).sha256


Test = StoredTest | LooseCaptures


@dataclass(frozen=True, slots=True)
class Reanalysed:
    """What came of one test: a row for each value, and what else there is to say.

    `is_whole` tells that all its files could be used, or were removed on purpose: another try would find no more.
    """

    whose: Whose
    rows: tuple[Row, ...] = ()
    remarks: tuple[AuditFinding, ...] = ()
    left_out: tuple[str, ...] = ()
    is_whole: bool = True


def pack(body: bytes) -> bytes:
    """Return the body of a record as it travels."""
    packed: bytes = pa.Codec(_PACKING).compress(body, asbytes=True)
    return packed


def reanalyse(test: Test) -> Reanalysed:
    """Analyse the captures of one test again and compare what comes out with its record, if there is one."""
    return _reanalyse_loose(test) if isinstance(test, LooseCaptures) else _reanalyse_stored(test)


def _reanalyse_stored(test: StoredTest) -> Reanalysed:
    body = pa.Codec(_PACKING).decompress(test.packed, test.size, asbytes=True)
    each, report = logged(replace(test.entry, body=body), columns=False), Report()
    if not each.is_as_logged:
        report.find("leaf.wrong", Severity.BROKEN, "record is not the one entered in the log", where=each.name,
                    since=each.since, expected=f"leaf {each.entry.leaf.hex()}", got=each.leaf.hex(),
                    remedy="Audit the store: the record was altered.")
        return _concluded(Whose(origin=test.origin, seq=test.entry.seq), (), report)
    record = json.loads(body)
    whose = Whose(None, test.origin, test.entry.seq, record["serial"], record["run"], record["motor_type"]["name"],
                  record["started"])
    again = _recomputed(record, test, each, report)
    if again is None:
        return _concluded(whose, (), report)
    _compare_verdict(record, again, each, report)
    return _concluded(whose, tuple(_row(one)._replace(agreement=one.agreement.value) for one in again.compared), report)


def _recomputed(record: Record, test: StoredTest, each: Logged, report: Report) -> Recomputed | None:
    """Return what the captures of a record come to today; None, with the reason in the report, where they cannot."""
    store = Path(test.store)
    if not record["captures"]:
        report.leave_out(Step.VALUE, "no captures were taken")
        return None
    _audit_files(test, store, each, report)
    try:
        limits, sequence = kept_limits(record, store), kept_sequence(record, store)
    except StationError as error:
        report.find("file.unreadable", Severity.BROKEN, error.what, where=error.where, since=each.since,
                    expected=error.expected, got=error.got, remedy=error.remedy)
        limits = sequence = None
    captures = None if report.findings else read_captures(record, store, each, report)
    if captures is None:
        if Step.FILE not in report.left_out:        # else a rule removed them, and that is said
            report.leave_out(Step.VALUE, "files are missing or altered")
        return None
    if limits is None or sequence is None:
        report.leave_out(Step.VALUE, "limit file or sequence was not kept with the run")
        return None
    return audit_values(record, analyse_again(captures, limits), sequence.labels(), limits, each, report,
                        same_versions=not differing_arithmetic(record))


def _audit_files(test: StoredTest, store: Path, each: Logged, report: Report) -> None:
    """Audit the files on which values stand: all that the record names but what was said to the instruments."""
    needed = [named for named in named_files(each) if named.what != "transcript"]
    there = frozenset(named.sha256 for named in needed if (store / named.file).is_file())
    for named in needed:
        audit_file(named, each, Kept(store, there, test.removed), report)


def _compare_verdict(record: Record, again: Recomputed, each: Logged, report: Report) -> None:
    """Say where the values of today would be judged otherwise; a run in trouble has its verdict whatever they say."""
    today = str(again.conclusion.judgement.verdict)
    if not is_trouble(record) and record["verdict"] != today:
        report.find("verdict.today", Severity.DOUBTFUL, "the motor would get another verdict today", where=each.name,
                    since=each.since, expected=f"{today} (computed again)", got=f"{record['verdict']} (record)",
                    remedy="Look at its values in the table of results before you rely on either.")


def _reanalyse_loose(test: LooseCaptures) -> Reanalysed:
    limits, report = _limits_of(test.limits, test.limits_name), Report()
    whose = Whose(source=test.files[0], motor_type=limits.motor_type.name)
    try:
        captures = [read_capture(Path(file)) for file in test.files]
    except FileContractError as error:
        report.find("file.unreadable", Severity.BROKEN, "capture cannot be read", where=error.where, since="",
                    expected="a capture file", got=error, remedy="Restore it from a backup.")
        return _concluded(whose, (), report)
    analyses = analyse_again(captures, limits)
    for refused in (analysis.refused for analysis in analyses if analysis.refused):
        report.leave_out(Step.VALUE, f"captures are refused: {refused.code}")
    return _concluded(whose, tuple(map(_row, compare_measurements([], from_captures(analyses)))), report)


@lru_cache(maxsize=8)
def _limits_of(content: bytes, name: str) -> LimitFile:
    return parse_limits(parse_toml(content, name))


def _row(one: Compared) -> Row:
    return Row(one.label, one.name, (one.again or one.said or {})["unit"], *_numbers(one.again), *_numbers(one.said))


def _numbers(entry: Record | None) -> tuple[float | None, float | None, float | None]:
    """Return value, u and dof of a measurement; canonical JSON writes one without a fraction as an integer."""
    if entry is None:
        return None, None, None
    value, u, dof = entry["value"], entry["u"], entry["dof"]
    return (None if value is None else float(value), None if u is None else float(u),
            None if dof is None else float(dof))


def _concluded(whose: Whose, rows: tuple[Row, ...], report: Report) -> Reanalysed:
    where = f"{whose.origin}: " if whose.origin else ""
    remarks = tuple(replace(finding, where=where + finding.where)
                    for finding in report.ordered() if finding.code not in _OF_ROWS)
    return Reanalysed(whose, rows, remarks, tuple(report.left_out.values()),
                      is_whole=all(finding.step is not Step.FILE for finding in report.findings))
