"""The simulated drive: speed set-point, ramps, limit, watchdog; it obeys guard and START."""

from collections.abc import Callable

import numpy as np

from station.simulated.rig import REST_RPM, Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_value import Span

SETTLING = 2                # bit of OPERation
HIGHEST_RPM = 12_000.0      # what the limit may be raised to
BAND = 0.005                # of the wanted speed, within which it counts as reached
SENSOR_SHARE = 1e-5         # scatter of the speed sensor, of the speed
_SLEW = Span("", 1.0, 100_000.0, 2000.0)
_LIMIT = Span("", 0.0, HIGHEST_RPM, 6000.0)
_WATCHDOG = Span("", 0.0, 3600.0, 0.0)


class DriveInstrument(ScpiInstrument):
    """Speeds are r/min, signed; the watchdog counts wall seconds since the last message of any client."""

    model, serial = "DRIVE", "EB-DRV-001"

    def __init__(self, rig: Rig, seed: int, monotonic: Callable[[], float]) -> None:
        super().__init__(rig)
        self._shaft, self._random = rig.shaft, np.random.default_rng([seed, 11])
        self._wants_on, self._level = False, 0.0
        self._monotonic, self._watchdog, self._last_heard = monotonic, 0.0, monotonic()
        self.obeys_ramp = self.obeys_switch = True      # else its power stage goes on as it did
        self._add_set_points()
        self.add_switch("OUTPut[:STATe]", lambda: self._shaft.enabled, self._switch)
        self.add("ABORt", lambda _: self._stop())
        self.add("OUTPut:PROTection:TRIPped?", lambda _: str(int(self._shaft.tripped is not None)))
        self.add("OUTPut:PROTection:CLEar", lambda _: self._shaft.clear_trip())
        self.add_reading("MEASure[:SCALar]:SPEed?", self._speed)
        self.add_reading("MEASure[:SCALar]:CURRent[:DC]?", lambda: self._shaft.current(rig.now()))
        self.add_reading("MEASure[:SCALar]:TORQue?", self._torque)

    def _add_set_points(self) -> None:
        shaft = self._shaft
        self.add_number("[SOURce]:SPEed[:LEVel]", lambda: Span("", -shaft.limit_rpm, shaft.limit_rpm, 0.0),
                        lambda: self._level, self._set_level)
        self.add_number("[SOURce]:SPEed:SLEW", lambda: _SLEW, lambda: shaft.slew_rpm_per_s, shaft.set_slew)
        self.add_number("[SOURce]:SPEed:LIMit", lambda: _LIMIT, lambda: shaft.limit_rpm, self._set_limit)
        self.add_number("OUTPut:PROTection:WATChdog", lambda: _WATCHDOG, lambda: self._watchdog,
                        self._set_watchdog)

    def operation_condition(self) -> int:
        """SETTling while the shaft is not where the drive was last told to bring it.

        An open guard or a trip therefore never looks like a reached speed.
        """
        wanted = self._level if self._wants_on else 0.0
        away = abs(self._shaft.speed_rpm(self.rig.now()) - wanted) > max(BAND * abs(wanted), REST_RPM)
        ramping = self._wants_on and not self._shaft.settled()
        return SETTLING * (away or ramping)

    def reset(self) -> None:
        """Controlled stop, then the set-points of switching on; the watchdog goes off."""
        self._stop()
        self._shaft.set_slew(_SLEW.default)
        self._shaft.set_limit(_LIMIT.default)
        self._watchdog = 0.0

    def lose_power(self) -> None:
        """The shaft coasts; set-points and watchdog are those of switching on."""
        self._shaft.enable(False)
        self.reset()

    def self_test_fault(self) -> str:
        """A trip that nobody has cleared."""
        return self._shaft.tripped or ""

    def heard(self) -> None:
        """Start the watchdog's count again."""
        self._last_heard = self._monotonic()

    def tick(self) -> None:
        """Stop the shaft when nobody has spoken for the watchdog's time."""
        if self._watchdog and self._wants_on and self._monotonic() - self._last_heard > self._watchdog:
            self._stop()

    def _switch(self, on: bool) -> None:
        if not on:
            if self.obeys_switch:
                self._wants_on = False
                self._shaft.enable(False)
            return
        rig = self.rig
        if not (rig.guard_closed and rig.emergency_stop_healthy and rig.start_latched):
            raise ScpiError(-221, "guard open, emergency stop, or START not pressed")
        self._shaft.set_target(self._level)
        if not self._shaft.enable(True):
            raise ScpiError(-221, self._shaft.tripped or "output blocked")
        self._wants_on = True

    def _stop(self) -> None:
        # The shaft ramps to rest and switches itself off; no later OUTPut ON starts the old speed.
        if self.obeys_ramp:
            self._wants_on, self._level = False, 0.0
            self._shaft.stop()

    def _set_level(self, rpm: float) -> None:
        # While the shaft ramps to rest after a stop, a new level only waits for the next OUTPut ON.
        self._level = rpm
        if self._wants_on:
            self._shaft.set_target(rpm)

    def _set_limit(self, rpm: float) -> None:
        if abs(self._level) > rpm:
            raise ScpiError(-221, "set speed above that limit")
        self._shaft.set_limit(rpm)

    def _set_watchdog(self, seconds: float) -> None:
        self._watchdog = seconds

    def _speed(self) -> float:
        speed = self._shaft.speed_rpm(self.rig.now())
        return speed * (1 + SENSOR_SHARE * float(self._random.standard_normal()))

    def _torque(self) -> float:
        return self._shaft.mean_torque(self.rig.now())
