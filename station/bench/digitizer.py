"""The digitizer role over SCPI and its neighbours: six signals, whose codes come in definite blocks."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.bench.speech import parse_number
from station.capture import Channel
from station.clock import Clock, system_clock
from station.errors import BenchError

_CHANNEL, _WINDOW = frozenset({"channel"}), frozenset({"first", "last", "count"})
NEEDS = Needs(
    templates={
        **dict.fromkeys(("initiate", "abort", "points", "interval"), NONE), "range": _CHANNEL, "fetch": _CHANNEL,
        "set_range": frozenset({"channel", "volts"}), "set_points": frozenset({"points"}),
        "set_interval": frozenset({"seconds"}),
    },
    numbers=frozenset({"code_min", "code_max"}),
    optional={
        **dict.fromkeys(("set_trigger", "set_codes", "set_byte_order", "status"), NONE),
        **dict.fromkeys(("channel_on", "scale", "offset", "reference", "preamble"), _CHANNEL),
        "window": frozenset({"first", "last"}),
        **dict.fromkeys(("select", "selected"), frozenset({"position"})),
    },
    optional_numbers=frozenset({"sweeping"}),
    instead={"set_interval": frozenset({"rate", "span"}), "window": _WINDOW},
    besides={"fetch": _WINDOW, "window": _CHANNEL, "set_interval": frozenset({"points"})},
)
MOST_POINTS = 50_000_000
SAME = 1e-6          # relative; a setting that reads back farther off was coerced
MARGIN = 0.1         # s beyond the span of a capture, where nothing but time tells that it is over


@dataclass(frozen=True, slots=True)
class Wiring:
    """How one signal reaches the digitizer."""

    channel: int
    probe_ratio: float      # V at the motor per V at the input
    skew: float             # s
    lag: float              # s
    position: int = 0       # of the switch before the inputs that lets it through; 0: it always comes through


@dataclass(slots=True)
class _Asked:
    """What the last `configure` asked for."""

    points: dict[str, int] = field(default_factory=dict)   # signal -> points
    interval: float = 0.0                                   # s
    over_at: float = 0.0                                    # monotonic s at which the capture is over

    @property
    def span(self) -> float:
        return self.interval * max(self.points.values(), default=0)


@dataclass(frozen=True, slots=True)
class ScpiDigitizer(ScpiInstrument):
    """Fills the `Digitizer` role."""

    wiring: Mapping[str, Wiring]
    clock: Clock = field(default_factory=system_clock)
    switch_settle: float = 0.0      # s from a change of the inputs' switch to signals that can be taken
    _asked: _Asked = field(default_factory=_Asked)

    def configure(self, ranges: Mapping[str, float], sample_interval: float, points: int) -> None:
        """Set ranges (V peak at the motor), interval (s) and samples; BenchError when one does not read back."""
        if not 0 < points <= MOST_POINTS:
            raise BenchError("too many samples for one capture", where=self.session.role, got=points,
                             expected=f"1 to {MOST_POINTS}", remedy="Shorten the capture in the sequence file.")
        self._require_possible(ranges, sample_interval, points)
        self.abort()
        self._select(ranges)
        self.session.command(*self._settings(ranges, sample_interval, points))
        self._expect("interval", sample_interval)
        self._expect("points", points)
        for signal, volts in ranges.items():
            self._expect_range(signal, volts)
        self._asked.points.update(dict.fromkeys(ranges, points))
        self._asked.interval = sample_interval

    def initiate(self) -> None:
        """Start a capture."""
        self.session.command(self.dialect.line("initiate"))
        self._asked.over_at = self.clock.monotonic() + self._asked.span

    def is_done(self) -> bool:
        """Return whether the capture is complete."""
        if self.dialect.completion == "status":
            return not self.has_bit("status", "sweeping")
        left = self._asked.over_at - self.clock.monotonic()
        if self.dialect.completion == "time":
            return left < -MARGIN
        # *OPC? is answered at the end of the capture only, so that it is not asked before that can be.
        return left < 0 and self.session.ask_finite("*OPC?") == 1

    def fetch(self) -> tuple[dict[str, NDArray[np.int16]], dict[str, Channel]]:
        """Return codes (n,) and scales per configured signal, volts at the motor = scale x code + offset."""
        channels = {signal: self._channel(signal) for signal in self._asked.points}
        codes = {signal: self._codes(self.wiring[signal].channel, points)
                 for signal, points in self._asked.points.items()}
        return codes, channels

    def abort(self) -> None:
        """Give up a capture; safe at any time. What was configured must be configured again."""
        self._asked.points.clear()
        self._asked.over_at = 0.0
        self.session.command(self.dialect.line("abort"))

    def safe(self) -> None:
        """Give up a capture."""
        self.abort()

    def _select(self, signals: Iterable[str]) -> None:
        """Set the switch of the inputs so that all `signals` come through; BenchError if it says that it did not."""
        positions = {self.wiring[signal].position for signal in signals} - {0}
        if len(positions) > 1:
            raise BenchError("these signals cannot be captured together", where=self.session.role,
                             expected="one position of the switch", got=", ".join(signals),
                             remedy="Take them in two captures.")
        for position in positions:
            self.session.command(self.dialect.line("select", position=position))
            self.clock.pause(self.switch_settle)
            if self.dialect.has("selected") and self.finite("selected", position=position) != 1:
                raise BenchError("the switch of the inputs did not change over", where=self.session.role,
                                 expected=f"position {position} closed", got="open",
                                 remedy="Check the switch and its supply.")

    def _settings(self, ranges: Mapping[str, float], interval: float, points: int) -> list[str]:
        dialect = self.dialect
        lines = [dialect.line(name) for name in ("set_codes", "set_byte_order", "set_trigger") if dialect.has(name)]
        for signal, volts in ranges.items():
            channel = self.wiring[signal].channel
            if dialect.has("channel_on"):
                lines.append(dialect.line("channel_on", channel=channel))
            lines.append(dialect.line("set_range", channel=channel, volts=self._at_input(signal, volts)))
        return [*lines, dialect.line("set_interval", seconds=interval, rate=1 / interval, span=interval * points,
                                     points=points), dialect.line("set_points", points=points)]

    def _at_input(self, signal: str, volts: float) -> float:
        return volts / self.wiring[signal].probe_ratio

    def _require_possible(self, ranges: Mapping[str, float], interval: float, points: int) -> None:
        self.dialect.require_within("points", points, "samples")
        self.dialect.require_within("interval", interval, "s")
        for signal, volts in ranges.items():
            self.dialect.require_within("range", self._at_input(signal, volts), "V")

    def _codes(self, channel: int, points: int) -> NDArray[np.int16]:
        block = self.dialect.block
        if not block.batch or points <= block.batch:
            return self._batch(channel, 0, points)
        codes = np.empty(points, dtype=np.int16)
        for first, count in _batches(points, block.batch):
            codes[first:first + count] = self._batch(channel, first, count)
        return codes

    def _batch(self, channel: int, begin: int, count: int) -> NDArray[np.int16]:
        dialect, block = self.dialect, self.dialect.block
        first = begin + block.first_sample
        window: dict[str, float] = {"channel": channel, "first": first, "last": first + count - 1, "count": count}
        if dialect.has("window"):
            self.session.command(dialect.line("window", **window))
        return self.session.ask_codes(dialect.line("fetch", **window), count, block.tail, block.code)

    def _channel(self, signal: str) -> Channel:
        wiring, numbers = self.wiring[signal], self.dialect.numbers
        told = self._preamble(signal) if self.dialect.has("preamble") else {}
        for name in ("scale", "offset", "reference"):
            if self.dialect.has(name):
                told[name] = self.finite(name, channel=wiring.channel)
        scale = told["scale"]
        offset = told.get("offset", 0.0) - told.get("reference", 0.0) * scale
        if not scale > 0:
            raise BenchError(f"the scale of {signal} is not positive", where=self.session.role, expected="above zero",
                             got=scale, remedy="Restart the digitizer and check its dialect file.")
        return Channel(scale * wiring.probe_ratio, offset * wiring.probe_ratio, wiring.skew, wiring.lag,
                       numbers["code_min"], numbers["code_max"])

    def _preamble(self, signal: str) -> dict[str, float]:
        """Return the named fields of the preamble, after checking what it says of the capture itself."""
        names = self.dialect.block.preamble
        answer = self.session.ask(self.dialect.line("preamble", channel=self.wiring[signal].channel))
        parts = answer.split(",")
        told = {name: parse_number(part) for name, part in zip(names, parts, strict=False) if name}
        numbers = {name: number for name, number in told.items() if number is not None and math.isfinite(number)}
        if len(parts) != len(names) or len(numbers) != len(told):
            raise BenchError("this is no preamble", where=self.session.role, got=repr(answer),
                             expected=f"{len(names)} fields with numbers for " + ", ".join(filter(None, names)),
                             remedy="Correct block.preamble in the dialect file.")
        for name, wanted in (("points", self._asked.points[signal]), ("interval", self._asked.interval)):
            if name in numbers:
                self._require_same(name, numbers[name], wanted)
        return numbers

    def _expect(self, name: str, wanted: float) -> None:
        self._require_same(name, self.finite(name), wanted)

    def _require_same(self, name: str, got: float, wanted: float) -> None:
        if not math.isclose(got, wanted, rel_tol=SAME):
            raise BenchError(f"the digitizer changed the {name}", where=self.session.role, expected=f"{wanted:g}",
                             got=f"{got:g}", remedy="Put a value that it can keep into the sequence file.")

    def _expect_range(self, signal: str, volts: float) -> None:
        wiring = self.wiring[signal]
        got = self.finite("range", channel=wiring.channel) * wiring.probe_ratio
        if not got >= volts * (1 - SAME):  # a wider range is coarser, never wrong
            raise BenchError(f"the digitizer narrowed the range of {signal}", where=self.session.role,
                             expected=f"{volts:g} V", got=f"{got:g} V",
                             remedy="Use a probe with a larger ratio for this speed.")


def _batches(points: int, most: int) -> Iterator[tuple[int, int]]:
    """Yield (first, count) of each batch of at most `most` samples."""
    for first in range(0, points, most):
        yield first, min(most, points - first)
