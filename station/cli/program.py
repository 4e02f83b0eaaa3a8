"""The program `station`: its commands, and how every way out becomes an exit code."""

import sys
from collections.abc import Sequence

import typer

from station.cli import (
    analyse,
    audit,
    bench,
    certificate,
    demo,
    dialect,
    forwarding,
    keys,
    limits,
    log,
    people,
    plant,
    plant_copy,
    plant_questions,
    printing,
    reanalyse,
    records,
    reference,
    serve,
    setup,
    study,
    testing,
    trail,
)
from station.cli.console import errors
from station.errors import StationError
from station.exit_code import ExitCode, table

CODES = "Exit codes: " + "; ".join(f"{number} {meaning}" for number, meaning in table()) + "."

app = typer.Typer(name="station", no_args_is_help=True, add_completion=False, rich_markup_mode=None, epilog=CODES,
                  help="Prove at the end of the line that each brushless motor behaves as its type promises.")
app.command("demo")(demo.demo)
app.command("test")(testing.run_tests)
app.command("analyse")(analyse.analyse)
app.command("reanalyse")(reanalyse.reanalyse)
app.command("certificate")(certificate.certificate)
app.command("print")(printing.print_certificates)
app.command("serve")(serve.serve)
app.command("setup")(setup.setup)
app.command("trail")(trail.show_trail)
app.add_typer(audit.app, name="audit")
app.add_typer(limits.app, name="limits")
app.add_typer(bench.app, name="bench")
app.add_typer(dialect.app, name="dialect")
app.add_typer(keys.app, name="keys")
app.add_typer(log.app, name="log")
app.add_typer(people.app, name="people")
app.add_typer(plant.app, name="plant")
plant.app.command("forward")(forwarding.forward)
plant.app.command("copy")(plant_copy.copy)
plant.app.command("recall")(plant_copy.recall_everywhere)
plant.app.command("find")(plant_questions.find)
plant.app.command("trace")(plant_questions.trace)
plant.app.command("yield")(plant_questions.yields)
app.add_typer(records.app, name="records")
app.add_typer(reference.app, name="reference")
app.add_typer(study.app, name="study")


def run(words: Sequence[str] | None = None) -> int:
    """Carry out one command line and return its exit code."""
    try:
        code = app(args=list(words) if words is not None else None, standalone_mode=False)
    except StationError as error:
        errors.print(str(error), style="bold", markup=False, highlight=False, soft_wrap=True)
        return int(error.exit_code)
    except typer.Exit as leave:
        return leave.exit_code
    except (KeyboardInterrupt, typer.Abort):
        errors.print("interrupted")
        return int(ExitCode.INTERRUPTED)
    except _usage_errors() as error:
        errors.print(f"{error} Run `station --help` for the commands.", markup=False)
        return int(ExitCode.WRONG_USE)
    return int(code or 0)


def main() -> None:
    """Entry point of the installed command.

    An error that nobody foresaw is shown whole, and ends in NO RESULT: Python's own code for it would say FAIL.
    """
    try:
        code = run()
    except Exception:
        errors.print_exception(show_locals=False)
        code = int(ExitCode.NO_RESULT)
    sys.exit(code)


def _usage_errors() -> type[Exception]:
    # typer carries click inside; the class is found through typer's own BadParameter.
    return next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
