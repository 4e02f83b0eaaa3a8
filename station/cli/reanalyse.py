"""`station reanalyse`: every value of an archive computed again from its captures, here or on a cluster."""

import json
from collections.abc import Iterator
from contextlib import AbstractContextManager
from itertools import chain
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.audit.values import Agreement
from station.cli.console import errors, results
from station.errors import UsageError
from station.exit_code import ExitCode
from station.plant.archive_tests import Wanted, find_tests
from station.plant.chunk import CAPTURES, About, Chunk, chunks_of
from station.plant.differences import Differences
from station.plant.reanalysis import Test
from station.plant.result_table import PartFolder
from station.plant.ways import Way, parts_made, way_on_this_computer
from station.toml_file import read_toml

SHOWN = 20          # remarks, and characteristics that differ; the table has all
WORDS = {Agreement.SAME: "agree to the last bit", Agreement.ROUNDED: "are rounded otherwise",
         Agreement.DIFFERS: "DIFFER", Agreement.UNFOUNDED: "do NOT FOLLOW from their captures",
         Agreement.LEFT_OUT: "are NOT IN THE RECORD", "": "have no record to be compared with"}


def reanalyse(
    archive: Annotated[Path, typer.Argument(help="A store, a folder with several, or a folder of captures.")],
    to: Annotated[Path, typer.Option(help="The table of results (Parquet).")] = Path("reanalysis.parquet"),
    scheduler: Annotated[str, typer.Option(help="Scheduler of an existing Dask cluster, tcp://host:port.")] = "",
    workers: Annotated[int, typer.Option(min=0, help="Processes on this computer; 0 is one for each processor.")] = 0,
    captures: Annotated[int, typer.Option(min=1, help="Captures of one piece of work.")] = CAPTURES,
    limits: Annotated[Path | None, typer.Option(help="Limit file, where captures have no records.")] = None,
    serial: Annotated[str, typer.Option(help="Serial number; * and ? stand for any characters.")] = "*",
    motor_type: Annotated[str, typer.Option("--type", help="Motor type.")] = "",
    since: Annotated[str, typer.Option(help="First date or instant, ISO 8601, UTC.")] = "",
    until: Annotated[str, typer.Option(help="Last date or instant, included.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> int:
    """Compute every value of an ARCHIVE again, compare it with its record, and go on where a run was broken off."""
    wanted = Wanted(serial, motor_type, since, until)
    tests = find_tests(archive, wanted, read_toml(limits) if limits else None)
    first = next(tests, None)
    if first is None:
        raise UsageError("no such test", where=str(archive), expected="tests that fit", got="none",
                         remedy="Ask for others.")
    with PartFolder(to) as parts, _way(scheduler, workers, first) as way:
        _tell(f"{way.workers}. {way.remark}".strip())
        about, differences = _carry_out(parts, way, chunks_of(chain([first], tests), captures))
    if as_json:
        results.print(json.dumps(_as_object(about, differences, to)), markup=False, highlight=False, soft_wrap=True)
    else:
        _show(about, differences, to)
    return int(ExitCode.PASS if differences.is_none and not about.remarks else ExitCode.EVIDENCE)


def _way(scheduler: str, workers: int, first: Test) -> AbstractContextManager[Way]:
    if not scheduler:
        return way_on_this_computer(workers)
    if workers:
        raise UsageError("a cluster has its own workers", where="--workers", expected="none beside --scheduler",
                         got=workers, remedy="Leave one of them out.")
    try:
        from station.plant.cluster import cluster  # noqa: PLC0415 - an optional extra, and slow to import
    except ModuleNotFoundError as error:
        raise UsageError("clusters are not installed", where="--scheduler", expected="the extra `cluster`",
                         got=str(error), remedy="Run: pip install 'station[cluster]'") from error
    return cluster(scheduler, next(chunks_of([first])))


def _carry_out(parts: PartFolder, way: Way, chunks: Iterator[Chunk]) -> tuple[About, Differences]:
    """Make every part that is not there yet, then the table."""
    keys: list[str] = []

    def missing() -> Iterator[Chunk]:
        for chunk in chunks:
            keys.append(chunk.key)
            if not parts.has(keys[-1]):
                yield chunk

    made = 0
    for chunk, part in parts_made(missing(), way):
        parts.keep(chunk.key, part)
        made += 1
        _tell(f"{made} parts made, {len(keys)} known")
    _tell(f"{len(keys)} parts, {len(keys) - made} of them from before")
    return parts.assemble(keys)


def _as_object(about: About, differences: Differences, to: Path) -> dict[str, object]:
    return {"format": 1, "table": str(to), "tests": about.tests, "captures": about.captures,
            "left_out": dict(about.left_out), "whole": about.is_whole, "versions": dict(about.versions),
            "values": {each or "not compared": count for each, count in sorted(differences.counts.items())},
            "differ": [{"name": name, "most_u": one.most_u, "values": dict(one.counts)}
                       for name, one in differences.telling()],
            "remarks": [remark.as_json() for remark in about.remarks]}


def _show(about: About, differences: Differences, to: Path) -> None:
    _say(f"{about.tests} tests with {about.captures} captures, {sum(differences.counts.values())} values:")
    for agreement, words in WORDS.items():
        if differences.counts[agreement]:
            _say(f"  {differences.counts[agreement]} {words}")
    for why, count in about.left_out.items():
        _say(f"  {count} test(s) left out or in part: {why}")
    telling = differences.telling()
    if telling:
        table = Table("characteristic", "agree", "rounded", "differ", "do not follow", "not in the record",
                      "largest difference, u")
        for name, one in telling[:SHOWN]:
            table.add_row(name, *(str(one.counts[each]) for each in Agreement), f"{one.most_u:.3g}")
        results.print(table)
        _say(f"{len(telling)} characteristics with differences, the {min(SHOWN, len(telling))} largest shown.")
    for remark in about.remarks[:SHOWN]:
        _say(f"{remark.severity.upper()} {remark.code}: {remark.what} ({remark.where}): expected {remark.expected}, "
             f"got {remark.got}. {remark.remedy}")
    if len(about.remarks) > SHOWN:
        _say(f"{len(about.remarks)} remarks, the first {SHOWN} shown.")
    _say(f"Table: {to}" + ("" if about.is_whole else f"; parts are kept in {PartFolder(to).folder}: run the command "
                           "again once the files are back, or remove them."))


def _tell(line: str) -> None:
    if errors.is_terminal:
        errors.print(line, markup=False, highlight=False)


def _say(line: str) -> None:
    results.print(line, markup=False, highlight=False, soft_wrap=True)
