"""The earlier runs of a motor, as the record of its next run names them."""

import sqlite3
from dataclasses import dataclass
from typing import Any

from station.record.record import read_body

# Runs of a reference check are no attempts: a reference motor is tested every shift.
_ATTEMPTS = """
SELECT run_id IN ({void}), log.leaf,
  records.serial, records.run, motor_type, verdict, records.started, sha256, body
FROM records JOIN runs USING (run_id) JOIN log ON log.kind = 'record' AND log.subject = run_id
WHERE records.serial = ? AND json_extract(runs.heading, '$.purpose') IS NULL
ORDER BY records.run
"""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One earlier run; `leaf` is that of its record in the log, so that it cannot be exchanged afterwards."""

    run: int
    started: str
    verdict: str
    void: bool
    leaf: bytes

    @property
    def counts(self) -> bool:
        """Whether it uses up one of the runs that the limit file allows."""
        return self.verdict != "NO RESULT" and not self.void

    def as_record(self) -> dict[str, Any]:
        """Return the entry of the record."""
        return {"run": self.run, "started": self.started, "verdict": self.verdict, "void": self.void,
                "leaf": self.leaf.hex()}


def attempts_at(connection: sqlite3.Connection, serial: str, void: str) -> tuple[Attempt, ...]:
    """Return the stored runs of the motor `serial` in the production; `void` is the SQL of those declared void.

    EvidenceError when a record was altered.
    """
    rows = connection.execute(_ATTEMPTS.format(void=void), (serial,))
    earlier = ((bool(void), leaf, read_body(tuple(row))) for void, leaf, *row in rows)
    return tuple(Attempt(record["run"], record["started"], record["verdict"], void, leaf)
                 for void, leaf, record in earlier)
