"""`station people`: who may sign in to the pages of the station, and as what."""

import sys
from getpass import getuser
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.cli.console import results
from station.clock import system_clock
from station.errors import UsageError
from station.screens.access import Role
from station.screens.people import People
from station.screens.sessions import Sessions
from station.screens.site import people_folder
from station.screens.trail import Trail
from station.sequence.station_file import load_station

app = typer.Typer(no_args_is_help=True, help="Say who may sign in to the pages.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
Name = Annotated[str, typer.Argument(help="The name as it stands in records.")]
Badge = Annotated[str, typer.Option(help="What the scanner reads from the badge; it lets its bearer test motors, and "
                                    "nothing else.")]
PasswordFile = Annotated[Path | None, typer.Option(help="A file whose first line is the password; asked for if "
                                                   "absent and needed.")]
WHERE = "command line"


@app.command("add")
def add(
    name: Name,
    role: Annotated[list[Role], typer.Option(help="What the person is; may be given several times.")],
    badge: Badge = "",
    password_file: PasswordFile = None,
    language: Annotated[str, typer.Option(help="en, de or pl; the browser's if left out.")] = "",
    station: StationFile = Path("station.toml"),
) -> int:
    """Add a person. Roles other than operator sign in by password; an operator by badge, password or both."""
    people, trail = _opened(station)
    needs = password_file is not None or not badge or set(role) != {Role.OPERATOR}
    people.add(name, role, password=_password(password_file) if needs else "", badge=badge, language=language)
    trail.add(who_works(), "add a person", where=WHERE, about=name, why=" ".join(sorted(role)))
    _say(f"{name} may sign in.")
    return 0


@app.command("give")
def give(
    name: Name, badge: Badge = "", password_file: PasswordFile = None, station: StationFile = Path("station.toml"),
) -> int:
    """Give a person a new badge, or else a new password; somebody disabled is let in again."""
    people, trail = _opened(station)
    people.give(name, password="" if badge and password_file is None else _password(password_file), badge=badge)
    Sessions(people, system_clock()).end_all_of(name)
    trail.add(who_works(), "give a badge" if badge else "give a password", where=WHERE, about=name)
    _say(f"{name} may sign in with it.")
    return 0


@app.command("disable")
def disable(name: Name, station: StationFile = Path("station.toml")) -> int:
    """Let a person sign in no more, and sign them out; the account stays, as records name it."""
    people, trail = _opened(station)
    people.disable(name)
    Sessions(people, system_clock()).end_all_of(name)
    trail.add(who_works(), "disable a person", where=WHERE, about=name)
    _say(f"{name} may sign in no more.")
    return 0


@app.command("list")
def list_people(station: StationFile = Path("station.toml")) -> int:
    """List everybody, and what they may be."""
    people, _trail = _opened(station)
    table = Table("name", "roles", "language", "may sign in")
    for person, active in people.all():
        table.add_row(person.name, ", ".join(sorted(person.roles)), person.language, "yes" if active else "no")
    results.print(table)
    return 0


def _opened(station: Path) -> tuple[People, Trail]:
    people = People(people_folder(load_station(station)), system_clock())
    return people, Trail(people, system_clock())


def who_works() -> str:
    """Return who works at the computer, as it knows them."""
    try:
        return getuser()
    except (KeyError, OSError):     # a number without a name
        return "somebody"


def _password(file: Path | None) -> str:
    if file is not None:
        try:
            return file.read_text(encoding="utf-8").split("\n")[0].rstrip("\r")
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError("file cannot be read", where=str(file), expected="a readable file with a password",
                             got=str(error), remedy="Give the path of an existing file.") from error
    if not sys.stdin.isatty():
        raise UsageError("nobody is there to ask for the password", where="station people",
                         expected="--password-file", got="none", remedy="Name a file that holds it.")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
