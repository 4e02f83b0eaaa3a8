"""Finding stored tests, and the yield that they amount to."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from station.errors import UsageError
from station.judgement.verdict import Verdict
from station.record import schema
from station.record.correction import void_runs
from station.record.merkle import leaf_hash
from station.record.record import Record, read_body


@dataclass(frozen=True, slots=True)
class Yield:
    """How many motors have a result, and how many passed in their first and in their last run with one."""

    motors: int
    passed_first: int
    passed_last: int

    @property
    def first_pass(self) -> float | None:
        """First-pass yield, 0…1; None without a motor."""
        return self.passed_first / self.motors if self.motors else None


def find_records(
    connection: sqlite3.Connection, *, serial: str = "*", verdict: str | None = None, since: str | None = None,
    until: str | None = None, motor_type: str | None = None,
) -> Iterator[Record]:
    """Yield the records that fit, oldest first, each checked against its hash.

    `serial` may hold * and ?; `since` and `until` are ISO 8601 dates or instants in UTC, both included.

    Raises
    ------
    UsageError
        `verdict` is none of the three.
    EvidenceError
        A record was altered.
    """
    if verdict is not None and verdict not in set(Verdict):
        raise UsageError("unknown verdict", where="records", expected="PASS, FAIL or NO RESULT", got=repr(verdict),
                         remedy="Spell it as in that list.")
    wanted = {"serial": serial.replace("[", "[[]"), "verdict": verdict, "since": since, "until": until,
              "motor_type": motor_type}
    return (read_body(row) for row in connection.execute(schema.FIND, wanted))


def records_with_leaves(connection: sqlite3.Connection, motor_type: str | None = None
                        ) -> Iterator[tuple[Record, bytes]]:
    """Yield every record, or those of a motor type, as `find_records`, each with the hash of its leaf in the log.

    That is taken of the bytes as they are stored: making them anew takes ten times as long as all the rest.
    """
    wanted = {"serial": "*", "verdict": None, "since": None, "until": None, "motor_type": motor_type}
    return ((read_body(row), leaf_hash(row[-1])) for row in connection.execute(schema.FIND, wanted))


def show_records(connection: sqlite3.Connection, serial: str) -> list[Record]:
    """Return every record of one motor, first run first; errors as `find_records`."""
    return [read_body(row) for row in connection.execute(schema.SHOW, (serial,))]


def records_made_for(connection: sqlite3.Connection, purpose: str) -> Iterator[Record]:
    """Yield the records of runs made for a purpose, such as a gauge study, oldest first; errors as `find_records`."""
    return (read_body(row) for row in connection.execute(schema.MADE_FOR, (purpose,)))


def purposes(connection: sqlite3.Connection) -> list[str]:
    """Return what runs were made for besides the production, that begun last at the end."""
    return [purpose for (purpose,) in connection.execute(schema.PURPOSES)]


def motor_types(connection: sqlite3.Connection) -> list[str]:
    """Return the motor types that there are records of, without those of interrupted runs that knew none."""
    return [name for (name,) in connection.execute(schema.TYPES)]


def count_yield(
    connection: sqlite3.Connection, *, motor_type: str | None = None, since: str | None = None,
    until: str | None = None,
) -> Yield:
    """Return the yield of the motors whose first run with a result falls in the time asked for.

    A run without a result counts as neither, nor does a void one; a later run never makes a first pass.
    """
    valid = schema.VALID_RUNS.format(void=void_runs(connection))
    rows = connection.execute(valid, {"motor_type": motor_type, "since": since, "until": until}).fetchall()
    first, last = ([row[which] == Verdict.PASS for row in rows] for which in (0, 1))
    return Yield(len(rows), sum(first), sum(last))
