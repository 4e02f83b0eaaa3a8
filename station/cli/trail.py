"""`station trail`: who did what on the screens and to the accounts, as the log and the file of accounts have it."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table
from rich.text import Text

from station.cli.console import results
from station.clock import system_clock
from station.errors import EvidenceError
from station.record.record import canonical
from station.record.schema import DATABASE
from station.record.store import Store
from station.screens.people import People
from station.screens.site import people_folder
from station.screens.trail import Trail
from station.sequence.station_file import Station, load_station

Entry = dict[str, Any]


def show_trail(
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    since: Annotated[str, typer.Option(help="First day or instant, in UTC, such as 2026-11-25.")] = "",
    person: Annotated[str, typer.Option(help="The name of one person.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line.")] = False,
) -> int:
    """List who did what, oldest first, and whether it stands in the log of the station."""
    here = load_station(station)
    kept = _kept(here)
    logged, waiting = _logged(here, kept)
    rows = [(entry, is_logged) for entries, is_logged in ((logged, True), (waiting, False)) for entry in entries
            if entry["at"] >= since and person in ("", entry["who"])]
    if as_json:
        for entry, is_logged in rows:
            typer.echo(json.dumps({**entry, "in_log": is_logged}, ensure_ascii=False))
    else:
        _show(rows)
    _require_agreement(logged, kept, kept.people.folder)
    return 0


def _kept(station: Station) -> Trail:
    return Trail(People(people_folder(station), system_clock()), system_clock())


def _logged(station: Station, kept: Trail) -> tuple[list[Entry], list[Entry]]:
    """Return the entries that the log holds, and those that wait for it."""
    if not (station.store / DATABASE).is_file():    # nothing was ever tested
        return [], [json.loads(body) for _, body in kept.entries(limit=-1)]
    with Store(station.store, read_only=True) as store:
        said = store.statements("trail")
        return [entry for one in said for entry in one["entries"]], [json.loads(body) for body in kept.waiting(store)]


def _require_agreement(logged: Sequence[Entry], kept: Trail, where: Path) -> None:
    """Raise EvidenceError unless the file of accounts still has what the log took from it last."""
    starts = [place for place, entry in enumerate(logged) if entry["number"] == 1]
    last = logged[starts[-1]:] if starts else []
    here = dict(kept.entries(limit=-1))
    changed = [entry["number"] for entry in last if here.get(entry["number"]) != canonical(entry)]
    if changed:
        raise EvidenceError("the file of accounts does not have what was entered into the log", where=str(where),
                            expected="the same entries", got=f"{len(changed)} others, from number {changed[0]}",
                            remedy="The log above is right. Ask who restored, replaced or changed that file.")


def _show(rows: Sequence[tuple[Entry, bool]]) -> None:
    table = Table("at", "who", "what", "about", "why", "from", "in the log")
    for entry, is_logged in rows:
        what = entry["what"] if entry["good"] else f"{entry['what']}: refused"
        words = (entry["at"], entry["who"], what, entry["about"], entry["why"], entry["where"])
        table.add_row(*map(Text, words), "yes" if is_logged else "not yet")
    results.print(table)
    results.print(f"{len(rows)} entries", highlight=False)
