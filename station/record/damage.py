"""What SQLite finds damaged is told as altered evidence, never as a fault of the program or the disk."""

import sqlite3
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from station.errors import EvidenceError

Result = TypeVar("Result")

# Primary result codes (sqlite.org/rescode.html). Our own SQL is right, so that an error in it, such as a table that is
# not there, is one of the schema stored in the database.
_DAMAGE = {sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_FORMAT, sqlite3.SQLITE_NOTADB}


def _telling(method: Callable[..., Result]) -> Callable[..., Result]:
    @wraps(method)
    def tell(cursor: sqlite3.Cursor, *given: Any) -> Result:    # noqa: ANN401 - whatever the method takes
        try:
            return method(cursor, *given)
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            if not _is_damage(error):
                raise
            where = str(getattr(cursor.connection, "database", "store"))
            raise EvidenceError("database of the store is damaged", where=where,
                                expected="a database as SQLite wrote it", got=str(error),
                                remedy="Stop and keep the store as it is; restore a backup beside it, and compare both "
                                "with the heads of the log kept elsewhere.") from error
    return tell


class Cursor(sqlite3.Cursor):
    """A cursor whose errors about damage are EvidenceErrors."""

    execute = _telling(sqlite3.Cursor.execute)
    executemany = _telling(sqlite3.Cursor.executemany)
    executescript = _telling(sqlite3.Cursor.executescript)
    fetchone = _telling(sqlite3.Cursor.fetchone)
    fetchmany = _telling(sqlite3.Cursor.fetchmany)
    fetchall = _telling(sqlite3.Cursor.fetchall)
    __next__ = _telling(sqlite3.Cursor.__next__)


class Connection(sqlite3.Connection):
    """A connection whose cursors tell of damage."""

    def __init__(self, database: Any, **more: Any) -> None:     # noqa: ANN401 - as sqlite3 takes them
        self.database = str(database)
        super().__init__(database, **more)

    def cursor(self, factory: Any = Cursor) -> Any:             # noqa: ANN401 - as sqlite3 has it
        """Return a cursor that tells of damage."""
        return super().cursor(factory)

    # sqlite3 takes plain cursors for these, whatever `cursor` returns.
    def execute(self, sql: str, *given: Any) -> sqlite3.Cursor:     # noqa: ANN401 - as sqlite3 takes them
        """Carry out one statement on a cursor of its own."""
        cursor: sqlite3.Cursor = self.cursor().execute(sql, *given)
        return cursor

    def executemany(self, sql: str, rows: Any) -> sqlite3.Cursor:   # noqa: ANN401 - as sqlite3 takes them
        """Carry out one statement for each of `rows`."""
        cursor: sqlite3.Cursor = self.cursor().executemany(sql, rows)
        return cursor

    def executescript(self, sql: str) -> sqlite3.Cursor:
        """Carry out statements one after the other."""
        cursor: sqlite3.Cursor = self.cursor().executescript(sql)
        return cursor


def _is_damage(error: Exception) -> bool:
    code = getattr(error, "sqlite_errorcode", None)     # absent where Python itself raised, as for bytes of no text
    if code is None:
        return isinstance(error, UnicodeDecodeError) or "decode" in str(error)
    return code & 0xFF in _DAMAGE
