"""`station setup`: a starter folder, ready to run on the simulated bench."""

import shutil
from datetime import timedelta
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

import station
from station.bench.starter import embedded_bench_toml
from station.cli.console import results
from station.cli.keys import AUTHORITY, make_keys
from station.clock import system_clock
from station.errors import UsageError
from station.sequence.station_file import load_station
from station.simulated import lot
from station.simulated.free_port import free_ports as loopback_ports

ROLES = ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard", "sensor_digitizer")
FIRST_PORT = 45025
SIDE_PORT_OFFSET = 50
MAKER = "Varnholt Works"
STANDARD = "standard"       # sequence

STATION_TOML = """\
# Who and where this station is, and the files it works with (paths relative to this file).
format = 1

[station]
id = "EOL-1"
place = "Varnholt Works, hall 2"

[files]
bench = "bench.toml"
sequence = "sequences/{sequence}.toml"
limits = "limits"
store = "store"

# The beginning of a serial number names the motor type and so its limit file. Where the number tells the lot as well,
# a pattern finds it, for studies: here the letter in CP40-B0207.
[[motor]]
serial_begins = "CP40-"
limit_file = "CP-40.toml"
lot_pattern = "^CP40-(?P<lot>[A-Z])"

[[motor]]
serial_begins = "VB24-"
limit_file = "VB-24.toml"

[[motor]]
serial_begins = "CP60-"
limit_file = "CP-60D.toml"

# Who makes the motors and answers for them, as it stands on each certificate. A table [order] with customer, number,
# part and, if wanted, part_revision, drawing, drawing_revision, lot and sampling says for whom.
[maker]
name = "Varnholt Works"
address = "1 Mill Lane, Varnholt"
line = "line 1"

# The keys that sign certificates and the log; `station keys show` tells what auditors need. These were made with the
# folder: for a real line make or import its own, and take the plant's authority off the station.
[signing]
keys = "keys"

# The printer of the certificates, over IPP. Take the marks away, give its address, and try `station print --check`.
# [printer]
# uri = "ipp://192.0.2.9:631/ipp/print"    # or ipps:, with `trust = "printer.pem"` for a certificate of its own
# media = "iso_a4_210x297mm"               # what is left out is left to the printer
# sides = "two-sided-long-edge"
# copies = 1

# The plant that everything stored is handed over to, whenever it can be reached; README says how it is set up.
# [plant]
# url = "https://plant.example:8490"
# witness = "witness.pub"                  # public key of the plant, with which it acknowledges what it has
# trust = "plant.pem"                      # its certificate, if no authority known to the system has signed it

# The operator's screen, where it is another than one of 21.5 inches: `pitch_mm` is its visible width in mm over its
# width in CSS pixels, by which letters and buttons are sized. README has the other keys.
# [panel]
# pitch_mm = 0.248
# fails_in_a_row = 5                      # after which an engineer must look; 0 never

# Reference motors: a good and a known-bad one of each type, a file for each in the folder. With `required`, no
# motor is tested before `station reference check` was good: in this shift, and again after a changeover, an
# interrupted test, or a change of bench file, sequence or software. Set it to true for a real line.
[reference]
required = {reference}
folder = "references"
shift_starts = [06:00:00, 14:00:00, 22:00:00]   # local times of time_zone; may be empty
time_zone = "UTC"                               # such as "Europe/Vienna"
longest_h = 12.0                                # however long the shift, a check holds no longer
after_changeover = true                         # check again when a motor of another type was tested between

# The embedded simulated bench. Remove this table, and give real addresses in the bench file, to test
# real motors; then local codes, a hard-wired guard and emergency stop, and licensed practice come first.
[simulated]
lot = "lot.toml"
pace = {pace}
seed = 1
side_port = {side_port}
"""


class DriveKind(StrEnum):
    """The two drives of the simulated bench."""

    SCPI = "scpi"
    MODBUS = "modbus"


class DigitizerKind(StrEnum):
    """How the simulated bench takes the six signals."""

    SIX_CHANNELS = "six channels"
    FOUR_CHANNELS = "four channels"
    TWO_INSTRUMENTS = "two instruments"


def setup(
    folder: Annotated[Path, typer.Argument(help="Where to put it; must be absent or empty.")],
    pace: Annotated[float, typer.Option(min=1.0, max=100.0, help="Simulated seconds per second.")] = 1.0,
    drive: Annotated[DriveKind, typer.Option(help="How the simulated drive is spoken to.")] = DriveKind.SCPI,
    digitizers: Annotated[DigitizerKind, typer.Option(help="What takes the six signals of the simulated motor.")]
    = DigitizerKind.SIX_CHANNELS,
    reference_checks: Annotated[bool, typer.Option(help="Refuse to test motors while a reference check is due.")]
    = False,
) -> int:
    """Write a starter folder: station, bench, sequence, limit and reference files, and a lot of motors."""
    write_folder(folder, pace=pace, free_ports=False, drive=drive, digitizers=digitizers,
                 reference_checks=reference_checks)
    if reference_checks:
        results.print(f"First: station reference check --station {folder / 'station.toml'}", highlight=False)
    results.print(f"Ready. Try: station test CP40-0001 --station {folder / 'station.toml'}", highlight=False)
    return 0


def write_folder(folder: Path, *, pace: float, free_ports: bool, drive: DriveKind = DriveKind.SCPI,
                 digitizers: DigitizerKind = DigitizerKind.SIX_CHANNELS, reference_checks: bool = False,
                 sequence: str = STANDARD) -> None:
    """Write the starter files into `folder`, which must be absent or empty; `sequence` is one of those shipped.

    The shipped reference motors hold for the captures of the standard sequence and are left out beside another.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError("folder is in use", where=str(folder), expected="an absent or empty folder",
                         got="one with files", remedy="Name another folder, or empty this one.")
    ports = loopback_ports(len(ROLES)) if free_ports else [FIRST_PORT + i for i in range(len(ROLES))]
    side_port = 0 if free_ports else FIRST_PORT + SIDE_PORT_OFFSET
    today = system_clock().today()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError("folder cannot be made", where=str(folder), expected="a place for a folder",
                         got=error.strerror, remedy="Name another folder.") from error
    shipped = {"sequences": "sequences", "limits": "limits"}
    if sequence == STANDARD:
        shipped["references"] = "limits/references"
    for name, source in shipped.items():
        shutil.copytree(_shipped(source), folder / name, ignore=shutil.ignore_patterns("references"))
    shutil.copy(Path(lot.__file__).with_name("demo_lot.toml"), folder / "lot.toml")
    bench = embedded_bench_toml(dict(zip(ROLES, ports, strict=True)), today - timedelta(days=60),
                                today + timedelta(days=305), drive, digitizers)
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    text = STATION_TOML.format(pace=float(pace), side_port=side_port, reference=str(reference_checks).lower(),
                               sequence=sequence)
    (folder / "station.toml").write_text(text, encoding="utf-8")
    made = load_station(folder / "station.toml")
    make_keys(made, folder / "keys", folder / AUTHORITY, MAKER, system_clock())


def _shipped(name: str) -> Path:
    path = Path(station.__file__).parent.parent / name
    if not path.is_dir():
        raise UsageError("the shipped files are not there", where=str(path), expected=f"the folder {name}",
                         got="nothing", remedy="Install the station from its checkout with `pip install -e .`.")
    return path
