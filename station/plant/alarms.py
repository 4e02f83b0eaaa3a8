"""Alarms: what contradicts the plant's copy of a log, kept with the signed heads of both until a person settles it."""

from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, Row, Select, insert, select

from station.clock import Instant, stamp
from station.errors import UsageError
from station.plant.database import Database
from station.plant.schema import alarms, settlements, stations

# two logs under one key; entries that are not those logged; fewer entries than there were; a file with another
# content; a record that cannot be read, which is kept all the same
What = Literal["fork", "altered", "shorter", "file", "unreadable"]


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm; `held` and `told` are the signed heads that contradict each other, empty where there are none."""

    number: int
    origin: str
    at: str
    what: str
    seq: int | None
    held: str
    told: str
    detail: str

    def __str__(self) -> str:
        """One line of words."""
        return f"alarm {self.number}, {self.at}, {self.what}: {self.detail}"


def raise_alarm(connection: Connection, station: int, what: What, detail: str, at: Instant, *, seq: int | None = None,
                held: str = "", told: str = "") -> None:
    """Add an alarm, unless there is one about the same that nobody has settled yet."""
    same = _open().where(alarms.c.station == station, alarms.c.what == what)
    if what == "file":
        same = same.where(alarms.c.detail == detail)
    elif what != "unreadable":      # of which the first stands for all
        same = same.where(alarms.c.seq.is_not_distinct_from(seq))
    if connection.execute(same).first() is None:
        connection.execute(insert(alarms), {"station": station, "at": stamp(at), "what": what, "seq": seq,
                                            "held": held, "told": told, "detail": detail})


def open_alarms(connection: Connection, station: int | None = None) -> list[Alarm]:
    """Return the alarms that nobody has settled, oldest first; those of one station if it is given."""
    query = _open() if station is None else _open().where(alarms.c.station == station)
    return [_alarm(row) for row in connection.execute(query.order_by(alarms.c.alarm))]


def settle(database: Database, number: int, *, person: str, reason: str, at: Instant) -> None:
    """Say durably that somebody has dealt with an alarm; the alarm itself stays.

    Raises
    ------
    UsageError
        There is no such alarm, it is settled already, or nobody says why.
    """
    for name, text in (("person", person), ("reason", reason)):
        if not text.strip():
            raise UsageError(f"settled without a {name}", where=f"alarm {number}", expected="words that say it",
                             got=repr(text), remedy="Say who has settled it, and why it can be.")
    with database.writing() as connection:
        if connection.execute(_open().where(alarms.c.alarm == number)).first() is None:
            raise UsageError("no open alarm of this number", where=f"alarm {number}", expected="an alarm to settle",
                             got="none", remedy="See `station plant status` for those that are open.")
        connection.execute(insert(settlements), {"alarm": number, "at": stamp(at), "person": person.strip(),
                                                 "reason": reason.strip()})


def _open() -> Select[tuple[object, ...]]:
    return (select(alarms, stations.c.origin).join(stations, alarms.c.station == stations.c.station)
            .outerjoin(settlements, settlements.c.alarm == alarms.c.alarm).where(settlements.c.alarm.is_(None)))


def _alarm(row: Row[tuple[object, ...]]) -> Alarm:
    return Alarm(row.alarm, row.origin, row.at, row.what, row.seq, row.held, row.told, row.detail)
