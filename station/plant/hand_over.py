"""Handing over: the plant's copy of a store brought up to date, entries first, then the files that they name.

What is still to be sent is no list of marks: it is the entries from the size on that the plant has, which it says by
size and root. What is sent again is taken once. Its cosignature of a head, kept in the store, is the receipt.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from station.clock import Clock
from station.errors import EvidenceError, StationError
from station.plant.files_handed import FilesHanded
from station.plant.hand_over_files import FileHandOver
from station.plant.plant_client import PlantClient, PlantHead
from station.plant.refused import ForkError
from station.record.cosignature import CosignatureVerifier
from station.record.cosigned import add_cosignatures
from station.record.log import Entry, Log
from station.record.log_key import LogKey
from station.record.merkle import leaf_hash
from station.record.store import Store
from station.record.witness import Request, acknowledged

MOST_ENTRIES = 500      # of one request
MOST_UNSIGNED = 2000    # the same, where none of the first has a signed head
MOST_BYTES = 4_000_000  # of their bodies, unless one alone is larger


@dataclass(frozen=True, slots=True)
class Progress:
    """How far everything has come; `entries` are in the log, and of the first `files` every file is handed over."""

    entries: int = 0
    acknowledged: int = 0       # of them, below a head that the plant has cosigned
    files: int = 0
    left: int = 0               # files that could not be handed over; `station plant forward` tells why
    alarm: str = ""             # of the plant about this log, until somebody settles it

    @property
    def is_done(self) -> bool:
        """Whether nothing is left to hand over."""
        return self.acknowledged == self.files == self.entries


class HandOver:
    """Hands the store in `folder` over to one plant, with the key of its log; `witness` is the plant's."""

    def __init__(self, folder: Path, client: PlantClient, key: LogKey, witness: CosignatureVerifier, clock: Clock
                 ) -> None:
        self._folder, self._client, self._key, self._witness = folder, client, key, witness
        self._files = FileHandOver(client, clock)

    def progress(self) -> Progress:
        """Return how far it has come, as this computer knows; nothing is asked of the plant."""
        with Store(self._folder, read_only=True) as store, FilesHanded(self._folder, self._witness) as handed:
            return self._progress(store.log, handed, "")

    def why_left(self) -> dict[str, str]:
        """Return why files could not be handed over, by their names in the store."""
        with FilesHanded(self._folder, self._witness) as handed:
            return handed.why_left()

    def work(self, go_on: Callable[[], bool], heard: Callable[[Progress], None] = lambda _progress: None) -> Progress:
        """Hand over until nothing is left, or `go_on` says no; `heard` is told after each step.

        Raises
        ------
        ForkError
            The plant has another log under this name, or a longer one; it has been told, and nothing was taken.
        PlantError
            It cannot be reached, or refuses.
        EvidenceError
            Its receipt is not signed with the key of its witness, or this store was altered.
        UsageError
            Another process hands over.
        StationError
            The disk of this computer is full, read-only or gone.
        """
        with (Store(self._folder, read_only=True) as store, FilesHanded(self._folder, self._witness) as handed,
              handed.work()):
            try:
                return self._work(store, handed, go_on, heard)
            except StationError:
                self._files.look_back_soon()
                raise

    def _work(self, store: Store, handed: FilesHanded, go_on: Callable[[], bool], heard: Callable[[Progress], None]
              ) -> Progress:
        plant = self._client.head()
        self._require_same_log(store.log, plant)
        if plant.size < handed.entries:
            handed.forget()     # the plant was set back to a backup, and its archive may have been, too
        for _ in self._steps(store, handed, plant.size):
            heard(self._progress(store.log, handed, plant.alarm))
            if not go_on():
                break
        return self._progress(store.log, handed, plant.alarm)

    def _steps(self, store: Store, handed: FilesHanded, at_plant: int) -> Iterator[None]:
        """Hand over entries, then files; yield after each exchange that changes something."""
        while at_plant < len(store.log):
            at_plant = self._send_entries(store.log, at_plant)
            yield
        if at_plant > acknowledged(store.log, self._witness):
            self._send_entries(store.log, at_plant - 1)     # the receipt was lost on its way
        yield from self._files.send(store, handed, acknowledged(store.log, self._witness))

    def _progress(self, log: Log, handed: FilesHanded, alarm: str) -> Progress:
        return Progress(len(log), acknowledged(log, self._witness), handed.entries, len(handed.left()), alarm)

    def _require_same_log(self, log: Log, plant: PlantHead) -> None:
        """Raise ForkError unless the plant has the beginning of this log; the plant is told by the head that differs.

        A store that was set back to an old image is shorter than the plant's copy, and sooner or later another.
        """
        size = len(log)
        if plant.size <= size and log.head(plant.size).root == plant.root:
            return
        first = plant.size if plant.size < size else max(size - 1, 0)
        self._send_entries(log, first, seen=plant.size)
        raise ForkError("the plant has another log under this name", size=plant.size, seq=None,
                        where=f"log of {log.origin}", expected=f"{plant.size} entries with root {plant.root.hex()}",
                        got=f"{size} entries with root {log.head().root.hex()}",
                        remedy="Ask who set this store back, or who signs with its key elsewhere.")

    def _send_entries(self, log: Log, first: int, seen: int = 0) -> int:
        """Send entries from `first` on, as many as go at once, and keep the receipt; return how many the plant has."""
        batch = list(_batch(log, first))
        size = first + len(batch)
        head = self._signed_head(log, size)
        if batch:
            batch[-1] = replace(batch[-1], checkpoint=head)
        receipt = self._client.send_entries(first, batch, Request(first, log.consistency(first, size), head), seen)
        if not size <= receipt.size <= len(log):
            raise EvidenceError("the plant acknowledges another number of entries than it was given",
                                where=self._client.address.url, expected=f"{size} to {len(log)}", got=receipt.size,
                                remedy="Ask who changed the plant's copy; nothing here depends on it.")
        add_cosignatures(self._folder, self._signed_head(log, receipt.size) + receipt.line, [self._witness],
                         self._client.address.url)
        return receipt.size

    def _signed_head(self, log: Log, size: int) -> str:
        """Return a head as it was signed then, or, from before there was a key, signed now."""
        return log.checkpoint(size) or self._key.sign(log.head(size).text())


def _batch(log: Log, first: int) -> Iterator[Entry]:
    """Yield as many entries from `first` on as go into one request, one at least, if there is one.

    The last has a signed head if one of the first MOST_UNSIGNED has: those from before there was a key have none.
    EvidenceError when the first was altered; one that comes later ends the batch.
    """
    size, is_signed = 0, False
    for number, entry in enumerate(log.entries(first)):
        if entry.body is None or leaf_hash(entry.body) != entry.leaf:
            if not number:
                log.evidence(entry.seq)     # raises: the one place that says what is wrong with it
            return
        size += len(entry.body)
        is_full = number >= MOST_ENTRIES or size > MOST_BYTES
        if number and is_full and (is_signed or number >= MOST_UNSIGNED):
            return
        is_signed = bool(entry.checkpoint)
        yield entry
