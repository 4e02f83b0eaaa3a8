"""Three line-to-line voltages as block means of the integer codes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import VOLTAGE_CHANNELS, Capture

ORDERS = 25
BLOCKS_PER_ORDER = 5.9  # blocks per period over highest order: at most 5 % above the bound
MIN_BLOCKS = 2048  # so that a tone far from the expected frequency is still seen for what it is
MAX_SUMMED = 1 << 16    # samples of 16 bits whose sum is sure to fit into 32 bits
STRETCH = 1 << 18       # samples summed at a time: widened to 32 bits they still stay in the cache

Floats = NDArray[np.float64]
TURN = np.exp(2j * np.pi / 3)


@dataclass(frozen=True, slots=True)
class LineVoltages:
    """Block means `volts` (3, n) V at `times` (n,) s since the first sample; `interval` s between blocks.

    Blocks with a bad sample are left out, so that two neighbours may be further apart than `interval`.
    """

    volts: Floats
    times: Floats
    interval: float
    block: int

    @property
    def duration(self) -> float:
        """Time from the start of the first block to the end of the last, s."""
        return float(self.times[-1] - self.times[0]) + self.interval


def space_vector(volts: Floats, order: int) -> NDArray[np.complex128]:
    """Return the space vector (n,) of three lines (3, n); `order` -1 takes bc and ca exchanged."""
    turn = TURN if order > 0 else TURN.conjugate()
    return np.asarray(np.array([1.0, turn, turn**2]) @ volts, dtype=np.complex128)


def read_lines(
    capture: Capture, electrical_frequency: float, highest_order: int = ORDERS, bad: NDArray[np.intp] | None = None,
    names: Sequence[str] = VOLTAGE_CHANNELS,
) -> LineVoltages:
    """Return block means, short enough that every order up to `highest_order` survives at the expected frequency.

    Sums are taken on the integer codes, so nothing is rounded before the mean. `bad` are the indices
    of samples that are no measurement; the blocks that hold one are dropped whole. Fewer `names` give fewer rows.

    Source: estimation bound of a boxcar, 1/sinc(h/N) for N blocks a period; derived.
    """
    period = 1 / (electrical_frequency * capture.sample_interval)  # samples
    block = max(1, min(int(period / (BLOCKS_PER_ORDER * highest_order)), capture.size // MIN_BLOCKS))
    count = capture.size // block
    volts = np.empty((len(names), count))
    for row, name in enumerate(names):
        sums = capture.codes[name] if block == 1 else _block_sums(capture.codes[name], block)
        volts[row] = sums * (capture.channels[name].scale / block) + capture.channels[name].offset
    times = (np.arange(count, dtype=np.float64) * block + (block - 1) / 2) * capture.sample_interval
    if bad is not None and bad.size:
        kept = np.ones(count, dtype=bool)
        kept[bad[bad < count * block] // block] = False
        volts, times = volts[:, kept], times[kept]
    return LineVoltages(volts, times, block * capture.sample_interval, block)


def _block_sums(codes: NDArray[np.int16], block: int) -> NDArray[np.signedinteger]:
    """Return the sum (n,) of each whole block of `block` codes; a rest that fills none is left out."""
    sum_type: type[np.signedinteger] = np.int32 if block <= MAX_SUMMED else np.int64
    sums = np.empty(codes.size // block, dtype=sum_type)
    at_once = max(1, STRETCH // block)
    starts = np.arange(at_once) * block
    for first in range(0, sums.size, at_once):
        part = sums[first:first + at_once]
        stretch = codes[first * block:(first + part.size) * block]
        np.add.reduceat(stretch, starts[:part.size], dtype=sum_type, out=part)
    return sums
