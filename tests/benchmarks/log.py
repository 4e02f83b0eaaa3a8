"""What a long log costs: proofs, appending, opening, and verifying all of it, at 1 k, 30 k and 1 M entries."""

import argparse
import hashlib
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from time import perf_counter

import numpy as np
from figures import Figure, print_figures

from station.record import log_schema
from station.record.log import Log
from station.record.log_check import check_on_opening, tree_faults
from station.record.log_key import LogKey
from station.record.merkle import completed_by, leaf_hash, node_hash, verify_consistency, verify_inclusion
from station.record.store import Store
from station.record.store_folder import HEAD

SIZES = (1_000, 30_000, 1_000_000)
PORTION = 50_000        # rows in one statement
PROOFS = 400
APPENDS = 200

ADD_BODY = "INSERT INTO statements (statement_id, kind, sha256, body) VALUES (?, 'correction', ?, ?)"
ADD_NODE = "INSERT INTO nodes (level, position, hash) VALUES (?, ?, ?)"
ADD_ENTRY = ("INSERT INTO log (seq, kind, subject, leaf, previous, checkpoint) VALUES (?, 'correction', ?, ?, ?, '')")


def fill(log: Log, size: int) -> None:
    """Bring a log to `size` entries of small bodies, a portion at a time, in one transaction and the same tables."""
    begin, connection = len(log), log.connection
    peaks = [log.node(level, (begin >> level) - 1) if begin >> level & 1 else b"" for level in range(40)]
    previous = log.next_place().previous
    connection.execute("BEGIN")
    for trigger in ("log_next", "nodes_replace"):       # what they would refuse is not made here
        connection.execute(f"DROP TRIGGER {trigger}")
    for first in range(begin, size, PORTION):
        bodies, nodes, entries = [], [], []
        for seq in range(first, min(first + PORTION, size)):
            body = b'{"kind":"correction","statement":%d}' % seq
            leaf = reached = leaf_hash(body)
            for level in range(1, completed_by(seq) + 1):
                reached = node_hash(peaks[level - 1], reached)
                nodes.append((level, seq >> level, reached))
            peaks[completed_by(seq)] = reached
            bodies.append((seq + 1, hashlib.sha256(body).hexdigest(), body))
            entries.append((seq, seq + 1, leaf, previous))
            previous = leaf
        connection.executemany(ADD_BODY, bodies)
        connection.executemany(ADD_NODE, nodes)
        connection.executemany(ADD_ENTRY, entries)
    connection.execute("COMMIT")
    connection.executescript(log_schema.TRIGGERS)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")   # so large a write-ahead log is none of a station's


def median_time(jobs) -> tuple[float, float]:
    """Return the median time of the jobs in s, and its standard error, jobs taken as independent."""
    times = []
    for job in jobs:
        start = perf_counter()
        job()
        times.append(perf_counter() - start)
    return float(np.median(times)), 1.253 * float(np.std(times)) / len(times) ** 0.5


def proofs(log: Log, rng: np.random.Generator) -> list[Figure]:
    """Figures of proofs of random entries in the whole log, each verified."""
    size, head = len(log), log.head()
    chosen = [int(seq) for seq in rng.integers(0, size, PROOFS)]
    for seq in chosen[:50]:
        assert verify_inclusion(log.node(0, seq), seq, size, log.inclusion(seq, size), head.root)
        assert verify_consistency(seq + 1, size, log.head(seq + 1).root, head.root, log.consistency(seq + 1, size))
    most = 1.0 if size == SIZES[-1] else None
    kinds = {"inclusion": log.inclusion, "consistency": lambda seq, size: log.consistency(seq + 1, size)}
    found = []
    for name, ask in kinds.items():
        time, error = median_time([lambda seq=seq, ask=ask: ask(seq, size) for seq in chosen])
        found.append(Figure(f"{size:,} entries, proof of {name}", 1e3 * time, 1e3 * error, most=most, unit="ms"))
    return found


def appending(log: Log) -> float:
    """Return the median time in s to append and sign one more entry, without what the disk takes."""
    log.connection.execute("BEGIN")
    time, _ = median_time([lambda: log.append(log.next_place(), "retention", len(log), b"{}")] * APPENDS)
    log.connection.execute("ROLLBACK")
    return time


def verifying(log: Log, repeats: int) -> list[Figure]:
    """Figures of the whole verification, against the bare hashes that it consists of."""
    size, whole, bare = len(log), [], []
    leaves = [leaf_hash(b"%d" % number) for number in range(PORTION)]
    for _ in range(repeats):
        start = perf_counter()
        assert list(tree_faults(log)) == []
        whole.append((perf_counter() - start) / size)
        start = perf_counter()
        for left, right in pairwise(leaves):
            hashlib.sha256(b"\x01" + left + right).digest()
        bare.append((perf_counter() - start) / PORTION)
    return [Figure(f"{size:,} entries, whole verification", 1e-3 / min(whole), least=200.0, unit="k leaves/s"),
            Figure(f"{size:,} entries, whole verification / bare hashes", min(whole) / min(bare))]


def main(arguments: list[str] | None = None) -> int:
    """Print the table; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=6, help="repeats of the whole verification")
    trials = parser.parse_args(arguments).trials
    print("\nThe log of a station, signed, in SQLite on this disk")
    found, appends = [], {}
    with tempfile.TemporaryDirectory() as folder:
        key = LogKey.make(Path(folder) / "keys", "varnholt-1")
        with Store(Path(folder) / "store", log_key=key) as store:
            for size in SIZES:
                fill(store.log, size)
                assert len(store.log) == size
                appends[size] = appending(store.log)
                found += proofs(store.log, np.random.default_rng(size))
            found += verifying(store.log, trials)
            opening, _ = median_time([lambda: check_on_opening(store.log, store.folder / HEAD)] * trials)
    found += [Figure(f"{size:,} entries, append and sign one", 1e3 * appends[size], unit="ms") for size in SIZES]
    found.append(Figure("append at 1 M over append at 1 k", appends[SIZES[-1]] / appends[SIZES[0]], most=3.0))
    found.append(Figure("1 M entries, check at every start", opening, unit="s"))
    return print_figures("proofs, appending, verifying", found)


if __name__ == "__main__":
    sys.exit(main())
