"""`station bench`: look at the instruments, or serve the simulated bench to other clients."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.bench.bench import open_bench
from station.bench.bench_file import load_bench
from station.cli.console import results
from station.cli.workplace import embedded_bench
from station.clock import system_clock
from station.errors import UsageError
from station.exit_code import ExitCode
from station.sequence.station_file import Station, load_station

app = typer.Typer(no_args_is_help=True, help="Check the bench, or serve the simulated one.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]


@app.command("check")
def check(
    station: StationFile = Path("station.toml"),
    connect: Annotated[bool, typer.Option("--connect", help="Use a simulated bench served by another process.")]
    = False,
) -> int:
    """Print each role, its identity, calibration due date and self-test, and what is wrong."""
    described = load_station(station)
    if described.simulated is None or connect:
        return _check(described)
    with embedded_bench(described, described.simulated, load_bench(described.bench).ports()):
        return _check(described)


def _check(station: Station) -> int:
    clock = system_clock()
    with open_bench(load_bench(station.bench), clock) as bench:
        reports = bench.check(clock)
    table = Table("role", "instrument", "calibration due", "self-test", "fault and remedy")
    for report in reports:
        table.add_row(report.role, str(report.identity or "no reply"), str(report.due), report.self_test,
                      "\n".join(report.faults) or "none")
    results.print(table)
    return int(ExitCode.BENCH_NOT_FIT if any(report.faults for report in reports) else ExitCode.PASS)


@app.command("simulate")
def simulate(
    station: StationFile = Path("station.toml"),
    motor: Annotated[str, typer.Option(help="Serial number of the motor in the fixture.")] = "",
    seconds: Annotated[float, typer.Option(min=0.0, help="Stop after so long; 0 serves until Ctrl-C.")] = 0.0,
) -> int:
    """Serve the simulated bench of the station file to any SCPI client."""
    described = load_station(station)
    if described.simulated is None:
        raise UsageError("no simulated bench", where=str(station), expected="a [simulated] table", got="none",
                         remedy="Add the table, or use `station setup` to make a folder that has it.")
    clock = system_clock()
    with embedded_bench(described, described.simulated, load_bench(described.bench).ports()) as served:
        if motor:
            served.rig.place(motor)
        for role, port in served.ports.items():
            results.print(f"{role}: TCPIP::127.0.0.1::{port}::SOCKET", highlight=False)
        results.print(f"side channel: 127.0.0.1 port {served.side_port}; pace {described.simulated.pace:g}; "
                      "Ctrl-C ends it.", highlight=False)
        end = clock.monotonic() + seconds
        while not seconds or clock.monotonic() < end:
            clock.pause(0.1)
    return 0
