"""`station study gauge`: how much of what is measured is the station, by planned runs."""

import json
from contextlib import ExitStack
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.cli.console import errors, results, show_notice
from station.cli.study_gauge_tables import KNOWN_NOTE, detail_tables, known_table, report_table
from station.cli.workplace import Workplace, load_limits, open_workplace
from station.errors import StationError, UsageError
from station.exit_code import ExitCode
from station.record.correction import void_in
from station.record.store import Store
from station.sequence.gauge_plan import GaugePlan, PlannedRun, parse_plan
from station.sequence.gauge_planning import planned_study
from station.sequence.gauge_runs import Made, make_runs, plan_file, runs_to_make
from station.sequence.reference_file import load_references
from station.sequence.run import RunResult
from station.sequence.station_file import Station, load_station
from station.toml_file import read_toml

if TYPE_CHECKING:
    from station.study.gauge_report import GaugeReport

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None,
                  help="Study the station as a gauge: plan, carry out and report repeated tests of some motors.")

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
All = Annotated[bool, typer.Option("--all", help="Show every value.")]
AsJson = Annotated[bool, typer.Option("--json", help="Everything, as JSON.")]


class Operator(StrEnum):
    """What stands for the operator of a gauge study."""

    REFIT = "refit"
    SHIFT = "shift"
    STATION = "station"


@app.command("plan")
def plan(
    study: Annotated[str, typer.Argument(help="Name of the study.")],
    motors: Annotated[list[str], typer.Argument(help="Serial numbers, ten or so, spread over the tolerance.")],
    out: Annotated[Path, typer.Option(help="The plan's file; must be absent.")],
    station: StationFile = Path("station.toml"),
    by: Annotated[Operator, typer.Option(help="What stands for the operator.")] = Operator.REFIT,
    level: Annotated[list[str] | None, typer.Option(help="A round, shift or station id; once for each.")] = None,
    repeats: Annotated[int, typer.Option(help="Tests of each motor at each level.")] = 3,
    seed: Annotated[int, typer.Option(min=0, help="Of the order in which the runs are made.")] = 1,
) -> int:
    """Draw the order of the runs of a study and write it down."""
    text, drawn = planned_study(load_station(station), study, by.value, level or (), motors, repeats, seed, str(out))
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise UsageError("the plan could not be written", where=str(out), expected="an absent file in a folder that is",
                         got=str(error.strerror or error), remedy="Name another file.") from error
    of = drawn.study
    _say(f"{len(drawn.runs)} runs: {len(of.motors)} motors x {len(of.levels)} ({of.by}) x {of.repeats}. "
         f"Next: station study gauge run {out} --station {station}")
    return 0


@app.command("run")
def run(
    plan: Annotated[Path, typer.Argument(help="The plan's file.")],
    station: StationFile = Path("station.toml"),
    level: Annotated[str, typer.Option(help="Only this round, shift or station; in a study of stations this one.")]
    = "",
    operator: Annotated[str, typer.Option(help="Who tests; goes into the records.")] = "operator",
    connect: Annotated[bool, typer.Option("--connect", help="Use a simulated bench served by another process.")]
    = False,
) -> int:
    """Carry out the runs still to be made. The shaft turns and its terminals are live: guard closed, hands off."""
    described, planned = load_station(station), parse_plan(read_toml(plan))
    for motor in planned.study.motors:
        load_limits(described, motor)
    only = level or (described.id if planned.study.by == "station" else "")
    runs_to_make(planned, [], level=only)       # no bench is opened for a level that there is not
    with open_workplace(described, operator, elsewhere=connect) as place:
        to_make = runs_to_make(planned, place.store.each(), _void(place.store), only)
        made = make_runs(to_make, lambda one, anew: _run(place, planned, one, anew=anew))
        left = runs_to_make(planned, place.store.each(), _void(place.store))
    return _tell(planned, made, left, station)


@app.command("report")
def report(
    study: Annotated[str, typer.Argument(help="Name of the study.")],
    station: StationFile = Path("station.toml"),
    store: Annotated[list[Path] | None, typer.Option(help="Store of another station of the study; once each.")] = None,
    without: Annotated[list[str] | None, typer.Option(help="A motor to leave out, such as a faulty one that lacks "
                                                      "values; once each.")] = None,
    key: Annotated[str, typer.Option(help="One value, such as thd.ab@forward 1000: its whole analysis.")] = "",
    pool_above: Annotated[float, typer.Option(min=0, max=1, help="p above which the interaction is pooled.")] = 0.25,
    pdf: Annotated[Path | None, typer.Option(help="Also write the report to this PDF.")] = None,
    as_json: AsJson = False,
    everything: All = False,
) -> int:
    """Tell how much of each limited value's spread is the station."""
    from station.study import gauge_report  # noqa: PLC0415 - slow to import, and for studies only

    made = _report(load_station(station), store or [], study, without or [], pool_above)
    if pdf is not None:
        _write_pdf(made, pdf)
    if as_json:
        results.print(json.dumps(gauge_report.as_json(made)), markup=False, highlight=False, soft_wrap=True)
        return 0
    if key:
        for table in detail_tables(made, key):
            _show(table)
        return 0
    runs = made.runs
    _say(f"Gauge study {runs.study}: {len(runs.motors)} motors of {runs.motor_type} x {len(runs.levels)} ({runs.by}: "
         f"{', '.join(runs.levels)}) x {runs.repeats}, {runs.started} to {runs.ended}")
    _show(report_table(made, everything=everything))
    for words in (made.method, made.meaning, *made.remarks()):
        _say(words)
    return 0


@app.command("type-one")
def type_one(
    serial: Annotated[str, typer.Argument(help="A reference motor.")],
    station: StationFile = Path("station.toml"),
    as_json: AsJson = False,
    everything: All = False,
) -> int:
    """Hold spread and bias of a reference motor's runs (checks and gauge studies) against the tolerance."""
    from station.study.type_one_runs import study_known_motor  # noqa: PLC0415 - slow to import, and for studies only

    described = load_station(station)
    with Store(described.store, read_only=True) as store:
        records, void = store.show(serial), _void(store)
    labels = {capture["label"] for record in records for capture in record["captures"]}
    known = study_known_motor(records, void, serial, _expected(described, serial, labels))
    if as_json:
        results.print(json.dumps({"format": 1, **asdict(known)}), markup=False, highlight=False, soft_wrap=True)
        return 0
    _show(known_table(known, everything=everything))
    for words in (KNOWN_NOTE, known.warning, *(f"{name}: not in every run" for name in known.left_out)):
        if words:
            _say(words)
    return 0


def _void(store: Store) -> frozenset[tuple[str, int]]:
    return void_in(store.statements("correction"))


def _run(place: Workplace, plan: GaugePlan, one: PlannedRun, *, anew: bool) -> RunResult:
    at = one.place
    _say(f"run {at.number} of {at.of}: {one.motor}, {at.level}, repeat {at.repeat}"
         + ("" if anew else " (leave it as it is)"))
    return place.run(one.motor, show_notice, purpose=at.purpose, reference_check=place.covering(one.motor),
                     gauge_run=at, untouched=not anew, files=(plan_file(plan),))


def _tell(plan: GaugePlan, made: Made, left: list[PlannedRun], station: Path) -> int:
    _say(f"{made.runs} run(s) made, {len(left)} of {len(plan.runs)} still to be made.")
    if made.trouble is None:
        if not left:
            _say(f"Next: station study gauge report {plan.study.id} --station {station}")
        return int(ExitCode.PASS)
    if isinstance(made.trouble, StationError):
        errors.print(str(made.trouble), markup=False, highlight=False, soft_wrap=True)
        return int(made.trouble.exit_code)
    return int(ExitCode.INTERRUPTED)


def _report(described: Station, others: list[Path], study: str, without: list[str], pool_above: float) -> "GaugeReport":
    from station.study.gauge_records import read_study  # noqa: PLC0415 - slow to import, and for studies only
    from station.study.gauge_report import gauge_report  # noqa: PLC0415

    with ExitStack() as stack:
        stores = [stack.enter_context(Store(folder, read_only=True)) for folder in (described.store, *others)]
        return gauge_report(read_study(stores, study, without), pool_above)


def _write_pdf(made: "GaugeReport", pdf: Path) -> None:
    from station.study.gauge_pages import gauge_pages  # noqa: PLC0415 - slow to import, and for studies only

    try:
        pdf.write_bytes(gauge_pages(made))
    except OSError as error:
        raise StationError("the report could not be written", where=str(pdf), expected="room and leave to write",
                           got=str(error.strerror or error), remedy="Name another file.") from error
    errors.print(f"report: {pdf}", markup=False, highlight=False, soft_wrap=True)


def _expected(described: Station, serial: str, labels: set[str]) -> dict[tuple[str, str], float]:
    """Return the reference value of each (characteristic, label) in the reference file of `serial`."""
    known = [motor for motor in load_references(described.references) if motor.serial == serial]
    if not known:
        raise UsageError("no reference file tells what this motor has", where=serial,
                         expected=f"a reference motor with a file in {described.references}", got="none",
                         remedy="`station reference draft` makes one from stored tests.")
    return {(expected.name, label): expected.value for expected in known[0].expected
            for label in (labels if expected.label is None else [expected.label])}


def _show(table: Table) -> None:
    results.print(table)


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
