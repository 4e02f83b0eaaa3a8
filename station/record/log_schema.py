"""The tables of the log, which only grow."""

# `subject` is the number of the row that the entry is about, in the table of its kind. `nodes` holds the subtrees that
# are complete, from level 1 on, so that no proof needs more than a few of them.
TABLES = """
CREATE TABLE IF NOT EXISTS log_origin (only INTEGER PRIMARY KEY CHECK (only = 0), origin TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS log (
    seq INTEGER PRIMARY KEY CHECK (seq >= 0),
    kind TEXT NOT NULL CHECK (kind IN ('record', 'reference check', 'correction', 'retention', 'release', 'trail')),
    subject INTEGER NOT NULL,
    leaf BLOB NOT NULL CHECK (length(leaf) = 32),
    previous BLOB CHECK (length(previous) = 32),
    checkpoint TEXT NOT NULL,
    UNIQUE (kind, subject)
) STRICT;
CREATE TABLE IF NOT EXISTS nodes (
    level INTEGER NOT NULL CHECK (level >= 1),
    position INTEGER NOT NULL,
    hash BLOB NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (level, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS cosignatures (
    size INTEGER NOT NULL,
    line TEXT NOT NULL,
    PRIMARY KEY (size, line)
) STRICT;
"""

TRIGGERS = """
CREATE TRIGGER IF NOT EXISTS log_next BEFORE INSERT ON log
WHEN NEW.seq <> coalesce((SELECT max(seq) + 1 FROM log), 0)
  OR NEW.previous IS NOT (SELECT leaf FROM log ORDER BY seq DESC LIMIT 1)
  OR EXISTS (SELECT 1 FROM log WHERE kind = NEW.kind AND subject = NEW.subject)
BEGIN SELECT RAISE(ABORT, 'the log has no gaps and is never changed'); END;
CREATE TRIGGER IF NOT EXISTS log_update BEFORE UPDATE ON log
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS log_delete BEFORE DELETE ON log
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS nodes_update BEFORE UPDATE ON nodes
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS nodes_delete BEFORE DELETE ON nodes
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS log_origin_update BEFORE UPDATE ON log_origin
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS log_origin_delete BEFORE DELETE ON log_origin
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS cosignatures_update BEFORE UPDATE ON cosignatures
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS cosignatures_delete BEFORE DELETE ON cosignatures
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS nodes_replace BEFORE INSERT ON nodes
WHEN EXISTS (SELECT 1 FROM nodes WHERE level = NEW.level AND position = NEW.position)
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER IF NOT EXISTS log_origin_replace BEFORE INSERT ON log_origin
WHEN EXISTS (SELECT 1 FROM log_origin)
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
"""
