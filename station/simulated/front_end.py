"""The analogue front ends and converters of the simulated digitizer, with their small errors."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS

SLICE = 10_000              # samples converted at once
CODES = 32768               # per range; rails are -32768 and 32767
NOISE_SHARE = 5e-5          # rms, of the range: 13.5 effective bits of sixteen; common practice, no source
NOISE_VOLTS = 2e-4          # rms, V, of the amplifier
# Half widths of the errors that one digitizer is given for good, each well within the limits of
# error of a plain industrial instrument; common practice, no source.
COMMON_GAIN, GAIN, OFFSET, SKEW, TIMEBASE = 4e-4, 2e-4, 2e-3, 5e-8, 2e-5

Signals = Callable[[NDArray[np.float64]], Mapping[str, NDArray[np.float64]]]


@dataclass(frozen=True, slots=True)
class Sweep:
    """When a sweep started (simulated s), how it samples, and the range of each channel that is on."""

    start: float
    points: int
    interval: float         # s, as set; the timebase makes it a little longer or shorter
    ranges: Mapping[str, float]

    @property
    def end(self) -> float:
        """Simulated second at which the last sample, its neighbour and the timebase error are past."""
        return self.start + (self.points + 2) * self.interval * (1 + TIMEBASE)


class FrontEnd:
    """Channels `names` with gain, offset and skew errors drawn once from `seed`; noise is new in each sweep."""

    def __init__(self, seed: int, bits: int = 16, names: Sequence[str] = CHANNELS) -> None:
        if not 12 <= bits <= 16:
            raise ValueError(f"resolution of 12 to 16 bits, not {bits}")
        random = np.random.default_rng([seed, 21])
        common = random.uniform(-COMMON_GAIN, COMMON_GAIN)
        size, self._names = len(names), tuple(names)
        self._gain = dict(zip(names, 1 + common + random.uniform(-GAIN, GAIN, size), strict=True))
        self._offset = dict(zip(names, random.uniform(-OFFSET, OFFSET, size), strict=True))
        self._skew = dict(zip(names, random.uniform(-SKEW, SKEW, size), strict=True))
        self._timebase = 1 + float(random.uniform(-TIMEBASE, TIMEBASE))
        self._noise = np.random.default_rng([seed, 22])
        self._step = 2 ** (16 - bits)

    def begin(self, sweep: Sweep) -> "Conversion":
        """Return the conversion of `sweep`, to be advanced while its samples come in."""
        noise = {name: np.hypot(NOISE_SHARE * span, NOISE_VOLTS) * self._noise.standard_normal(sweep.points)
                 for name, span in sweep.ranges.items()}
        return Conversion(self, sweep, noise)

    def convert(self, signals: Signals, sweep: Sweep) -> tuple[dict[str, NDArray[np.int16]], bool]:
        """Return the codes of each channel that is on, (points,) int16, and whether any met a rail."""
        conversion = self.begin(sweep)
        conversion.advance(signals, float("inf"))
        return conversion.codes, conversion.clipped

    def interval_of(self, sweep: Sweep) -> float:
        """Return the true sample interval, s."""
        return sweep.interval * self._timebase

    def channel(self, name: str, volts: NDArray[np.float64], interval: float, span: float,
                noise: NDArray[np.float64]) -> NDArray[np.int16]:
        """Return the codes (n,) of `volts` (n + 2,), which has a neighbour on each side, with `noise` (n,), V."""
        skewed = self._skewed(volts, float(self._skew[name]) / interval)
        return self._quantised(float(self._gain[name]) * skewed + float(self._offset[name]) + noise, span)

    @staticmethod
    def _skewed(volts: NDArray[np.float64], share: float) -> NDArray[np.float64]:
        """Read the signal `share` of an interval later; between samples it is a straight line."""
        neighbour = volts[2:] if share > 0 else volts[:-2]
        return np.asarray(volts[1:-1] + abs(share) * (neighbour - volts[1:-1]))

    def _quantised(self, volts: NDArray[np.float64], span: float) -> NDArray[np.int16]:
        codes = np.round(volts * (CODES / span / self._step)) * self._step
        return np.asarray(np.clip(codes, -CODES, CODES - 1), dtype=np.int16)

    def self_test_fault(self) -> str:
        """Convert a known sine on every channel; return what does not come back, or nothing."""
        sine = 5.0 * np.sin(np.linspace(0.0, 20.0, 502))
        for name in self._names:
            codes = self.channel(name, sine, 1e-3, 10.0, NOISE_SHARE * self._noise.standard_normal(sine.size - 2))
            if np.max(np.abs(codes * (10.0 / CODES) - sine[1:-1])) > 0.02:
                return f"channel {name} does not follow its test signal"
        return ""


class Conversion:
    """The codes of one sweep, made in slices as its time passes, so that they are there when it is over."""

    def __init__(self, front_end: FrontEnd, sweep: Sweep, noise: Mapping[str, NDArray[np.float64]]) -> None:
        self._front_end, self._sweep, self._noise, self._made = front_end, sweep, noise, 0
        self.codes = {name: np.empty(sweep.points, np.int16) for name in sweep.ranges}

    @property
    def is_complete(self) -> bool:
        """Whether every sample is converted."""
        return self._made == self._sweep.points

    @property
    def clipped(self) -> bool:
        """Whether any channel met a rail, once complete."""
        return any(taken.max() == CODES - 1 or taken.min() == -CODES for taken in self.codes.values())

    def advance(self, signals: Signals, now: float) -> None:
        """Convert the slices whose samples all lie before `now`, simulated s."""
        sweep, interval = self._sweep, self._front_end.interval_of(self._sweep)
        while not self.is_complete:
            first, end = self._made, min(self._made + SLICE, sweep.points)
            # One sample more on each side, so that a skewed channel can be read between its neighbours.
            times = sweep.start + interval * np.arange(first, end + 2, dtype=np.float64)
            if times[-1] > now:
                return
            volts = signals(times)
            for name, span in sweep.ranges.items():
                self.codes[name][first:end] = self._front_end.channel(name, volts[name], interval, span,
                                                                      self._noise[name][first:end])
            self._made = end
