"""The digitizer role over SCPI: six signals, one definite block of 16 bit codes each."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from station.bench.dialect import Needs
from station.bench.instrument import ScpiInstrument
from station.capture import Channel
from station.errors import BenchError

_CHANNEL = frozenset({"channel"})
NEEDS = Needs(templates={
    **dict.fromkeys(("set_trigger", "set_codes", "set_byte_order", "initiate", "abort", "status", "points",
                     "interval"), frozenset[str]()),
    **dict.fromkeys(("channel_on", "range", "scale", "offset", "fetch"), _CHANNEL),
    "set_range": frozenset({"channel", "volts"}), "set_points": frozenset({"points"}),
    "set_interval": frozenset({"seconds"}),
}, numbers=frozenset({"sweeping", "code_min", "code_max"}))
MOST_POINTS = 50_000_000
SAME = 1e-6   # relative; a setting that reads back farther off was coerced


@dataclass(frozen=True, slots=True)
class Wiring:
    """How one signal reaches the digitizer."""

    channel: int
    probe_ratio: float      # V at the motor per V at the input
    skew: float             # s
    lag: float              # s


@dataclass(frozen=True, slots=True)
class ScpiDigitizer(ScpiInstrument):
    """Fills the `Digitizer` role."""

    wiring: Mapping[str, Wiring]
    _configured: dict[str, int] = field(default_factory=dict)   # signal -> points

    def configure(self, ranges: Mapping[str, float], sample_interval: float, points: int) -> None:
        """Set ranges (V peak at the motor), interval (s) and samples; BenchError when one does not read back."""
        if not 0 < points <= MOST_POINTS:
            raise BenchError("too many samples for one capture", where="digitizer", got=points,
                             expected=f"1 to {MOST_POINTS}", remedy="Shorten the capture in the sequence file.")
        line = self.dialect.line
        self.abort()
        lines = [line(name) for name in ("set_codes", "set_byte_order", "set_trigger")]
        for signal, volts in ranges.items():
            channel = self.wiring[signal].channel
            at_input = volts / self.wiring[signal].probe_ratio
            lines += [line("channel_on", channel=channel), line("set_range", channel=channel, volts=at_input)]
        lines += [line("set_interval", seconds=sample_interval), line("set_points", points=points)]
        self.session.command(*lines)
        self._expect("interval", sample_interval)
        self._expect("points", points)
        for signal, volts in ranges.items():
            self._expect_range(signal, volts)
        self._configured.update(dict.fromkeys(ranges, points))

    def initiate(self) -> None:
        """Start a capture."""
        self.session.command(self.dialect.line("initiate"))

    def is_done(self) -> bool:
        """Return whether the capture is complete."""
        return not self.has_bit("status", "sweeping")

    def fetch(self) -> tuple[dict[str, NDArray[np.int16]], dict[str, Channel]]:
        """Return codes (n,) and scales per configured signal, volts at the motor = scale x code + offset."""
        channels = {signal: self._channel(signal) for signal in self._configured}
        codes = {signal: self.session.ask_codes(
                     self.dialect.line("fetch", channel=self.wiring[signal].channel), points,
                     self.dialect.block_tail)
                 for signal, points in self._configured.items()}
        return codes, channels

    def abort(self) -> None:
        """Give up a capture; safe at any time. What was configured must be configured again."""
        self._configured.clear()
        self.session.command(self.dialect.line("abort"))

    def safe(self) -> None:
        """Give up a capture."""
        self.abort()

    def _channel(self, signal: str) -> Channel:
        wiring, numbers = self.wiring[signal], self.dialect.numbers
        scale = self.session.ask_finite(self.dialect.line("scale", channel=wiring.channel))
        offset = self.session.ask_finite(self.dialect.line("offset", channel=wiring.channel))
        if not scale > 0:
            raise BenchError(f"the scale of {signal} is not positive", where="digitizer", expected="above zero",
                             got=scale, remedy="Restart the digitizer and check its dialect file.")
        return Channel(scale * wiring.probe_ratio, offset * wiring.probe_ratio, wiring.skew, wiring.lag,
                       numbers["code_min"], numbers["code_max"])

    def _expect(self, name: str, wanted: float) -> None:
        got = self.session.ask_finite(self.dialect.line(name))
        if not math.isclose(got, wanted, rel_tol=SAME):
            raise BenchError(f"the digitizer changed the {name}", where="digitizer", expected=f"{wanted:g}",
                             got=f"{got:g}", remedy="Put a value that it can keep into the sequence file.")

    def _expect_range(self, signal: str, volts: float) -> None:
        wiring = self.wiring[signal]
        got = self.session.ask_finite(self.dialect.line("range", channel=wiring.channel)) * wiring.probe_ratio
        if not got >= volts * (1 - SAME):  # a wider range is coarser, never wrong
            raise BenchError(f"the digitizer narrowed the range of {signal}", where="digitizer",
                             expected=f"{volts:g} V", got=f"{got:g} V",
                             remedy="Use a probe with a larger ratio for this speed.")
