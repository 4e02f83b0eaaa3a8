"""Opening the store of a station so that what is written there is signed with the station's own key."""

from pathlib import Path

from station.errors import UsageError
from station.record.log_key import LogKey
from station.record.store import Store
from station.sequence.station_file import Station


def open_store(station: Station) -> Store:
    """Open the store for writing, to be entered; its log is signed where the station file names keys.

    Raises
    ------
    UsageError
        The key is not there, belongs to another log, or another process writes here.
    """
    return Store(station.store, log_key=LogKey.load(station.keys) if station.keys else None, origin=station.origin)


def keys_folder(station: Station) -> Path:
    """Return the folder of the keys; UsageError when the station file names none."""
    if station.keys is None:
        raise UsageError("the station signs nothing", where=str(station.file), expected="a table [signing]",
                         got="none", remedy='Add the lines `[signing]` and `keys = "keys"`, then repeat.')
    return station.keys
