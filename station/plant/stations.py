"""The stations that a plant knows: each by the name and the public key of its log."""

from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from station.clock import Instant, stamp
from station.errors import UsageError
from station.plant.database import Database
from station.plant.refused import UnknownLogError
from station.plant.schema import ends, stations
from station.record.signed_note import ED25519, Ed25519Verifier, parse_key_text


@dataclass(frozen=True, slots=True)
class Known:
    """A station that may hand over; `number` stands for it in the other tables."""

    number: int
    verifier: Ed25519Verifier

    @property
    def origin(self) -> str:
        """The name of its log."""
        return self.verifier.name


def add_station(database: Database, text: str, *, person: str, at: Instant) -> Known:
    """Let the station whose log's public key is in `text` hand over from now on.

    Raises
    ------
    UsageError
        It is no such text, or the plant knows a log of that name, with this key or another.
    """
    name, public = parse_key_text(text, ED25519, "public key of a log")
    if not name.isascii() or not name.isprintable() or set(name) <= {"."}:
        raise UsageError("no name for a log in an archive", where="public key of a log", got=repr(name),
                         expected="letters and digits of ASCII", remedy="Give the station's log another origin.")
    with database.writing() as connection:
        known = connection.execute(select(stations.c.verifier).where(stations.c.origin == name)).scalar()
        if known is not None:
            raise UsageError("the plant knows a log of this name", where=f"log of {name}", expected="a new name",
                             got=known, remedy="Nothing is to be done if the key is the same. A station with another "
                             "key needs a log with a name of its own: [signing] origin in its station file.")
        row = {"origin": name, "verifier": str(Ed25519Verifier(name, public)), "added": stamp(at), "person": person}
        number = connection.execute(insert(stations).returning(stations.c.station), row).scalar_one()
    return Known(number, Ed25519Verifier(name, public))


def end_station(database: Database, origin: str, *, person: str, reason: str, at: Instant) -> None:
    """Take nothing more of a log from now on; what the plant has of it stays.

    Raises
    ------
    UnknownLogError
        The plant does not know it.
    UsageError
        It has ended already, or nobody says why.
    """
    if not reason.strip():
        raise UsageError("ended without a reason", where=f"log of {origin}", expected="words that say it",
                         got=repr(reason), remedy="Say why nothing more is taken of it.")
    with database.writing() as connection:
        known = find_station(connection, origin)
        if ended := _ended(connection, known):
            raise UsageError("the log has ended already", where=f"log of {origin}", expected="one that goes on",
                             got=ended, remedy="Nothing is to be done.")
        connection.execute(insert(ends), {"station": known.number, "at": stamp(at), "person": person.strip(),
                                          "reason": reason.strip()})


def admitted_station(connection: Connection, origin: str) -> Known:
    """Return the station of a log that may hand over; UnknownLogError if there is none, or its log has ended."""
    known = find_station(connection, origin)
    if ended := _ended(connection, known):
        raise UnknownLogError("the plant takes nothing more of this log", where=f"log of {origin}",
                              expected="a log that goes on", got=ended, remedy="Give the station a new store and a new "
                              "log of another name, and its public key to `station plant add`.")
    return known


def find_station(connection: Connection, origin: str) -> Known:
    """Return the station with a log of this name; UnknownLogError if there is none."""
    row = connection.execute(select(stations).where(stations.c.origin == origin)).first()
    if row is None:
        raise UnknownLogError("the plant does not know this log", where=f"log of {origin}", expected="a known station",
                              got=origin, remedy="Give the public key of the station's log to `station plant add`.")
    return _known(row.station, row.verifier)


def all_stations(connection: Connection) -> list[Known]:
    """Return every station, by the names of their logs."""
    return [_known(row.station, row.verifier)
            for row in connection.execute(select(stations).order_by(stations.c.origin))]


def _ended(connection: Connection, known: Known) -> str:
    """Return in words when and why a log has ended, empty while it goes on."""
    row = connection.execute(select(ends).where(ends.c.station == known.number)).first()
    return f"ended {row.at} by {row.person}: {row.reason}" if row else ""


def _known(number: int, text: str) -> Known:
    return Known(number, Ed25519Verifier(*parse_key_text(text, ED25519, f"station {number}")))
