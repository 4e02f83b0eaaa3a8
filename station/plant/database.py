"""The database of the plant: connections, transactions that are durable, and what goes wrong with them in our words."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry

from station.errors import StationError
from station.plant.refused import AwayError, NoRoomError

WAIT = 10               # s for a connection, or for another writer of SQLite
LONGEST = 60_000        # ms of one statement of PostgreSQL
_DISK_FULL = "53100"    # SQLSTATE. Source: PostgreSQL documentation, appendix A, from memory
_AGAIN = ("08", "57", "40", "53", "55", "58")   # its classes of trouble that passes: connection, operator, rollback, …
_SQLITE_FULL = 13       # SQLite result codes, from memory
_SQLITE_AGAIN = {5, 6, 10, 14}      # busy, locked, I/O, cannot open


@dataclass(frozen=True, slots=True)
class Database:
    """The tables of a plant, see `schema`; used from any thread."""

    engine: Engine

    @property
    def is_postgresql(self) -> bool:
        """Whether it is a server with roles, rather than one file."""
        return self.engine.dialect.name == "postgresql"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection to read with; errors as `writing`."""
        with _told(self.engine.url), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Yield a connection in a transaction that is durable once this has ended, and undone if it ends in an error.

        Raises
        ------
        AwayError
            The database does not answer, or went away meanwhile; whether the transaction counts is not known then.
        NoRoomError
            Its disk is full; nothing was written.
        StationError
            It refuses for another reason.
        """
        with _told(self.engine.url), self.engine.execution_options(writes=True).begin() as connection:
            yield connection

    def close(self) -> None:
        """Close every connection; safe to repeat."""
        self.engine.dispose()


def open_database(url: URL) -> Database:
    """Return the database at an address; nothing is asked of it yet."""
    if url.drivername == "sqlite":
        engine = create_engine(url, connect_args={"timeout": WAIT})
        event.listen(engine, "connect", _as_durable_as_a_store)
        event.listen(engine, "begin", _begin)
        return Database(engine)
    return Database(create_engine(url, pool_pre_ping=True, pool_timeout=WAIT, connect_args={
        "connect_timeout": WAIT, "application_name": "station plant",
        "options": f"-c statement_timeout={LONGEST} -c lock_timeout={LONGEST // 2}"}))


def _as_durable_as_a_store(connection: Any, _entry: ConnectionPoolEntry) -> None:  # noqa: ANN401 - a DBAPI connection
    connection.isolation_level = None       # transactions are begun by `_begin` alone
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _told(url: URL) -> Iterator[None]:
    """Tell what goes wrong with the database in words of our own."""
    try:
        yield
    except SQLAlchemyError as error:
        raise _in_our_words(error, url.render_as_string()) from error


def _in_our_words(error: SQLAlchemyError, where: str) -> StationError:
    cause = error.orig if isinstance(error, DBAPIError) else None
    state, code = getattr(cause, "sqlstate", None), getattr(cause, "sqlite_errorcode", None)
    got = (str(cause or error) or type(error).__name__).splitlines()[0]
    if state == _DISK_FULL or code == _SQLITE_FULL:
        return NoRoomError("the plant's database has no room", where=where, expected="a disk with room", got=got,
                           remedy="Free space on the disk of the plant's database; stations then go on by themselves.")
    lost = isinstance(error, DBAPIError) and (error.connection_invalidated or (state is None and code is None))
    if lost or not isinstance(error, DBAPIError) or str(state)[:2] in _AGAIN or (code or 0) & 0xFF in _SQLITE_AGAIN:
        return AwayError("the plant's database does not answer", where=where, expected="a database that answers",
                         got=got, remedy="Start it, or mend the way to it; stations then go on by themselves.")
    return StationError("the plant's database refused", where=where, expected="leave to work on its tables", got=got,
                        remedy="Run `station plant make` again to bring its tables up to date; else ask who has "
                        "changed them or their rights.")
