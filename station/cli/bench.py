"""`station bench`: look at the instruments, or serve the simulated bench to other clients."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.bench.bench import Bench, open_bench
from station.bench.bench_file import load_bench
from station.bench.watchdog_proof import CAUTION, prove_watchdog
from station.cli.console import results
from station.cli.workplace import embedded_bench
from station.clock import Clock, system_clock
from station.errors import UsageError
from station.exit_code import ExitCode
from station.sequence.station_file import Station, load_station
from station.sequence.watchdog_proofs import keep_proof
from station.simulated.side_channel import SideChannel

app = typer.Typer(no_args_is_help=True, help="Check the bench, or serve the simulated one.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]


@app.command("check")
def check(
    station: StationFile = Path("station.toml"),
    connect: Annotated[bool, typer.Option("--connect", help="Use a simulated bench served by another process.")]
    = False,
    prove: Annotated[bool, typer.Option("--prove-watchdog", help="Turn the shaft slowly, go silent, and see that "
                                        "the drive stops by itself. Guard closed, hands off.")] = False,
) -> int:
    """Print each role, its identity, calibration due date and self-test, and what is wrong."""
    described = load_station(station)
    if described.simulated is None:
        return _check(described, invite=_wait_for_person if prove else None)
    if connect and not prove:
        return _check(described, invite=None)
    if connect:
        with SideChannel(described.simulated.side_port) as side:
            return _check(described, invite=side.press_start)
    with embedded_bench(described, described.simulated, load_bench(described.bench)) as served:
        return _check(described, invite=served.rig.press_start if prove else None)


def _check(station: Station, invite: Callable[[], None] | None) -> int:
    """Check; prove the watchdog too when there is a way to ask for START."""
    clock = system_clock()
    with open_bench(load_bench(station.bench), clock) as bench:
        reports = bench.check(clock)
        table = Table("role", "instrument", "calibration due", "self-test", "fault and remedy")
        for report in reports:
            extension = bench.file.entry(report.role).calibration.extension
            due = f"{report.due}" + (f"\nextended to {extension.until} by {extension.person}" if extension else "")
            table.add_row(report.role, str(report.identity or "no reply"), due, report.self_test,
                          "\n".join(report.faults) or "none")
        results.print(table)
        if any(report.faults for report in reports):
            return int(ExitCode.BENCH_NOT_FIT)
        return int(ExitCode.PASS if invite is None else _prove(bench, station, clock, invite))


def _prove(bench: Bench, station: Station, clock: Clock, invite: Callable[[], None]) -> ExitCode:
    results.print(CAUTION, markup=False, highlight=False)
    proof = prove_watchdog(bench, clock, invite)
    results.print(proof.sentence(), markup=False, highlight=False)
    keep_proof(station.store, bench.file, proof, clock)
    return ExitCode.PASS if proof.has_stopped else ExitCode.BENCH_NOT_FIT


def _wait_for_person() -> None:
    results.print("Press START.", markup=False, highlight=False)


@app.command("simulate")
def simulate(
    station: StationFile = Path("station.toml"),
    motor: Annotated[str, typer.Option(help="Serial number of the motor in the fixture.")] = "",
    seconds: Annotated[float, typer.Option(min=0.0, help="Stop after so long; 0 serves until Ctrl-C.")] = 0.0,
) -> int:
    """Serve the simulated bench of the station file to any client."""
    described = load_station(station)
    if described.simulated is None:
        raise UsageError("no simulated bench", where=str(station), expected="a [simulated] table", got="none",
                         remedy="Add the table, or use `station setup` to make a folder that has it.")
    clock = system_clock()
    file = load_bench(described.bench)
    with embedded_bench(described, described.simulated, file) as served:
        if motor:
            served.rig.place(motor)
        for role, port in served.ports.items():
            modbus = role == "drive" and file.has_modbus_drive
            kind = f"MODBUS::127.0.0.1::{port}" if modbus else f"TCPIP::127.0.0.1::{port}::SOCKET"
            results.print(f"{role}: {kind}", highlight=False)
        for role, port in served.hislip_ports.items():
            results.print(f"{role}: TCPIP::127.0.0.1::hislip0,{port}::INSTR", highlight=False)
        results.print(f"side channel: 127.0.0.1 port {served.side_port}; pace {described.simulated.pace:g}; "
                      "Ctrl-C ends it.", highlight=False)
        end = clock.monotonic() + seconds
        while not seconds or clock.monotonic() < end:
            clock.pause(0.1)
    return 0
