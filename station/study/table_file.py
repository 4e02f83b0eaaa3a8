"""The Parquet file of a wide table: how it is laid out, and how parts of it are read."""

import json
import os
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from station.errors import EvidenceError, StationError

FORMAT = 1
KEY = b"table"
ROWS_PER_GROUP = 32_768     # long enough to be read fast, short enough for its bounds to tell something

Array = NDArray[Any]


@dataclass(frozen=True, slots=True)
class About:
    """What a table is of, and which state of which log it was made from."""

    motor_type: str
    sequence_revision: str
    origin: str
    log_size: int
    log_root: str                           # hexadecimal
    values: tuple[str, ...]                 # names of the columns with values
    labels: Mapping[str, Sequence[str]]     # captures that a sequence asks for, by its SHA-256

    def as_json(self) -> bytes:
        """Return the metadata of the file."""
        return json.dumps({"format": FORMAT, "motor_type": self.motor_type, "origin": self.origin,
                           "sequence_revision": self.sequence_revision, "log_size": self.log_size,
                           "log_root": self.log_root, "values": self.values,
                           "labels": {sha: list(labels) for sha, labels in self.labels.items()}}).encode()


ABOUT = {FORMAT: About}     # what each format tells; one more stands beside it


@dataclass(frozen=True, slots=True)
class Bounds:
    """Least and largest value of a column in a group of rows, and how many rows have none; None where not told."""

    least: float
    largest: float
    nulls: int


def write_table(path: Path, table: pa.Table, about: About) -> None:
    """Write a table by temporary name and rename; its folder must be there.

    Values and uncertainties differ in every bit and are neither packed nor looked up; all else is both.

    Raises
    ------
    StationError
        The disk is full, read-only or gone.
    """
    measured = {*about.values, *(f"u({name})" for name in about.values)}
    packing: dict[str, Literal["NONE", "ZSTD"]] = {
        name: "NONE" if name in measured else "ZSTD" for name in table.column_names}
    temporary = path.with_name(f"{path.name}.{os.getpid()}.tmp")
    with disk_trouble(path):
        try:
            pq.write_table(table.replace_schema_metadata({KEY: about.as_json()}), temporary, compression=packing,
                           row_group_size=ROWS_PER_GROUP,
                           use_dictionary=[name for name in table.column_names if name not in measured])
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)


@contextmanager
def disk_trouble(path: Path) -> Iterator[None]:
    """Raise StationError where the disk will not take a table."""
    try:
        yield
    except OSError as error:
        raise StationError("table could not be written", where=str(path), expected="room and leave to write",
                           got=str(error.strerror or error), remedy="Free space or mend the disk. Records are safe: "
                           "the table is made from them.") from error


class TableFile:
    """A table on disk, of which only what is asked for is read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._file = pq.ParquetFile(path, memory_map=True)
            self._schema = self._file.schema_arrow
            about = json.loads((self._schema.metadata or {})[KEY])
            self.about = ABOUT[about.pop("format")](**{**about, "values": tuple(about["values"])})
        except (OSError, KeyError, TypeError, ValueError, pa.ArrowException) as error:
            raise EvidenceError("this is no table of tests", where=str(path), expected=f"format {FORMAT}",
                                got=str(error) or "another format",
                                remedy="Remove the file; it is made again from the records.") from error
        metadata = self._file.metadata
        self.rows: int = metadata.num_rows
        self.groups: int = metadata.num_row_groups
        self._places = {metadata.schema.column(k).path: k for k in range(metadata.num_columns)}

    def __contains__(self, name: str) -> bool:
        return name in self._places

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all columns, in order."""
        return tuple(self._places)

    def unit(self, name: str) -> str:
        """Return the unit of a column of values."""
        metadata = self._schema.field(name).metadata or {}
        return str(metadata.get(b"unit", b"").decode())

    def size(self, group: int) -> int:
        """Return the number of rows of a group."""
        return int(self._file.metadata.row_group(group).num_rows)

    def bounds(self, name: str, group: int) -> Bounds | None:
        """Return the bounds of a column in a group; None where the file tells none, as where every row has no value."""
        told = self._file.metadata.row_group(group).column(self._places[name]).statistics
        if told is None or not told.has_min_max or not told.has_null_count:
            return None
        return Bounds(told.min, told.max, told.null_count)

    def read(self, names: Collection[str], groups: Sequence[int]) -> dict[str, Array]:
        """Return columns of some groups, one after another; NaN where a number is missing."""
        table = self._file.read_row_groups(list(groups), columns=list(names))
        return {name: table[name].to_numpy() for name in names}

    def frame(self, names: Collection[str] | None = None) -> pa.Table:
        """Return the whole table, or some of its columns."""
        return self._file.read(columns=None if names is None else list(names))


def columns_of(key: str) -> tuple[str, str, str, str]:
    """Return the names of the columns with value, standard uncertainty, degrees of freedom and status of `key`."""
    return key, f"u({key})", f"dof({key})", f"status({key})"
