"""Outcomes of audits begun from a page, kept as files beside the accounts: who had what verified when, and the report.

They are no evidence, as anybody may audit again: the trail, and so the log, has the SHA-256 of each.
"""

import json
import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from station.audit.finding import TITLES, Report, Step
from station.errors import EvidenceError, UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.record import canonical

FOLDER = "audits"       # beside the station file
FORMAT = 1
NAME = re.compile(r"[0-9TZ.]{15,25}-[a-z]{1,20}-[0-9a-f]{16}\.json")


@dataclass(frozen=True, slots=True)
class KeptAudit:
    """One audit of one motor's runs, or of the whole archive where `serial` is empty."""

    serial: str
    depth: str
    who: str
    begun: str      # as `station.clock.stamp` writes it
    ended: str
    report: Report

    @property
    def name(self) -> str:
        """Of its file: when it was begun, how deep it went, and whose it is, in the order of time."""
        return f"{re.sub('[-:]', '', self.begun)}-{self.depth}-{_mark(self.serial)}.json"

    def content(self) -> bytes:
        """Return its file."""
        return canonical({"format": FORMAT, "serial": self.serial, "depth": self.depth, "who": self.who,
                          "begun": self.begun, "ended": self.ended, "report": self.report.as_json(self.serial)})

    @property
    def rows(self) -> list[tuple[str, str, str]]:
        """What each step verifies, its outcome, and how many things held or why not all were looked at."""
        report = self.report
        return [(TITLES[step], report.outcome(step), report.left_out.get(step, "") or str(report.held.get(step, 0)))
                for step in Step]

    @property
    def sha256(self) -> str:
        """Of its file, as the trail has it."""
        return sha256(self.content()).hexdigest()


def keep_audit(folder: Path, audit: KeptAudit) -> KeptAudit:
    """Write an audit into `folder`, durably, and return it; StationError when the disk does not take it."""
    make_folder(folder)
    write_durably(folder / audit.name, audit.content())
    return audit


def kept_audits(folder: Path, serial: str, most: int) -> tuple[list[KeptAudit], list[EvidenceError]]:
    """Return the newest audits of a motor, newest first, and why some cannot be shown; none is left out in silence.

    An empty `serial` stands for the whole archive.
    """
    names = sorted((path.name for path in folder.glob(f"*-{_mark(serial)}.json")), reverse=True)
    found: list[KeptAudit] = []
    faults: list[EvidenceError] = []
    for name in names[:most]:
        try:
            found.append(kept_audit(folder, name))
        except EvidenceError as error:
            faults.append(error)
    return found, faults


def kept_audit(folder: Path, name: str) -> KeptAudit:
    """Return the audit in a file of `folder`.

    Raises
    ------
    UsageError
        There is no such file.
    EvidenceError
        It does not say what this station wrote.
    """
    path = folder / name
    if not NAME.fullmatch(name) or not path.is_file():
        raise UsageError("no such audit", where="audits", expected="one of a record's page", got=name[:80],
                         remedy="Follow a link of the record's page.")
    try:
        content = path.read_bytes()
        said = json.loads(content)
        audit = KeptAudit(said["serial"], said["depth"], said["who"], said["begun"], said["ended"],
                          Report.from_json(said["report"]))
        is_whole = audit.content() == content
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        is_whole = False
    if not is_whole or audit.name != name:
        raise EvidenceError("a kept audit was altered", where=str(path), expected="a report as the station wrote it",
                            got="something else", remedy="Audit again; the trail has the SHA-256 of what was written.")
    return audit


def _mark(serial: str) -> str:
    """Return what stands for a serial number in the name of a file."""
    return sha256(serial.encode()).hexdigest()[:16]
