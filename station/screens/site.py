"""What the pages of a station stand on, put together once by whoever serves them."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from station.clock import Clock
from station.record.store import Store
from station.screens.attempts import Attempts
from station.screens.background import Background
from station.screens.line import Line
from station.screens.people import People
from station.screens.release_forms import Forms
from station.screens.sessions import Sessions
from station.screens.stack_light import StackLight
from station.screens.trail import Trail
from station.sequence.station_file import Station

if TYPE_CHECKING:
    from station.screens.rig import Fixture

FOLDER = "people"       # beside the station file
STUDIES = 6             # kept at once; one of 10 000 motors is 20 MB


@dataclass(frozen=True, slots=True)
class Site:
    """A station to be shown; without a `line` nothing can be tested here, only looked at."""

    station: Station
    clock: Clock
    people: People
    sessions: Sessions
    trail: Trail
    line: Line | None
    fixture: "Fixture | None" = None        # of a simulated bench
    light: StackLight | None = None         # above the line
    attempts: Attempts = field(default_factory=Attempts)
    background: Background = field(default_factory=Background)
    studies: Background = field(default_factory=lambda: Background(STUDIES))
    forms: Forms = field(default_factory=Forms)

    @contextmanager
    def store(self) -> Iterator[Store]:
        """Open the store for reading."""
        with Store(self.station.store, read_only=True) as store:
            yield store


def make_site(station: Station, clock: Clock, line: Line | None, fixture: "Fixture | None" = None) -> Site:
    """Put together what the pages of `station` need."""
    people = People(people_folder(station), clock)
    return Site(station, clock, people, Sessions(people, clock), Trail(people, clock), line, fixture)


def people_folder(station: Station) -> Path:
    """Return where accounts, sessions and trail of a station lie."""
    return station.folder / FOLDER
