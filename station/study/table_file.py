"""The Parquet file of a wide table: how it is laid out, and how parts of it are read."""

import json
import os
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from inspect import signature
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from station.errors import EvidenceError, StationError
from station.study.plain_pages import Lying, PlainPages

FORMAT = 1
KEY = b"table"
MEASURED = 0                # see `table_rows.Status`
ROWS_PER_GROUP = 98_304     # long enough to be read fast, short enough for its bounds to tell something
# A column of a group in one page, see `plain_pages`: newer releases of pyarrow would end it at 20 000 rows.
ONE_PAGE = {"data_page_size": 16 * ROWS_PER_GROUP, "max_rows_per_page": ROWS_PER_GROUP}
# Read as places in lists of texts, which they are kept as in the file.
TEXTS = ("verdict", "limit_sha256", "sequence_sha256")
KNOWN = frozenset(signature(pq.write_table).parameters)

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
    """Least and largest entry of a column in a group of rows, and how many rows have none."""

    least: Any      # a number or a text, as the column
    largest: Any
    nulls: int


def write_table(path: Path, table: pa.Table, about: About) -> None:
    """Write a table by temporary name and rename; its folder must be there.

    Values and uncertainties differ in every bit and are neither packed nor looked up; all else is both. A value that
    is not finite or not measured, and an uncertainty that is no number from 0 on, is none in the file: what is not
    there cannot pass.

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
            sound = _sound(table, about.values).replace_schema_metadata({KEY: about.as_json()})
            pq.write_table(sound, temporary, compression=packing, row_group_size=ROWS_PER_GROUP,
                           use_dictionary=[name for name in table.column_names if name not in measured],
                           **{name: most for name, most in ONE_PAGE.items() if name in KNOWN})
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)


def _sound(table: pa.Table, values: Sequence[str]) -> pa.Table:
    for key in values:
        _, name_u, _, name_status = columns_of(key)
        value, u, status = table[key], table[name_u], table[name_status]
        for name, column, sound in ((key, value, pc.and_(pc.is_finite(value), pc.equal(status, MEASURED))),
                                    (name_u, u, pc.and_(pc.is_finite(u), pc.greater_equal(u, 0.0)))):
            if not (pc.all(sound).as_py() and sound.null_count == 0):
                place = table.column_names.index(name)
                kept = pc.if_else(pc.fill_null(sound, False), column, pa.scalar(None, pa.float64()))
                table = table.set_column(place, table.schema.field(name), kept)
    return table


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
            self._file = pq.ParquetFile(path, memory_map=True, read_dictionary=TEXTS)
            self._pages = PlainPages(path)
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
        self._starts = np.cumsum([0, *(metadata.row_group(group).num_rows for group in range(self.groups))])
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

    def bounds(self, name: str, group: int) -> Bounds | None:
        """Return the bounds of a column in a group; None where the file tells none, as where every row has no value."""
        told = self._file.metadata.row_group(group).column(self._places[name]).statistics
        if told is None or not told.has_min_max or not told.has_null_count:
            return None
        return Bounds(told.min, told.max, told.null_count)

    def places(self, group: int) -> NDArray[np.int64]:
        """Return which rows of the table stand in a group."""
        return np.arange(self._starts[group], self._starts[group + 1])

    def only(self, name: str, group: int) -> str | None:
        """Return the text that a column has in every row of a group, None where they differ or it is not told."""
        told = self.bounds(name, group)
        return str(told.least) if told is not None and told.nulls == 0 and told.least == told.largest else None

    def read(self, names: Collection[str], groups: Sequence[int]) -> dict[str, Array]:
        """Return columns of some groups, one after another; NaN where a number is missing."""
        if not names:
            return {}
        table = self._file.read_row_groups(list(groups), columns=list(names)) if groups else self._schema.empty_table()
        return {name: table[name].to_numpy() for name in names}

    def in_place(self, name: str, group: int) -> Lying | None:
        """Return the values of a column in a group without copying them, None where they must be read; see above."""
        return self._pages.lying(self._file.metadata.row_group(group).column(self._places[name]))

    def texts(self, name: str, groups: Sequence[int]) -> tuple[NDArray[np.int64], list[str]]:
        """Return a column of texts as places in a list of those that there are."""
        if not groups:
            return np.arange(0), []
        chunks = self._file.read_row_groups(list(groups), columns=[name])[name].combine_chunks().dictionary_encode()
        return chunks.indices.to_numpy().astype(np.int64), chunks.dictionary.to_pylist()

    def frame(self, names: Collection[str] | None = None) -> pa.Table:
        """Return the whole table, or some of its columns."""
        return self._file.read(columns=None if names is None else list(names))


def columns_of(key: str) -> tuple[str, str, str, str]:
    """Return the names of the columns with value, standard uncertainty, degrees of freedom and status of `key`."""
    return key, f"u({key})", f"dof({key})", f"status({key})"
