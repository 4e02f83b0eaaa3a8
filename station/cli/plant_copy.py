"""`station plant copy` and `recall`: stations as the plant has them, for every command that reads a station."""

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from station.audit.recall import Recalled, recall
from station.audit.stated_error import require_instrument, stated_error
from station.audit.trace import Question
from station.cli.console import results
from station.cli.plant import PLANT_FILE, AsJson, PlantFile, open_plant, print_json
from station.cli.tracing import (
    Calibration,
    GainError,
    Instrument,
    MotorType,
    OffsetError,
    Since,
    TimebaseError,
    Until,
    recalled_code,
    show_recalled,
)
from station.exit_code import ExitCode

if TYPE_CHECKING:
    from station.plant.copies import Copies


def copy(
    logs: Annotated[list[str] | None, typer.Argument(help="Names of logs, as `station plant status` shows them; all "
                                                     "stations if left out.")] = None,
    plant: PlantFile = PLANT_FILE,
    to: Annotated[Path | None, typer.Option(help="Folder for copies that stand alone, files included; if left out, the "
                                            "plant's own, which use a local archive in place.")] = None,
) -> int:
    """Bring copies of stations up to date: each in the shape of a station's folder, to be audited, studied, shown."""
    with closing(_copies(plant, to)) as copies:
        for origin in logs or copies.origins():
            copied = copies.bring_up_to_date(origin)
            fetched = f", {copied.fetched} file(s) fetched" if copied.fetched else ""
            results.print(f"{copied.file}: {copied.entries} entries of {origin}{fetched}", markup=False,
                          highlight=False, soft_wrap=True)
    return int(ExitCode.PASS)


def recall_everywhere(
    plant: PlantFile = PLANT_FILE,
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
    """An instrument was off, at whatever stations: judge its motors again without that error, station by station."""
    question = Question(instrument, calibration, "", "", since, until, motor_type)
    require_instrument(question)
    error = stated_error(gain_error, offset_error, timebase_error)
    found: dict[str, list[Recalled]] = {}
    with closing(_copies(plant, None)) as copies:
        for origin in copies.origins_with(question):
            found[origin] = list(recall(copies.bring_up_to_date(origin).store, question, error))
    if as_json:
        print_json({"format": 1, "stations": [{"origin": origin, "tests": [each.as_json() for each in tests]}
                                              for origin, tests in found.items()]})
    else:
        for origin, tests in found.items():
            results.print(origin, markup=False, highlight=False)
            show_recalled(tests)
        results.print(f"{len(found)} station(s) with tests that stand on it", highlight=False)
    return recalled_code(each for tests in found.values() for each in tests)


def _copies(file: Path, to: Path | None) -> "Copies":
    database = open_plant(file)
    from station.plant.copies import Copies  # noqa: PLC0415 - with its libraries, for plants only
    from station.plant.plant_file import load_plant  # noqa: PLC0415

    return Copies(database, load_plant(file), to)
