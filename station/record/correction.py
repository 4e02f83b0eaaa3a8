"""Corrections: a run declared void, or a note on it, in statements that leave the record as it is."""

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any, Literal

from station.errors import UsageError
from station.record.evidence import Evidence
from station.record.schema import has_log
from station.record.statement import Statement

FORMAT = 1
What = Literal["void", "note"]

# The numbers of the runs that a correction declares void. It names the record by its place in the log.
VOID_RUNS = """
SELECT log.subject FROM statements
JOIN log ON log.kind = 'record' AND log.seq = json_extract(CAST(statements.body AS TEXT), '$.of.seq')
WHERE statements.kind = 'correction' AND json_extract(CAST(statements.body AS TEXT), '$.what') = 'void'
"""
NO_RUNS = "SELECT NULL WHERE FALSE"     # of a store from before there were corrections


def correction(record: Mapping[str, Any], evidence: Evidence, earlier: Iterable[Statement], *, what: What, person: str,
               reason: str, at: str) -> dict[str, Any]:
    """Return what is to be stated about `record`, whose place in the log `evidence` proves.

    `earlier` are the corrections so far; `at` is the instant as `station.clock.stamp` writes it.

    Raises
    ------
    UsageError
        Nobody answers for it, no reason is given, or the run is void already or was no production.
    """
    where = f"{record['serial']} run {record['run']}"
    for name, text in (("person", person), ("reason", reason)):
        if not text.strip():
            raise UsageError(f"a correction without a {name}", where=where, expected="words that say it",
                             got=repr(text), remedy="Say who corrects the record, and why.")
    if what == "void" and record.get("purpose"):
        raise UsageError("this run was no production", where=where, expected="a run of the production",
                         got=record["purpose"], remedy="Its reference check stands; make another one.")
    if what == "void" and is_void(record, earlier):
        raise UsageError("the run is void already", where=where, expected="a run that counts", got="a void one",
                         remedy="Add a note if there is more to say.")
    return {"format": FORMAT, "what": what, "person": person.strip(), "reason": reason.strip(), "at": at,
            "of": {"seq": evidence.seq, "leaf": evidence.leaf.hex(), "serial": record["serial"], "run": record["run"]}}


def corrections_of(record: Mapping[str, Any], corrections: Iterable[Statement]) -> list[Statement]:
    """Return the corrections of one record, oldest first as they are given."""
    return [said for said in corrections
            if (said["of"]["serial"], said["of"]["run"]) == (record["serial"], record["run"])]


def is_void(record: Mapping[str, Any], corrections: Iterable[Statement]) -> bool:
    """Return whether a correction declares the run of `record` void."""
    return any(said["what"] == "void" for said in corrections_of(record, corrections))


def void_in(corrections: Iterable[Statement]) -> frozenset[tuple[str, int]]:
    """Return serial and run of every run that some of the corrections declare void."""
    return frozenset((said["of"]["serial"], said["of"]["run"]) for said in corrections if said["what"] == "void")


def void_runs(connection: sqlite3.Connection) -> str:
    """Return the SQL that selects the runs declared void in this store, which may be from before there were any."""
    return VOID_RUNS if has_log(connection) else NO_RUNS
