"""Values of a Parquet column read where they lie in the file, where it holds them as they are in memory.

Source: Apache Parquet format, data pages version 1 and 2, encoding PLAIN, header in Thrift's compact protocol; from
memory, and held against pyarrow's own reading in the tests.
"""

import mmap
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pyarrow.parquet import ColumnChunkMetaData

from station.study.decide import Floats

DOUBLE = np.dtype("<f8")
LONGEST_HEADER = 512                    # bytes, with bounds of its own; pages of ours are hundreds of times longer
DATA_PAGES = (0, 3)                     # their types: version 1 and 2
# of the compact protocol: the first three fields, each the next after the one before and a 32 bit integer
FIELD = 0x15


class PlainPages:
    """A Parquet file in memory as far as it is looked at."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self._content = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)

    def values(self, chunk: ColumnChunkMetaData) -> Floats | None:
        """Return the values of a chunk without copying them, or None where they do not lie there so.

        They do if each row has one and all stand in one page, neither packed nor looked up: then they are the end of
        that page. They may not be aligned to their size.
        """
        count, size, start = chunk.num_values, chunk.total_compressed_size, chunk.data_page_offset
        told = chunk.statistics
        plain = (chunk.physical_type == "DOUBLE" and chunk.compression == "UNCOMPRESSED"
                 and not chunk.has_dictionary_page and set(chunk.encodings) <= {"PLAIN", "RLE"})
        if not plain or told is None or told.null_count != 0 or not self._is_one_page(start, size, count):
            return None
        return np.frombuffer(self._content, DOUBLE, count, start + size - DOUBLE.itemsize * count)

    def _is_one_page(self, start: int, size: int, count: int) -> bool:
        numbers, at = [], start
        for _ in range(3):      # type, size of the page, size as stored; both without the header
            if self._content[at] != FIELD:
                return False
            number, at = self._integer(at + 1)
            numbers.append(number)
        kind, page, stored = numbers
        header = size - stored
        return (kind in DATA_PAGES and page == stored and 0 < header < LONGEST_HEADER
                and stored >= DOUBLE.itemsize * count)

    def _integer(self, at: int) -> tuple[int, int]:
        """Return a zigzag varint and where it ends."""
        coded = shift = 0
        while True:
            octet = self._content[at]
            coded |= (octet & 0x7F) << shift
            at, shift = at + 1, shift + 7
            if octet < 0x80:
                return (coded >> 1) ^ -(coded & 1), at


def aligned(values: Floats, room: NDArray[np.float64]) -> Floats:
    """Return the values in `room`, which is at least as long, where arithmetic on them is fast."""
    there = room[:values.size]
    there.view(np.uint8)[:] = np.frombuffer(values.data.cast("B"), np.uint8)
    return there
