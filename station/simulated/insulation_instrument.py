"""The simulated insulation tester: test voltage, dwell, resistance, and the proof of discharge."""

import numpy as np

from station.simulated.insulation import SOURCE_RESISTANCE
from station.simulated.rig import REST_RPM, Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_value import Span

HIGHEST_OHMS = 1e11         # above this it reads over range
SHORTEST_DWELL = 0.1        # s, simulated; the winding must have charged
GAIN = 0.01                 # relative; common practice, no source
_VOLTS = Span("V", 50.0, 1000.0, 500.0)
_LIMIT = Span("A", 1e-5, 2e-3, 2e-3)
_DWELL = Span("S", 0.0, 60.0, 1.0)


class InsulationInstrument(ScpiInstrument):
    """A current above the limit trips and switches off; the resistance that tripped it can still be read."""

    model, serial = "INSULATION", "EB-INS-001"

    def __init__(self, rig: Rig, seed: int) -> None:
        super().__init__(rig)
        self._gain = 1 + np.random.default_rng([seed, 51]).uniform(-GAIN, GAIN)
        self._volts, self._limit, self._dwell = _VOLTS.default, _LIMIT.default, _DWELL.default
        self._since: float | None = None    # simulated s of switching on
        self._tripping_ohms: float | None = None
        self.add_number("[SOURce]:VOLTage", lambda: _VOLTS, lambda: self._volts, self._set_volts)
        self.add_number("[SOURce]:CURRent:LIMit", lambda: _LIMIT, lambda: self._limit, self._set_limit)
        self.add_number("TRIGger:DELay", lambda: _DWELL, lambda: self._dwell, self._set_dwell)
        self.add_switch("OUTPut[:STATe]", lambda: self._since is not None, self._switch)
        self.add_reading("MEASure[:SCALar]:RESistance?", self._measure)
        self.add_reading("MEASure[:SCALar]:VOLTage[:DC]?", rig.insulation_voltage)
        self.add("OUTPut:PROTection:TRIPped?", lambda _: str(int(self._tripping_ohms is not None)))

    def questionable_condition(self) -> int:
        """CURRent, bit 1, while tripped. The hard-wired guard takes the output away at every look."""
        if self._since is not None and not (self.rig.guard_closed and self.rig.emergency_stop_healthy):
            self._off()
        return 2 * (self._tripping_ohms is not None)

    def reset(self) -> None:
        """Voltage off; default settings."""
        self._off()
        self._tripping_ohms = None
        self._volts, self._limit, self._dwell = _VOLTS.default, _LIMIT.default, _DWELL.default

    def _off(self) -> None:
        self._since = None
        self.rig.set_insulation(0.0, on=False)

    def _switch(self, on: bool) -> None:
        if not on:
            self._off()
            return
        now = self.rig.now()
        if not (self.rig.guard_closed and self.rig.emergency_stop_healthy):
            raise ScpiError(-221, "guard open or emergency stop")
        if abs(self.rig.shaft.speed_rpm(now)) > REST_RPM:
            raise ScpiError(-221, "shaft turns")
        self._tripping_ohms = None
        self._since = now
        self.rig.set_insulation(self._volts, on=True)
        ohms = self.rig.insulation_resistance()
        if self._volts / (ohms + SOURCE_RESISTANCE) > self._limit:
            self._tripping_ohms = ohms
            self._off()

    def _set_volts(self, volts: float) -> None:
        if self._since is not None:
            raise ScpiError(-221, "output is on")
        self._volts = volts

    def _set_limit(self, amperes: float) -> None:
        self._limit = amperes

    def _set_dwell(self, seconds: float) -> None:
        self._dwell = seconds

    def _measure(self) -> float:
        """Wait for the end of the dwell and return ohm: inf over range, NaN when the voltage was lost."""
        if self._tripping_ohms is not None:
            return self._tripping_ohms * self._gain
        if self._since is None:
            self.status.report(ScpiError(-221, "output is off"))
            return float("nan")
        since, end = self._since, self._since + max(self._dwell, SHORTEST_DWELL)
        self.wait_until(lambda: self.rig.now() >= end or self._since != since or not self.rig.guard_closed)
        ohms = self.rig.insulation_resistance()
        expected = self._volts * ohms / (ohms + SOURCE_RESISTANCE)
        broken_off = self._since != since or self.rig.now() < end
        if self._since == since and broken_off:  # the guard opened: off for good, also if it closes at once
            self._off()
        if broken_off or self.rig.insulation_voltage() < 0.9 * expected:
            return float("nan")
        return ohms * self._gain if ohms <= HIGHEST_OHMS else float("inf")
