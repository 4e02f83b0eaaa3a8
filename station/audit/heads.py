"""The signed heads of a log: those that the store keeps after each entry, and one that somebody else has kept."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from station.audit.finding import UNKNOWN, Report, Severity, Step
from station.audit.trusted import Trusted
from station.errors import EvidenceError
from station.record.checkpoint import Checkpoint, open_checkpoint, parse_checkpoint
from station.record.log import Entry
from station.record.signed_note import Ed25519Verifier, parse_note

ASK = "Trust nothing from there on; compare with copies of the log kept elsewhere, and ask who changed it."


class HeadError(Exception):
    """A head that does not hold: what is wrong with it, and the code of the finding that it makes."""

    def __init__(self, code: str, wrong: EvidenceError) -> None:
        self.code, self.wrong = code, wrong
        super().__init__(str(wrong))

    def report_to(self, report: Report, since: str) -> None:
        """Add the finding."""
        wrong = self.wrong
        report.find(self.code, Severity.BROKEN, wrong.what, where=wrong.where, since=since, expected=wrong.expected,
                    got=wrong.got, remedy=wrong.remedy)


def open_head(note: str, trusted: Trusted, where: str) -> Checkpoint:
    """Return the head in a signed note, if the key of the log signed it; without a key only its form is checked.

    Raises
    ------
    HeadError
        It is no head, or was not signed by that key.
    """
    try:
        parsed = parse_note(note, where)
        head = parse_checkpoint(parsed.text, where)
    except EvidenceError as error:
        raise HeadError("head.broken", error) from error
    if trusted.log is None or _is_known(note, trusted.log):
        return head
    own = (trusted.log.name, trusted.log.key_id)
    try:
        open_checkpoint(note, [trusted.log], where)
    except EvidenceError as error:
        is_own = any((signature.name, signature.key_id) == own for signature in parsed.signatures)
        raise HeadError("head.broken" if is_own else "head.foreign_key", error) from error
    return head


@lru_cache(maxsize=4096)
def _is_known(note: str, key: Ed25519Verifier) -> bool:
    """Return whether `key` signed a head; each is met in the log, in its certificate, and beside the database."""
    try:
        open_checkpoint(note, [key], "")
    except EvidenceError:
        return False
    return True


@dataclass(slots=True)
class Heads:
    """Audits the heads of one log in the order of its entries."""

    origin: str
    trusted: Trusted
    report: Report
    signed: int = 0
    unsigned: list[tuple[int, str, str]] = field(default_factory=list)   # seq, name, since
    is_rewritten: bool = False

    def audit(self, entry: Entry, name: str, since: str, root: bytes | None) -> None:
        """Audit the head that was signed after `entry`; `root` is the one that the entries make, None if unknown."""
        if not entry.checkpoint:
            self.unsigned.append((entry.seq, name, since))
            return
        self.signed += 1
        try:
            head = open_head(entry.checkpoint, self.trusted, name)
        except HeadError as error:
            error.report_to(self.report, since)
            return
        if (head.origin, head.size) != (self.origin, entry.seq + 1):
            self.report.find("head.exchanged" if head.origin == self.origin else "head.other_log", Severity.BROKEN,
                             "head is that of another log or size", where=name, since=since,
                             expected=f"{self.origin}, {entry.seq + 1} entries",
                             got=f"{head.origin}, {head.size} entries", remedy=ASK)
            return
        if self.trusted.log is not None:
            self.report.hold(Step.HEAD)
        self._compare(head, name, since, root)

    def conclude(self) -> None:
        """Tell what could not be audited for want of a key or of signatures."""
        if self.trusted.log is None:
            self.report.leave_out(Step.HEAD, "no public key of the log was given" if self.signed
                                  else "the station signs no heads: it has no key")
        if self.unsigned and (self.signed or self.trusted.log is not None):
            seq, name, since = self.unsigned[0]
            # A log from before the station had its key is unsigned up to some entry, and signed from there on.
            is_early = bool(self.signed) and seq == 0 and self.unsigned[-1][0] == len(self.unsigned) - 1
            self.report.find("head.unsigned", Severity.NOTE if is_early else Severity.BROKEN,
                             "heads of the log are not signed", where=name, since=since,
                             expected="a signed head after each entry", got=f"{len(self.unsigned)} without",
                             remedy="Rest on the first signed head after them." if is_early else ASK)

    def _compare(self, head: Checkpoint, name: str, since: str, root: bytes | None) -> None:
        if head.root == root:
            self.report.hold(Step.CONSISTENCY)
        elif root is not None and not self.is_rewritten:
            self.is_rewritten = True    # every later head differs for the same reason
            self.report.find("consistency.rewritten", Severity.BROKEN, "the log was rewritten: its entries do not make "
                             "the head that was signed then", where=name, since=since,
                             expected=f"root {head.root.hex()}", got=root.hex(), remedy=ASK)


def audit_outside_head(note: str, name: str, origin: str, roots: Sequence[bytes], trusted: Trusted, report: Report
                       ) -> None:
    """Audit a log against a head that somebody else has kept: it must begin with the entries of that head.

    `roots` are those of the log by size.
    """
    try:
        head = open_head(note, trusted, name)
    except HeadError as error:
        error.report_to(report, UNKNOWN)
        return
    size = len(roots) - 1
    if head.origin != origin:
        report.find("head.other_log", Severity.BROKEN, "the head kept elsewhere is that of another log", where=name,
                    since="seq 0", expected=origin, got=head.origin, remedy="Give a head of this station's log.")
    elif head.size > size:
        report.find("consistency.cut_off", Severity.BROKEN, "the last entries of the log are cut off",
                    where=f"entries {size} to {head.size - 1}", since=f"seq {size}",
                    expected=f"{head.size} entries, as in {name}", got=size,
                    remedy="Restore the store from a backup and ask who changed it.")
    elif head.root != roots[head.size]:
        report.find("consistency.rewritten", Severity.BROKEN, "the log does not begin with the entries of the head "
                    "kept elsewhere", where=f"entries 0 to {head.size - 1}", since="seq 0 or later",
                    expected=f"root {head.root.hex()}", got=roots[head.size].hex(), remedy=ASK)
    else:
        report.hold(Step.CONSISTENCY)
