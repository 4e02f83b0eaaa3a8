"""`station demo`: a lot of motors through the embedded bench, in a folder of its own."""

from pathlib import Path
from typing import Annotated, Any

import typer

from station.cli.console import results, worst_code
from station.cli.population import make_population
from station.cli.setup import write_folder
from station.cli.testing import test_and_certify
from station.cli.workplace import open_workplace
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station

LOT = ("CP40-0001", "CP40-0002", "CP40-0003", "CP40-0004", "VB24-0001", "VB24-0002", "VB24-0003",
       "CP60-0001", "CP60-0002", "CP60-0003")
AGAIN = FurtherRun("demo operator", "the demo is shown again in the same folder")


def demo(
    out: Annotated[Path, typer.Option(help="Folder for the demo; made if absent.")] = Path("demo"),
    pace: Annotated[float, typer.Option(min=1.0, max=100.0, help="Simulated seconds per second.")] = 10.0,
    motors: Annotated[int | None, typer.Option(
        min=30, max=5000, help="Instead, in a new folder: a population of so many, generated to be studied.")] = None,
) -> int:
    """Test a lot of simulated motors, some good, some with defects, and print their certificates."""
    folder = out.resolve()
    if motors is not None:
        return make_population(folder, motors)
    if not (folder / "station.toml").exists():
        write_folder(folder, pace=pace, free_ports=True)
    station = load_station(folder / "station.toml")
    shown_pace = station.simulated.pace if station.simulated else 1.0
    results.print(f"Embedded bench at pace {shown_pace:g}: {shown_pace:g} simulated seconds per second.",
                  highlight=False, soft_wrap=True)
    with open_workplace(station, "demo operator") as place:
        records = [test_and_certify(place, serial, quiet=True, timed=False, further=AGAIN)[0]
                   for serial in LOT]
    passed = sum(record["verdict"] == "PASS" for record in records)
    results.print(f"Certificates: {station.store / 'certificates'}", markup=False, highlight=False, soft_wrap=True)
    results.print(f"Yield: {passed} of {len(records)} passed ({100 * passed / len(records):.0f} %), "
                  f"bench at pace {shown_pace:g}.", highlight=False, soft_wrap=True)
    results.print(f"Motors that fail are part of the lot: exit code {int(worst_code(_verdicts(records)))} "
                  "would follow from `station test`; the demo itself is done.", highlight=False, soft_wrap=True)
    return 0


def _verdicts(records: list[dict[str, Any]]) -> list[str]:
    return [record["verdict"] for record in records]
