"""`station audit trace` and `recall`: which tests stand on an instrument, and what its error does to them."""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.audit.recall import Recalled, recall
from station.audit.stated_error import require_instrument, stated_error
from station.audit.trace import Question, trace
from station.cli.console import results, verdict_words
from station.exit_code import ExitCode
from station.sequence.station_file import load_station
from station.units import printed

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
Instrument = Annotated[str, typer.Option(help="Serial number of an instrument.")]
Calibration = Annotated[str, typer.Option(help="Number of a calibration certificate.")]
Since = Annotated[str, typer.Option(help="First date or instant, ISO 8601, UTC.")]
Until = Annotated[str, typer.Option(help="Last date or instant, included.")]
MotorType = Annotated[str, typer.Option("--type", help="Motor type.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
GainError = Annotated[str, typer.Option(help="How much too high it indicated, relative: 0.2%, 150ppm.")]
OffsetError = Annotated[str, typer.Option(help='How much too high it indicated: "5 mV", "0.01 ohm", "1.5 degC".')]
TimebaseError = Annotated[str, typer.Option(help="How much too long its time was, relative: 100ppm.")]

SHOWN = 3           # values of a test; `--json` has them all


def trace_tests(
    station: StationFile = Path("station.toml"),
    instrument: Instrument = "",
    calibration: Calibration = "",
    limits: Annotated[str, typer.Option(help='SHA-256 of a limit file (or its beginning), or name and revision: '
                                        '"CP-40.toml C".')] = "",
    software: Annotated[str, typer.Option(help="Version of the station, or SHA-256 of its source.")] = "",
    since: Since = "",
    until: Until = "",
    motor_type: MotorType = "",
    as_json: AsJson = False,
) -> int:
    """List the tests made with an instrument, under a calibration, by a limit file, between two dates."""
    found = trace(load_station(station).store,
                  Question(instrument, calibration, limits, software, since, until, motor_type))
    if as_json:
        _print({"format": 1, "tests": [each.as_json() for each in found]})
        return int(ExitCode.PASS)
    table = Table("entry", "serial", "run", "type", "started", "verdict")
    for each in found:
        table.add_row("" if each.seq is None else str(each.seq), each.serial, str(each.run), each.motor_type,
                      each.started, verdict_words(each.verdict))
    results.print(table)
    results.print(f"{len(found)} test(s)", highlight=False)
    return int(ExitCode.PASS)


def recall_tests(
    station: StationFile = Path("station.toml"),
    instrument: Instrument = "",
    calibration: Calibration = "",
    gain_error: GainError = "",
    offset_error: OffsetError = "",
    timebase_error: TimebaseError = "",
    since: Since = "",
    until: Until = "",
    motor_type: MotorType = "",
    as_json: AsJson = False,
) -> int:
    """An instrument was off: judge its motors again without that error, and list whose verdict flips or is doubtful."""
    question = Question(instrument, calibration, "", "", since, until, motor_type)
    require_instrument(question)
    error = stated_error(gain_error, offset_error, timebase_error)
    found = list(recall(load_station(station).store, question, error))
    if as_json:
        _print({"format": 1, "tests": [each.as_json() for each in found]})
    else:
        show_recalled(found)
    return recalled_code(found)


def recalled_code(found: Iterable[Recalled]) -> int:
    """Return the exit code of a recall: FAIL when a verdict flips."""
    return int(ExitCode.FAIL if any(each.outcome == "flips" for each in found) else ExitCode.PASS)


def show_recalled(found: Sequence[Recalled]) -> None:
    """Print the tests whose verdict does not stand, and how many there are of each kind."""
    table = Table("serial", "run", "started", "verdict", "without the error", "values")
    for each in found:
        if each.outcome != "stands":
            table.add_row(each.serial, str(each.run), each.started, verdict_words(each.verdict_before),
                          f"{verdict_words(each.verdict_after)}\n{each.outcome.upper()}", _values(each))
    results.print(table)
    counted = {outcome: sum(each.outcome == outcome for each in found) for outcome in ("flips", "doubtful", "stands")}
    results.print(f"{len(found)} test(s): {counted['flips']} flip, {counted['doubtful']} become doubtful, "
                  f"{counted['stands']} stand.", highlight=False)


def _values(each: Recalled) -> str:
    shown = [f"{c.name}{f' @ {c.label}' if c.label else ''} {_number(c.before)} → {_number(c.after)} "
             f"{printed(c.unit)}: {c.result_before} → {c.result_after}" for c in each.changed[:SHOWN]]
    more = len(each.changed) - len(shown)
    return "\n".join(shown + ([f"and {more} more"] if more else []))


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.5g}"


def _print(told: object) -> None:
    results.print(json.dumps(told), markup=False, highlight=False, soft_wrap=True)
