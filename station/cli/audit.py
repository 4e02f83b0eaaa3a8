"""`station audit`: is a certificate genuine, is an archive whole, and does every number follow from what was stored?"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from station.audit.certificate_audit import audit_certificate
from station.audit.finding import TITLES, Report, Severity, Step, all_clean, whole_json
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.cli.console import errors, results
from station.cli.tracing import recall_tests, trace_tests
from station.errors import UsageError
from station.exit_code import ExitCode
from station.record.schema import DATABASE
from station.sequence.station_file import load_station

StationFile = Annotated[Path | None, typer.Option("--station", help="The station file; station.toml if it is there.")]
Authority = Annotated[Path | None, typer.Option("--authority", help="The plant's authority (plant-ca.pem), from the "
                                                "plant; the one in the station's folder of keys if absent.")]
LogKey = Annotated[Path | None, typer.Option("--log-key", help="Public key of the log (log.pub), from the plant; the "
                                             "one in the station's folder of keys if absent.")]
Heads = Annotated[list[Path] | None, typer.Option("--head", help="Head of the log that was kept elsewhere.")]

WORDS = {"holds": "holds", "broken": "BROKEN", "doubtful": "DOUBTFUL", "not done": "not done"}
STATION_FILE = "station.toml"


class AuditCommands(TyperGroup):
    """The commands of an audit; what is none of them is the target of `check`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 - the library's context
        """Put `check` before a target."""
        if args and args[0] not in self.commands and args[0] not in ctx.help_option_names:
            args = ["check", *args]
        return super().parse_args(ctx, args)


app = typer.Typer(cls=AuditCommands, no_args_is_help=True, rich_markup_mode=None,
                  help="Audit a certificate (PDF), a serial number, a station folder, or a folder of several: "
                  "`station audit TARGET`.")


app.command("trace")(trace_tests)
app.command("recall")(recall_tests)


@dataclass(frozen=True, slots=True)
class Place:
    """A store to be audited, with the folders of keys and limit files that its station file names."""

    store: Path
    keys: Path | None = None
    limits: Path | None = None


@app.command("check")
def check(
    target: Annotated[str, typer.Argument(help="Certificate (PDF), serial number, station folder or store, or a folder "
                                          "with several of these.")],
    station: StationFile = None,
    authority: Authority = None,
    log_key: LogKey = None,
    head: Heads = None,
    quick: Annotated[bool, typer.Option("--quick/--recompute", help="Quick: signatures, log and files only; no page is "
                                        "drawn and no number computed again.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> int:
    """Audit TARGET: signatures, log, files, pages, and every number computed again. Needs no instruments."""
    heads = {str(path): _read_text(path) for path in head or ()}
    reports = dict(_audits(target, station, authority, log_key, heads, recompute=not quick))
    if as_json:
        results.print(json.dumps(whole_json(reports)), markup=False, highlight=False, soft_wrap=True)
    else:
        for name, report in reports.items():
            _show(name, report)
    return int(ExitCode.PASS if all_clean(reports.values()) else ExitCode.EVIDENCE)


def _audits(target: str, station: Path | None, authority: Path | None, log_key: Path | None, heads: dict[str, str], *,
            recompute: bool) -> Iterator[tuple[str, Report]]:
    """Yield the name and the report of everything that `target` stands for."""
    path = Path(target)
    here = _station_place(station)
    if path.is_file():
        trusted = load_trusted(authority, log_key, here.keys if here else None)
        yield target, audit_certificate(path, trusted, here.store if here else None, recompute=recompute, heads=heads)
        return
    places = list(_places(path)) if path.is_dir() else []
    papers = sorted(path.glob("*.pdf")) if path.is_dir() and not places else []
    if not places and not papers:
        yield target, _audit_serial(target, here, authority, log_key, Scope(target, recompute, heads))
    for place in places:
        trusted = load_trusted(authority, log_key, place.keys)
        scope = Scope("", recompute, heads, limits=place.limits)
        yield str(place.store), audit_store(place.store, trusted, scope, _tell)
    for paper in papers:
        trusted = load_trusted(authority, log_key, here.keys if here else None)
        yield str(paper), audit_certificate(paper, trusted, here.store if here else None, recompute=recompute,
                                            heads=heads)


def _audit_serial(serial: str, here: Place | None, authority: Path | None, log_key: Path | None, scope: Scope
                  ) -> Report:
    if here is None:
        raise UsageError("no such target", where=serial, got="none of them",
                         expected="a certificate, a folder with stores or certificates, or a serial number",
                         remedy="Check the path, or give --station for a serial number.")
    return audit_store(here.store, load_trusted(authority, log_key, here.keys), scope)


def _station_place(file: Path | None) -> Place | None:
    """Return the store of the station file; None where none was given and there is none here."""
    if file is None and not Path(STATION_FILE).is_file():
        return None
    station = load_station(file or Path(STATION_FILE))
    return Place(station.store, station.keys, station.limits)


def _places(folder: Path) -> Iterator[Place]:
    """Yield every store in `folder`, with what its station file tells; else with a folder `keys` beside it."""
    told = {}
    for file in sorted(folder.rglob(STATION_FILE)):
        station = load_station(file)
        told[station.store.resolve()] = Place(station.store, station.keys, station.limits)
    found = {database.parent.resolve(): database.parent for database in sorted(folder.rglob(DATABASE))}
    for store, path in found.items():
        beside = path.parent / "keys"
        yield told.get(store, Place(path, beside if beside.is_dir() else None))


def _read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError("head of a log cannot be read", where=str(path), expected="a signed note", got=error,
                         remedy="Give the file in which the head was kept.") from error


def _tell(done: int) -> None:
    if errors.is_terminal and done % 100 == 0:
        errors.print(f"{done} entries", highlight=False)


def _show(name: str, report: Report) -> None:
    """Print the steps in the auditor's order, then what was found."""
    _say(name)
    for step in Step:
        held, why = report.held.get(step, 0), report.left_out.get(step, "")
        _say(f"  {WORDS[report.outcome(step)]:<8}  {step.value:<12}  {TITLES[step]}"
             + (f": {held}" if held else "") + (f" ({why})" if why else ""))
    for finding in report.ordered():
        _say(f"  {finding.severity.upper()} {finding.code}: {finding.what}")
        for word, text in (("where", finding.where), ("since", finding.since), ("expected", finding.expected),
                           ("got", finding.got), ("remedy", finding.remedy)):
            if text:
                _say(f"    {word:<9} {text}")
    weighty = sum(finding.severity is not Severity.NOTE for finding in report.findings)
    _say(f"  {'Nothing was found against it.' if report.is_clean else f'{weighty} finding(s).'}")


def _say(line: str) -> None:
    results.print(line, markup=False, highlight=False, soft_wrap=True)
