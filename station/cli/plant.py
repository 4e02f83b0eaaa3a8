"""`station plant`: the database and the archive of many stations, its server, its alarms, and who may hand over."""

import json
from contextlib import closing
from getpass import getuser
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.cli.console import errors, results
from station.clock import system_clock
from station.errors import UsageError
from station.exit_code import ExitCode
from station.listener import bound
from station.record.capture_file import make_folder, write_durably
from station.record.cosignature import STEM, WitnessKey, load_witness
from station.record.key_pair import PRIVATE, PUBLIC

if TYPE_CHECKING:
    from station.plant.database import Database
    from station.plant.plant_file import Plant

app = typer.Typer(no_args_is_help=True, help="Many stations: what they hand over, kept once, checked and searched.",
                  rich_markup_mode=None)

PlantFile = Annotated[Path, typer.Option("--plant", help="The plant file.")]
Person = Annotated[str, typer.Option(help="Who does it; the account's name if left out.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
PLANT_FILE = Path("plant.toml")

_WRITTEN = """\
format = 1

[plant]
name = {name}             # under which the plant cosigns what it has taken in; stations are given keys/witness.pub
keys = "keys"

[database]
url = {url}
reader = {reader}                # a role of PostgreSQL that may read, and nothing else

[archive]
url = "archive"             # a folder, or any address that fsspec knows

[copies]
folder = "copies"           # of stations' stores, by `station plant copy`

[server]
host = "127.0.0.1"          # beyond this computer over TLS alone: certificate and key are then PEM files
port = 8490
certificate = ""
key = ""
"""


@app.command("make")
def make(
    folder: Annotated[Path, typer.Argument(help="Folder of the plant, made if absent.")],
    name: Annotated[str, typer.Option(help="Name under which the plant cosigns; without blanks.")] = "plant",
    database: Annotated[str, typer.Option(help="sqlite:///FILE, or postgresql://USER@HOST/NAME of a database that "
                                          "is there.")] = "sqlite:///plant.sqlite",
    reader: Annotated[str, typer.Option(help="Role of PostgreSQL that may read; made if absent.")] = "",
) -> int:
    """Make what is missing of a plant: its file, its key, its tables; and bring tables of earlier versions up to date.

    What is there stays; options count for a new plant file only.
    """
    _require_extra()
    from station.plant.database import open_database  # noqa: PLC0415 - with its libraries, for plants only
    from station.plant.plant_file import load_plant, require_good  # noqa: PLC0415
    from station.plant.upgrade import upgrade  # noqa: PLC0415

    file = folder / PLANT_FILE
    if not file.exists():
        # JSON writes these texts as TOML does
        words = {key: json.dumps(text) for key, text in (("name", name), ("url", database), ("reader", reader))}
        content = _WRITTEN.format_map(words).encode()
        require_good(content, str(file))
        make_folder(folder)
        write_durably(file, content)
    plant = load_plant(file)
    opened = open_database(plant.database)
    try:
        upgrade(opened, plant.reader)
    finally:
        opened.close()
    if not (plant.keys / (STEM + PRIVATE)).exists():
        WitnessKey.make(plant.keys, plant.name)
    public = plant.keys / (STEM + PUBLIC)
    _say(f"The plant's key for stations, to be named in their [plant] table: {public}")
    _say(str(load_witness(public)))
    _say(f"Next: `station plant add KEY --plant {file}` for each station, then `station plant serve --plant {file}`.")
    return int(ExitCode.PASS)


@app.command("add")
def add(
    key: Annotated[str, typer.Argument(help="Public key of the station's log: its text, as `station keys show` prints "
                                       "it, or a file that holds it (keys/log.pub).")],
    plant: PlantFile = PLANT_FILE,
    person: Person = "",
) -> int:
    """Let a station hand over. Its key is to come on a way that you trust."""
    _require_extra()
    from station.plant.stations import add_station  # noqa: PLC0415 - with its libraries, for plants only

    with closing(_database(plant)) as database:
        known = add_station(database, _key_text(key), person=person or _who(), at=system_clock().utc())
    _say(f"{known.origin} may hand over.")
    return int(ExitCode.PASS)


@app.command("end")
def end(
    log: Annotated[str, typer.Argument(help="Name of the log, as `station plant status` shows it.")],
    reason: Annotated[str, typer.Option(help="Why nothing more is taken of it.")],
    plant: PlantFile = PLANT_FILE,
    person: Person = "",
) -> int:
    """Take nothing more of a log, as its station has another now, or its key is in other hands; what is there stays."""
    with closing(open_plant(plant)) as database:
        from station.plant.stations import end_station  # noqa: PLC0415 - with its libraries, for plants only

        end_station(database, log, person=person or _who(), reason=reason, at=system_clock().utc())
    _say(f"Nothing more is taken of {log}.")
    return int(ExitCode.PASS)


@app.command("serve")
def serve(plant: PlantFile = PLANT_FILE) -> int:
    """Take in what stations hand over, until interrupted."""
    _require_extra()
    from station.plant.server import make_server, opened_desk  # noqa: PLC0415 - with its libraries, for plants only

    here, clock = _plant(plant), system_clock()
    with opened_desk(here, clock) as desk:
        server = make_server(desk, here, clock)
        with closing(bound(here.host, here.port)) as socket:
            scheme = "https" if here.certificate else "http"
            _say(f"{scheme}://{here.host}:{here.port}/")
            server.run(sockets=[socket])
    return int(ExitCode.PASS)


@app.command("status")
def status(plant: PlantFile = PLANT_FILE, as_json: AsJson = False) -> int:
    """Show how far each station has handed over; exit code 7 while there are alarms that nobody has settled."""
    _require_extra()
    from station.plant.standing import standing  # noqa: PLC0415 - with its libraries, for plants only

    with closing(_database(plant)) as database, database.reading() as connection:
        found = standing(connection)
    alarms = [alarm for each in found for alarm in each.alarms]
    code = int(ExitCode.EVIDENCE if alarms else ExitCode.PASS)
    if as_json:
        told = [{"origin": each.origin, "size": each.size, "root": each.root, "at": each.at, "ended": each.ended,
                 "alarms": [{"alarm": one.number, "at": one.at, "what": one.what, "seq": one.seq, "held": one.held,
                             "told": one.told, "detail": one.detail} for one in each.alarms]} for each in found]
        print_json({"format": 1, "stations": told})
        return code
    table = Table("log", "entries", "handed over last", "alarms", "")
    for each in found:
        table.add_row(each.origin, str(each.size), each.at or "never", str(len(each.alarms) or ""),
                      f"ended {each.ended}" if each.ended else "")
    results.print(table)
    results.print(f"{len(found)} station(s), {len(alarms)} alarm(s) to settle", highlight=False)
    for alarm in alarms:
        errors.print(f"{alarm.origin}: {alarm}", style="bold", markup=False, highlight=False, soft_wrap=True)
    return code


@app.command("settle")
def settle(
    alarm: Annotated[int, typer.Argument(min=1, help="Number of the alarm, as `station plant status` shows it.")],
    reason: Annotated[str, typer.Option(help="Why it is settled; asked of whoever reads it in ten years.")],
    plant: PlantFile = PLANT_FILE,
    person: Person = "",
) -> int:
    """Say that somebody has dealt with an alarm: it is shown no more, and stays with both heads for the audit."""
    _require_extra()
    from station.plant import alarms  # noqa: PLC0415 - with its libraries, for plants only

    with closing(_database(plant)) as database:
        alarms.settle(database, alarm, person=person or _who(), reason=reason, at=system_clock().utc())
    _say(f"Alarm {alarm} is settled.")
    return int(ExitCode.PASS)


@app.command("check")
def check(
    logs: Annotated[list[str] | None, typer.Argument(help="Names of logs; all stations if left out.")] = None,
    plant: PlantFile = PLANT_FILE,
    files: Annotated[bool, typer.Option("--files", help="Read every file of the archive, too.")] = False,
) -> int:
    """Make everything anew from what was handed over, and compare: bodies, tree, signatures, index; 7 if it differs."""
    with closing(open_plant(plant)) as database:
        from station.plant.archive import open_archive  # noqa: PLC0415 - with its libraries, for plants only
        from station.plant.check import check_files, check_log  # noqa: PLC0415
        from station.plant.stations import all_stations, find_station  # noqa: PLC0415

        here = _plant(plant)
        witness, archive = WitnessKey.load(here.keys).verifier, open_archive(here.archive)
        with database.reading() as connection:
            known = [find_station(connection, name) for name in logs] if logs else all_stations(connection)
        count = 0
        for one in known:
            for fault in chain(check_log(database, one, witness), check_files(database, one, archive) if files else ()):
                count += 1
                errors.print(str(fault.as_error(one.origin)), markup=False, highlight=False, soft_wrap=True)
    _say(f"{len(known)} log(s) checked, {count} fault(s)")
    return int(ExitCode.EVIDENCE if count else ExitCode.PASS)


def open_plant(file: Path) -> "Database":
    """Return the database of a plant, its tables up to date; to be closed. Errors as `load_plant` and `upgrade`."""
    _require_extra()
    return _database(file)


def print_json(told: object) -> None:
    """Print one JSON object."""
    results.print(json.dumps(told), markup=False, highlight=False, soft_wrap=True)


def _require_extra() -> None:
    """Raise UsageError where the libraries of a plant are not installed."""
    try:
        from station.plant import database  # noqa: F401, PLC0415 - for plants only
    except ImportError as error:
        raise UsageError("what a plant needs is not installed", where="station plant", expected="the extra `plant`",
                         got=str(error), remedy='Install it: pip install "station[plant]".') from error


def _plant(file: Path) -> "Plant":
    from station.plant.plant_file import load_plant  # noqa: PLC0415 - with its libraries, for plants only

    return load_plant(file)


def _database(file: Path) -> "Database":
    from station.plant.database import open_database  # noqa: PLC0415 - with its libraries, for plants only
    from station.plant.upgrade import require_current  # noqa: PLC0415

    database = open_database(_plant(file).database)
    try:
        require_current(database)
    except BaseException:
        database.close()
        raise
    return database


def _key_text(key: str) -> str:
    if "+" in key:
        return key
    try:
        return Path(key).read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError("public key cannot be read", where=key, expected="name+identifier+key, or a file of it",
                         got=str(error), remedy="Fetch it from the station: keys/log.pub.") from error


def _who() -> str:
    """Return who works at the computer, as it knows them."""
    try:
        return getuser()
    except (KeyError, OSError):     # a number without a name
        return "somebody"


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
