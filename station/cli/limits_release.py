"""`station limits compare | release | restore | history`: what a draft changes, and who put which limits in force."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.cli.console import results
from station.clock import system_clock
from station.errors import UsageError
from station.exit_code import ExitCode
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.log_key import LogKey
from station.record.schema import DATABASE
from station.record.store import Store
from station.sequence.limits_of_type import limit_file_of, limit_files
from station.sequence.opening import keys_folder, open_store
from station.sequence.station_file import Station, load_station
from station.study.compare import Change, compare
from station.study.release import Wish, last_release, release_draft
from station.study.release_history import HOLDS, releases_told, restore_last, told_in_force
from station.toml_file import read_toml

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
MotorType = Annotated[str, typer.Argument(help="Motor type.")]


def compare_files(
    before: Annotated[Path, typer.Argument(help="Limit file.")],
    after: Annotated[Path, typer.Argument(help="Another one, such as a draft.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print it as JSON.")] = False,
) -> int:
    """Say by characteristic what the second limit file changes, in words and numbers."""
    files = [parse_limits(read_toml(path)) for path in (before, after)]
    changes = compare(*files)
    if as_json:
        results.print(json.dumps({"format": 1, "before": _named(files[0]), "after": _named(files[1]),
                                  "changes": [change.as_json() for change in changes]}),
                      markup=False, highlight=False, soft_wrap=True)
        return 0
    _show(files, changes)
    return 0


def release(
    draft: Annotated[Path, typer.Argument(help="Limit file without released_by, under a new revision number.")],
    by: Annotated[str, typer.Option("--by", help="Who releases it and answers for it.")],
    reason: Annotated[str, typer.Option(help="Why.")],
    study: Annotated[Path | None, typer.Option(help="Report of `station study what-if DRAFT --json`, no older than "
                                               "the tests; a release needs one.")] = None,
    station: StationFile = Path("station.toml"),
) -> int:
    """Put a draft in force as a signed revision, kept for ever with its study; the log says who, when and why."""
    if study is None:
        raise UsageError("a release needs a study", where=str(draft), expected="--study REPORT", got="none",
                         remedy=f"Look at `station study what-if {draft}`, write its report with --json > REPORT, "
                         "and name that.")
    here = load_station(station)
    limits = parse_limits(read_toml(draft))
    _refuse_narrow(here, limits, draft)
    target, key = limit_file_of(here, limits.motor_type.name), LogKey.load(keys_folder(here))
    with open_store(here) as store:
        before = last_release(store, limits.motor_type.name)
        old = parse_limits(read_toml(target)) if target.exists() else None
        said = release_draft(store, key, Wish(draft, target, study, by, reason), system_clock())
    if before == said:
        _say(f"{said['motor_type']} revision {said['revision']} was released already, by {said['person']} on "
             f"{said['at']}; its file is in place: {target}")
        return 0
    if old is not None:
        _show([old, limits], compare(old, limits))
    _say(f"{said['motor_type']} revision {said['revision']} is in force: {target}")
    _say(f"released by {said['person']}, entry {said['log']['seq']} of the log, SHA-256 {said['sha256']}")
    return 0


def restore(motor_type: MotorType, station: StationFile = Path("station.toml")) -> int:
    """Put the file of the last release back in place."""
    here = load_station(station)
    with Store(here.store, read_only=True) as store:
        said, target = restore_last(store, motor_type, here.limits, limit_files(here))
    _say(f"{motor_type} revision {said['revision']} is in force: {target}")
    return 0


def history(
    motor_type: MotorType,
    station: StationFile = Path("station.toml"),
    as_json: Annotated[bool, typer.Option("--json", help="Print the entries as stored.")] = False,
) -> int:
    """Tell who released which revision when and why, and whether file and signature still hold."""
    here = load_station(station)
    with Store(here.store, read_only=True) as store:
        released = releases_told(store, motor_type, here.keys)
    in_force = told_in_force(_named_file(here, motor_type, optional=bool(released)), motor_type, released)
    if as_json:
        results.print(json.dumps([{**one.said, "holds": one.holds} for one in released]),
                      markup=False, highlight=False, soft_wrap=True)
    else:
        table = Table("revision", "released", "by", "reason", "replaces", "study", "SHA-256", "entry", "holds")
        for said, holds in ((one.said, one.holds) for one in released):
            before = said["predecessor"]
            table.add_row(said["revision"], said["at"], said["person"], said["reason"],
                          before["revision"] if before else "-",
                          f"{said['study']['name']} {said['study']['sha256'][:8]}",
                          said["sha256"][:8], str(said["log"]["seq"]), holds)
        results.print(table)
        _say(f"{len(released)} release(s) of {motor_type}; {in_force}")
    return int(ExitCode.PASS if all(one.holds == HOLDS for one in released) else ExitCode.EVIDENCE)


def _named_file(here: Station, motor_type: str, *, optional: bool) -> Path | None:
    """Return the limit file of a type; where it is `optional`, None when the station file names none any more."""
    try:
        return limit_file_of(here, motor_type)
    except UsageError:
        if not optional:
            raise
        return None


def _refuse_narrow(here: Station, limits: LimitFile, draft: Path) -> None:
    """Raise FileContractError where a tolerance is too narrow for the uncertainty of the values stored."""
    from station.study.stored_u import hold_against  # noqa: PLC0415 - slow to import, and for studies only

    if (here.store / DATABASE).exists():
        for narrow in hold_against(here.store, limits, str(draft)):
            _say(f"warning: {narrow.words}")


def _named(limits: LimitFile) -> dict[str, Any]:
    return {"type": limits.motor_type.name, "revision": limits.revision.number, "sha256": limits.sha256,
            "released_by": limits.revision.released_by}


def _show(files: list[LimitFile], changes: tuple[Change, ...]) -> None:
    for limits in files:
        by = limits.revision.released_by
        _say(f"{limits.motor_type.name} revision {limits.revision.number}, "
             + (f"released by {by}" if by else "a draft") + f", SHA-256 {limits.sha256}")
    if not changes:
        _say("No limit, rule or convention differs.")
        return
    table = Table("characteristic", "change", "before", "after", "in words")
    for change in changes:
        table.add_row(change.key, change.direction, change.before, change.after, change.words)
    results.print(table)
    kinds = [change.direction for change in changes]
    _say(", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)))


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
