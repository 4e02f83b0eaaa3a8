"""What somebody could do to an archive who has all of it on a disk of theirs, but not the keys."""

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path

from station.record.checkpoint import Checkpoint
from station.record.merkle import leaf_hash, node_hash, root_of
from station.record.record import canonical

TABLES = {"record": ("records", "run_id"), "reference check": ("reference_checks", "check_id"),
          "correction": ("statements", "statement_id")}


def database(archive: Path) -> Path:
    return archive / "store" / "records.sqlite"


def carry_out(archive, *statements):
    """Carry out SQL (with its arguments in a tuple), the triggers against it removed first."""
    with closing(sqlite3.connect(database(archive), isolation_level=None)) as connection:
        for name, in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            changed = connection.execute(*([statement] if isinstance(statement, str) else statement)).rowcount
            assert changed, statement


def rows(archive, sql, *arguments):
    with closing(sqlite3.connect(database(archive))) as connection:
        return connection.execute(sql, arguments).fetchall()


def body(archive, seq):
    """The body of an entry, parsed."""
    (kind, subject), = rows(archive, "SELECT kind, subject FROM log WHERE seq = ?", seq)
    table, key = TABLES[kind]
    return json.loads(rows(archive, f"SELECT body FROM {table} WHERE {key} = ?", subject)[0][0])


def put_body(archive, seq, changed, *, sha256=False, leaf=False):
    """Put another body in place of that of an entry, with its columns made to fit as far as asked for."""
    (kind, subject), = rows(archive, "SELECT kind, subject FROM log WHERE seq = ?", seq)
    table, key = TABLES[kind]
    content = canonical(changed)
    carry_out(archive, (f"UPDATE {table} SET body = ? WHERE {key} = ?", (content, subject)))
    if sha256:
        carry_out(archive, (f"UPDATE {table} SET sha256 = ? WHERE {key} = ?",
                            (hashlib.sha256(content).hexdigest(), subject)))
    if leaf:
        carry_out(archive, ("UPDATE log SET leaf = ? WHERE seq = ?", (leaf_hash(content), seq)))


def rebuild_log(archive, sign):
    """Make everything fit again from the bodies on: places, hashes, chain, tree, and heads by `sign(text)`."""
    origin = rows(archive, "SELECT origin FROM log_origin")[0][0]
    leaves, previous = [], None
    for seq, in rows(archive, "SELECT seq FROM log ORDER BY seq"):
        said = body(archive, seq)
        said["log"] = {"origin": origin, "seq": seq, "previous_leaf": previous.hex() if previous else None}
        put_body(archive, seq, said, sha256=True, leaf=True)
        leaves.append(leaf_hash(canonical(said)))
        note = sign(Checkpoint(origin, seq + 1, root_of(leaves)).text())
        carry_out(archive, ("UPDATE log SET previous = ?, checkpoint = ? WHERE seq = ?", (previous, note, seq)))
        previous = leaves[-1]
    level = leaves
    carry_out(archive, "DELETE FROM nodes")
    for height in range(1, 8):
        level = [node_hash(*pair) for pair in zip(level[0::2], level[1::2], strict=False)]
        for position, found in enumerate(level):
            carry_out(archive, ("INSERT INTO nodes (level, position, hash) VALUES (?, ?, ?)",
                                (height, position, found)))


def flip(path, place=None, bit=0):
    """Flip one bit of a file, in the middle unless told where."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2 if place is None else place] ^= 1 << bit
    path.write_bytes(bytes(content))


def swap(one, other):
    first, second = one.read_bytes(), other.read_bytes()
    one.write_bytes(second)
    other.write_bytes(first)
