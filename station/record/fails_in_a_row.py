"""How many motors have failed one after the other: a hint that the bench may be at fault, which outlives a restart."""

import sqlite3

from station.record.correction import void_runs
from station.record.trail_entry import UNLOCKED

# What ends a row of failures: a motor that passed, a GOOD reference check, or somebody who looked why and unlocked
# the line. Order is that of the log, never of the clock. Read from the newest entry on, so only as far as the row goes.
_ENDED = """
SELECT seq FROM log WHERE
  kind = 'record' AND subject IN (SELECT run_id FROM ({production}) WHERE run_id = log.subject AND verdict = 'PASS')
  OR kind = 'reference check' AND 'GOOD' = (SELECT result FROM reference_checks WHERE check_id = log.subject)
  OR kind = 'trail' AND EXISTS (
    SELECT 1 FROM statements, json_each(CAST(statements.body AS TEXT), '$.entries') AS entry
    WHERE statement_id = log.subject AND json_extract(entry.value, '$.what') = :unlocked)
ORDER BY seq DESC LIMIT 1
"""
_FAILED = """
SELECT count(*) FROM log JOIN ({production}) AS tested ON log.kind = 'record' AND log.subject = tested.run_id
WHERE seq > :ended AND verdict = 'FAIL'
"""
_PRODUCTION = """
SELECT run_id, verdict FROM records JOIN runs USING (run_id)
WHERE json_extract(runs.heading, '$.purpose') IS NULL AND run_id NOT IN ({void})
"""


def fails_in_a_row(connection: sqlite3.Connection) -> int:
    """Return how many motors of the production failed since one passed; those without a result count as neither."""
    production = _PRODUCTION.format(void=void_runs(connection))
    ended = connection.execute(_ENDED.format(production=production), {"unlocked": UNLOCKED}).fetchone()
    count, = connection.execute(_FAILED.format(production=production), {"ended": ended[0] if ended else -1}).fetchone()
    return int(count)
