"""How a plant stands: how far each station has handed over, and what nobody has settled yet."""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from station.plant.alarms import Alarm, open_alarms
from station.plant.schema import ends, heads
from station.plant.stations import all_stations


@dataclass(frozen=True, slots=True)
class StationStanding:
    """How far one station has handed over; `at` is when that was last, by the plant's clock, empty if never.

    `ended` is when it was said that nothing more is taken, empty while it goes on.
    """

    origin: str
    size: int
    at: str
    root: str
    ended: str
    alarms: tuple[Alarm, ...]


def standing(connection: Connection) -> list[StationStanding]:
    """Return how each station stands, by the names of their logs."""
    alarms = open_alarms(connection)
    ended = {row.station: row.at for row in connection.execute(select(ends.c.station, ends.c.at))}
    found = []
    for known in all_stations(connection):
        newest = select(heads.c.size, heads.c.at, heads.c.root).where(heads.c.station == known.number)
        row = connection.execute(newest.order_by(heads.c.size.desc()).limit(1)).first()
        size, at, root = (row.size, row.at, row.root.hex()) if row else (0, "", "")
        found.append(StationStanding(known.origin, size, at, root, ended.get(known.number, ""),
                                     tuple(alarm for alarm in alarms if alarm.origin == known.origin)))
    return found
