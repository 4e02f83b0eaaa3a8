"""Parts on disk and the table that is made of them: whole or not there, so that a broken re-analysis goes on."""

import os
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import pyarrow as pa
import pyarrow.parquet as pq

from station.errors import EvidenceError, StationError, UsageError
from station.plant.chunk import KEY, About, read_about, versions
from station.plant.differences import Differences
from station.plant.result_rows import REPEATED, SCHEMA
from station.record.capture_file import make_folder, sync_folder, write_durably
from station.record.lock import LOCK_FILE, let_go, lock_file

PARTS = ".parts"            # of the folder beside the table
ROWS_PER_GROUP = 100_000
MOST_REMARKS = 1000         # in the metadata of the table; all are counted, and all stand in the parts


class PartFolder:
    """The parts of one table, in a folder beside it; one re-analysis at a time."""

    def __init__(self, table: Path) -> None:
        self.table, self.folder = table, table.with_name(table.name + PARTS)

    def __enter__(self) -> Self:
        """Take the folder, made if absent.

        Raises
        ------
        UsageError
            Another re-analysis is at work on this table, or another file has its name.
        """
        self._refuse_other_file()
        try:
            make_folder(self.folder.resolve())
            self._lock = os.open(self.folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise UsageError("table cannot be written there", where=str(self.table), got=error.strerror,
                             expected="a folder with leave to write", remedy="Name another file with --to.") from error
        if not lock_file(self._lock):
            os.close(self._lock)
            raise UsageError("another re-analysis makes this table", where=str(self.folder), got="one at work",
                             expected="one at a time", remedy="Wait for it, or name another file with --to.")
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 traceback: TracebackType | None) -> None:
        """Let the folder go; parts stay."""
        let_go(self._lock)

    def path(self, key: str) -> Path:
        """Return where the part of a chunk lies."""
        return self.folder / f"{key}.parquet"

    def has(self, key: str) -> bool:
        """Return whether the part is there; one whose files could not all be used is made again."""
        try:
            return self.path(key).is_file() and _about(self.path(key)).is_whole
        except EvidenceError:
            return False

    def keep(self, key: str, part: bytes) -> None:
        """Write a part so that it is on disk whole or not at all; StationError when the disk takes none."""
        write_durably(self.path(key), part)

    def assemble(self, keys: Sequence[str]) -> tuple[About, Differences]:
        """Make the table of the parts in this order, and return what it tells.

        Then the parts are gone, unless files could not all be used: when these are back, only their chunks are made
        again.

        Raises
        ------
        StationError
            The disk is full or read-only; the parts stay.
        """
        temporary = self.table.with_name(self.table.name + ".tmp")
        differences = Differences()
        try:
            about = self._write(temporary, keys, differences)
            with temporary.open("rb") as file:
                os.fsync(file.fileno())
            temporary.replace(self.table)
            sync_folder(self.table.resolve().parent)
        except OSError as error:
            raise StationError("table could not be written", where=str(self.table), expected="room and leave to write",
                               got=str(error.strerror or error), remedy="Free space and run the command again: the "
                               "parts are kept.") from error
        finally:
            temporary.unlink(missing_ok=True)
        if about.is_whole:
            for path in self.folder.iterdir():
                path.unlink()
            self.folder.rmdir()
        return about, differences

    def _write(self, path: Path, keys: Sequence[str], differences: Differences) -> About:
        gathered: list[About] = []
        with pq.ParquetWriter(path, SCHEMA, compression="zstd", use_dictionary=REPEATED) as writer:
            for rows in _grouped(self._parts(keys, gathered)):
                differences.add(rows)
                writer.write_table(rows, row_group_size=ROWS_PER_GROUP)
            about = _together(gathered)
            writer.add_key_value_metadata({KEY: about.as_json()})
        return about

    def _parts(self, keys: Sequence[str], gathered: list[About]) -> Iterator[pa.Table]:
        for key in keys:
            gathered.append(_about(self.path(key)))
            yield pq.read_table(self.path(key)).replace_schema_metadata(None)

    def _refuse_other_file(self) -> None:
        if self.table.exists():
            try:
                _about(self.table)
            except EvidenceError as error:
                raise UsageError("there is another file of that name", where=str(self.table), got=error.got,
                                 expected="no file, or a table of an earlier re-analysis",
                                 remedy="Name another file with --to.") from error


def _about(path: Path) -> About:
    try:
        metadata = pq.read_metadata(path).metadata
    except (OSError, pa.ArrowException) as error:
        raise EvidenceError("this is no table of a re-analysis", where=str(path), expected="a Parquet file",
                            got=str(error).splitlines()[0], remedy="Name another file.") from error
    return read_about(metadata, str(path))


def _grouped(tables: Iterable[pa.Table]) -> Iterator[pa.Table]:
    """Yield the rows of many small tables in tables of at least `ROWS_PER_GROUP`, but the last."""
    waiting: list[pa.Table] = []
    for table in tables:
        waiting.append(table)
        if sum(each.num_rows for each in waiting) >= ROWS_PER_GROUP:
            yield pa.concat_tables(waiting).unify_dictionaries()
            waiting = []
    if waiting:
        yield pa.concat_tables(waiting).unify_dictionaries()


def _together(parts: Sequence[About]) -> About:
    left_out: Counter[str] = Counter()
    for part in parts:
        left_out.update(part.left_out)
    remarks = [remark for part in parts for remark in part.remarks]
    return About(sum(part.tests for part in parts), sum(part.captures for part in parts),
                 dict(sorted(left_out.items())), tuple(remarks[:MOST_REMARKS]), all(part.is_whole for part in parts),
                 versions())
