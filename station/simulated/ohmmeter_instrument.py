"""The simulated four-wire ohmmeter with the relay that connects it to one pair of leads."""

import numpy as np

from station.motor import LINES
from station.simulated.rig import REST_RPM, Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import Call, ScpiInstrument
from station.simulated.scpi_value import Span, read_channels

OVER_RANGE = 1.2            # of the range, from where on it reads over
CYCLE = 0.02                # s, one power line cycle at 50 Hz
GAIN, NOISE = 1e-4, 2e-7    # relative error for good; rms of the range at one cycle; common practice, no source
_RANGE = Span("OHM", 1.0, 1e6, 100.0)
_CYCLES = Span("", 0.02, 100.0, 1.0)


class OhmmeterInstrument(ScpiInstrument):
    """Relays 1, 2, 3 connect ab, bc, ca; closing one opens the others."""

    model, serial = "OHMMETER", "EB-OHM-001"

    def __init__(self, rig: Rig, seed: int) -> None:
        super().__init__(rig)
        self._random = np.random.default_rng([seed, 31])
        self._gain = 1 + float(self._random.uniform(-GAIN, GAIN))
        self._closed: int | None = None
        self._range, self._cycles = _RANGE.default, _CYCLES.default
        self.add("ROUTe:CLOSe", self._close, 1)
        self.add("ROUTe:CLOSe?", self._ask_closed, 1)
        self.add("ROUTe:OPEN:ALL", lambda _: self._open())
        self.add_number("[SENSe]:FRESistance:RANGe[:UPPer]", lambda: _RANGE, lambda: self._range, self._set_range)
        self.add_number("[SENSe]:FRESistance:NPLCycles", lambda: _CYCLES, lambda: self._cycles, self._set_cycles)
        self.add_reading("MEASure[:SCALar]:FRESistance?", self._measure)

    def reset(self) -> None:
        """Open every relay; default range and integration."""
        self._open()
        self._range, self._cycles = _RANGE.default, _CYCLES.default

    def _open(self) -> None:
        self._closed = None

    def _close(self, call: Call) -> None:
        channels = read_channels(call.arguments[0], len(LINES))
        if len(channels) != 1:
            raise ScpiError(-221, "one pair at a time")
        self._closed = channels[0]

    def _ask_closed(self, call: Call) -> str:
        return ",".join(str(int(n == self._closed)) for n in read_channels(call.arguments[0], len(LINES)))

    def _set_range(self, ohms: float) -> None:
        self._range = ohms

    def _set_cycles(self, cycles: float) -> None:
        self._cycles = cycles

    def _measure(self) -> float:
        end = self.rig.now() + self._cycles * CYCLE
        self.wait_until(lambda: self.rig.now() >= end)
        turning = abs(self.rig.shaft.speed_rpm(self.rig.now())) > REST_RPM
        if self._closed is None or turning:     # open leads, or the motor's own voltage overloads the input
            return float("inf")
        ohms = self.rig.pair_resistance(LINES[self._closed - 1], self.rig.now())
        if not ohms <= OVER_RANGE * self._range:
            return float("inf")
        noise = NOISE * self._range / float(np.sqrt(self._cycles)) * float(self._random.standard_normal())
        return float(ohms * self._gain + noise)
