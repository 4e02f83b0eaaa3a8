"""Removing captures by rule: what is due, and the statement in the log that is durable before any file goes.

Records, log, certificates, transcripts and kept files are never removed. Nor are the captures of reference checks, of
tests that a failed reference check casts doubt on, and files that were altered: what may be asked about stays.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from station.clock import stamp
from station.record.capture_file import sync_folder
from station.record.record import Record, read_body, sha256_of
from station.record.statement import Statement

FORMAT = 1
MOST = 1000     # files of one statement
EVERY = 2**62   # more entries than any log has

_LAST = """
SELECT serial, run, motor_type, verdict, started, sha256, body
FROM records JOIN log ON log.kind = 'record' AND log.subject = run_id
ORDER BY seq DESC LIMIT 1
"""
_OLD = """
SELECT records.serial, records.run, motor_type, verdict, records.started, sha256, body
FROM records JOIN runs USING (run_id)
WHERE records.verdict = ? AND records.started < ? AND json_extract(runs.heading, '$.purpose') IS NULL
  AND run_id NOT IN (SELECT run_id FROM suspects)
  AND run_id IN (SELECT subject FROM log WHERE kind = 'record' AND seq < ?)
ORDER BY run_id
"""


@dataclass(frozen=True, slots=True)
class Rule:
    """Captures of runs with this verdict may be removed after so many days."""

    verdict: str
    older_than_days: int

    def __str__(self) -> str:
        """The rule in words."""
        return f"captures of {self.verdict} older than {self.older_than_days} days"


@dataclass(frozen=True, slots=True)
class Removal:
    """What one rule removes in one go; ages are counted to the instant `counted_to`, in UTC."""

    rule: Rule
    counted_to: str
    files: tuple[dict[str, Any], ...]
    size: int           # bytes

    def as_statement(self, person: str, at: str) -> dict[str, Any]:
        """Return what is stated about it before any file goes."""
        return {"format": FORMAT, "person": person, "at": at, "files": list(self.files),
                "rule": {"verdict": self.rule.verdict, "older_than_days": self.rule.older_than_days,
                         "counted_to": self.counted_to}}


def removals_due(connection: sqlite3.Connection, folder: Path, rules: Iterable[Rule], now: datetime,
                 said: Iterable[Statement], entries: int = EVERY) -> list[Removal]:
    """Return what the rules remove from the store at `folder`; `said` are the statements of earlier removals.

    Only captures of the first `entries` of the log are removed: where files are handed over to an archive elsewhere,
    those that are there. Ages are counted to `now` or to the end of the last record, whichever is earlier: a clock
    that is set wrong removes nothing.

    Raises
    ------
    EvidenceError
        A record was altered.
    """
    last = connection.execute(_LAST).fetchone()
    if last is None:
        return []
    ended = datetime.fromisoformat(str(read_body(last)["ended"]))
    until, tested = min(now, ended), {(file["serial"], file["run"]) for one in said for file in one["files"]}
    return [removal for rule in rules for removal in _due(connection, folder, rule, until, tested, entries)]


def remove_files(folder: Path, said: Iterable[Statement]) -> int:
    """Remove what these statements announced and is still there; return how many files. OSError when one stays."""
    paths = [folder / name for name in removed_files(said) if (folder / name).is_file()]
    for path in paths:
        path.unlink()
    for parent in {path.parent for path in paths}:
        sync_folder(parent)
    return len(paths)


def removed_files(said: Iterable[Statement]) -> dict[str, Statement]:
    """Return the statement that announced the removal of each file, by its name in the store."""
    return {file["file"]: one for one in said for file in one["files"]}


def words_of(said: Statement) -> str:
    """Return when, by which rule and by whom files were removed."""
    rule = Rule(said["rule"]["verdict"], said["rule"]["older_than_days"])
    return f"removed on {said['at']} by the rule: {rule} ({said['person']}, entry {said['log']['seq']} of the log)"


def _due(connection: sqlite3.Connection, folder: Path, rule: Rule, until: datetime, tested: set[tuple[str, int]],
         entries: int) -> Iterator[Removal]:
    before = stamp(until - timedelta(days=rule.older_than_days))
    files, size = list[dict[str, Any]](), 0
    for row in connection.execute(_OLD, (rule.verdict, before, entries)):
        if (row[0], row[1]) in tested:
            continue
        for entry, octets in _sound_files(read_body(row), folder):
            files.append(entry)
            size += octets
        if len(files) >= MOST:
            yield Removal(rule, stamp(until), tuple(files), size)
            files, size = [], 0
    if files:
        yield Removal(rule, stamp(until), tuple(files), size)


def _sound_files(record: Record, folder: Path) -> Iterator[tuple[dict[str, Any], int]]:
    """Yield the entry and the size of each capture file that is there and is what the record says."""
    for capture in record["captures"]:
        path = folder / capture["file"]
        content = path.read_bytes() if path.is_file() else b""
        if sha256_of(content) == capture["sha256"]:
            yield {"file": capture["file"], "sha256": capture["sha256"], "serial": record["serial"],
                   "run": record["run"]}, len(content)
