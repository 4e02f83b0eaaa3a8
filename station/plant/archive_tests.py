"""The tests of an archive, one by one: of a store, of a folder with several, or of captures without records."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from station.audit.glance import at_a_glance
from station.errors import UsageError
from station.plant.reanalysis import LooseCaptures, StoredTest, Test, pack
from station.record import schema
from station.record.log import open_log
from station.record.retention import removed_files
from station.record.statement import Statement, all_statements
from station.toml_file import TomlSource

_RUN = re.compile(r"(run-\d+)-(\d+)-")      # how a store calls its captures
_WANTED = """
SELECT seq FROM log JOIN records ON kind = 'record' AND subject = run_id
WHERE serial GLOB :serial AND (:motor_type = '' OR motor_type = :motor_type)
  AND started >= :since AND (:until = '' OR started <= :until || '~')
ORDER BY seq
"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which tests are wanted; what is empty is not asked for."""

    serial: str = "*"       # * and ? stand for any characters
    motor_type: str = ""
    since: str = ""         # ISO 8601 date or instant in UTC, included
    until: str = ""         # included

    def as_sql(self) -> dict[str, str]:
        """Return it as the values of a statement."""
        return {"serial": self.serial or "*", "motor_type": self.motor_type, "since": self.since, "until": self.until}


def find_tests(archive: Path, wanted: Wanted, limits: TomlSource | None) -> Iterator[Test]:
    """Yield the tests in `archive`: those of its stores by origin and log, else its captures by folder and name.

    `limits` is the limit file by whose conventions captures without records are analysed.

    Raises
    ------
    UsageError
        There is nothing to analyse, the same log is there twice, or `limits` is missing or too much.
    EvidenceError
        A store cannot be read.
    """
    stores = _by_origin(archive)
    if stores:
        if limits is not None:
            raise UsageError("these tests have limit files of their own", where=str(archive), expected="no --limits",
                             got=limits.name, remedy="Leave it out: each record names the one that was in force.")
        for folder in stores.values():
            yield from _stored(folder, wanted)
        return
    if wanted != Wanted():
        raise UsageError("captures without records cannot be chosen", where=str(archive), got="serial, type or dates",
                         expected="a folder with records.sqlite", remedy="Name a folder with fewer captures instead.")
    yield from _loose(archive, limits)


def _by_origin(archive: Path) -> dict[str, Path]:
    """Return the stores in a folder by the names of their logs."""
    if not archive.is_dir():
        raise UsageError("no such archive", where=str(archive), expected="a folder with stores or captures",
                         got="a file" if archive.exists() else "nothing", remedy="Check the path.")
    found: dict[str, Path] = {}
    for folder in _stores(archive):
        with closing(schema.open_for_reading(folder)) as connection:
            if not schema.has_log(connection):
                raise UsageError("the store has no log", where=str(folder), expected="a store of version 2 or later",
                                 got="an earlier one", remedy="Let its station open it once.")
            origin = open_log(connection).origin
        if origin in found:
            raise UsageError("the same log is there twice", where=str(archive), expected="each log once",
                             got=f"{origin} in {found[origin]} and {folder}", remedy="Name one of the folders.")
        found[origin] = folder
    return dict(sorted(found.items()))


def _stores(folder: Path) -> Iterator[Path]:
    """Yield the folders with a database; what is inside of them is theirs."""
    if (folder / schema.DATABASE).is_file():
        yield folder
        return
    for inside in sorted(path for path in folder.iterdir() if path.is_dir()):
        yield from _stores(inside)


def _stored(folder: Path, wanted: Wanted) -> Iterator[Test]:
    with closing(schema.open_for_reading(folder)) as connection:
        log = open_log(connection)
        removed = removed_files(all_statements(connection, "retention"))
        for seq in _seqs(connection, wanted):
            # One at a time: a station may be at work here, whose log file grows as long as somebody reads.
            for entry in log.entries(seq, seq + 1):
                body = entry.body or b""
                names = [capture["file"] for capture in (at_a_glance(body) or {}).get("captures") or ()]
                yield StoredTest(str(folder.resolve()), log.origin, replace(entry, body=None), pack(body), len(body),
                                 len(names), _of(removed, names))


def _seqs(connection: sqlite3.Connection, wanted: Wanted) -> list[int]:
    return [seq for seq, in connection.execute(_WANTED, wanted.as_sql()).fetchall()]


def _of(removed: dict[str, Statement], names: list[str]) -> dict[str, Statement]:
    return {name: removed[name] for name in names if name in removed}


def _loose(archive: Path, limits: TomlSource | None) -> Iterator[Test]:
    runs: dict[tuple[Path, str], list[Path]] = {}
    for path in sorted(archive.rglob("*.parquet")):
        found = _RUN.match(path.name)
        runs.setdefault((path.parent, found[1] if found else path.name), []).append(path)
    if not runs:
        raise UsageError("nothing to analyse there", where=str(archive), expected="stores, or capture files",
                         got="none", remedy="Check the path.")
    if limits is None:
        raise UsageError("these captures have no records", where=str(archive), expected="--limits FILE",
                         got="none", remedy="Give the limit file of their motor type, for its conventions, or name a "
                         "folder with the records as well.")
    for files in runs.values():
        files.sort(key=_number)
        states = tuple(number for path in files for number in (path.stat().st_size, path.stat().st_mtime_ns))
        yield LooseCaptures(tuple(str(path.resolve()) for path in files), states, limits.text.encode(), limits.name)


def _number(path: Path) -> tuple[int, str]:
    found = _RUN.match(path.name)
    return int(found[2]) if found else 0, path.name
