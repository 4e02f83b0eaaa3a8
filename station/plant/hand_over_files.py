"""Handing over files: what entries name, in the order of the log, then the certificates beside them."""

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

from station.errors import EvidenceError
from station.plant.files_handed import FilesHanded
from station.plant.named_files import certificate_at, certificates_in, files_of
from station.plant.plant_client import PlantClient, SentFile
from station.plant.refused import ForkError
from station.record.retention import removed_files
from station.record.store import Store
from station.record.stored_file import read_stored

Item = TypeVar("Item")

PORTION = 100       # entries whose files are handed over together; certificates, too
MOST_NAMES = 500    # of one question


def send_files(store: Store, handed: FilesHanded, client: PlantClient, end: int) -> Iterator[None]:
    """Send every file that entries below `end` name and the plant lacks, then certificates; yield after each step.

    A file that cannot be read, that is not what its entry says, or of which the plant has another one by that name,
    holds up no other: it is noted as left, and tried again in each round. One that a rule has removed is left out.
    Errors as those of `client` and of `handed`.
    """
    yield from _send(store, handed, client, handed.left())
    while (first := handed.entries) < end:
        entries = list(store.log.entries(first, min(first + PORTION, end)))
        named = {file.name: file for entry in entries for file in files_of(entry)}
        yield from _send(store, handed, client, named.values())
        handed.note_entries(first + len(entries))
        yield
    for names in _portions(handed.new_certificates(certificates_in(store.folder)), PORTION):
        yield from _send(store, handed, client, [certificate_at(store.folder, name) for name in names])
        handed.note_certificates(names)
        yield


def _send(store: Store, handed: FilesHanded, client: PlantClient, files: Iterable[SentFile]) -> Iterator[None]:
    """Send those of `files` that the plant lacks."""
    for portion in _portions(files, MOST_NAMES):
        missing = client.missing(portion)
        for file in portion:
            why = _send_one(store, client, file) if file.name in missing else ""
            handed.note_left(file, why)
            yield


def _send_one(store: Store, client: PlantClient, file: SentFile) -> str:
    """Send a file; return why it is left, empty where it is not."""
    try:
        content = read_stored(store.folder, {"file": file.name, "sha256": file.sha256}, lambda: [])
        client.send_file(file.name, content)
    except ForkError as error:
        return f"{error.what}: {error.got}"
    except EvidenceError as error:
        is_removed = file.name in removed_files(store.statements("retention"))
        return "" if is_removed else f"{error.what}: {error.got}"
    return ""


def _portions(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    rest = iter(items)
    while portion := list(islice(rest, size)):
        yield portion
