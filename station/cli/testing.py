"""`station test`: test motors one after the other at this station."""

from pathlib import Path
from typing import Annotated, Any

import typer

from station.cli.certificate import issue
from station.cli.console import errors, results, show_notice, verdict_words, worst_code, worst_row
from station.cli.drifting import require_no_drift
from station.cli.forwarding import forwarding
from station.cli.printing import hand_over, printing
from station.cli.timing import show_timing
from station.cli.workplace import Workplace, load_limits, open_workplace
from station.clock import system_clock
from station.errors import StationError, UsageError
from station.exit_code import ExitCode
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]


def run_tests(
    serials: Annotated[list[str], typer.Argument(help="Serial numbers, in the order of test.")],
    station: StationFile = Path("station.toml"),
    operator: Annotated[str, typer.Option(help="Who tests; goes into the record.")] = "operator",
    connect: Annotated[bool, typer.Option("--connect", help="Use a simulated bench served by another process.")]
    = False,
    timing: Annotated[bool, typer.Option("--timing", help="Show where the time of each motor went.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Also test a motor that has used its runs; recorded.")] = False,
    person: Annotated[str, typer.Option(help="With --again: who allows it.")] = "",
    reason: Annotated[str, typer.Option(help="With --again: why.")] = "",
) -> int:
    """Test motors. The shaft turns and its terminals are live: guard closed, hands off."""
    verdicts, further = [], _further_run(person, reason, again=again)
    here = load_station(station)
    for serial in serials:      # one that names no motor type is told before anything turns
        load_limits(here, serial)
    clock = system_clock()
    with printing(here, clock), forwarding(here, clock), open_workplace(here, operator, elsewhere=connect) as place:
        require_no_drift(here, place.store)
        for serial in serials:
            record, trouble = test_and_certify(place, serial, quiet=False, timed=timing, further=further)
            verdicts.append(record["verdict"])
            if isinstance(trouble, KeyboardInterrupt):
                return int(ExitCode.INTERRUPTED)
            if isinstance(trouble, StationError) and trouble.exit_code is not ExitCode.NO_RESULT:
                errors.print(str(trouble), markup=False, highlight=False)
                return int(trouble.exit_code)
    return int(worst_code(verdicts))


def _further_run(person: str, reason: str, *, again: bool) -> FurtherRun | None:
    """Return a person's leave for further runs, None without --again; UsageError when one of the three is missing."""
    if again and person.strip() and reason.strip():
        return FurtherRun(person.strip(), reason.strip())
    if again or person or reason:
        raise UsageError("a further run is allowed by a person, for a reason", where="station test",
                         expected="--again, --person and --reason", got=f"--person {person!r} --reason {reason!r}"
                         + ("" if again else " without --again"), remedy="Give all three, or none.")
    return None


def test_and_certify(place: Workplace, serial: str, *, quiet: bool, timed: bool, further: FurtherRun | None
                     ) -> tuple[dict[str, Any], BaseException | None]:
    """Test one motor, show its verdict, write its certificate; return the record and any trouble."""
    if not quiet:
        results.print(f"{serial}", markup=False)
    outcome = place.test(serial, show_notice if not quiet else lambda _notice: None, further=further)
    record = outcome.record
    finding = record["findings"][0]["text"] if record["findings"] else ""
    why = finding or ("" if record["verdict"] == "PASS" else record["reason"])
    line = f"{verdict_words(record['verdict']):<11} {serial:<12} {worst_row(record)}"
    results.print(line + (f": {why}" if why else ""), markup=False, highlight=False, soft_wrap=True)
    # The verdict is durable and need not wait for its paper.
    outcome.timing.begin("Certificate")
    hand_over(place.station, record, certify(place, record), place.operator, place.clock)
    if timed:
        show_timing(outcome.timing, record["bench"]["pace"])
    return record, outcome.trouble


def certify(place: Workplace, record: dict[str, Any]) -> Path | None:
    """Issue the certificate of a stored test and return where it is kept.

    What goes wrong is told and takes nothing from verdict and record; then there is None.
    """
    serial, run = record["serial"], record["run"]
    try:
        return issue(place.station, place.store, record, place.clock)
    except StationError as error:
        errors.print(f"{serial}: no certificate yet. {error} The result is stored and stands. When that is mended: "
                     f"station certificate {serial} --run {run}", markup=False, highlight=False, soft_wrap=True)
        return None
