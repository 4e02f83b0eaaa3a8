"""The index over what was handed over: rows that repeat what bodies say, written in the transaction of the entries."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from functools import cache
from typing import Any

from sqlalchemy import Connection, Insert, Table, exists, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from station.plant.batch import Sent
from station.plant.record_index import Glimpse, Setup, glimpse
from station.plant.schema import corrections, day_sums, records, setup_instruments, setups
from station.plant.yield_change import Change, Result, changes

Row = dict[str, Any]
Motors = defaultdict[str, dict[int, Result]]    # by serial number: the runs that count, by their places in the log
_EVERY = 2**62      # more than any place in a log
_SUMS = ("motors", "passed_first", "passed_last")


class Index:
    """Adds to the index what the entries of one station say, in order; the station is locked meanwhile."""

    def __init__(self, connection: Connection, station: int) -> None:
        self._connection = connection
        self._station = station
        self._setups: dict[Setup, int] = {}

    def add(self, entries: Sequence[Sent]) -> list[int]:
        """Add rows for entries that are in the database; return which records could not be read."""
        seen = {each.seq: glimpse(each.body) for each in entries if each.kind == "record"}
        readable = {seq: record for seq, record in seen.items() if record is not None}
        said = {each.seq: _correction(each.body) for each in entries if each.kind == "correction"}
        corrected = {seq: words for seq, words in said.items() if words is not None}
        self._insert(records, [self._record(seq, record) for seq, record in readable.items()])
        self._insert(corrections, [self._row(seq, what=what, of=of) for seq, (what, of) in corrected.items()])
        counting = {seq: record for seq, record in readable.items() if record.counts}
        void = {seq: of for seq, (what, of) in corrected.items() if what == "void"}
        self._add_up(self._changes(counting, void, entries[0].seq if entries else 0))
        return sorted(seen.keys() - readable.keys())

    def _record(self, seq: int, record: Glimpse) -> Row:
        return self._row(seq, serial=record.serial, run=record.run, verdict=record.verdict, purpose=record.purpose,
                         started=record.started, setup=self._setup(record.setup))

    def _setup(self, setup: Setup) -> int:
        """Return the number of a setup, which is added where it is new."""
        if setup not in self._setups:
            digest = setup.digest()
            known = self._connection.execute(select(setups.c.setup).where(
                setups.c.station == self._station, setups.c.digest == digest)).scalar()
            self._setups[setup] = self._new_setup(setup, digest) if known is None else known
        return self._setups[setup]

    def _new_setup(self, setup: Setup, digest: bytes) -> int:
        said = asdict(setup)
        instruments = said.pop("instruments")
        row = {**said, "station": self._station, "digest": digest}
        number: int = self._connection.execute(insert(setups).returning(setups.c.setup), row).scalar_one()
        self._insert(setup_instruments, [{**one, "setup": number, "number": place}
                                         for place, one in enumerate(instruments)])
        return number

    def _changes(self, counting: Mapping[int, Glimpse], void: Mapping[int, int], first: int) -> list[Change]:
        """Return what each record that counts, and each run declared void, changes in the yield."""
        again = {record.serial for record in counting.values() if record.run > 1}
        motors = self._motors(again | self._serials(void.values()), first)
        serial_of = {seq: serial for serial, runs in motors.items() for seq in runs}
        changed: list[Change] = []
        for seq in sorted([*counting, *void]):
            of = void.get(seq, seq)
            serial = counting[seq].serial if seq in counting else serial_of.get(of)
            if serial is None:
                continue        # declared void is a run that has no say in the yield
            runs = motors[serial]
            before = list(runs.values())
            if seq in counting:
                runs[seq], serial_of[seq] = _result(counting[seq]), serial
            else:
                runs.pop(of, None)
            changed += changes(before, runs.values())
        return changed

    def _add_up(self, changed: Iterable[Change]) -> None:
        """Add changes to the sums of their days."""
        sums: Counter[tuple[str, str, str]] = Counter()
        for change in changed:
            for name in _SUMS:
                sums[change.day, change.motor_type, name] += getattr(change, name)
        days = sorted({(day, motor_type) for day, motor_type, _ in sums})
        rows = [{"station": self._station, "day": day, "motor_type": motor_type,
                 **{name: sums[day, motor_type, name] for name in _SUMS}} for day, motor_type in days]
        if rows:
            self._connection.execute(_adding_up(self._connection.dialect.name), rows)

    def _motors(self, serials: Iterable[str], first: int) -> Motors:
        """Return the runs of some motors that counted before entry `first`."""
        found: Motors = defaultdict(dict)
        wanted = list(serials)
        if wanted:
            is_void = exists().where(corrections.c.station == records.c.station, corrections.c.of == records.c.seq,
                                     corrections.c.what == "void", corrections.c.seq < first)
            query = (select(records, setups.c.motor_type).join(setups, records.c.setup == setups.c.setup)
                     .where(records.c.serial.in_(wanted), records.c.station == self._station, records.c.seq < first,
                            records.c.purpose == "", records.c.verdict != "NO RESULT", ~is_void))
            for row in self._connection.execute(query):
                found[row.serial][row.seq] = Result(row.run, row.started[:10], row.motor_type, row.verdict == "PASS")
        return found

    def _serials(self, of: Iterable[int]) -> set[str]:
        wanted = list(of)
        query = select(records.c.serial).where(records.c.station == self._station, records.c.seq.in_(wanted))
        return set(self._connection.execute(query).scalars()) if wanted else set()

    def _row(self, seq: int, **cells: object) -> Row:
        return {"station": self._station, "seq": seq, **cells}

    def _insert(self, table: Table, rows: list[Row]) -> None:
        if rows:
            self._connection.execute(insert(table), rows)


@cache
def _adding_up(dialect: str) -> Insert:
    """Return the statement that adds to the sums of a day, or begins them."""
    adding = (postgresql.insert if dialect == "postgresql" else sqlite.insert)(day_sums)
    return adding.on_conflict_do_update(index_elements=list(day_sums.primary_key.columns), set_={
        name: day_sums.c[name] + adding.excluded[name] for name in _SUMS})


def _result(record: Glimpse) -> Result:
    return Result(record.run, record.started[:10], record.setup.motor_type, record.verdict == "PASS")


def _correction(body: bytes) -> tuple[str, int] | None:
    """Return what is said about which entry; None where it cannot be read."""
    try:
        said = json.loads(body)
        what, of = said["what"], said["of"]["seq"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return (what, of) if what in {"void", "note"} and isinstance(of, int) and 0 <= of < _EVERY else None
