"""Three line-to-line voltages as block means of the integer codes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import VOLTAGE_CHANNELS, Capture

ORDERS = 25
BLOCKS_PER_ORDER = 5.9  # blocks per period over highest order: at most 5 % above the bound
MIN_SAMPLES_TO_BLOCK = 2

Floats = NDArray[np.float64]
TURN = np.exp(2j * np.pi / 3)


@dataclass(frozen=True, slots=True)
class LineVoltages:
    """Block means `volts` (3, n) V at `times` (n,) s since the first sample; `interval` s between blocks."""

    volts: Floats
    times: Floats
    interval: float
    block: int

    @property
    def duration(self) -> float:
        """Time covered, s."""
        return self.times.size * self.interval

    def vector(self, order: int) -> NDArray[np.complex128]:
        """Return the space vector (n,) of the lines; `order` -1 takes bc and ca exchanged."""
        turn = TURN if order > 0 else TURN.conjugate()
        vector: NDArray[np.complex128] = self.volts[0] + turn * self.volts[1] + turn**2 * self.volts[2]
        return vector


def read_lines(capture: Capture, electrical_frequency: float) -> LineVoltages:
    """Return block means, short enough that every order up to 25 survives.

    Sums are taken on the integer codes, so nothing is rounded before the mean.
    Source: estimation bound of a boxcar, 1/sinc(h/N) for N blocks a period; derived.
    """
    period = 1 / (electrical_frequency * capture.sample_interval)  # samples
    block = max(1, int(period / (BLOCKS_PER_ORDER * ORDERS)))
    block = 1 if block < MIN_SAMPLES_TO_BLOCK else block
    count = capture.size // block
    volts = np.empty((3, count))
    for row, name in enumerate(VOLTAGE_CHANNELS):
        sums = capture.codes[name][:count * block].reshape(count, block).sum(axis=1, dtype=np.int64)
        volts[row] = sums * (capture.channels[name].scale / block) + capture.channels[name].offset
    times = (np.arange(count, dtype=np.float64) * block + (block - 1) / 2) * capture.sample_interval
    return LineVoltages(volts, times, block * capture.sample_interval, block)
