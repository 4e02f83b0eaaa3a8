"""`station records correct, export, retain, check`: what is done with records after the tests."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.cli.console import errors, results
from station.cli.forwarding import open_hand_over
from station.clock import Clock, stamp, system_clock
from station.errors import UsageError
from station.exit_code import ExitCode
from station.record.capture_file import write_durably
from station.record.correction import What
from station.record.export import WideTable, as_csv, as_parquet
from station.record.record_schema import Kind, faults_of
from station.record.retention import EVERY, Removal
from station.record.statement import StatementKind
from station.record.store import Store
from station.sequence.opening import open_store
from station.sequence.station_file import Station, load_station

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
WRITERS = {".csv": as_csv, ".parquet": as_parquet}


def correct(
    serial: Annotated[str, typer.Argument(help="Serial number.")],
    run: Annotated[int, typer.Option(min=1, help="Which run.")],
    what: Annotated[What, typer.Option(help="void: the run counts no longer; note: only words.")],
    person: Annotated[str, typer.Option(help="Who answers for it.")],
    reason: Annotated[str, typer.Option(help="Why, in a sentence.")],
    station: StationFile = Path("station.toml"),
) -> int:
    """Declare a run void, or add a note to it. The record stays as it is; the correction is an entry beside it."""
    with open_store(load_station(station)) as store:
        record = next((record for record in store.show(serial) if record["run"] == run), None)
        if record is None:
            raise UsageError("no such test", where="records", expected="a stored serial and run",
                             got=f"{serial}, run {run}", remedy="Look with `station records find`.")
        said = store.correct(record, what, person=person, reason=reason, at=stamp(system_clock().utc()))
    results.print(f"{serial} run {run}: {what} (entry {said['log']['seq']} of the log)", markup=False, highlight=False)
    return 0


def export(
    out: Annotated[Path, typer.Argument(help="Where to: FILE.csv or FILE.parquet.")],
    motor_type: Annotated[str, typer.Option("--type", help="Motor type.")],
    sequence_revision: Annotated[str, typer.Option(help="Revision of the sequence; needed where there are several.")]
    = "",
    uncertainty: Annotated[bool, typer.Option("--uncertainty", help="Also the standard uncertainty of each value.")]
    = False,
    station: StationFile = Path("station.toml"),
) -> int:
    """Write all tests of a motor type as one wide table: a row a run, a column a characteristic, with units."""
    if out.suffix not in WRITERS:
        raise UsageError("unknown kind of file", where=str(out), expected=" or ".join(WRITERS), got=repr(out.suffix),
                         remedy="Give the file one of these endings.")
    with Store(load_station(station).store, read_only=True) as store:
        table = _wide_table(store, motor_type, sequence_revision)
    columns = list(table.columns(with_u=uncertainty))
    write_durably(out, WRITERS[out.suffix](columns))
    results.print(f"{out}: {len(table)} test(s), {len(columns)} columns", markup=False, highlight=False, soft_wrap=True)
    return 0


def retain(
    person: Annotated[str, typer.Option(help="Who answers for it; goes into the log.")] = "",
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show what would be removed.")] = False,
    station: StationFile = Path("station.toml"),
) -> int:
    """Remove captures as the rules of the station file say; records, log and certificates stay for ever."""
    here, clock = load_station(station), system_clock()
    if here.retention is None:
        raise UsageError("there are no rules", where=str(station), expected="a table [retention]", got="none",
                         remedy="Add one, such as `[retention]` with `pass_days = 400`.")
    if not (dry_run or person.strip()):
        raise UsageError("nobody answers for it", where="records retain", expected="--person, or --dry-run", got="none",
                         remedy="Name the person who has the captures removed.")
    with Store(here.store, read_only=True) if dry_run else open_store(here) as store:
        due = store.removals_due(here.retention.rules(), clock.utc(), _handed_over(here, clock))
        results.print(_due_table(due))
        if dry_run:
            results.print("nothing was removed", highlight=False)
            return 0
        left = store.finish_removals()
        for removal in due:
            store.remove(removal, person=person.strip(), at=stamp(clock.utc()))
    results.print(f"{left + sum(len(removal.files) for removal in due)} file(s) removed", highlight=False)
    return 0


def _handed_over(station: Station, clock: Clock) -> int:
    """Return of how many entries the plant has every file, if there is one: nothing else may be removed here."""
    return open_hand_over(station, clock).progress().files if station.plant else EVERY


def check(station: StationFile = Path("station.toml")) -> int:
    """Hold every record, reference check and statement against the schema of its format."""
    faulty = checked = 0
    with Store(load_station(station).store, read_only=True) as store:
        for kind, name, entry in _entries(store):
            told = faults_of(kind, entry)
            checked, faulty = checked + 1, faulty + bool(told)
            for fault in told:
                errors.print(f"{name}: {fault}", markup=False, highlight=False, soft_wrap=True)
    results.print(f"{checked} entries, {faulty} with faults", highlight=False)
    return int(ExitCode.EVIDENCE if faulty else ExitCode.PASS)


def _entries(store: Store) -> Iterator[tuple[Kind, str, Mapping[str, Any]]]:
    """Yield kind, name and content of everything stored."""
    for record in store.each():
        yield "record", f"record of {record['serial']}, run {record['run']}", record
    for made in store.reference_checks():
        yield "reference check", f"reference check {made['check']}", made
    kinds: tuple[StatementKind, ...] = ("correction", "retention", "release", "trail")
    for kind in kinds:
        for said in store.statements(kind):
            yield kind, f"{kind}, statement {said['statement']}", said


def _wide_table(store: Store, motor_type: str, revision: str) -> WideTable:
    """Return the table of one revision of the sequence, of the only one there is where `revision` is empty."""
    void = frozenset((said["of"]["serial"], said["of"]["run"]) for said in store.statements("correction")
                     if said["what"] == "void")
    table = WideTable(void, frozenset((one.serial, one.run) for one in store.suspects()))
    wanted, there = revision, list[str]()
    for record, leaf in store.each_with_leaf(motor_type):
        own = record["sequence"]["revision"]
        if own and own not in there:
            there.append(own)
        wanted = wanted or own
        if own and own == wanted:       # without one it was interrupted, and nothing is known of it
            table.add(record, leaf)
    if not len(table) or (not revision and len(there) > 1):
        raise UsageError("these tests make no table", where=f"tests of {motor_type}", got=", ".join(there) or "none",
                         expected="one revision of the sequence, as the columns of several do not compare",
                         remedy="Name one with --sequence-revision, or look with `station records find`.")
    return table


def _due_table(due: list[Removal]) -> Table:
    table = Table("rule", "ages counted to", "files", "MB", "first", "last")
    for removal in due:
        first, last = removal.files[0], removal.files[-1]
        table.add_row(str(removal.rule), removal.counted_to, str(len(removal.files)), f"{removal.size / 1e6:.1f}",
                      *(f"{file['serial']} run {file['run']}" for file in (first, last)))
    return table
