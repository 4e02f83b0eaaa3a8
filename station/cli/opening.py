"""Opening the store of a station so that what is written there is signed with the station's own key."""

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
