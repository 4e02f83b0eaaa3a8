"""Values of a Parquet column read where they lie in the file, where it holds them as they are in memory.

Source: Apache Parquet format, data pages version 1 and 2, encodings PLAIN and RLE, header in Thrift's compact
protocol; from memory, and held against pyarrow's own reading in the tests.
"""

import mmap
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pyarrow.parquet import ColumnChunkMetaData

from station.study.decide import Floats

DOUBLE = np.dtype("<f8")
LONGEST_HEADER = 512                    # bytes, with bounds of its own; pages of ours are hundreds of times longer
VERSION_1, DATA_PAGES = 0, (0, 3)       # their types: version 1 and 2
LENGTH = struct.Struct("<I")            # of the levels, before them
NO_GAPS = np.arange(0)
MOST_GAPS = 64                          # more of them take longer to find than all values to read
# of the compact protocol: a 32 bit integer whose field is the next after the one before, and the structure that tells
# of the values of a page, which is two or five fields after those
FIELD, TOLD_OF_VALUES = 0x15, {VERSION_1: 0x2C, 3: 0x5C}


@dataclass(frozen=True, slots=True)
class Lying:
    """A column in a group of rows: its `values` (k,) one after another, and the rows `gaps` (m,) that have none."""

    values: Floats
    gaps: NDArray[np.int64]

    def rows(self, places: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return in which rows of the group the values at `places` stand."""
        if not self.gaps.size:
            return places
        rows: NDArray[np.int64] = places + np.searchsorted(self.gaps - np.arange(self.gaps.size), places, "right")
        return rows


class PlainPages:
    """A Parquet file in memory as far as it is looked at."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self._content = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)

    def lying(self, chunk: ColumnChunkMetaData) -> Lying | None:
        """Return the values of a chunk without copying them, or None where they do not lie there so.

        They do if all but few rows have one and all stand in one page, neither packed nor looked up: then they are the
        end of that page, and before them stands which rows have one. They need not be aligned to their size: numpy
        compares them as fast, by pieces, and copying them first costs twice as much again.
        """
        told = chunk.statistics
        plain = (chunk.physical_type == "DOUBLE" and chunk.compression == "UNCOMPRESSED"
                 and not chunk.has_dictionary_page and set(chunk.encodings) <= {"PLAIN", "RLE"})
        if not plain or told is None or not told.has_null_count or told.null_count > MOST_GAPS:
            return None
        count, size, start = chunk.num_values, chunk.total_compressed_size, chunk.data_page_offset
        there = count - told.null_count
        kind, body = self._page(start, size, count)
        before = start + size - DOUBLE.itemsize * there - body      # bytes of the page before its values
        gaps = NO_GAPS
        if told.null_count:
            gaps = self._gaps(body, count) if kind == VERSION_1 and before == self._levels(body) else NO_GAPS
        if kind not in DATA_PAGES or before < 0 or gaps.size != told.null_count:
            return None
        return Lying(np.frombuffer(self._content, DOUBLE, there, body + before), gaps)

    def _page(self, start: int, size: int, count: int) -> tuple[int, int]:
        """Return the type of the page that a chunk consists of and where its body begins; -1 if it is not one page."""
        numbers: list[int] = []
        at = start
        for place in range(4):      # type, size of the page, size as stored, both without the header; rows
            if place == 3:
                at += self._content[at] == TOLD_OF_VALUES.get(numbers[0])
            if self._content[at] != FIELD:
                return -1, start
            number, at = self._integer(at + 1)
            numbers.append(number)
        kind, page, stored, rows = numbers
        header = size - stored
        whole = page == stored and rows == count and 0 < header < LONGEST_HEADER
        return (kind if whole else -1), start + header

    def _levels(self, body: int) -> int:
        """Return how many bytes tell in a page of version 1 which rows have a value, their own count of four in it."""
        return LENGTH.size + int(LENGTH.unpack_from(self._content, body)[0])

    def _gaps(self, body: int, count: int) -> NDArray[np.int64]:
        """Return the rows of a page of version 1 that have no value.

        Levels of one bit in runs: one level repeated, or groups of eight packed into bytes, the lowest bit first.
        """
        at, end, row = body + LENGTH.size, body + self._levels(body), 0
        found = [NO_GAPS]
        while at < end and row < count:
            run, at = self._varint(at)
            if run & 1:
                packed = np.frombuffer(self._content, np.uint8, run >> 1, at)
                levels = np.unpackbits(packed, bitorder="little")[:count - row]
                found.append(row + np.flatnonzero(levels == 0))
                row, at = row + levels.size, at + (run >> 1)
            else:
                if self._content[at] == 0:
                    found.append(np.arange(row, min(row + (run >> 1), count)))
                row, at = row + (run >> 1), at + 1
        return np.concatenate(found)

    def _integer(self, at: int) -> tuple[int, int]:
        """Return a zigzag varint and where it ends."""
        coded, at = self._varint(at)
        return (coded >> 1) ^ -(coded & 1), at

    def _varint(self, at: int) -> tuple[int, int]:
        """Return an integer in groups of seven bits, the lowest first, and where it ends."""
        coded = shift = 0
        while True:
            octet = self._content[at]
            coded |= (octet & 0x7F) << shift
            at, shift = at + 1, shift + 7
            if octet < 0x80:
                return coded, at
