"""What a copy is to have of a store, row by row."""

import sqlite3
from contextlib import closing

from station.record.schema import DATABASE

# All that a copy has of a store: `runs` without the heading, of which it has the purpose only.
WHOLE = ("SELECT run_id, serial, run, started, json_extract(heading, '$.purpose') FROM runs "
         "WHERE run_id IN (SELECT run_id FROM records)",
         "SELECT * FROM records", "SELECT * FROM reference_checks", "SELECT * FROM suspects ORDER BY check_id, run_id",
         "SELECT * FROM statements", "SELECT * FROM log", "SELECT * FROM nodes", "SELECT * FROM log_origin")


def contents(folder):
    """Every row of a store that a copy is to have, and the head beside it."""
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        return [connection.execute(sql).fetchall() for sql in WHOLE], (folder / "log.head").read_text()
