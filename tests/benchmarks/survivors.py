"""What is left of a store whose writer was stopped: everything that was acknowledged, and nothing by halves."""

import sqlite3
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from store_writer import ENDED, KEY, TRANSCRIPT, open_store

from station.errors import StationError
from station.record.checkpoint import open_checkpoint
from station.record.kept_files import kept_file
from station.record.merkle import EMPTY_ROOT, leaf_hash, root_of, verify_consistency
from station.record.record import canonical, sha256_of

SHARED_MEMORY = Path("/dev/shm")
NEWEST = 12     # records whose every byte is looked at; older ones were looked at when they were new


@dataclass
class Told:
    """What the writer acknowledged: runs begun, runs finished with the hash of their record, checks, the last head."""

    begun: set[int] = field(default_factory=set)
    finished: dict[int, str] = field(default_factory=dict)
    checked: set[int] = field(default_factory=set)
    head: tuple[int, bytes] = (0, EMPTY_ROOT)

    def hear(self, words: str) -> None:
        """Take in one line of the writer."""
        match words.split():
            case ["begun", run]:
                self.begun.add(int(run))
            case ["finished", run, sha256]:
                self.finished[int(run)] = sha256
            case ["checked", check]:
                self.checked.add(int(check))
            case ["head", size, root]:
                self.head = int(size), bytes.fromhex(root)
            case _:
                raise ValueError(f"the writer said {words!r}")


@dataclass(frozen=True)
class Remains:
    """What is wrong, each with its kind: "lost" or "corrupt"; and the records that nobody was told of."""

    faults: tuple[tuple[str, str], ...] = ()
    unheard: int = 0

    @property
    def state(self) -> str:
        """The worst kind of fault, or "whole"."""
        kinds = {kind for kind, _ in self.faults}
        return next((kind for kind in ("corrupt", "lost") if kind in kinds), "whole")


def scratch():
    """Return a new temporary folder, in memory where there is such a thing: there syncing takes no time.

    What a kill leaves does not depend on the medium, and a rebuilt state after a power cut is synced by nobody.
    """
    return tempfile.TemporaryDirectory(dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None)


def examine(folder, told, newest=NEWEST):
    """Open the store as the next start does, close what was interrupted, and compare with what was told."""
    try:
        with open_store(folder) as store:
            return _compare(store, told, newest)
    except (StationError, sqlite3.Error) as error:
        return Remains((("corrupt", f"{type(error).__name__}: {error}"),))


def _compare(store, told, newest):
    faults = [("corrupt", f"left over: {left.name}") for left in store.folder.rglob("*.tmp")]
    interrupted = {run.run_id for run in store.unfinished()}
    faults += [("lost", f"finished run {run} has no record") for run in interrupted & set(told.finished)]
    if len(interrupted) > 1:
        faults.append(("corrupt", f"runs {sorted(interrupted)} are open at once"))
    store.close_unfinished(ended=ENDED)
    records = {record["run"]: record for record in store.find()}    # of one motor: counted as the runs of the store
    if sorted(records) != list(range(1, len(records) + 1)):
        faults.append(("corrupt", f"runs {sorted(records)}"))
    faults += [("lost", f"run {run} was begun and is not known") for run in told.begun - set(records)]
    faults += [("lost", f"reference check {check}")
               for check in told.checked - {check["check"] for check in store.reference_checks()}]
    faults += _log(store.log, told.head)
    for run, record in list(records.items())[-newest:]:
        if run in told.finished and sha256_of(canonical(record)) != told.finished[run]:
            faults.append(("corrupt", f"run {run} has another record"))
        faults += _files(store, record)
    unheard = sum(record["verdict"] == "PASS" and run not in told.finished for run, record in records.items())
    return Remains(tuple(faults), unheard)


def _log(log, told):
    """Compare the whole log with its own last head, which it signed, and with the one that the writer told."""
    entries = list(log.entries())
    faults = [("corrupt", f"entry {entry.seq} of the log is not that of its body") for entry in entries
              if entry.body is None or leaf_hash(entry.body) != entry.leaf]
    if [entry.seq for entry in entries] != list(range(len(entries))):
        return [*faults, ("corrupt", "the log has gaps")]
    root = root_of([entry.leaf for entry in entries])
    if entries and open_checkpoint(entries[-1].checkpoint, [KEY.verifier], "log").root != root:
        faults.append(("corrupt", "the head of the log is not that of its entries"))
    size, old_root = told
    if size > len(entries):
        return [*faults, ("lost", f"the log had {size} entries")]
    if not verify_consistency(size, len(entries), old_root, root, log.consistency(size, len(entries))):
        faults.append(("corrupt", "the log does not continue the one that was told of"))
    return faults


def _files(store, record):
    """Read every file that a record names; an interrupted one has no more than the beginning of a transcript."""
    whole = record["verdict"] == "PASS"
    if not whole and record["reason"] != "interrupted":
        return [("corrupt", f"run {record['run']} ended with {record['reason']}")]
    try:
        captures, transcript = store.captures(record), store.transcript(record)
        if whole:
            kept_file(store.folder, record["limit_file"]["sha256"])
    except StationError as error:
        return [("corrupt", f"run {record['run']}: {error}")]
    heard = transcript == TRANSCRIPT if whole else TRANSCRIPT.startswith(transcript or b"")
    if len(captures) != int(whole) or not heard:
        return [("corrupt", f"run {record['run']} lacks its files")]
    return []
