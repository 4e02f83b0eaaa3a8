"""Windows of a capture for drawing: every sample where there is room, else the least and the greatest of each column.

An envelope loses no extreme, however far out one looks: a spike of one sample stays as high as it is.
"""

import json
import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS, HALL_CHANNELS, Capture

MOST_COLUMNS = 4096
SAMPLES_FROM = 2        # fewer samples to a column than this are sent themselves

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Window:
    """Part of a capture in columns: `low` and `high` by channel, V, of `per` samples each; `codes` of the sensors.

    Column k begins at `start` + k x `step`, s since the first sample. A code has bit 0 for a, 1 for b, 2 for c; -1
    where a sensor changes within the column.
    """

    start: float
    step: float
    per: int
    first: int
    size: int
    low: dict[str, Floats]
    high: dict[str, Floats]
    codes: NDArray[np.int8]

    def as_bytes(self) -> bytes:
        """Return the window as browsers read it: length of a JSON head, the head, then float32, little-endian.

        The head is padded to a multiple of four bytes. After it: for each channel of `channels` the lows, then the
        highs where `per` is more than one; last the codes, one byte each.
        """
        names = list(self.low)
        head = json.dumps({"start": self.start, "step": self.step, "per": self.per, "first": self.first,
                           "size": self.size, "columns": len(self.codes), "channels": names}).encode()
        head += b" " * (-len(head) % 4)
        parts = [struct.pack("<I", len(head)), head]
        for name in names:
            parts += [self.low[name].astype("<f4").tobytes()]
            parts += [self.high[name].astype("<f4").tobytes()] if self.per > 1 else []
        return b"".join([*parts, self.codes.tobytes()])


def window_of(capture: Capture, first: int, last: int, columns: int) -> Window:
    """Return samples `first` to `last`, the end not included, in at most `columns` columns.

    Both are moved into the capture, and a window is never empty; the last column may hold fewer samples.
    """
    first = min(max(first, 0), capture.size - 1)
    last = min(max(last, first + 1), capture.size)
    columns = min(max(columns, 1), MOST_COLUMNS)
    count = last - first
    per = 1 if count < SAMPLES_FROM * columns else -(-count // columns)
    names = [name for name in CHANNELS if name in capture.codes]
    low, high = {}, {}
    starts = np.arange(0, count, per)
    for name in names:
        part, channel = capture.codes[name][first:last], capture.channels[name]
        ends = [np.minimum.reduceat(part, starts), np.maximum.reduceat(part, starts)] if per > 1 else [part, part]
        volts = [(channel.scale * end.astype(np.float64) + channel.offset).astype(np.float32) for end in ends]
        low[name], high[name] = volts if channel.scale > 0 else volts[::-1]
    return Window(first * capture.sample_interval, per * capture.sample_interval, per, first, capture.size, low, high,
                  _codes(capture, low, high, starts.size))


def _codes(capture: Capture, low: dict[str, Floats], high: dict[str, Floats], columns: int) -> NDArray[np.int8]:
    """Return the code of the sensors in each column, -1 where one of them changes or is not there."""
    found = np.zeros(columns, np.int8)
    for bit, name in enumerate(HALL_CHANNELS):
        if name not in low:
            return np.full(columns, -1, np.int8)
        codes, channel = capture.codes[name], capture.channels[name]
        middle = channel.scale * (float(codes.min()) + float(codes.max())) / 2 + channel.offset
        below, above = high[name] <= middle, low[name] > middle
        found[above & (found >= 0)] |= np.int8(1 << bit)
        found[~(below | above)] = -1
    return found
