"""`station reference`: prove the bench with known motors, and look at how it drifts."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.cli.console import errors, results, show_notice
from station.cli.drifting import warn_of_drift
from station.cli.workplace import Workplace, load_limits, open_workplace
from station.errors import StationError, UsageError
from station.exit_code import ExitCode
from station.record.store import Store
from station.sequence.reference_check import PURPOSE, check_motors, require_both_kinds, require_captures, require_mended
from station.sequence.reference_draft import draft_toml
from station.sequence.reference_file import ReferenceMotor, load_references
from station.sequence.reference_history import drift
from station.sequence.run import RunResult
from station.sequence.station_file import Station, load_station

app = typer.Typer(no_args_is_help=True, help="Prove the bench with known motors.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
SIGNS = {"GOOD": "✓ GOOD", "BAD": "✗ BAD", "NO RESULT": "– NO RESULT"}
SHOWN = 8           # reasons printed; the store has all


@app.command("check")
def check(
    station: StationFile = Path("station.toml"),
    motor_type: Annotated[str, typer.Option("--type", help="Motor type; all with reference files if left out.")] = "",
    operator: Annotated[str, typer.Option(help="Who checks; goes into the store.")] = "operator",
    done: Annotated[str, typer.Option(help="What was found and mended since a BAD check; required after one.")] = "",
    connect: Annotated[bool, typer.Option("--connect", help="Use a simulated bench served by another process.")]
    = False,
) -> int:
    """Test the good and the known-bad reference motors. The shaft turns: guard closed, hands off."""
    described = load_station(station)
    groups = _groups(described, motor_type)
    code = ExitCode.PASS
    with open_workplace(described, operator, elsewhere=connect) as place:
        require_mended(place.store.reference_checks(), done)
        for motors in groups:
            require_captures(motors, place.sequence.labels())
        for motors in groups:
            made = _check_type(place, motors, done)
            warn_of_drift(described, place.store)
            code = max(code, made)
            if made in (ExitCode.STOPPED, ExitCode.INTERRUPTED):
                break
    return int(code)


@app.command("history")
def history(
    station: StationFile = Path("station.toml"),
    serial: Annotated[str, typer.Option(help="One reference motor; all if left out.")] = "",
    characteristic: Annotated[str, typer.Option(help="Full name: its values over time instead of the checks.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Every value over time, for a drift chart.")] = False,
) -> int:
    """List the reference checks, or how the values of the reference motors moved."""
    with Store(load_station(station).store, read_only=True) as store:
        checks = store.reference_checks()
    if not (as_json or characteristic):
        results.print(_checks_table(checks))
        return 0
    series = drift(checks, serial or None, characteristic or None)
    if characteristic and not series:
        raise UsageError("no reference check compared this", where="reference history", got=characteristic,
                         expected="a characteristic of a reference file", remedy="Look with --json at what there is.")
    if as_json:
        results.print(json.dumps(series), markup=False, highlight=False, soft_wrap=True)
        return 0
    for line in series:
        results.print(_drift_table(line))
    return 0


@app.command("draft")
def draft(
    serial: Annotated[str, typer.Argument(help="Serial of a motor that was tested several times.")],
    station: StationFile = Path("station.toml"),
    by: Annotated[str, typer.Option(help="Who answers for the numbers.")] = "operator",
) -> int:
    """Print a reference file made from the stored tests of a motor; a known-bad one from tests that failed."""
    described = load_station(station)
    with Store(described.store, read_only=True) as store:
        records = store.show(serial)
    results.print(draft_toml(serial, records, by), markup=False, highlight=False, soft_wrap=True, end="")
    return 0


def _groups(described: Station, motor_type: str) -> list[list[ReferenceMotor]]:
    """Return the reference motors of each type asked for, checked before anything is opened."""
    known = load_references(described.references)
    types = [motor_type] if motor_type else sorted({motor.motor_type for motor in known})
    if not types:
        raise UsageError("there is no reference motor", where=str(described.references),
                         expected="a reference file for a good and for a known-bad motor", got="none",
                         remedy="Write them; `station reference draft` makes a start.")
    groups = []
    for name in types:
        motors = [motor for motor in known if motor.motor_type == name]
        require_both_kinds(motors, name, str(described.references))
        for motor in motors:
            _require_type(described, motor)
        groups.append(motors)
    return groups


def _require_type(described: Station, motor: ReferenceMotor) -> None:
    limits = load_limits(described, motor.serial)
    if limits.motor_type.name != motor.motor_type:
        raise UsageError("reference motor is of another type", where=motor.file, expected=limits.motor_type.name,
                         got=motor.motor_type, remedy="Correct motor_type, or the serial, which names the type.")


def _check_type(place: Workplace, motors: list[ReferenceMotor], done: str) -> ExitCode:
    entry, trouble = check_motors(motors, lambda motor: _run(place, motor), place.sequence.labels(), done)
    made = place.store.add_reference_check(entry)
    _say(f"{SIGNS[made['result']]}  reference check {made['check']} of {made['motor_type']}")
    for reason in made["reasons"][:SHOWN]:
        _say(f"  {reason}")
    if len(made["reasons"]) > SHOWN:
        _say(f"  and {len(made['reasons']) - SHOWN} more: `station reference history --json`")
    if made["result"] == "BAD":
        _say(f"  {len(made['suspects'])} test(s) since the last good check are SUSPECT: `station records suspects`. "
             "Have the bench looked at before it tests again.")
    if isinstance(trouble, KeyboardInterrupt):
        return ExitCode.INTERRUPTED
    if isinstance(trouble, StationError):
        errors.print(str(trouble), markup=False, highlight=False)
        return trouble.exit_code
    return ExitCode.PASS if made["result"] == "GOOD" else ExitCode.BENCH_NOT_FIT


def _run(place: Workplace, motor: ReferenceMotor) -> RunResult:
    _say(f"{motor.serial}: {motor.kind} reference motor of type {motor.motor_type}")
    return place.run(motor.serial, show_notice, purpose=PURPOSE)


def _checks_table(checks: list[dict[str, Any]]) -> Table:
    table = Table("check", "type", "started", "result", "motors", "operator", "bench", "suspects", "first reason",
                  "mended before")
    for made in checks:
        table.add_row(str(made["check"]), made["motor_type"], made["started"], SIGNS[made["result"]],
                      ", ".join(motor["serial"] for motor in made["motors"]), made["operator"],
                      made["bench_sha256"][:8], str(len(made["suspects"])), next(iter(made["reasons"]), ""),
                      made["done"])
    return table


def _drift_table(line: dict[str, Any]) -> Table:
    at = f" @ {line['label']}" if line["label"] else ""
    table = Table("started", "check", "value", "u", "expected", "tolerance", "normalised error", "bench", "result",
                  title=f"{line['serial']} {line['name']}{at}, {line['unit']}")
    for point in line["points"]:
        table.add_row(point["started"], str(point["check"]),
                      *(_number(point[key]) for key in ("value", "u", "expected", "tolerance", "normalised_error")),
                      point["bench_sha256"][:8], point["result"])
    return table


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.6g}"


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
