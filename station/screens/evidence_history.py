"""What stands around a test: the runs of its motor, reference checks before and after, printouts, limits before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from station.audit.stored import kept_limits
from station.errors import StationError
from station.record.correction import void_in
from station.record.counting import RunPlace, places_of
from station.record.print_queue import DATABASE, Printout, PrintQueue
from station.record.store import Store
from station.study.compare import Change, compare

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a motor: where it stands among the others, and the reference check that casts doubt on it, if any."""

    record: Record
    place: RunPlace
    suspect: int | None


@dataclass(frozen=True, slots=True)
class Revision:
    """How the limits of a test came into force; `before` is the revision they succeeded, `fault` why it is unknown."""

    said: Mapping[str, Any]
    before: str = ""
    changes: Sequence[Change] = ()
    fault: StationError | None = None


def runs_of(store: Store, serial: str) -> list[Run]:
    """Return the runs of a motor, first run first."""
    records = store.show(serial)
    void = {run for of, run in void_in(store.statements("correction")) if of == serial}
    suspect = {one.run: one.check for one in store.suspects() if one.serial == serial}
    return [Run(record, place, suspect.get(record["run"]))
            for record, place in zip(records, places_of(records, void), strict=True)]


def revisions_of(store: Store, record: Record) -> list[Revision]:
    """Return the releases of the limits that a test was judged by, each with what it changed."""
    wanted = record["limit_file"]["sha256"]
    return [_revision(store, record, said) for said in store.statements("release") if said["sha256"] == wanted]


def _revision(store: Store, record: Record, said: Mapping[str, Any]) -> Revision:
    before = said["predecessor"]
    if before is None:
        return Revision(said)
    earlier: Record = {"limit_file": {"name": said["file"], "sha256": before["sha256"]}}
    try:
        files = kept_limits(earlier, store.folder), kept_limits(record, store.folder)
    except StationError as error:
        return Revision(said, before["revision"], fault=error)
    if files[0] is None or files[1] is None:
        return Revision(said, before["revision"], fault=StationError(
            "a limit file was not kept", where=said["file"], expected="both revisions in the store",
            got="one of them", remedy="Compare the files where they were kept."))
    return Revision(said, before["revision"], compare(files[0], files[1]))


def printouts_of(store: Store, record: Record) -> list[Printout]:
    """Return the printouts of a test's certificate, the first one first; none where nothing was ever printed.

    StationError when the queue cannot be read.
    """
    if not (store.folder / DATABASE).exists():
        return []
    with PrintQueue(store.folder) as queue:
        return queue.of(record["serial"], record["run"])
