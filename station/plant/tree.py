"""The plant's copy of a log's Merkle tree: as the database holds it, and as it grows by what was sent."""

from collections.abc import Sequence

from sqlalchemy import Connection, select, tuple_

from station.plant.schema import entries, nodes
from station.record.merkle import EMPTY_ROOT, Node, completed_by, node_hash

Place = tuple[int, int]     # level and position


def stored_node(connection: Connection, station: int) -> Node:
    """Return the complete subtrees that the database holds, one asked for at a time."""
    def node(level: int, position: int) -> bytes:
        return _stored(connection, station, [(level, position)])[level, position]
    return node


class Growth:
    """A tree of `size` leaves whose complete subtrees are in the database, and what is added to it in memory."""

    def __init__(self, connection: Connection, station: int, size: int) -> None:
        self.size = size
        self.added: list[tuple[Place, bytes]] = []      # subtrees above leaves that are complete since
        places = [(level, (size >> level) - 1) for level in range(size.bit_length()) if size >> level & 1]
        stored = _stored(connection, station, places)
        self._peaks = [stored[place] for place in reversed(places)]     # highest first

    def add(self, leaf: bytes) -> bytes:
        """Add a leaf and return the root that it makes."""
        reached = leaf
        for level in range(1, completed_by(self.size) + 1):
            reached = node_hash(self._peaks.pop(), reached)
            self.added.append(((level, self.size >> level), reached))
        self._peaks.append(reached)
        self.size += 1
        return self.root()

    def root(self) -> bytes:
        """Return the root over all leaves: what is over the complete subtrees, from the smallest on."""
        if not self._peaks:
            return EMPTY_ROOT
        reached = self._peaks[-1]
        for peak in reversed(self._peaks[:-1]):
            reached = node_hash(peak, reached)
        return reached


def _stored(connection: Connection, station: int, places: Sequence[Place]) -> dict[Place, bytes]:
    """Return the hashes at some places; those of leaves stand with their entries."""
    above = [place for place in places if place[0]]
    leaves = [position for level, position in places if not level]
    found: dict[Place, bytes] = {}
    if above:
        query = select(nodes.c.level, nodes.c.position, nodes.c.hash).where(
            nodes.c.station == station, tuple_(nodes.c.level, nodes.c.position).in_(above))
        found |= {(level, position): found_hash for level, position, found_hash in connection.execute(query)}
    if leaves:
        of_leaves = select(entries.c.seq, entries.c.leaf).where(entries.c.station == station,
                                                                entries.c.seq.in_(leaves))
        found |= {(0, seq): leaf for seq, leaf in connection.execute(of_leaves)}
    return found
