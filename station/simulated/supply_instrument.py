"""The simulated supply of the Hall sensors: voltage, current limit that trips, read-back."""

import numpy as np

from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_value import Span

GAIN, NOISE = 2e-4, 2e-5    # of set voltage and of readings; common practice, no source
_VOLTS = Span("V", 0.0, 30.0, 0.0)
_AMPERES = Span("A", 0.001, 1.0, 0.1)


class SupplyInstrument(ScpiInstrument):
    """A current above the limit trips: the output goes off until the trip is cleared."""

    model, serial = "SUPPLY", "EB-SUP-001"

    def __init__(self, rig: Rig, seed: int) -> None:
        super().__init__(rig)
        self._random = np.random.default_rng([seed, 41])
        self._gain = 1 + self._random.uniform(-GAIN, GAIN)
        self._volts, self._limit = _VOLTS.default, _AMPERES.default
        self._on, self._tripped = False, False
        self.add_number("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", lambda: _VOLTS, lambda: self._volts,
                        self._set_volts)
        self.add_number("[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]", lambda: _AMPERES, lambda: self._limit,
                        self._set_limit)
        self.add_switch("OUTPut[:STATe]", lambda: self._on, self._switch)
        self.add_reading("MEASure[:SCALar]:VOLTage[:DC]?", lambda: self._read(self._volts * self._on * self._gain))
        self.add_reading("MEASure[:SCALar]:CURRent[:DC]?", lambda: self._read(rig.sensor_supply_current()))
        self.add("OUTPut:PROTection:TRIPped?", lambda _: str(int(self._tripped)))
        self.add("OUTPut:PROTection:CLEar", lambda _: self._clear_trip())

    def questionable_condition(self) -> int:
        """CURRent, bit 1, while tripped; every look watches the limit."""
        self._watch_current()
        return 2 * self._tripped

    def reset(self) -> None:
        """Output off, 0 V, default limit."""
        self._switch(on=False)
        self._volts, self._limit = _VOLTS.default, _AMPERES.default

    def _read(self, value: float) -> float:
        return value * (1 + NOISE * float(self._random.standard_normal()))

    def _set_volts(self, volts: float) -> None:
        self._volts = volts
        if self._on:
            self._apply()

    def _set_limit(self, amperes: float) -> None:
        self._limit = amperes
        self._watch_current()

    def _switch(self, on: bool) -> None:
        if on and self._tripped:
            raise ScpiError(-221, "tripped")
        self._on = on
        self._apply()

    def _apply(self) -> None:
        self.rig.set_sensor_supply(self._volts * self._gain, self._on)
        self._watch_current()

    def _watch_current(self) -> None:
        if self._on and self.rig.sensor_supply_current() > self._limit:
            self.trip()

    def trip(self) -> None:
        """Switch the output off as a current above the limit does; without effect while it is off."""
        if self._on:
            self._on, self._tripped = False, True
            self.rig.set_sensor_supply(0.0, on=False)

    def _clear_trip(self) -> None:
        self._tripped = False
