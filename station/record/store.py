"""The store of a station: what `begin` and `finish` return is on disk and stays as it is."""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from station.capture import Capture
from station.errors import EvidenceError, UsageError
from station.record import schema
from station.record.attempt import Attempt, attempts_at
from station.record.capture_file import codes_sha256, parse_capture, write_capture
from station.record.clock_watch import Reading, clock_flags, reading_of
from station.record.correction import What, correction, void_runs
from station.record.evidence import Evidence
from station.record.fails_in_a_row import fails_in_a_row
from station.record.find import (
    Yield,
    count_yield,
    find_records,
    motor_types,
    purposes,
    records_made_for,
    records_with_leaves,
    show_records,
)
from station.record.leftovers import drop_spool, read_spool, spool_of
from station.record.record import Record, canonical, interrupted_record, sha256_of
from station.record.reference_check import (
    Check,
    Since,
    Suspect,
    add_check,
    all_checks,
    all_suspects,
    checks_around,
    checks_from_the_last,
    events_since,
    newest_checks,
)
from station.record.retention import EVERY, Removal, Rule, removals_due, remove_files
from station.record.room import require_room
from station.record.statement import Statement, StatementKind, add_statement, all_statements, last_statement
from station.record.store_folder import CAPTURES, StoreFolder
from station.record.stored_file import read_stored
from station.record.transcript_file import SUFFIX, parse_transcript, write_transcript


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A run that was begun and has no record."""

    run_id: int
    serial: str
    run: int
    started: str
    heading: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Kept:
    """The file of a capture, durable before the record that names it."""

    file: str       # in the store's folder
    sha256: str
    codes_sha256: str   # see `capture_file.codes_sha256`

    def as_record(self) -> dict[str, str]:
        """Return the entry of the record."""
        return {"file": self.file, "sha256": self.sha256, "codes_sha256": self.codes_sha256}


class Store(StoreFolder):
    """Runs, records and capture files in one folder; one writing process at a time, any number of readers.

    Whatever is stored is entered into the log called `origin`, whose head is signed with `log_key` each time.

    Raises
    ------
    UsageError
        Another process writes here, there is nothing to read, or the log here is that of another origin.
    EvidenceError
        Opened for writing, it lacks entries that it had, or the last of them were altered; see `check_on_opening`.
    StationError
        The disk is full, read-only or gone.
    """

    _clock_before: Reading | None = None    # at the end of the last record, as far as this process knows

    def require_room(self, captures: int) -> None:
        """Raise StationError unless there is room for a run whose captures take so many bytes."""
        require_room(self.folder, captures)

    def begin(self, serial: str, *, started: str, heading: Mapping[str, Any] | None = None) -> int:
        """Make it durable that a run of `serial` begins, before anything moves; return its run id.

        `started` is the instant as `station.clock.stamp` writes it; `heading` holds parts of the record that are
        already known, for the case that the run is interrupted.
        """
        if not serial.strip():
            raise UsageError("no serial number", where="store", expected="the serial of the motor",
                             got=repr(serial), remedy="Scan the motor again.")
        known = canonical(heading or {}).decode()
        with self._transaction("beginning a run") as connection:
            run, = connection.execute(schema.NEXT_RUN, (serial,)).fetchone()
            cursor = connection.execute(schema.BEGIN_RUN, (serial, run, started, known))
        run_id = cursor.lastrowid
        assert run_id is not None  # noqa: S101 - an INSERT into a rowid table always has one
        return run_id

    def finish(self, run_id: int, record: Mapping[str, Any], captures: Sequence[Capture | Kept],
               transcript: bytes | None = None) -> Record:
        """Store the record of a run with its captures and transcript, and return it as stored.

        Files are written and synced first, then the record is committed, so that a record never names a file that is
        not there. Run number, place in the log, jumps of the clock, and name and hashes of each file are filled in
        here; `record["captures"]` has an entry for each of `captures`, in order; a capture may have been kept already,
        see `keep_capture`. Items of lists may be fragments, see `record.fragment`. `transcript` is JSON lines.

        Raises
        ------
        UsageError
            The run was never begun, has its record already, or is of another motor.
        StationError
            The disk is full or read-only; the run stays unfinished, and nothing of it counts.
        """
        run = self._open_run(run_id, record)
        entries = list(record["captures"])
        if len(entries) != len(captures):
            raise UsageError("captures and their entries differ in number", where=f"run {run_id}",
                             expected=f"{len(captures)} entries", got=len(entries),
                             remedy="Give the record an entry for each capture.")
        serial = str(record["serial"])
        filed = [{**entry, **self._kept(run_id, number, serial, capture).as_record()}
                 for number, (entry, capture) in enumerate(zip(entries, captures, strict=True), start=1)]
        heard = {} if transcript is None else {"transcript": self._file_transcript(run_id, transcript)}
        with self._entry("storing a record") as connection:
            place = self.log.next_place()
            flags = clock_flags(record, self._clock_before or self._last_reading())
            body = canonical({**record, "run": run, "captures": filed, **heard, "log": place.as_record(),
                              "clock": {**record.get("clock", {}), "flags": flags}})
            stored: Record = json.loads(body)
            connection.execute(schema.ADD_RECORD, (run_id, stored["serial"], run, stored["motor_type"]["name"],
                                                   stored["verdict"], stored["started"], sha256_of(body), body))
            self.log.append(place, "record", run_id, body)
        self._clock_before = reading_of(stored, "ended")
        drop_spool(self.spool(run_id))
        return stored

    def keep_capture(self, run_id: int, serial: str, number: int, capture: Capture) -> Kept:
        """Write and sync the file of a capture of a run under way; from any thread. Nothing counts before `finish`.

        `number` counts the captures of the run from 1. StationError when the disk is full or read-only.
        """
        label = re.sub(r"[^A-Za-z0-9.]+", "-", capture.label) or "capture"
        name = f"{CAPTURES}/run-{run_id:06d}-{number}-{label}.parquet"
        return Kept(name, write_capture(self.folder / name, capture, serial), codes_sha256(capture))

    def spool(self, run_id: int) -> Path:
        """Return where what is said to the instruments is taken down while a run goes on, in case it is interrupted."""
        return spool_of(self.folder / CAPTURES, run_id)

    def unfinished(self) -> list[Unfinished]:
        """Return the runs without a record, oldest first."""
        return [Unfinished(run_id, serial, run, started, json.loads(heading))
                for run_id, serial, run, started, heading in self._connection.execute(schema.UNFINISHED)]

    def close_unfinished(self, *, ended: str) -> list[Record]:
        """Give every interrupted run its record, NO RESULT, with the transcript it left; return these records."""
        return [self.finish(run.run_id, interrupted_record(run.serial, run.started, ended, run.heading), [],
                            read_spool(self.spool(run.run_id)))
                for run in self.unfinished()]

    def evidence(self, record: Mapping[str, Any]) -> Evidence:
        """Return a stored record's bytes with the proof that they stand in the log.

        Raises
        ------
        UsageError
            No such record is stored.
        EvidenceError
            The record was altered, or is not in the log.
        """
        where = f"record of {record['serial']}, run {record['run']}"
        found = self._connection.execute(schema.RUN_OF, (record["serial"], record["run"])).fetchone()
        if found is None:
            raise UsageError("no such record", where=where, expected="a stored record", got="none",
                             remedy="Give a record that this store has returned.")
        seq = self.log.seq_of("record", found[0])
        if seq is None:
            raise EvidenceError("record is not in the log", where=where, expected="an entry about it", got="none",
                                remedy="Restore the store from a backup and ask who changed it.")
        return self.log.evidence(seq)

    def find(
        self, *, serial: str = "*", verdict: str | None = None, since: str | None = None,
        until: str | None = None, motor_type: str | None = None,
    ) -> list[Record]:
        """Return the records that fit, oldest first; see `find_records`."""
        return list(find_records(self._connection, serial=serial, verdict=verdict, since=since, until=until,
                                 motor_type=motor_type))

    def each(self, motor_type: str | None = None) -> Iterator[Record]:
        """Yield every record, or those of a motor type, oldest first, one in memory at a time; see `find_records`."""
        return find_records(self._connection, motor_type=motor_type)

    def each_with_leaf(self, motor_type: str | None = None) -> Iterator[tuple[Record, bytes]]:
        """Yield what `each` does, with the hash of each one's leaf; see `find.records_with_leaves`."""
        return records_with_leaves(self._connection, motor_type)

    def made_for(self, purpose: str) -> Iterator[Record]:
        """Yield the records of the runs made for a purpose, oldest first; see `records_made_for`."""
        return records_made_for(self._connection, purpose)

    def purposes(self) -> list[str]:
        """Return what runs were made for besides the production, that begun last at the end."""
        return purposes(self._connection)

    def motor_types(self) -> list[str]:
        """Return the motor types that there are records of."""
        return motor_types(self._connection)

    def show(self, serial: str) -> list[Record]:
        """Return every record of one motor, first run first."""
        return show_records(self._connection, serial)

    def count_yield(
        self, *, motor_type: str | None = None, since: str | None = None, until: str | None = None
    ) -> Yield:
        """Return the first-pass and the final yield; see `find.count_yield`."""
        return count_yield(self._connection, motor_type=motor_type, since=since, until=until)

    def fails_in_a_row(self) -> int:
        """Return how many motors failed one after the other by now; see `fails_in_a_row`."""
        return fails_in_a_row(self._connection) if self._log is not None else 0

    def captures(self, record: Mapping[str, Any]) -> list[Capture]:
        """Return the captures of a record, each checked against the hash in the record.

        Raises
        ------
        EvidenceError
            A file is missing, removed by a rule or altered.
        """
        return [parse_capture(self._content(entry), str(self.folder / entry["file"])) for entry in record["captures"]]

    def transcript(self, record: Mapping[str, Any]) -> bytes | None:
        """Return the JSON lines said to and by the instruments in a run, checked as `captures` are; None if none.

        Raises
        ------
        EvidenceError
            The file is missing or altered.
        """
        entry = record.get("transcript")
        return None if entry is None else parse_transcript(self._content(entry), entry["file"])

    def add_reference_check(self, entry: Mapping[str, Any]) -> Check:
        """Store a reference check, durably, and mark what a BAD one casts doubt on; see `add_check`."""
        with self._entry("storing a reference check"):
            return add_check(self.log, entry)

    def reference_checks(self) -> list[Check]:
        """Return every reference check, oldest first; EvidenceError when one was altered."""
        return all_checks(self._connection)

    def newest_reference_checks(self, count: int) -> list[Check]:
        """Return the newest `count` of each motor type, oldest first; EvidenceError when one was altered."""
        return newest_checks(self._connection, count)

    def reference_checks_from_the_last(self, motor_type: str) -> list[Check]:
        """Return the last check of a type and those of others after it; EvidenceError when one was altered."""
        return checks_from_the_last(self._connection, motor_type)

    def reference_checks_around(self, record: Mapping[str, Any]) -> tuple[Check | None, Check | None]:
        """Return the last check of its motor type before a stored record, and the first one after it, if any."""
        if self._log is None or record.get("log") is None:
            return None, None
        return checks_around(self._connection, record["log"]["seq"], record["motor_type"]["name"])

    def suspects(self) -> list[Suspect]:
        """Return every test that a failed reference check casts doubt on."""
        return all_suspects(self._connection)

    def since(self, last_run: int, motor_type: str) -> Since:
        """Return what happened after run `last_run` that a check of `motor_type` does not cover."""
        return events_since(self._connection, last_run, motor_type)

    def attempts(self, serial: str) -> tuple[Attempt, ...]:
        """Return the earlier runs of a motor in the production, first run first."""
        return attempts_at(self._connection, serial, void_runs(self._connection)) if self._log is not None else ()

    def correct(self, record: Mapping[str, Any], what: What, *, person: str, reason: str, at: str) -> Statement:
        """Declare the run of a stored record void, or add a note to it, durably; see `correction.correction`."""
        said = correction(record, self.evidence(record), self.statements("correction"), what=what, person=person,
                          reason=reason, at=at)
        return self.add_statement("correction", said)

    def add_statement(self, kind: StatementKind, said: Mapping[str, Any]) -> Statement:
        """Store what is said after a test, durably, and return it with its number and its place in the log."""
        with self._entry(f"storing a {kind}"):
            return add_statement(self.log, kind, said)

    def statements(self, kind: StatementKind) -> list[Statement]:
        """Return every statement of a kind, oldest first; EvidenceError when one was altered."""
        return all_statements(self._connection, kind) if self._log is not None else []

    def last_statement(self, kind: StatementKind) -> Statement | None:
        """Return the newest statement of a kind, None if there is none; EvidenceError when it was altered."""
        return last_statement(self._connection, kind) if self._log is not None else None

    def removals_due(self, rules: Iterable[Rule], now: datetime, entries: int = EVERY) -> list[Removal]:
        """Return which captures the rules remove now, of the first `entries` of the log; see `retention`."""
        return removals_due(self._connection, self.folder, rules, now, self.statements("retention"), entries)

    def remove(self, removal: Removal, *, person: str, at: str) -> Statement:
        """State durably what is removed, then remove it; `at` is the instant as `station.clock.stamp` writes it."""
        said = self.add_statement("retention", removal.as_statement(person, at))
        with self._disk("removing captures"):
            remove_files(self.folder, [said])
        return said

    def finish_removals(self) -> int:
        """Remove what was announced and is still there, as after an interruption; return how many files."""
        with self._disk("removing captures"):
            return remove_files(self.folder, self.statements("retention"))

    def _open_run(self, run_id: int, record: Mapping[str, Any]) -> int:
        begun = self._connection.execute(schema.ONE_RUN, (run_id,)).fetchone()
        if begun is None or begun[0] != record["serial"]:
            raise UsageError("no such run", where=f"run {run_id}", expected="a run begun for this motor",
                             got="none" if begun is None else f"one of {begun[0]}", remedy="Begin the run first.")
        if self._connection.execute(schema.HAS_RECORD, (run_id,)).fetchone():
            raise UsageError("run has its record already", where=f"run {run_id} of {begun[0]}",
                             expected="one record for each run", got="a second", remedy="Begin a new run.")
        return int(begun[1])

    def _last_reading(self) -> Reading | None:
        last = self._connection.execute(schema.LAST_RECORD).fetchone()
        return reading_of(json.loads(last[0]), "ended") if last else None

    def _kept(self, run_id: int, number: int, serial: str, capture: Capture | Kept) -> Kept:
        return capture if isinstance(capture, Kept) else self.keep_capture(run_id, serial, number, capture)

    def _file_transcript(self, run_id: int, lines: bytes) -> dict[str, Any]:
        name = f"{CAPTURES}/run-{run_id:06d}-transcript{SUFFIX}"
        return {"file": name, "sha256": write_transcript(self.folder / name, lines), "lines": lines.count(b"\n")}

    def _content(self, entry: Mapping[str, Any]) -> bytes:
        return read_stored(self.folder, entry, lambda: self.statements("retention"))
