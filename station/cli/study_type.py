"""`station study type`: what the motors of a type spread by, how that fits the limits, and what is weak about it."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.cli.console import results
from station.errors import StationError
from station.judgement.limit_file import parse_limits
from station.sequence.station_file import load_station
from station.toml_file import read_toml
from station.units import printed

if TYPE_CHECKING:
    from station.study.picture import Picture
    from station.study.type_study import TypeStudy

SHOWN = 15      # characteristics, the weakest
DRAWN = 8       # of them, that get a plot each


def study_type(
    motor_type: Annotated[str, typer.Argument(help="Motor type.")],
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    also: Annotated[list[Path] | None, typer.Option(help="Station file of a further station; may be repeated.")] = None,
    limits: Annotated[Path | None, typer.Option(help="Limit file; that of the newest test if left out.")] = None,
    revision: Annotated[str, typer.Option("--sequence-revision", help="Of the sequence, if there are several.")] = "",
    since: Annotated[str, typer.Option(help="Only tests begun on this date (UTC) or later.")] = "",
    until: Annotated[str, typer.Option(help="Only tests begun on this date (UTC) or earlier.")] = "",
    judged: Annotated[str, typer.Option("--judged-by", help="Only tests judged by the limit file whose SHA-256 "
                                        "begins so.")] = "",
    every_run: Annotated[bool, typer.Option("--every-run", help="Every run, and not the first of each motor.")] = False,
    trusted: Annotated[bool, typer.Option("--trusted", help="Without tests that a failed reference check casts doubt "
                                          "on.")] = False,
    without: Annotated[list[str] | None, typer.Option(help="A motor to leave out; once each.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for report (PDF, JSON) and plots; made if absent.")] = None,
    plots: Annotated[int, typer.Option(min=0, help="Characteristics that get a plot, the weakest first.")] = DRAWN,
    everything: Annotated[bool, typer.Option("--all", help="Show every characteristic.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> int:
    """Study the first attempts of a motor type, failures included: capability, lots, correlation, what is weak."""
    from station.study import type_study  # noqa: PLC0415 - slow to import, and for studies only
    from station.study.choice import Choice  # noqa: PLC0415
    from station.study.judged_by import limits_of_choice  # noqa: PLC0415
    from station.study.population import gather  # noqa: PLC0415
    from station.study.wide_table import read_table  # noqa: PLC0415

    choice = Choice(since, until, judged, every_run, trusted, tuple(without or ()))
    stations = [load_station(file) for file in (station, *(also or ()))]
    tables = [read_table(one.store, motor_type, revision, lot_pattern=one.lot_pattern_of(motor_type))
              for one in stations]
    judged_by = parse_limits(read_toml(limits)) if limits is not None else \
        limits_of_choice(stations[0].store, tables[0], choice)
    whole = type_study.study_type(gather(tables, judged_by, choice), judged_by)
    if out is not None:
        _write(whole, out, plots)
    if as_json:
        results.print(json.dumps(type_study.as_json(whole)), markup=False, highlight=False, soft_wrap=True)
        return 0
    _show(whole, everything=everything)
    if out is not None:
        _say(f"Report and plots: {out}")
    return 0


def _show(whole: "TypeStudy", *, everything: bool) -> None:
    from station.study.report import indices_of, tolerance_of  # noqa: PLC0415
    from station.study.type_study import about_all  # noqa: PLC0415
    from station.study.weakness import Weight  # noqa: PLC0415

    shown = whole.rows if everything else whole.rows[:SHOWN]
    table = Table("characteristic", "n", "tolerance", "unit", "mean", "s", "Cp", "Cpk", "Pp", "Ppk (95 % interval)",
                  "outside", "look")
    for row in shown:
        one = row.study
        mean, s = (f"{one.shape.mean:.4g}", f"{one.shape.s:.3g}") if one.shape else ("", "")
        table.add_row(one.sample.key, str(one.n), tolerance_of(one), printed(one.sample.unit), mean, s,
                      *indices_of(one), str(one.beyond.count) if one.beyond else "",
                      {Weight.NOTE: "", Weight.LOOK: "look", Weight.WEAK: "WEAK"}[row.weight])
    results.print(table)
    _say(f"{len(whole.rows)} limited characteristics, the {len(shown)} weakest shown; limits of "
         f"{whole.limits.motor_type.name} revision {whole.limits.revision.number}.")
    for line in about_all(whole):
        _say(line)
    for row in shown:
        for remark in filter(lambda remark: remark.weight > Weight.NOTE, row.remarks):
            _say(f"{row.study.sample.key}: {remark.text}.")
    for pair in whole.pairs[:3]:
        _say(f"Moves together: {pair.first} and {pair.second}, rank correlation {pair.r.value:.2f} "
             f"({pair.r.low:.2f} to {pair.r.high:.2f}).")


def _write(whole: "TypeStudy", out: Path, plots: int) -> None:
    """Write report.pdf, report.json and the plots; raises StationError where the folder takes none."""
    from station.study.report import type_report  # noqa: PLC0415
    from station.study.type_study import as_json  # noqa: PLC0415

    pictures = _pictures(whole, plots)
    said = json.dumps(as_json(whole), indent=1, ensure_ascii=False).encode()
    files = {"type.json": said, "type.pdf": type_report(whole, pictures)}
    files |= {f"{one.name}.svg": one.svg for one in pictures} | {f"{one.name}.png": one.png for one in pictures}
    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (out / name).write_bytes(content)
    except OSError as error:
        raise StationError("the report could not be written", where=str(error.filename or out), got=error.strerror,
                           expected="a folder with room and leave to write",
                           remedy="Name another folder with --out.") from error


def _pictures(whole: "TypeStudy", plots: int) -> "list[Picture]":
    from station.study.plots import correlation_plot, distribution_plot, index_plot  # noqa: PLC0415

    each = (distribution_plot(whole, row) for row in whole.rows[:plots])
    matrix = correlation_plot(whole.correlation)
    return [index_plot(whole), *each, *([matrix] if matrix else [])]


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
