"""`station serve --demo`: everything that it takes to try the pages, from nothing, and who one may be there."""

from collections.abc import Iterator
from pathlib import Path

from station.cli.people import who_works
from station.cli.setup import write_folder
from station.clock import Clock
from station.screens.demo_people import PASSWORD, PEOPLE, let_in
from station.screens.people import People
from station.screens.site import people_folder
from station.screens.trail import Trail
from station.sequence.station_file import Station, load_station

PACE = 1.0      # as at a real bench: what is shown meanwhile is seen


def demonstration(folder: Path, clock: Clock) -> Station:
    """Return the station in `folder`, made there if there is none, with the people of the demonstration.

    Raises
    ------
    UsageError
        The folder holds something else.
    NotAllowedError
        Its bench is a real one, or other people have accounts there; see `let_in`.
    """
    if not (folder / "station.toml").exists():
        write_folder(folder, pace=PACE, free_ports=True)
    station = load_station(folder / "station.toml")
    let_in(station, Trail(People(people_folder(station), clock), clock), who_works())
    return station


def whom_to_be(address: str) -> Iterator[str]:
    """Yield in words who may sign in at `address` by what, and where the simulated hands are."""
    yield f"{address}/rig has the simulated hands: a scanner for badges and motors, the guard, START."
    for one in PEOPLE:
        way = f"badge {one.badge}, scanned" if one.badge else f'password "{PASSWORD}"'
        yield f"{one.name}, {one.role}: {way}"
