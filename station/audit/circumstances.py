"""What lay around the tests of a log: clock, earlier runs, corrections, reference checks, revisions of limit files."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.errors import FileContractError
from station.judgement.limit_file import parse_limits
from station.record.clock_watch import Reading, clock_flags, reading_of
from station.toml_file import read_toml

ASK = "Do not rely on the record; ask who changed it."
Said = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Around:
    """The entries of a log by what they are about."""

    records: Mapping[tuple[str, int], Logged]       # by serial and run
    checks: Mapping[int, Logged]                    # by number
    corrections: Sequence[Logged]


def around(entries: Sequence[Logged]) -> Around:
    """Sort the entries of a log; those that cannot be read are left out, as their bodies are findings already."""
    read = [(each, each.said) for each in entries if each.said is not None]
    return Around(
        {(said["serial"], said["run"]): each for each, said in read if each.entry.kind == "record"},
        {said["check"]: each for each, said in read if each.entry.kind == "reference check"},
        [each for each, _ in read if each.entry.kind == "correction"])


def audit_circumstances(entries: Sequence[Logged], report: Report, *, is_whole: bool = True) -> None:
    """Audit what ties the entries of a log to each other; without the whole of it the clock is taken at its word."""
    told = around(entries)
    if is_whole:
        _audit_clock(entries, report)
    else:
        for each in told.records.values():
            _tell_jumps(each, (each.said or {}).get("clock", {}).get("flags") or (), report)
    _audit_corrections(told, report, is_whole=is_whole)
    _audit_suspects(told, report)
    revisions: dict[tuple[str, str], tuple[str, Logged]] = {}
    for each in told.records.values():
        said = each.said or {}
        _audit_attempts(said, each, told, report)
        _audit_covering(said, each, told, report)
        _audit_revision(said, each, revisions, report)


def audit_limits_today(folder: Path, entries: Sequence[Logged], report: Report) -> None:
    """Audit the limit files in force today: one that was edited must have a revision of its own."""
    used: dict[tuple[str, str], dict[str, Logged]] = {}
    for each in entries:
        named = (each.said or {}).get("limit_file")
        if named and named["sha256"]:
            used.setdefault((named["name"], named["revision"]), {})[named["sha256"]] = each
    for path in sorted(folder.glob("*.toml")):
        try:
            limits = parse_limits(read_toml(path))
        except FileContractError:
            continue    # no limit file, or a draft that is no use yet: no motor was tested by it
        before = used.get((limits.name, limits.revision.number), {})
        if before and limits.sha256 not in before:
            last = list(before.values())[-1]
            _find_edited(f"{path}, revision {limits.revision.number}", f"after {last.since}",
                         f"SHA-256 {last.said and last.said['limit_file']['sha256']}, as at {last.name}",
                         limits.sha256, report)


def _audit_clock(entries: Sequence[Logged], report: Report) -> None:
    """The clock ran on from each record to the next; where it did not, the later record must say so."""
    before: Reading | None = None
    for each in entries:
        if each.entry.kind != "record" or each.said is None:
            continue
        flags = clock_flags(each.said, before)
        before = reading_of(each.said, "ended")
        noted = (each.said.get("clock") or {}).get("flags")
        codes = {flag["code"] for flag in flags}
        if noted is not None and codes != {flag["code"] for flag in noted}:
            report.find("circumstance.clock_unnoted", Severity.BROKEN, "jump of the clock is not noted as it was",
                        where=each.name, since=each.since, expected=", ".join(sorted(codes)) or "no jump",
                        got=", ".join(flag["code"] for flag in noted) or "none noted", remedy=ASK)
        else:
            _tell_jumps(each, flags, report)


def _tell_jumps(each: Logged, flags: Sequence[Said], report: Report) -> None:
    if flags:
        report.find("circumstance.clock", Severity.DOUBTFUL, "the clock jumped", where=each.name, since=each.since,
                    expected="times in the order of the log", got=" ".join(flag["text"] for flag in flags),
                    remedy="Take the order from the log, which holds; ask why the clock was set.")
    else:
        report.hold(Step.CIRCUMSTANCE)


def _audit_corrections(told: Around, report: Report, *, is_whole: bool) -> None:
    for each in told.corrections:
        said = each.said or {}
        of = said.get("of") or {}
        record = told.records.get((str(of.get("serial")), int(of.get("run") or 0)))
        if record is None and not is_whole:
            continue    # about another motor
        if record is None or (record.entry.seq, record.entry.leaf.hex()) != (of.get("seq"), of.get("leaf")):
            report.find("circumstance.correction", Severity.BROKEN, "correction is about a record that is not there",
                        where=each.name, since=each.since, expected=f"leaf {of.get('leaf')} as entry {of.get('seq')}",
                        got=record.name if record else "none", remedy=ASK)
        else:
            what = "declared void" if said.get("what") == "void" else "given a note"
            report.find("circumstance.corrected", Severity.NOTE, f"run was {what}", where=record.name, since=each.since,
                        expected="no correction", got=f"by {said.get('person')}: {said.get('reason')}",
                        remedy="None; a void run does not count.")


def _audit_suspects(told: Around, report: Report) -> None:
    """A failed reference check casts doubt on tests before it; they should have been tested again."""
    for check in told.checks.values():
        for suspect in (check.said or {}).get("suspects") or ():
            each = told.records.get((suspect["serial"], suspect["run"]))
            if each is None:
                continue
            is_mended = any(serial == suspect["serial"] and later.entry.seq > check.entry.seq
                            for (serial, _), later in told.records.items())
            report.find("circumstance.suspect", Severity.NOTE if is_mended else Severity.DOUBTFUL,
                        "a failed reference check casts doubt on the test", where=each.name, since=check.since,
                        expected="a good reference check after it", got=check.name,
                        remedy="None: it was tested again since." if is_mended else "Test the motor again.")


def _audit_attempts(said: Said, each: Logged, told: Around, report: Report) -> None:
    """The earlier runs that a record names are the ones in the log."""
    for attempt in said.get("attempts") or ():
        earlier = told.records.get((said["serial"], attempt["run"]))
        if earlier is not None and earlier.entry.leaf.hex() == attempt["leaf"]:
            report.hold(Step.CIRCUMSTANCE)
        else:
            report.find("circumstance.attempt", Severity.BROKEN, "an earlier run of the motor is not the one named",
                        where=f"run {attempt['run']} of {said['serial']}, as {each.name} names it", since=each.since,
                        expected=f"leaf {attempt['leaf']}", got=earlier.entry.leaf.hex() if earlier else "none",
                        remedy=ASK)


def _audit_covering(said: Said, each: Logged, told: Around, report: Report) -> None:
    """The reference check that a record rests on was entered before it, and was good."""
    named = said.get("reference_check")
    if not named:
        return
    check = told.checks.get(named["check"])
    if check is not None and (check.said or {}).get("result") == "GOOD" and check.entry.seq < each.entry.seq:
        report.hold(Step.CIRCUMSTANCE)
    else:
        report.find("circumstance.check", Severity.BROKEN, "the reference check of the test is not there, or not good",
                    where=each.name, since=each.since, expected=f"a good check {named['check']} before it",
                    got=f"{check.name}: {(check.said or {}).get('result')}" if check else "none", remedy=ASK)


def _audit_revision(said: Said, each: Logged, revisions: dict[tuple[str, str], tuple[str, Logged]], report: Report
                    ) -> None:
    """One revision of a limit file has one content."""
    named = said["limit_file"]
    if not named["sha256"]:
        return
    sha256, first = revisions.setdefault((named["name"], named["revision"]), (named["sha256"], each))
    if sha256 == named["sha256"]:
        report.hold(Step.CIRCUMSTANCE)
        return
    revisions[named["name"], named["revision"]] = named["sha256"], each    # each change is told once
    _find_edited(f"{named['name']} revision {named['revision']}, from {each.name} on", each.since,
                 f"SHA-256 {sha256}, as at {first.name}", named["sha256"], report)


def _find_edited(where: str, since: str, expected: str, got: str, report: Report) -> None:
    report.find("circumstance.revision", Severity.DOUBTFUL, "limit file was edited without a new revision", where=where,
                since=since, expected=expected, got=got,
                remedy="See what was changed; the files of each test are kept. Release it under a revision of its own.")
