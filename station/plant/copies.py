"""The copies of all stations of a plant, each in a folder of its own, brought up to date on demand."""

from dataclasses import dataclass
from pathlib import Path

from station.audit.trace import Question
from station.plant.archive import folder_of, open_archive
from station.plant.copied_files import fetch_files, link_files
from station.plant.copied_station import STORE, describe_station
from station.plant.copying import copy_log
from station.plant.database import Database
from station.plant.plant_file import Plant
from station.plant.questions import origins_with
from station.plant.stations import all_stations, find_station
from station.record.cosignature import STEM, load_witness
from station.record.key_pair import PUBLIC


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy that is up to date: its station file and store, how many entries it has, and files fetched just now."""

    file: Path
    store: Path
    entries: int
    fetched: int


@dataclass(frozen=True, slots=True)
class Copies:
    """The copies of a plant in the folder `to`, with files of their own; in the plant's own folder if None.

    There the files of a local archive are used in place.
    """

    database: Database
    plant: Plant
    to: Path | None = None

    def origins(self) -> list[str]:
        """Return the names of the logs of all stations."""
        with self.database.reading() as connection:
            return [known.origin for known in all_stations(connection)]

    def origins_with(self, question: Question) -> list[str]:
        """Return the names of the logs with tests that fit; dates are not looked at."""
        with self.database.reading() as connection:
            return origins_with(connection, question)

    def bring_up_to_date(self, origin: str) -> Copied:
        """Bring the copy of one station up to date and return it.

        Raises
        ------
        UnknownLogError
            The plant knows no such log.
        EvidenceError, UsageError, StationError
            As `copy_log` and `fetch_files`.
        """
        with self.database.reading() as connection:
            known = find_station(connection, origin)
        folder = (self.to or self.plant.copies) / folder_of(origin)
        store, archive = folder / STORE, open_archive(self.plant.archive)
        is_linked = self.to is None and link_files(archive, known, store)
        entries = copy_log(self.database, known, load_witness(self.plant.keys / (STEM + PUBLIC)), store)
        fetched = 0 if is_linked else fetch_files(self.database, archive, known, store)
        return Copied(describe_station(folder, known.verifier), store, entries, fetched)

    def close(self) -> None:
        """Close the database; safe to repeat."""
        self.database.close()
