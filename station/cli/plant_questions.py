"""`station plant find`, `trace` and `yield`: questions across all stations, answered by the plant's database."""

from contextlib import closing
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.audit.trace import Question
from station.cli.console import results, verdict_words
from station.cli.plant import PLANT_FILE, AsJson, PlantFile, open_plant, print_json
from station.cli.tracing import Calibration, Instrument, MotorType, Since, Until
from station.errors import UsageError
from station.exit_code import ExitCode

if TYPE_CHECKING:
    from station.plant.questions import Found

MOST = 1000     # tests shown


def find(
    serial: Annotated[str, typer.Argument(help="Serial number of a motor; or its beginning and a *.")],
    plant: PlantFile = PLANT_FILE,
    as_json: AsJson = False,
) -> int:
    """List the tests of a motor, at whatever station."""
    with closing(open_plant(plant)) as database:
        from station.plant.questions import find_tests  # noqa: PLC0415 - with its libraries, for plants only

        with database.reading() as connection:
            _show(find_tests(connection, serial), as_json=as_json)
    return int(ExitCode.PASS)


def trace(
    plant: PlantFile = PLANT_FILE,
    instrument: Instrument = "",
    calibration: Calibration = "",
    limits: Annotated[str, typer.Option(help='SHA-256 of a limit file (or its beginning), or name and revision: '
                                        '"CP-40.toml C".')] = "",
    software: Annotated[str, typer.Option(help="Version of the station, or SHA-256 of its source.")] = "",
    since: Since = "",
    until: Until = "",
    motor_type: MotorType = "",
    most: Annotated[int, typer.Option(min=1, help="How many tests are listed at most.")] = MOST,
    as_json: AsJson = False,
) -> int:
    """List tests of all stations: made with an instrument, under a calibration, by a limit file, between two dates."""
    question = Question(instrument, calibration, limits, software, since, until, motor_type)
    if question == Question():
        raise UsageError("nothing is asked", where="station plant trace", expected="one option at least", got="none",
                         remedy="Name an instrument, a calibration, limits, software, dates or a motor type.")
    with closing(open_plant(plant)) as database:
        from station.plant.questions import trace_tests  # noqa: PLC0415 - with its libraries, for plants only

        with database.reading() as connection:
            found = trace_tests(connection, question, most + 1)
    _show(found[:most], as_json=as_json, more=len(found) > most)
    return int(ExitCode.PASS)


def yields(
    plant: PlantFile = PLANT_FILE,
    since: Since = "",
    until: Until = "",
    motor_type: MotorType = "",
    log: Annotated[str, typer.Option(help="Name of one station's log; all stations if left out.")] = "",
    as_json: AsJson = False,
) -> int:
    """Show day by day how many motors were tested, and passed in their first and in their last run."""
    with closing(open_plant(plant)) as database:
        from station.plant.questions import yield_by_day  # noqa: PLC0415 - with its libraries, for plants only

        with database.reading() as connection:
            found = yield_by_day(connection, since=since, until=until, motor_type=motor_type, origin=log)
    if as_json:
        print_json({"format": 1, "days": [asdict(day) for day in found]})
        return int(ExitCode.PASS)
    table = Table("day", "motors", "first-pass yield", "passed in the end")
    for day in found:
        table.add_row(day.day, str(day.motors), f"{100 * day.passed_first / day.motors:.2f} %",
                      f"{100 * day.passed_last / day.motors:.2f} %")
    results.print(table)
    return int(ExitCode.PASS)


def _show(found: "list[Found]", *, as_json: bool, more: bool = False) -> None:
    if as_json:
        print_json({"format": 1, "tests": [each.as_json() for each in found], "more": more})
        return
    table = Table("log", "entry", "serial", "run", "type", "started", "verdict")
    for each in found:
        words = ", ".join(filter(None, [verdict_words(each.verdict), each.purpose, "VOID" if each.is_void else ""]))
        table.add_row(each.origin, str(each.seq), each.serial, str(each.run), each.motor_type, each.started, words)
    results.print(table)
    results.print(f"{len(found)} test(s){', and more: ask for a shorter time, or for --most' if more else ''}",
                  highlight=False)
