"""What may be on the medium after a power cut: all that was synced, and any part of the rest.

Every synced write is there; of the others a random subset, some torn at sectors. Names made, moved or removed are
there for certain only once their folder was synced; a rename is there whole or not at all. The method is that of
Pillai et al., "All file systems are not created equal", OSDI 2014 (from memory), in small.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from system_calls import Create, Cut, Event, MakeFolder, Remove, Rename, Said, Sync, Write

SECTOR = 512            # bytes that a disk writes whole
TORN = 0.3              # share of the writes without sync of which only some sectors arrived


@dataclass
class Change:
    """One change of a file: bytes at an offset, or a new length."""

    number: int
    offset: int
    content: bytes | None
    is_durable: bool = False


@dataclass
class Content:
    """A file by its changes, whatever its name is."""

    changes: list[Change] = field(default_factory=list)


FOLDER = Content()
Names = dict[str, Content | None]       # None: the name is taken away


@dataclass
class Disk:
    """A folder as its events leave it, told apart into what is durable and what is not."""

    root: str
    _visible: dict[str, Content] = field(default_factory=dict)
    _durable: dict[str, Content] = field(default_factory=dict)
    _pending: list[tuple[int, Names]] = field(default_factory=list)
    _number: int = 0

    def apply(self, number: int, event: Event) -> None:
        """Take in event `number` of the trace."""
        self._number = number
        match event:
            case Create(path):
                self._name({path: Content()})
            case MakeFolder(path):
                self._name({path: FOLDER})
            case Write(path, offset, content):
                self._visible[path].changes.append(Change(self._number, offset, content))
            case Cut(path, size):
                self._visible[path].changes.append(Change(self._number, size, None))
            case Rename(path, to):
                self._name({path: None, to: self._visible[path]})
            case Remove(path):
                self._name({path: None})
            case Sync(path, began):
                self._sync(path, began)
            case Said():
                pass

    def after_cut(self, drawn: random.Random, share: float) -> dict[str, bytes | None]:
        """Return a state that the medium may be in now, by path; None stands for a folder.

        `share` is the probability of each change that is not durable to have arrived.
        """
        names = dict(self._durable)
        for _, change in self._pending:
            if drawn.random() < share:
                _rename(names, change)
        present = {path: found for path, found in names.items() if self._is_reached(path, names)}
        return {path: None if found is FOLDER else _content(found, drawn, share) for path, found in present.items()}

    def _name(self, change: Names) -> None:
        self._pending.append((self._number, change))
        _rename(self._visible, change)

    def _sync(self, path: str, began: int) -> None:
        if path in self._visible and self._visible[path] is not FOLDER:
            for change in self._visible[path].changes:
                change.is_durable |= change.number < began
            return
        for number, change in self._pending:
            if number < began and _folder_of(change) == path:
                _rename(self._durable, change)
        self._pending = [(number, change) for number, change in self._pending
                         if number >= began or _folder_of(change) != path]

    def _is_reached(self, path: str, names: dict[str, Content]) -> bool:
        parent = path.rpartition("/")[0]
        return parent == self.root or (parent in names and self._is_reached(parent, names))


def cuts(events: Sequence[tuple[int, Event]], root: Path, drawn: random.Random, count: int, first: int = 0
         ) -> Iterator[tuple[int, dict[str, bytes | None]]]:
    """Yield `count` states after cuts at random events from index `first` on: (events before the cut, state).

    `events` come with their numbers in the trace.
    """
    disk, done = Disk(str(root)), 0
    for at in sorted(drawn.randint(first, len(events)) for _ in range(count)):
        for number, event in events[done:at]:
            disk.apply(number, event)
        done = at
        # From a disk that had written nothing of its own accord to one that had written nearly everything.
        yield at, disk.after_cut(drawn, drawn.choice((0.0, 0.3, 0.7, 0.95)))


def rebuild(state: dict[str, bytes | None], root: Path, into: Path) -> None:
    """Write a state as files into the folder `into`."""
    for path in sorted(state):
        target, content = into / Path(path).relative_to(root), state[path]
        if content is None:
            target.mkdir(parents=True, exist_ok=True)
        else:
            target.write_bytes(content)


def _rename(names: dict[str, Content], change: Names) -> None:
    for path, content in change.items():
        if content is None:
            names.pop(path, None)
        else:
            names[path] = content


def _folder_of(change: Names) -> str:
    folders = {path.rpartition("/")[0] for path in change}
    if len(folders) > 1:
        raise RuntimeError("a rename between folders is not modelled")
    return folders.pop()


def _content(found: Content, drawn: random.Random, share: float) -> bytes:
    built = bytearray()
    for change in found.changes:
        if change.is_durable or drawn.random() < share:
            _build(built, change, drawn)
    return bytes(built)


def _build(built: bytearray, change: Change, drawn: random.Random) -> None:
    if change.content is None:
        del built[change.offset:]
        built.extend(bytes(change.offset - len(built)))
        return
    end, is_torn = change.offset + len(change.content), not change.is_durable and drawn.random() < TORN
    sectors = range(change.offset - change.offset % SECTOR + SECTOR, end, SECTOR) if is_torn else ()
    for start, until in pairwise((change.offset, *sectors, end)):
        if not (is_torn and drawn.random() < 0.5):
            built.extend(bytes(max(0, until - len(built))))
            built[start:until] = change.content[start - change.offset:until - change.offset]
