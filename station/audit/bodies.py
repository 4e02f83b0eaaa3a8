"""What the entries of the log stand for: records, reference checks and statements, and the columns beside each."""

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.ledger import ASK, BACKUP, Logged

# The columns beside a body repeat what it says, under these keys; those of statements are the same for every kind.
_RECORDS = "SELECT 'record', run_id, sha256, serial, run, motor_type, verdict, started FROM records"
_CHECKS = "SELECT 'reference check', check_id, sha256, check_id, motor_type, result, last_run FROM reference_checks"
_STATEMENTS = "SELECT kind, statement_id, sha256, statement_id, kind FROM statements"
_KEYS = {"record": ("serial", "run", "motor_type", "verdict", "started"),
         "reference check": ("check", "motor_type", "result", "last_run")}
_STATEMENT_KEYS = ("statement", "kind")


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the store without its body."""

    sha256: str
    columns: tuple[Any, ...]


Rows = Mapping[tuple[str, int], Row]    # by kind and subject of the entry


def read_rows(connection: sqlite3.Connection) -> Rows:
    """Return every row that should have an entry in the log."""
    return {(kind, number): Row(sha256, tuple(columns)) for sql in (_RECORDS, _CHECKS, _STATEMENTS)
            for kind, number, sha256, *columns in connection.execute(sql)}


def audit_bodies(entries: Sequence[Logged], rows: Rows, origin: str, report: Report) -> None:
    """Audit what each entry stands for; one finding for each body, the plainest that explains it."""
    named: set[tuple[str, int]] = set()
    for each in entries:
        subject = each.entry.kind, each.entry.subject
        named.add(subject)
        row = rows.get(subject)
        if row is None or not each.has_body:
            report.find("record.missing", Severity.BROKEN, f"{each.entry.kind} that the log names is gone",
                        where=each.name, since=each.since, expected=f"leaf {each.entry.leaf.hex()}", got="nothing",
                        remedy=BACKUP)
        else:
            _audit_body(each, row, origin, report)
    for kind, number in sorted(rows.keys() - named):
        columns = ", ".join(map(str, rows[kind, number].columns))
        report.find("leaf.missing", Severity.BROKEN, f"{kind} was never entered in the log",
                    where=f"{kind} {number}: {columns}", since=_time_of(kind, rows[kind, number]),
                    expected="an entry about it", got="none", remedy=ASK)


def _audit_body(each: Logged, row: Row, origin: str, report: Report) -> None:
    entry, said = each.entry, each.said or {}
    place, previous = said.get("log"), entry.previous.hex() if entry.previous else None
    if place is not None and (place.get("origin"), place.get("seq"), place.get("previous_leaf")) != (
            origin, entry.seq, previous) and not each.is_as_logged:
        report.find("record.place", Severity.BROKEN, f"{entry.kind} stands in the place of another", where=each.name,
                    since=each.since, expected=f"entry {entry.seq} of {origin}",
                    got=f"entry {place.get('seq')} of {place.get('origin')}", remedy=BACKUP)
    elif each.sha256 and each.sha256 != row.sha256:
        report.find("record.altered", Severity.BROKEN, f"{entry.kind} was altered", where=each.name, since=each.since,
                    expected=f"SHA-256 {row.sha256}", got=each.sha256, remedy=BACKUP)
    elif not each.is_as_logged:
        report.find("leaf.wrong", Severity.BROKEN, f"{entry.kind} is not the one entered in the log", where=each.name,
                    since=each.since, expected=f"leaf {entry.leaf.hex()}", got=each.leaf.hex(), remedy=BACKUP)
    elif _said(each) != row.columns:
        report.find("record.index", Severity.BROKEN, f"{entry.kind} and the columns beside it differ", where=each.name,
                    since=each.since, expected=_said(each), got=row.columns, remedy=BACKUP)
    else:
        report.hold(Step.RECORD)
        report.hold(Step.LEAF)


def _time_of(kind: str, row: Row) -> str:
    """Return when that of a row began, as far as its columns say so."""
    return str(row.columns[_KEYS[kind].index("started")]) if "started" in _KEYS.get(kind, ()) else UNKNOWN


def _said(each: Logged) -> tuple[Any, ...]:
    said = each.said or {}
    kind = said.get("motor_type")
    if isinstance(kind, dict):
        said = {**said, "motor_type": kind.get("name")}
    return tuple(said.get(key) for key in _KEYS.get(each.entry.kind, _STATEMENT_KEYS))
