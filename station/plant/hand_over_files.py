"""Handing over files: what entries name, in the order of the log, and the certificates beside them."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TypeVar

from station.clock import Clock
from station.errors import EvidenceError
from station.plant.files_handed import FilesHanded
from station.plant.named_files import certificate_at, certificate_of, certificates_in, files_of
from station.plant.plant_client import PlantClient, SentFile
from station.plant.refused import ForkError
from station.record.log import Entry
from station.record.retention import removed_files
from station.record.store import Store
from station.record.stored_file import read_stored

PORTION = 100           # entries whose files are handed over together; certificates, too
MOST_NAMES = 500        # of one question
LOOK_BACK = 3600.0      # s between looks at what was handed over before

Item = TypeVar("Item")


class FileHandOver:
    """Sends the files of one store to one plant.

    A certificate is issued a moment after its entry, or never. So those of new entries are awaited, in memory, and
    all are looked through at the beginning and now and then: a store may hold millions.
    """

    def __init__(self, client: PlantClient, clock: Clock) -> None:
        self._client, self._clock = client, clock
        self._awaited: dict[str, None] = {}
        self._looked_back = -LOOK_BACK

    def look_back_soon(self) -> None:
        """Look at what was handed over before, next time: the plant may have been set back to a backup."""
        self._looked_back = -LOOK_BACK

    def send(self, store: Store, handed: FilesHanded, end: int) -> Iterator[None]:
        """Send every file that entries below `end` name and the plant lacks, and certificates; yield after each step.

        A file that cannot be read, that is not what its entry says, or of which the plant has another one by that
        name, holds up no other: it is noted as left, and tried again later. One that a rule has removed is left out.
        Errors as those of the client and of `handed`.
        """
        if self._clock.monotonic() - self._looked_back >= LOOK_BACK:
            yield from self._look_back(store, handed)
            self._looked_back = self._clock.monotonic()
        while (first := handed.entries) < end:
            entries = _portion(store, first, end)
            yield from self._send(store, handed, _named(entries))
            self._awaited |= dict.fromkeys(filter(None, map(certificate_of, entries)))
            handed.note_entries(first + len(entries))
            yield
        issued = [name for name in self._awaited if (store.folder / name).is_file()]
        yield from self._send_certificates(store, handed, issued)
        for name in issued:
            del self._awaited[name]

    def _look_back(self, store: Store, handed: FilesHanded) -> Iterator[None]:
        """Offer again what was left, the newest files, and every certificate that is not known to be at the plant.

        The newest are those that a backup of the plant may lack though it has their entries.
        """
        end = handed.entries
        newest = _portion(store, max(0, end - PORTION), end)
        yield from self._send(store, handed, [*handed.left(), *_named(newest)])
        papers = (name for name in map(certificate_of, newest) if name and (store.folder / name).is_file())
        names = dict.fromkeys([*papers, *handed.new_certificates(certificates_in(store.folder))])
        yield from self._send_certificates(store, handed, list(names))

    def _send_certificates(self, store: Store, handed: FilesHanded, names: Sequence[str]) -> Iterator[None]:
        for portion in _portions(names, PORTION):
            yield from self._send(store, handed, [certificate_at(store.folder, name) for name in portion])
            handed.note_certificates(portion)
            yield

    def _send(self, store: Store, handed: FilesHanded, files: Iterable[SentFile]) -> Iterator[None]:
        """Send those of `files` that the plant lacks."""
        for portion in _portions(files, MOST_NAMES):
            missing = self._client.missing(portion)
            for file in portion:
                why = self._send_one(store, file) if file.name in missing else ""
                handed.note_left(file, why)
                if file.name in missing:
                    yield

    def _send_one(self, store: Store, file: SentFile) -> str:
        """Send a file; return why it is left, empty where it is not."""
        try:
            content = read_stored(store.folder, {"file": file.name, "sha256": file.sha256}, lambda: [])
            self._client.send_file(file.name, content)
        except ForkError as error:
            return f"{error.what}: {error.got}"
        except EvidenceError as error:
            is_removed = file.name in removed_files(store.statements("retention"))
            return "" if is_removed else f"{error.what}: {error.got}"
        return ""


def _portion(store: Store, first: int, end: int) -> list[Entry]:
    return list(store.log.entries(first, min(first + PORTION, end)))


def _named(entries: Sequence[Entry]) -> Iterable[SentFile]:
    return {file.name: file for entry in entries for file in files_of(entry)}.values()


def _portions(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    rest = iter(items)
    while portion := list(islice(rest, size)):
        yield portion
