"""The simulated digitizers: simultaneous channels, sweeps in simulated time, codes in blocks, a switch of inputs."""

from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from math import isfinite
from threading import Event
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS
from station.simulated.front_end import Conversion, FrontEnd, Sweep
from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import Call, ScpiInstrument
from station.simulated.scpi_value import Span, answer_block, answer_number, read_boolean, read_channels, read_word

SWEEPING = 8                # bit of OPERation
CONVERTS_EVERY = 0.005      # s, wall
CLIPPED = 1                 # bit of QUEStionable
_RANGE = Span("V", 0.1, 1000.0, 10.0)
_POINTS = Span("", 2, 4_000_000, 10_000, whole=True)
_INTERVAL = Span("S", 2e-7, 1.0, 1e-5)


class DigitizerInstrument(ScpiInstrument):
    """Channels 1 to 6 carry v_ab v_bc v_ca h_a h_b h_c. `bits` is the true resolution, 12 to 16.

    `inputs` gives what the channels carry in each position of the switch before them; with one there is no switch.
    """

    model, serial = "DIGITIZER", "EB-DIG-001"
    inputs: ClassVar[tuple[tuple[str, ...], ...]] = (CHANNELS,)

    def __init__(self, rig: Rig, seed: int, bits: int = 16) -> None:
        super().__init__(rig)
        self._names = tuple(f"CH{number}" for number in range(1, len(self.inputs[0]) + 1))
        self._front_end = FrontEnd(seed, bits, self._names)
        self._position = 0
        self._sweep: Sweep | None = None
        self._converter = ThreadPoolExecutor(1, thread_name_prefix=f"converter of {self.model}")
        self._conversion: Future[Conversion] | None = None
        self._forgotten = Event()
        self._codes: dict[str, NDArray[np.int16]] = {}
        self._clipped = False
        self.clips_next = self.misses_next = self._waits = False     # faults of the next sweep, of this one
        self._set_defaults()
        self._add_channels()
        self.add_number("[SENSe]:SWEep:POINts", lambda: _POINTS, lambda: self._points, self._set_points)
        self.add_number("[SENSe]:SWEep:TINTerval", lambda: _INTERVAL, lambda: self._interval, self._set_interval)
        self.add("TRIGger[:SEQuence]:SOURce", lambda call: self._accept(call, "IMMediate"), 1)
        self.add("TRIGger[:SEQuence]:SOURce?", lambda _: "IMM")
        self.add("INITiate[:IMMediate]", lambda _: self._initiate())
        self.add("ABORt", lambda _: self._forget())
        self._add_transfer()
        if len(self.inputs) > 1:
            self.add("ROUTe:CLOSe", self._close, 1)
            self.add("ROUTe:CLOSe?", self._ask_closed, 1)

    def _set_defaults(self) -> None:
        self._ranges = dict.fromkeys(self._names, _RANGE.default)
        self._on = dict.fromkeys(self._names, True)
        self._points, self._interval, self._swapped = int(_POINTS.default), _INTERVAL.default, False

    def _add_channels(self) -> None:
        self.add("INPut<n>[:STATe]", self._switch, 1)
        self.add("INPut<n>[:STATe]?", lambda call: str(int(self._on[self._channel(call)])))
        self.add("[SENSe]:VOLTage<n>[:DC]:RANGe[:UPPer]", self._set_range, 1)
        self.add("[SENSe]:VOLTage<n>[:DC]:RANGe[:UPPer]?", self._ask_range, 0, 1)
        self.add("[SENSe]:VOLTage<n>:SCALe?", lambda call: answer_number(self._ranges[self._channel(call)] / 32768))
        self.add("[SENSe]:VOLTage<n>:OFFSet?", lambda call: answer_number(0.0 * self._ranges[self._channel(call)]))

    def _add_transfer(self) -> None:
        self.add("FORMat[:DATA]", self._set_format, 1, 2)
        self.add("FORMat[:DATA]?", lambda _: "INT,16")
        self.add("FORMat:BORDer", self._set_order, 1)
        self.add("FORMat:BORDer?", lambda _: "SWAP" if self._swapped else "NORM")
        self.add("TRACe[:DATA]?", self._trace, 1)
        self.add("TRACe:POINts?", lambda call: str(self._fetched(call).size), 1)

    # --- state --------------------------------------------------------------------------------------
    def operation_condition(self) -> int:
        """SWEeping while samples come in; their conversion ends a moment later, which *OPC? waits for."""
        self.is_busy()
        return SWEEPING * self._is_sweeping()

    def questionable_condition(self) -> int:
        """Bit 0 when a channel of the last converted sweep met a rail."""
        return CLIPPED * self._clipped

    def is_busy(self) -> bool:
        """Whether a sweep is under way or being converted."""
        if self._is_sweeping():
            return True
        if self._conversion is None:
            return False
        if self._conversion.done():
            self._take()
        return self._conversion is not None

    def _is_sweeping(self) -> bool:
        return self._conversion is not None and self._sweep is not None and (
            self._waits or self.rig.now() < self._sweep.end)

    def _convert(self, sweep: Sweep, forgotten: Event) -> Conversion:
        """Convert `sweep` while it is under way; in the converter's thread, without the lock."""
        conversion = self._front_end.begin(sweep)
        while not conversion.is_complete and not forgotten.wait(CONVERTS_EVERY):
            conversion.advance(self._signals, self.rig.now())
        return conversion

    def _take(self) -> None:
        """Take the codes of the sweep that is over; waits for the converter."""
        if self._conversion is None:
            return
        conversion = self._conversion.result()
        self._codes, self._clipped, self._conversion = conversion.codes, conversion.clipped, None
        if self.clips_next:
            self._clip(next(iter(self._codes)))

    def _clip(self, name: str) -> None:
        """Drive one channel to its rail for the upper third of its swing, as a wrong range does."""
        codes = self._codes[name]
        self._codes[name] = np.where(codes > int(codes.max()) * 2 // 3, np.int16(32767), codes).astype(np.int16)
        self._clipped, self.clips_next = True, False

    def tick(self) -> None:
        """Take the codes of a sweep that is over."""
        self.is_busy()

    def end(self) -> None:
        """Break off any waiting and converting."""
        super().end()
        self._forgotten.set()
        self._converter.shutdown()

    def reset(self) -> None:
        """All channels on at the default range, no sweep, the switch in its first position."""
        self._forget()
        self._position = 0
        self._set_defaults()

    def self_test_fault(self) -> str:
        """Convert a sine on every channel's front end and look whether its codes come back."""
        return self._front_end.self_test_fault()

    def _signals(self, times: NDArray[np.float64]) -> Mapping[str, NDArray[np.float64]]:
        """Return what is on each channel: the signals that the switch lets through."""
        signals = self.rig.line_signals(times)
        return {name: signals[signal] for name, signal in zip(self._names, self.inputs[self._position], strict=True)}

    def _channel(self, call: Call) -> str:
        number = call.numbers[0]
        if not 1 <= number <= len(self._names):
            raise ScpiError(-114)
        return self._names[number - 1]

    # --- commands -----------------------------------------------------------------------------------
    def _forget(self) -> None:
        self._forgotten.set()
        self._sweep, self._codes, self._clipped, self._waits = None, {}, False, False
        self._conversion = None

    def _initiate(self) -> None:
        if self._is_sweeping():
            raise ScpiError(-213)
        self._forget()
        on = {name: self._ranges[name] for name in self._names if self._on[name]}
        self._sweep = Sweep(self.rig.now(), self._points, self._interval, on)
        self._waits, self.misses_next = self.misses_next, False
        self._forgotten = Event()
        self._conversion = self._converter.submit(self._convert, self._sweep, self._forgotten)

    def _switch(self, call: Call) -> None:
        name, on = self._channel(call), read_boolean(call.arguments[0])
        self._change(lambda: self._on.__setitem__(name, on))

    def _set_range(self, call: Call) -> None:
        name, volts = self._channel(call), _RANGE.read(call.arguments[0])
        self._change(lambda: self._ranges.__setitem__(name, volts))

    def _ask_range(self, call: Call) -> str:
        volts = _RANGE.named(call.arguments[0]) if call.arguments else self._ranges[self._channel(call)]
        if volts is None or not isfinite(volts):
            raise ScpiError(-224)
        return answer_number(volts)

    def _set_points(self, points: float) -> None:
        self._change(partial(setattr, self, "_points", int(points)))

    def _set_interval(self, seconds: float) -> None:
        self._change(partial(setattr, self, "_interval", seconds))

    def _change(self, make: Callable[[], None]) -> None:
        """Change a setting; codes taken with other settings must not be read with these."""
        if self._is_sweeping():
            raise ScpiError(-221, "sweep under way")
        self._forget()
        make()

    @staticmethod
    def _accept(call: Call, *choices: str) -> None:
        read_word(call.arguments[0], choices)

    def _set_format(self, call: Call) -> None:
        self._accept(call, "INTeger")
        if len(call.arguments) == 2 and call.arguments[1] != "16":
            raise ScpiError(-224)

    def _set_order(self, call: Call) -> None:
        self._swapped = read_word(call.arguments[0], ("NORMal", "SWAPped")) == "SWAP"

    def _trace(self, call: Call) -> bytes:
        return answer_block(self._fetched(call).astype("<i2" if self._swapped else ">i2").tobytes())

    def _fetched(self, call: Call) -> NDArray[np.int16]:
        word = call.arguments[0].strip("\"'").upper()
        if word not in self._names:
            raise ScpiError(-224)
        if not self._is_sweeping():
            self._take()
        if word not in self._codes:
            raise ScpiError(-230, "no finished sweep of this channel")
        return self._codes[word]

    def _close(self, call: Call) -> None:
        positions = read_channels(call.arguments[0], len(self.inputs))
        if len(positions) != 1:
            raise ScpiError(-221, "one position at a time")
        self._change(lambda: setattr(self, "_position", positions[0] - 1))

    def _ask_closed(self, call: Call) -> str:
        asked = read_channels(call.arguments[0], len(self.inputs))
        return ",".join(str(int(number == self._position + 1)) for number in asked)


class FourChannelDigitizer(DigitizerInstrument):
    """Four channels behind a switch: position 1 lets the lines through, position 2 the sensors, both v_ab and h_a."""

    model, serial = "DIGITIZER-4", "EB-DIG-004"
    inputs = (("v_ab", "h_a", "v_bc", "v_ca"), ("v_ab", "h_a", "h_b", "h_c"))


class SensorDigitizer(DigitizerInstrument):
    """A second digitizer with four channels: v_ab h_a h_b h_c."""

    model, serial = "DIGITIZER-4S", "EB-SEN-001"
    inputs = (("v_ab", "h_a", "h_b", "h_c"),)
