"""`station limits`: look at limit files before a motor meets them, compare them, and release them."""

from pathlib import Path
from typing import Annotated

import typer

from station.cli import limits_release
from station.cli.console import errors, results
from station.errors import FileContractError, UsageError
from station.exit_code import ExitCode
from station.judgement.limit_file import LimitFile, parse_limits
from station.judgement.narrow_limits import Narrow, find_narrow
from station.toml_file import read_toml

app = typer.Typer(no_args_is_help=True, help="Check, compare and release limit files.", rich_markup_mode=None)


@app.callback()
def _group() -> None:
    """Check, compare and release limit files."""


@app.command("check")
def check(
    files: Annotated[list[Path], typer.Argument(help="Limit files.")],
    against: Annotated[Path | None, typer.Option(
        help="Folder of a store: are the tolerances wide enough for the uncertainty of its values?")] = None,
) -> int:
    """Say of each limit file whether it holds, with every fault of those that do not, and which limits are narrow."""
    code = ExitCode.PASS
    for path in files:
        try:
            limits = parse_limits(read_toml(path))
            narrow = find_narrow(limits) if against is None else _held_against(against, limits, path)
        except FileContractError as error:
            code = ExitCode.WRONG_USE
            errors.print(str(error), markup=False, highlight=False, soft_wrap=True)
        else:
            results.print(f"{path}: holds: {limits.motor_type.name} revision {limits.revision.number}, "
                          f"{len(limits.limits)} limits, {limits.decision.rule} rule", markup=False,
                          highlight=False, soft_wrap=True)
            for each in narrow:
                results.print(f"{path}: warning: {each.words}", markup=False, highlight=False, soft_wrap=True)
    return int(code)


app.command("compare")(limits_release.compare_files)
app.command("release")(limits_release.release)
app.command("restore")(limits_release.restore)
app.command("history")(limits_release.history)


def _held_against(store: Path, limits: LimitFile, path: Path) -> list[Narrow]:
    from station.study.stored_u import hold_against  # noqa: PLC0415 - slow to import, and for studies only
    from station.study.wide_table import revisions_of  # noqa: PLC0415

    if not revisions_of(store, limits.motor_type.name):
        raise UsageError("no tests to hold limits against", where=str(store), got="none",
                         expected=f"tests of {limits.motor_type.name}", remedy="Test motors first, or leave it out.")
    return hold_against(store, limits, str(path))
