"""`station limits`: look at limit files before a motor meets them."""

from pathlib import Path
from typing import Annotated

import typer

from station.cli.console import errors, results
from station.errors import FileContractError
from station.exit_code import ExitCode
from station.judgement.limit_file import parse_limits
from station.toml_file import read_toml

app = typer.Typer(no_args_is_help=True, help="Check limit files.", rich_markup_mode=None)


@app.callback()
def _group() -> None:
    """Check limit files."""


@app.command("check")
def check(files: Annotated[list[Path], typer.Argument(help="Limit files.")]) -> int:
    """Say of each limit file whether it holds, with every fault of those that do not."""
    code = ExitCode.PASS
    for path in files:
        try:
            limits = parse_limits(read_toml(path))
        except FileContractError as error:
            code = ExitCode.WRONG_USE
            errors.print(str(error), markup=False, highlight=False, soft_wrap=True)
        else:
            results.print(f"{path}: holds: {limits.motor_type.name} revision {limits.revision.number}, "
                          f"{len(limits.limits)} limits, {limits.decision.rule} rule", markup=False,
                          highlight=False, soft_wrap=True)
    return int(code)
