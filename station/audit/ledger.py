"""The log of a store: no gap, no entry out of its place, and every head that was signed made by its entries."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from station.audit.finding import Report, Severity
from station.audit.glance import at_a_glance
from station.audit.heads import Heads
from station.audit.trusted import Trusted
from station.record.log import Entry
from station.record.merkle import EMPTY_ROOT, node_hash

BACKUP = "Restore the store from a backup and ask who changed it."
ASK = "Trust nothing from there on; compare with copies of the log kept elsewhere, and ask who changed it."


@dataclass(frozen=True, slots=True)
class Logged:
    """An entry of the log, its body at a glance (None where unreadable), and the hashes of that body as it is.

    The body itself is not kept: an archive is larger than the memory of a computer.
    """

    entry: Entry
    said: dict[str, Any] | None
    leaf: bytes
    sha256: str         # empty where it was not asked for
    has_body: bool

    @property
    def name(self) -> str:
        """The entry in words."""
        entry, said = self.entry, self.said or {}
        if entry.kind == "record":
            about = f"of {said.get('serial', 'an unknown motor')}, run {said.get('run', '?')}"
        else:
            about = str(entry.subject)
        return f"entry {entry.seq}, {entry.kind} {about}"

    @property
    def since(self) -> str:
        """Where the entry stands in the log, and its time as far as it says one."""
        said = self.said or {}
        moment = next((said[key] for key in ("started", "ended", "at") if isinstance(said.get(key), str)), "")
        return f"seq {self.entry.seq}" + (f", {moment}" if moment else "")

    @property
    def is_as_logged(self) -> bool:
        """Whether the body is the one that was entered in the log."""
        return self.has_body and self.leaf == self.entry.leaf


# What ties entries to each other; the rest of a record is of no use once it has been examined by itself.
_TIES = ("serial", "run", "started", "ended", "clock", "log", "motor_type", "verdict", "limit_file", "reference_check",
         "attempts", "captures", "transcript", "files")


def lightened(each: Logged) -> Logged:
    """Return a record with no more than what ties it to other entries, as an archive has very many."""
    if each.entry.kind != "record" or each.said is None:
        return each
    return replace(each, said={key: each.said[key] for key in _TIES if key in each.said})


def logged(entry: Entry, *, columns: bool = True) -> Logged:
    """Return `entry` with its body read at a glance and hashed; may run in any thread.

    Without `columns` the hash that the column beside a body holds is left out, unless the leaf is wrong: it tells then
    whether that was altered, too.
    """
    body = entry.body if entry.body is not None else b""
    leaf = hashlib.sha256(b"\x00")      # as `merkle.leaf_hash`, without a copy of the body
    leaf.update(body)
    sha256 = hashlib.sha256(body).hexdigest() if columns or leaf.digest() != entry.leaf else ""
    return Logged(replace(entry, body=None), at_a_glance(body), leaf.digest(), sha256, entry.body is not None)


@dataclass(slots=True)
class Roots:
    """The root at every size, from leaves given one after the other. Source: RFC 9162, section 2.1.1."""

    known: list[bytes] = field(default_factory=lambda: [EMPTY_ROOT])    # by size
    _complete: list[bytes] = field(default_factory=list)                # subtrees, the largest first

    @property
    def size(self) -> int:
        """How many leaves there are."""
        return len(self.known) - 1

    def add(self, leaf: bytes) -> bytes:
        """Add a leaf and return the root that it makes."""
        merged, place = leaf, self.size
        while place & 1:
            merged, place = node_hash(self._complete.pop(), merged), place >> 1
        self._complete.append(merged)
        root = merged
        for left in reversed(self._complete[:-1]):
            root = node_hash(left, root)
        self.known.append(root)
        return root


def audit_log(entries: Sequence[Logged], origin: str, trusted: Trusted, report: Report) -> Roots:
    """Audit the entries in their order and return the roots that their leaves make."""
    roots, heads = Roots(), Heads(origin, trusted, report)
    before: bytes | None = None
    for expected, each in _numbered(entries):
        entry = each.entry
        if entry.seq != expected:
            report.find("consistency.gap", Severity.BROKEN, "entries of the log are missing",
                        where=f"entries {expected} to {entry.seq - 1}", since=f"seq {expected}",
                        expected="an entry for each number", got=f"entry {entry.seq} after {expected - 1}",
                        remedy=BACKUP)
        elif entry.previous != before:
            report.find("consistency.chain", Severity.BROKEN, "entry does not follow the one before it",
                        where=each.name, since=each.since, expected=_hex(before), got=_hex(entry.previous), remedy=ASK)
        root = roots.add(entry.leaf)
        # After a gap no root can be made as it was: the gap is the finding.
        heads.audit(entry, each.name, each.since, root if entry.seq == roots.size - 1 else None)
        before = entry.leaf
    heads.conclude()
    return roots


def _numbered(entries: Sequence[Logged]) -> list[tuple[int, Logged]]:
    """Return each entry with the number that it should have after the one before it."""
    return list(zip([0, *(each.entry.seq + 1 for each in entries)], entries, strict=False))


def _hex(leaf: bytes | None) -> str:
    return leaf.hex() if leaf else "none"
